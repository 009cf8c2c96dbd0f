"""Every text field of every record, with each of these texts: refused with a sentence, or shown as text everywhere.

Pages are read as a browser reads them, PDFs with pikepdf and pypdf, workbooks as XML, CSV with Python's reader.
"""

from __future__ import annotations

import contextlib
import copy
import io
import json
import logging
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pypdf
import pytest
from django.conf import settings
from django.urls import reverse

from deploy.operations.logs import MOVES, Lines, RequestMark
from loops.entries import LoopEntry
from loops.models import Loop, Remark, Study
from registry.entries import ENTRIES
from registry.exchange.csv_xlsx import read_table
from registry.models import Change, Revision
from registry.reading import EntryForm, TextField, read_entry
from registry.services.records import Author
from reports.inspection.models import Inspection, Line
from reports.services import draft_pdf
from tests.conftest import AREA, CABLE_TYPE
from tests.hostile.reading import flat, page_of, wrong_in_csv, wrong_in_pdf, wrong_in_workbook
from tests.hostile.texts import ALL, HIDDEN, LINES, SHOWN

PLANTS = 4
"""So many sets of records hold the texts, each text in another field of each."""
OWN_RULES = frozenset(
    {
        "site.time_zone", "site.code", "site.schemes", "scheme.lead_days", "scheme.number_form",
        "scheme.number_example", "area.temperature_class", "equipment.terminals.temperature_classes.temperature_class",
    }
)  # fmt: skip
"""Texts that are read by rules of their own, which refuse most of what is meant here."""
NAMED = frozenset({("certificate", "number"), ("certificate", "issue"), ("scheme", "name")})
"""Fields of the records below that keep what names them."""
MARK = "\ufffd"
READERS = ENTRIES | {"loop": LoopEntry}


def text_fields(entry: type[EntryForm], kind: str) -> Iterator[tuple[str, TextField]]:
    """The text fields of an entry and of the rows below it, by dotted path without the numbers of rows."""
    for name, field in entry.base_fields.items():
        if isinstance(field, TextField) and f"{kind}.{name}" not in OWN_RULES:
            yield f"{kind}.{name}", field
    for name, child in entry.children.items():
        yield from text_fields(child, f"{kind}.{name}")


FIELDS = {path: field for kind, entry in READERS.items() for path, field in text_fields(entry, kind)}


def test_the_fields_are_those_of_all_records() -> None:
    assert len(ALL) > 60
    assert {path.partition(".")[0] for path in FIELDS} == set(READERS)
    wanted = {
        "loop.tag", "loop.service", "loop.notes", "loop.circuits.name", "loop.circuits.members.tag",
        "loop.circuits.cables.tag", "loop.circuits.cables.from_point", "loop.circuits.terminators.tag",
        "equipment.maker", "equipment.marking", "equipment.terminals.name", "equipment.terminals.justification",
        "certificate.number", "certificate.specific_conditions", "cable_type.name", "area.drawing", "site.name",
        "scheme.description",
    }  # fmt: skip
    assert wanted <= set(FIELDS)


@pytest.mark.django_db
@pytest.mark.parametrize("kind", READERS)
def test_a_field_refuses_a_text_with_a_sentence_or_takes_it_as_it_is(kind: str, schemes: None) -> None:
    paths = [path.removeprefix(f"{kind}.").split(".") for path in FIELDS if path.startswith(f"{kind}.")]
    for path in paths:
        for name, text in ALL.items():
            field = FIELDS[".".join([kind, *path])]
            text = text[: field.max_length] if name in SHOWN else text
            cleaned, errors = read_entry(READERS[kind], nested(path, text))
            place = ".0.".join(path)
            said = errors.get(place, [])
            if name in HIDDEN or (name in LINES and not field.lines):
                assert said and all(re.fullmatch(r"[A-Z][^\n]*\.", one) for one in said), (place, name, said)
            elif place in errors:
                assert kind in ("certificate", "scheme") and path[-1] in ("number", "name"), (place, name, said)
            else:
                assert at(cleaned, path) == text.strip(), (place, name)


