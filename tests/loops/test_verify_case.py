"""``manage.py verify_case``: one JSON line a file, exit status, and files that are no case."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from .documents import COMPLETE, changed


def run(*files: Path | str) -> tuple[int, list[str], str]:
    """Exit status, lines of standard output, standard error."""
    out, err = StringIO(), StringIO()
    status = 0
    try:
        call_command("verify_case", *map(str, files), stdout=out, stderr=err, no_color=True)
    except SystemExit as stop:
        status = int(stop.code or 0)
    return status, out.getvalue().splitlines(), err.getvalue()


def write(folder: Path, name: str, content: object) -> Path:
    path = folder / name
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_one_line_a_file_in_order(tmp_path: Path) -> None:
    good = write(tmp_path, "good.json", COMPLETE)
    bad = write(tmp_path, "bad.json", changed("devices.0.Ui", "20 V"))
    open_ = write(tmp_path, "open.json", changed("devices.0.Ci"))
    status, lines, err = run(good, bad, open_)
    assert status == 0 and err == ""
    assert [json.loads(line)["verdict"] for line in lines] == ["complies", "does_not_comply", "incomplete"]


def test_an_invalid_file_is_told_and_the_others_are_judged(tmp_path: Path) -> None:
    good = write(tmp_path, "good.json", COMPLETE)
    bad = write(tmp_path, "bad.json", changed("sources.0.Uo", "25.2"))
    status, lines, err = run(bad, good, tmp_path / "none.json")
    assert status == 2
    assert [json.loads(line)["verdict"] for line in lines] == ["complies"]
    assert "bad.json: sources.0.Uo: Add the unit" in err
    assert "none.json: There is no such file." in err


@pytest.mark.parametrize(
    "content, words",
    [
        ("", "not valid JSON"),
        ("{", "not valid JSON"),
        ("[]", "one object"),
        ("null", "one object"),
        ('{"sources": NaN}', "NaN is not a value"),
        ('{"sources": Infinity}', "Infinity is not a value"),
        ('{"sources": -Infinity}', "-Infinity is not a value"),
        ('{"sources": [], "sources": []}', "written twice"),
        ('{"sources": [{"Uo": "1 V", "Uo": "2 V"}]}', "written twice"),
        ("[" * 100_000, "nested too deeply"),
        ('{"a":' * 50_000 + "1" + "}" * 50_000, "nested too deeply"),
        ('{"sources": ' + "9" * 10_000 + "}", "not valid JSON"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b" " * (4 * 1024 * 1024 + 1), "larger than 4 MiB"),
        ('{"sources": [{"name": "\\ud800"}]}', "hidden character"),
    ],
    ids=lambda value: str(value)[:24],
)
def test_a_file_that_is_no_case_is_refused(tmp_path: Path, content: str | bytes, words: str) -> None:
    status, lines, err = run(write(tmp_path, "file.json", content))
    assert (status, lines) == (2, [])
    assert words in err


def test_a_folder_and_a_strange_name(tmp_path: Path) -> None:
    status, lines, err = run(tmp_path, "a\0b")
    assert (status, lines) == (2, [])
    assert err.count("\n") >= 2


def test_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    status, lines, _ = run(write(tmp_path, "bom.json", b"\xef\xbb\xbf" + json.dumps(COMPLETE).encode()))
    assert status == 0 and len(lines) == 1


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, "good.json", COMPLETE)

    def refuse(*args: object, **kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    status, _, err = run(path)
    assert status == 2 and "Permission denied" in err
