"""`manage.py export_sheets`: the stored bytes under safe names, nothing overwritten unasked."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from reports.files import file_name
from reports.management.commands.export_sheets import file_names
from reports.models import Sheet


def export(folder: Path, **options: Any) -> str:
    out = io.StringIO()
    call_command("export_sheets", out=str(folder), stdout=out, **options)
    return out.getvalue()


@pytest.mark.django_db
class TestExport:
    def test_it_writes_the_stored_bytes_and_says_so(self, sheet: Any, tmp_path: Path) -> None:
        folder = tmp_path / "new" / "sheets"
        said = export(folder)
        assert (folder / "PT-1101_A.pdf").read_bytes() == bytes(Sheet.objects.get().bytes)
        assert [path.name for path in folder.iterdir()] == ["PT-1101_A.pdf"]
        assert "wrote PT-1101_A.pdf  NORTH-PT-1101-A" in said and "1 written, 0 there already" in said

    def test_a_second_run_changes_nothing(self, sheet: Any, tmp_path: Path) -> None:
        export(tmp_path)
        before = (tmp_path / "PT-1101_A.pdf").stat().st_mtime_ns
        assert "0 written, 1 there already" in export(tmp_path)
        assert (tmp_path / "PT-1101_A.pdf").stat().st_mtime_ns == before

    def test_another_file_of_the_name_is_kept_unless_forced(self, sheet: Any, tmp_path: Path) -> None:
        target = tmp_path / "PT-1101_A.pdf"
        target.write_bytes(b"mine")
        with pytest.raises(CommandError, match=r"PT-1101_A\.pdf.*--force"):
            export(tmp_path)
        assert target.read_bytes() == b"mine"
        export(tmp_path, force=True)
        assert target.read_bytes() == bytes(Sheet.objects.get().bytes)

    def test_a_link_is_never_written_through(self, sheet: Any, tmp_path: Path) -> None:
        elsewhere = tmp_path / "elsewhere"
        elsewhere.write_bytes(b"mine")
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "PT-1101_A.pdf").symlink_to(elsewhere)
        with pytest.raises(CommandError):
            export(tmp_path / "out", force=True)
        assert elsewhere.read_bytes() == b"mine"

    def test_one_site_alone(self, sheet: Any, other_site: Any, tmp_path: Path) -> None:
        assert "0 written" in export(tmp_path / "south", site=other_site.code)
        assert "1 written" in export(tmp_path / "north", site="NORTH")
        with pytest.raises(CommandError, match="no site with the code WEST"):
            export(tmp_path, site="WEST")

    def test_damaged_bytes_are_not_written(self, damaged: Any, tmp_path: Path) -> None:
        with pytest.raises(CommandError, match="do not match their digest"):
            export(tmp_path)
        assert not list(tmp_path.iterdir())

    def test_a_folder_that_cannot_be_made_is_told(self, sheet: Any, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("x")
        with pytest.raises(CommandError, match="cannot be made"):
            export(tmp_path / "file")


@pytest.mark.parametrize(
    "tag", ["../../etc/passwd", "a/b\\c", "..", ".hidden", "CON", "x" * 300, "tag\nline", 'q"<>|:*?', "  ", "ТТ-1", "é"]
)
def test_a_file_name_never_leaves_its_folder(tag: str) -> None:
    name = file_name(tag, "A")
    assert Path(name).name == name and name.endswith("_A.pdf")
    assert not name.startswith(".") and len(name) < 140
    assert not set(name) & set('/\\<>:"|?*\n\0 ')


def test_names_that_fall_together_are_kept_apart() -> None:
    """Also where they differ in case alone, which some file systems do not see."""
    rows = [(1, "A/B", "A", "1" * 64), (2, "a-b", "A", "2" * 64), (3, "C", "A", "3" * 64)]
    names = file_names(rows)
    assert names[3] == "C_A.pdf"
    assert len({name.casefold() for name in names.values()}) == 3
    assert names[1].endswith(f"_{'1' * 12}.pdf")