def nested(path: list[str], text: str) -> dict[str, Any]:
    """A text at a path of nested rows."""
    return {path[0]: text} if len(path) == 1 else {path[0]: [nested(path[1:], text)]}


def at(data: Mapping[str, Any], path: list[str]) -> Any:
    return data[path[0]] if len(path) == 1 else at(data[path[0]][0], path[1:])


# ----------------------------------------------------------------------------------------------------- where it shows


class Plants:
    """Hands the texts out to the fields of the records of several plants, and remembers which stand where."""

    def __init__(self) -> None:
        self.count = 0
        self.names = list(SHOWN)
        self.given: dict[str, list[str]] = {}
        self.used: set[str] = set()

    def text(self, path: str) -> str:
        """The next text for a field, told apart by the number of its plant, and as long as the field takes it."""
        self.count += 1
        name = self.names[self.count % len(self.names)]
        longest = FIELDS[path].max_length or 400
        ending = f" {self.count}"
        text = SHOWN[name][: min(longest, 400) - len(ending)].strip() + ending
        self.given.setdefault(path, []).append(text)
        self.used.add(name)
        return text

    def fill(self, kind: str, data: dict[str, Any], entry: type[EntryForm] | None = None) -> dict[str, Any]:
        """Nested text with a text in every text field that it has room for."""
        entry = entry or READERS[kind]
        for name in entry.base_fields:
            if f"{kind}.{name}" in FIELDS and (kind, name) not in NAMED:
                data[name] = self.text(f"{kind}.{name}")
        for name, child in entry.children.items():
            for row in data.get(name, []):
                self.fill(f"{kind}.{name}", row, child)
        return data


@pytest.fixture
def plants(
    save: Any, people: Any, site: Any, area: Any, source: Any, device: Any, loop_data: Any, source_data: Any,
    device_data: Any,
) -> Plants:  # fmt: skip
    """Loops with all that they rest on, every text of which is hostile."""
    from loops.services.loops import save_loop

    made = Plants()
    made.loops, made.records = [], []  # type: ignore[attr-defined]
    author = Author(people["designer"], reason=SHOWN["script"])
    for number in range(PLANTS):
        paper = made.fill("certificate", {"scheme": "ATEX", "issue": "0", "status": "current"})
        certificate = save("certificate", paper | {"number": f"EXA 21 ATEX 0{number}77 X", "issue": "0"})
        items = []
        for data in (copy.deepcopy(source_data), copy.deepcopy(device_data)):
            data["terminals"][0]["certificate"] = str(certificate.pk)
            items.append(save("equipment", made.fill("equipment", data)))
        plain = copy.deepcopy(device_data) | {"kind": "simple_apparatus"}
        plain["terminals"][0] |= {"simple_kind": "passive", "certificate": "", "level": "", "gas_group": ""}
        plain["terminals"][0] |= {"temperature_classes": []}
        simple = save("equipment", made.fill("equipment", plain))
        cable_type = save("cable_type", made.fill("cable_type", dict(CABLE_TYPE)))
        there = save("area", made.fill("area", AREA | {"site": str(site.pk)}), by="designer")
        data = loop_data(tag=f"T{number}")
        circuit = data["circuits"][0]
        circuit["members"].append(copy.deepcopy(circuit["members"][1]))
        for row, item in zip(circuit["members"], [*items, simple], strict=True):
            row["terminals"] = str(item.terminals.get().pk)
        for row in circuit["members"][1:]:
            row["area"] = str(there.pk)
        circuit["cables"][0]["cable_type"] = str(cable_type.pk)
        if number == 0:  # a segment, so that there are terminators
            circuit |= {"fisco": True, "terminators": [{"tag": "x", "resistance_ohm": "100 ohm"}]}
        data = made.fill("loop", data)
        tags = [row["tag"] for row in circuit["members"]]
        assert len(set(tags)) == 3, tags
        made.loops.append(save_loop(data, author))  # type: ignore[attr-defined]
        records = [("certificate", certificate), ("cable_type", cable_type), ("area", there)]
        records += [("equipment", item) for item in (*items, simple)]
        made.records.append(records)  # type: ignore[attr-defined]
    return made


