"""Reads one sheet of a workbook in a process of its own, which may be stopped: see :mod:`registry.exchange.csv_xlsx`.

Stands alone: only the standard library and python-calamine are imported. Reads the file from standard input; writes one
JSON object, `{"rows": [[number, cells], …], "notes": […]}` or `{"fault": …}`.
"""

import datetime as dt
import io
import json
import re
import resource
import sys
import zipfile
from typing import Any

MEMORY_BYTES = 1_500_000_000
DATE_MARK = "\ue001"


def text_of(value: Any) -> str:
    """A cell as text: a whole number without a point, a day as 2026-11-25 with a mark before it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
        return DATE_MARK + (value.date().isoformat() if midnight else value.isoformat(" "))
    if isinstance(value, dt.date | dt.time):
        return DATE_MARK + value.isoformat()
    if isinstance(value, dt.timedelta):
        return DATE_MARK + str(value)
    return str(value)


def read(content: bytes, name: str, most_rows: int, most_columns: int) -> dict[str, Any]:
    """The rows of the sheet called `name`, else of the first that can be seen."""
    import python_calamine as calamine

    try:
        book = calamine.load_workbook(io.BytesIO(content))
        visible = [
            sheet.name
            for sheet in book.sheets_metadata
            if sheet.typ == calamine.SheetTypeEnum.WorkSheet and sheet.visible == calamine.SheetVisibleEnum.Visible
        ]
        if not visible:
            return {"fault": "empty"}
        chosen = next((one for one in visible if one.casefold() == name.casefold()), visible[0])
        sheet = book.get_sheet_by_name(chosen)
        if sheet.total_width > most_columns:
            return {"fault": "wide"}
        if sheet.total_height > most_rows + 1000:
            return {"fault": "long"}
        rows = [
            [number, [text_of(cell) for cell in row]]
            for number, row in enumerate(sheet.to_python(skip_empty_area=False), 1)
        ]
    except calamine.CalamineError:
        return {"fault": "broken"}
    notes = [f"Of {len(visible)} sheets the one called {chosen} was read."] if len(visible) > 1 else []
    if place := cell_with_error(content):
        if len(visible) == 1:
            return {"fault": "error", "place": place}
        notes.append("Cells with an error, such as #REF!, were read as empty.")
    return {"rows": rows, "notes": notes}


def cell_with_error(content: bytes) -> str:
    """A cell that holds an error, such as "B5"; empty where none does. The reader gives such cells as empty ones."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                match = re.search(rb"<c (?=[^>]*\bt=\"e\")[^>]*?\br=\"([A-Z]+[0-9]+)\"", archive.read(name))
                if match:
                    return match[1].decode()
    return ""


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    sys.stdout.write(json.dumps(read(sys.stdin.buffer.read(), sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