@pytest.mark.django_db
def test_every_page_sheet_and_table_shows_them_as_text(plants: Any, client_as: Any, people: Any) -> None:
    """In one test, because what takes time is to make the records."""
    client, keeper = client_as("designer"), client_as("keeper")
    shown = ""
    for loop, records in zip(plants.loops, plants.records, strict=True):
        addresses = [
            *(
                reverse(name, args=[loop.pk])
                for name in ("loop", "loop_edit", "loop_series", "loop_studies", "loop_inspections", "reports:approve",
                             "reports:typical", "suits_loop")
            ),
            reverse("loop_revision", args=[loop.pk, 1]),
            *(
                reverse(f"{kind}{page}", args=[record.pk])
                for kind, record in records for page in ("", "_history")
            ),
        ]  # fmt: skip
        shown += read_pages(client, addresses)
        edited = [reverse(f"{kind}_edit", args=[record.pk]) for kind, record in records]
        shown += read_pages(keeper, [address for address in edited if "areas" not in address])
        shown += read_pages(client, [address for address in edited if "areas" in address])
        check_sheet(loop)
    lists = ("loop_list", "overview", "schedules", "cable_run_list", "member_list", "equipment_list", "home", "log",
             "certificate_list", "cable_type_list", "area_list", "label_list", "inspections", "expiry")  # fmt: skip
    shown += read_pages(client, [reverse(name) for name in lists])
    shown += read_pages(client, [f"{reverse('search')}?q={word}" for word in ("%3Cscript%3E", "passwd", "alert")])
    assert plants.used == set(SHOWN)
    for path, texts in plants.given.items():
        for text in texts:
            assert flat(text) in shown, (path, text)
    check_tables(client, plants)
    check_papers(client, plants)


def read_pages(client: Any, addresses: list[str]) -> str:
    """The texts of some pages without white space, each of which must be a page of this site and nothing else."""
    found = []
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200, address
        page = page_of(answer.content.decode())
        assert not page.wrong, (address, page.wrong[:3])
        found.append(flat("".join(page.texts)))
    return "".join(found)


def check_sheet(loop: Loop) -> None:
    """The sheet holds the texts of its loop, in words and in the record that travels with it, and nothing that acts or
    leads away."""
    data = draft_pdf(loop)
    assert wrong_in_pdf(data, settings.SITE_URL) == []
    reader = pypdf.PdfReader(io.BytesIO(data))
    content = next(iter(reader.attachments.values()))[0]
    record = json.loads(content)["revision"]["content"]
    assert (record["tag"], record["service"]) == (loop.tag, loop.service)
    words = flat(words_of(data))
    for text in [loop.tag, loop.service, loop.drawing, *loop.notes.splitlines()]:
        if text.isascii():
            assert flat(text) in words, text
    assert "aidtoacompetentperson" in words


def check_papers(client: Any, plants: Any) -> None:
    """Lists, labels, checklists and a typical as PDF: one of each, in words, and nothing that acts or leads away."""
    loops, given = plants.loops, plants.given
    keys = "&".join(f"loop={loop.pk}" for loop in loops)
    runs, members = given["loop.circuits.cables.tag"], given["loop.circuits.members.tag"]
    papers = {
        reverse("loop_seen", args=["pdf"]): [loop.tag for loop in loops],
        reverse("cable_run_seen", args=["pdf"]): runs + given["loop.circuits.cables.from_point"],
        reverse("member_seen", args=["pdf"]): members,
        reverse("equipment_seen", args=["pdf"]): given["equipment.maker"] + given["equipment.type_name"],
        reverse("certificate_seen", args=["pdf"]): given["certificate.holder"],
        reverse("cable_type_seen", args=["pdf"]): given["cable_type.name"],
        reverse("area_seen", args=["pdf"]): given["area.name"],
        f"{reverse('labels')}?{keys}&what=loops&what=devices&what=sources&what=cables": [loop.tag for loop in loops],
        f"{reverse('inspection_round')}?{keys}&grade=detailed&occasion=initial": [loop.tag for loop in loops] + runs,
        reverse("reports:typical_pdf", args=[loops[0].pk]): [loops[0].tag],
    }
    for address, texts in papers.items():
        answer = client.get(address)
        assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf"), address
        data = b"".join(answer) if answer.streaming else answer.content
        assert wrong_in_pdf(data, settings.SITE_URL) == [], address
        # poppler takes a hyphen at the end of a line for one that breaks a word, and leaves it out.
        words = flat(words_of(data, "-raw")).replace("-", "")
        missing = [text for text in texts if text.isascii() and flat(text).replace("-", "") not in words]
        assert not missing, (address, missing)


def words_of(data: bytes, *how: str) -> str:
    """What poppler reads in a PDF, with "-raw" cell by cell as it was written; where it is not installed the sheets are
    not read here."""
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext (Debian package poppler-utils) is not installed")
    return subprocess.run([program, *how, "-", "-"], input=data, capture_output=True, check=True).stdout.decode()


def check_tables(client: Any, plants: Any) -> None:
    """CSV and XLSX of every list: no formula, no link, and each text reads back as it was typed."""
    names = ("loop_seen", "equipment_seen", "certificate_seen", "cable_type_seen", "area_seen", "cable_run_seen",
             "member_seen", "loop_export", "equipment_export")  # fmt: skip
    cells: dict[str, set[str]] = {}
    for name in names:
        for suffix in ("csv", "xlsx"):
            data = client.get(reverse(name, args=[suffix])).content
            wrong = wrong_in_csv(data) if suffix == "csv" else wrong_in_workbook(data)
            assert not wrong, (name, suffix, wrong[:3])
            found = {cell for row in read_table(data).rows for cell in row.cells}
            assert cells.setdefault(name, found) == found, (name, "the two formats differ")
    assert {loop.tag for loop in plants.loops} <= cells["loop_export"] | cells["loop_seen"]
    for path in ("equipment.maker", "equipment.terminals.name", "equipment.description"):
        assert set(plants.given[path]) <= cells["equipment_export"], path


# ------------------------------------------------------------------------------------------------- what people write


@pytest.mark.django_db
def test_remarks_findings_and_studies_show_them_too(
    loop: Any, people: Any, client_as: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """What is typed beside records is kept, with a visible sign for each character that would not be seen."""
    client = client_as("planner")
    for number, text in enumerate(ALL.values()):
        sent = text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
        assert client.post(reverse("loop_remark", args=[loop.pk]), {"text": sent, "about": sent}).status_code == 302
        if number % 6:
            continue  # judging takes time
        kept = {"_do": "keep", "name": sent, "B.loop.load_ohm": "120 ohm"}
        assert client.post(reverse("loop_studies", args=[loop.pk]), kept).status_code == 302, text
    inspection = begun(client, loop)
    lines = list(inspection.lines.all())
    for line, text in zip(lines, list(ALL.values())[::2], strict=False):
        sent = text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
        form = {f"result-{line.pk}": "defect", f"note-{line.pk}": sent, f"priority-{line.pk}": "2"}
        address = reverse("inspection_line", args=[inspection.pk, line.pk])
        assert client.post(address, form | {f"opened-{line.pk}": mark_of(line)}).status_code == 200, text
    pages = [
        reverse("loop", args=[loop.pk]),
        reverse("inspection", args=[inspection.pk]),
        *(reverse("loop_study", args=[loop.pk, study.pk]) for study in Study.objects.all()[:3]),
        reverse("loop_studies", args=[loop.pk]),
        reverse("log"),
    ]
    shown = read_pages(client, pages)
    for text in [*Remark.objects.values_list("text", flat=True), *Study.objects.values_list("name", flat=True)]:
        assert flat(text) in shown, text
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200b-\u200f]", text)
    assert any(MARK in text for text in Remark.objects.values_list("text", flat=True))
    paper = client.get(reverse("inspection_paper", args=[inspection.pk]))
    assert paper.status_code == 200 and wrong_in_pdf(paper.content, settings.SITE_URL) == []
    assert not [record.getMessage() for record in caplog.records if "\n" in record.getMessage()]


def begun(client: Any, loop: Any) -> Inspection:
    client.post(reverse("loop_inspections", args=[loop.pk]), {"grade": "detailed", "occasion": "initial"})
    return Inspection.objects.get(loop=loop)


def mark_of(line: Line) -> str:
    from reports.inspection.services import state_of

    return state_of(Line.objects.get(pk=line.pk)).mark


# --------------------------------------------------------------------------------------------------- what is refused


@pytest.mark.django_db
@pytest.mark.parametrize("name", [*HIDDEN, *LINES])
def test_a_refused_text_comes_back_and_saves_nothing(name: str, loop: Any, client_as: Any, cable_type: Any) -> None:
    from tests.loops.pages import form_of

    client, before = client_as("designer"), Revision.objects.count()
    sent = ALL[name].encode("utf-8", "surrogatepass").decode("utf-8", "replace")
    if MARK in sent:
        return  # what cannot be sent as text never arrives
    address = reverse("loop_edit", args=[loop.pk])
    form = form_of(client.get(address)) | {"service": sent, "_reason": "x"}
    answer = client.post(address, form)
    assert answer.status_code == 400 and Revision.objects.count() == before
    page = page_of(answer.content.decode())
    assert not page.wrong and ("hidden character" in "".join(page.texts) or "in one line" in "".join(page.texts))
    api = client.put(
        reverse("api_loop", args=[loop.pk]), {"service": ALL[name]}, "application/json",
        headers={"If-Match": f'"{loop.version}"'},
    )  # fmt: skip
    assert api.status_code in (400, 422) and Revision.objects.count() == before


# ----------------------------------------------------------------------------------------------------------- the log


@contextlib.contextmanager
def written_by(logger: logging.Logger) -> Iterator[Callable[[], str]]:
    """What the site's own handler writes of a logger's messages."""
    target = io.StringIO()
    handler = logging.StreamHandler(target)
    handler.setFormatter(Lines())
    handler.addFilter(RequestMark())
    logger.addHandler(handler)
    try:
        yield target.getvalue
    finally:
        logger.removeHandler(handler)


@pytest.fixture
def logged() -> Iterator[Callable[[], str]]:
    """What the site's own handler writes."""
    with written_by(logging.getLogger()) as text:
        yield text


def test_a_message_of_the_log_is_one_line_whatever_it_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    own = logging.getLogger("unlit.tests")
    # Half a character in what pytest keeps of a test would stop the process that sends it on.
    monkeypatch.setattr(own, "propagate", False)
    with written_by(own) as logged:
        for text in ALL.values():
            own.warning("Told of %s", text)
            own.warning(text.replace("%", "%%"))
    lines = logged().split("\n")
    assert len(lines) == 2 * len(ALL) + 1 and lines[-1] == ""
    assert not [line for line in lines if MOVES.search(line)]


@pytest.mark.django_db
def test_what_comes_with_a_request_forges_no_line(people: Any, client: Any, logged: Callable[[], str]) -> None:
    """Names at the way in, paths, and files that are refused."""
    for text in ALL.values():
        sent = text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
        client.post(reverse("account_login"), {"login": sent, "password": sent})
        client.get(f"/nowhere/{sent.encode().hex()}", {"q": sent})
    client.get("/nowhere/%0d%0a2026-01-01%20ERROR%20forged")
    assert not [line for line in logged().split("\n") if line.startswith(("2026-01-01 00", "Set-Cookie"))]
    assert not Change.objects.filter(label__contains="\n").exists()
