"""Backup, wipe, restore: everything is there again, exactly, on both databases; a bad archive changes nothing.

In each run the database is the one that the run is for; `tests/deploy/operations/test_moves.py` goes from one kind of
database to the other.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from deploy.operations.archive import MANIFEST, SUMS, Archive, ArchiveRefused
from deploy.operations.backing_up import BackupRefused, Made, back_up, files_in_store, prune
from deploy.operations.restoring import RestoreRefused, restore
from deploy.operations.schemas import NOT_KEPT
from registry.models import Attachment, Change, Revision, User
from registry.services.proofs import prove
from registry.text_search import index_name, searched_models
from tests.architecture.test_frozen import FROZEN, expected, triggers
from tests.deploy.operations.conftest import in_manifest

pytestmark = pytest.mark.django_db(transaction=True)


def everything() -> dict[str, list[dict[str, Any]]]:
    """All rows of all tables that are kept, as Python values: Decimals, moments, bytes, JSON."""
    return {
        model._meta.db_table: [
            {name: bytes(value) if isinstance(value, memoryview) else value for name, value in row.items()}
            for row in model._base_manager.order_by("pk").values()
        ]
        for model in apps.get_models(include_auto_created=True)
        if model._meta.db_table not in NOT_KEPT
    }


def files() -> dict[str, bytes]:
    found = {}
    for name in files_in_store():
        with default_storage.open(name) as file:
            found[name] = file.read()
    return found


def wipe() -> None:
    """As after a crash of the disk: an empty database with the schema of a new site, and an empty store."""
    from django.core.management import call_command

    call_command("flush", interactive=False, verbosity=0)
    for name in list(files_in_store()):
        default_storage.delete(name)


def test_what_was_backed_up_is_there_again_exactly(backup: Made) -> None:
    before, stored = everything(), files()
    assert not backup.faults
    assert (backup.files, len(stored)) == (1, 1)
    assert sum(map(len, before.values())) == backup.rows
    number, _, mark = backup.log_end.partition(":")
    wipe()
    assert not User.objects.exists()
    assert not files()

    restored = restore(backup.path)
    assert (restored.rows, restored.files, restored.migrations_after) == (backup.rows, 1, [])
    assert not restored.findings.broken
    assert everything() == before
    assert files() == stored
    assert not prove((int(number), mark)).broken
    call_command("verify_store", expect=(int(number), mark), verbosity=0)


def test_triggers_are_in_force_again_and_keys_go_on(backup: Made) -> None:
    from registry.models import Notice

    last = Notice.objects.order_by("pk").values_list("pk", flat=True).last() or 0
    wipe()
    restore(backup.path)
    there = triggers()
    for label in FROZEN:
        table = apps.get_model(label)._meta.db_table
        assert expected(table) <= there.get(table, set())
    assert "loops_approval_four_eyes" in there["loops_approval"]
    with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
        Revision.objects.update(label="another")
    # One row was deleted before the backup: its key is not given again.
    fresh = Notice.objects.create(person=User.objects.all()[0], kind="work", subject="New", link="/")
    assert fresh.pk > last + 1


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="PostgreSQL keeps its index of text itself")
def test_text_is_found_after_a_restore(backup: Made) -> None:
    def words() -> dict[str, list[tuple[int, str]]]:
        with connection.cursor() as cursor:
            return {
                name: cursor.execute(f"SELECT rowid, words FROM {index_name(model)} ORDER BY rowid").fetchall()
                for name, model in searched_models().items()
            }

    wipe()
    restore(backup.path)
    assert all(text for rows in words().values() for _, text in rows)
    assert {name: [key for key, _ in rows] for name, rows in words().items()} == {
        name: list(model._default_manager.order_by("pk").values_list("pk", flat=True))
        for name, model in searched_models().items()
    }


def test_a_site_goes_on_after_a_restore(backup: Made, make_loop: Callable[..., Any]) -> None:
    wipe()
    restore(backup.path)
    from loops.models import Loop
    from loops.services.loops import save_loop
    from registry.selectors import record_text
    from registry.services.records import Author

    loop = Loop.objects.get()
    author = Author(User.objects.get(username="designer"), reason="Goes on")
    save_loop(record_text(loop) | {"service": "As ever"}, author, loop_id=loop.pk)
    assert not prove().broken


@pytest.mark.parametrize("says_where", [True, False])
def test_what_is_put_back_at_another_address_reaches_nobody(
    used_site: Any,
    tmp_path: Path,
    settings: Any,
    says_where: bool,
    mailoutbox: list[Any],
    capsys: pytest.CaptureFixture[str],
) -> None:
    from registry.models import MailHold, Notice, NoticeKind, Webhook
    from registry.services import notices, webhooks

    settings.WEBHOOK_ORIGINS = ["http://127.0.0.1:1"]
    designer = User.objects.get(username="designer")
    superuser = User.objects.create_superuser("chief", "chief@unlit.example", "Slow-copper-91-lantern")
    hook, _ = webhooks.make(superuser, {"name": "maintenance", "url": "http://127.0.0.1:1/hook", "site": ""})
    ended, _ = webhooks.make(superuser, {"name": "ended", "url": "http://127.0.0.1:1/hook", "site": ""})
    webhooks.end(ended, superuser)
    if not says_where:
        settings.SITE_URL = ""
    made = back_up(tmp_path / "elsewhere.zip")

    # At the same address everything goes on.
    if says_where:
        wipe()
        call_command("restore", str(made.path))
        assert Webhook.objects.get(pk=hook.pk).paused_at is None and not MailHold.objects.exists()
        assert "resume_mail" not in capsys.readouterr().out

    wipe()
    settings.SITE_URL = "https://trial.unlit.example"
    call_command("restore", str(made.path))
    assert "nobody is mailed, and 1 webhooks are paused" in capsys.readouterr().out
    mailoutbox.clear()
    assert Webhook.objects.get(pk=hook.pk).paused_at and not Webhook.objects.get(pk=ended.pk).paused_at
    assert Change.objects.latest("number").detail["what"] == "webhook paused: put back at another address"
    designer = User.objects.get(username="designer")
    notices.send([notices.tell(designer, NoticeKind.WORK, "Held", "/")])
    assert "none is sent (since" in notices.mail_waiting()
    assert not mailoutbox and Notice.objects.filter(subject="Held", mailed_at=None).exists()
    assert webhooks.send_due() == "0 bodies were taken."
    assert not prove().broken

    # A copy of the copy is held as well, though it is put back at its own address.
    again = back_up(tmp_path / "again.zip")
    wipe()
    restore(again.path)
    assert MailHold.objects.exists() and Webhook.objects.get(pk=hook.pk).paused_at

    call_command("resume_mail")
    assert "Mail goes out again: 1 mail sent" in capsys.readouterr().out
    assert [mail.to for mail in mailoutbox] == [[designer.email]]
    call_command("resume_mail")
    assert capsys.readouterr().out == "Mail was not held.\n"


def test_what_needs_no_keeping_is_left_out(backup: Made) -> None:
    with Archive(backup.path) as archive:
        assert not set(archive.tables) & NOT_KEPT
        assert "registry_user" in archive.tables
    assert backup.path.stat().st_mode & 0o077 == 0
    assert [path.name for path in backup.path.parent.iterdir()] == ["site.zip"]


def test_coreutils_agree_about_the_sums(kept: Path, tmp_path: Path) -> None:
    import subprocess

    with zipfile.ZipFile(kept) as archive:
        archive.extractall(tmp_path / "unpacked")
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet", SUMS],
        cwd=tmp_path / "unpacked",
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


# ------------------------------------------------------------------------------------------------------ what is refused


def refused(path: Path, words: str, **options: Any) -> None:
    """A restore is refused with these words, and database and store are as they were."""
    before, stored, there = everything(), files(), triggers()
    with pytest.raises((ArchiveRefused, RestoreRefused), match=words):
        restore(path, **options)
    assert everything() == before
    assert files() == stored
    assert triggers() == there


def test_a_database_in_use_is_refused_unless_told(backup: Made) -> None:
    refused(backup.path, "in use .* --replace")
    User.objects.filter(username="designer").update(full_name="Somebody else")
    restore(backup.path, replace=True)
    assert User.objects.get(username="designer").full_name == "The designer"


def test_the_command_keeps_what_it_replaces(backup: Made, capsys: pytest.CaptureFixture[str]) -> None:
    User.objects.filter(username="designer").update(full_name="Somebody else")
    call_command("restore", str(backup.path), replace=True)
    kept = [path for path in backup.path.parent.iterdir() if path.name.startswith("unlit-")]
    assert len(kept) == 1
    assert str(kept[0]) in capsys.readouterr().out
    restore(kept[0], replace=True)
    assert User.objects.get(username="designer").full_name == "Somebody else"


@pytest.mark.parametrize("part", [0.02, 0.5, 0.97, 0.9999])
def test_a_truncated_archive_is_refused(kept: Path, part: float) -> None:
    content = kept.read_bytes()
    cut = kept.with_name("cut.zip")
    cut.write_bytes(content[: int(len(content) * part)])
    wipe()
    refused(cut, "cut off")


def test_a_flipped_bit_anywhere_is_refused(kept: Path) -> None:
    """In the rows, in a file, in the manifest, in the sums: whatever the unpacker itself notices, or does not."""
    content = kept.read_bytes()
    flipped = kept.with_name("flipped.zip")
    wipe()
    with zipfile.ZipFile(kept) as archive:
        for name in ("rows/registry_user.jsonl", next(n for n in archive.namelist() if "files/" in n), MANIFEST, SUMS):
            entry = archive.getinfo(name)
            start = entry.header_offset + 30 + len(name) + 20
            place = start + entry.compress_size // 2
            flipped.write_bytes(content[:place] + bytes([content[place] ^ 0x10]) + content[place + 1 :])
            refused(flipped, "damaged|cut off")


def test_another_sha256_is_refused(backup: Made) -> None:
    wipe()
    refused(backup.path, "SHA-256 is another", expected="0" * 64)
    assert restore(backup.path, expected=backup.sha256.upper()).rows == backup.rows


def test_a_sum_that_does_not_fit_is_refused(altered: Callable[..., Path]) -> None:
    def change(members: dict[str, bytes]) -> None:
        members["rows/registry_site.jsonl"] = members["rows/registry_site.jsonl"].replace(b"NORTH", b"SOUTH")

    path = altered(change, sums=False)
    wipe()
    refused(path, "damaged")


def test_rows_that_were_exchanged_with_their_sums_do_not_pass_the_proofs(altered: Callable[..., Path]) -> None:
    def change(members: dict[str, bytes]) -> None:
        members["rows/registry_revision.jsonl"] = members["rows/registry_revision.jsonl"].replace(b"28 V", b"29 V")

    path = altered(change)
    wipe()
    refused(path, "is broken itself .*--keep-broken")
    assert restore(path, keep_broken=True).findings.broken


@pytest.mark.parametrize(
    "change, words",
    [
        (in_manifest(format="other"), "no backup of Unlit"),
        (in_manifest(format_version=2), "newer version"),
        (in_manifest(migrations={"registry": ["0001_first", "9999_far_away"]}), "newer schema .*9999_far_away"),
        (in_manifest(migrations={"registry": ["0002_frozen"]}), "without what that rests on"),
        (in_manifest(migrations=[]), "which schema"),
        (in_manifest(tables={}), "not as many as its manifest says"),
        (lambda members: members.pop("rows/registry_site.jsonl"), "tables of its schema: registry_site"),
        (lambda members: members.update({"rows/other_table.jsonl": b"[]\n"}), "tables of its schema: other_table"),
        (lambda members: members.update({"rows/registry_site.jsonl": b""}), "does not name its columns"),
        (lambda members: members.update({"rows/registry_site.jsonl": b'["id"]\n'}), "have the columns"),
        (lambda members: members.update({"rows/registry_site.jsonl": b"["}), "too long, or cut off"),
        (lambda members: members.update({"rows/registry_site.jsonl": b"[NaN]\n"}), "no JSON"),
        (lambda members: members.update({"rows/registry_site.jsonl": b"[" * 100_000 + b"\n"}), "no JSON"),
        (lambda members: members.pop(MANIFEST), "no backup of Unlit"),
        (lambda members: members.update({MANIFEST: b"[1"}), "damaged"),
        (lambda members: members.update({"../outside": b""}), "name that no backup has"),
        (lambda members: members.update({"/etc/outside": b""}), "name that no backup has"),
        (lambda members: members.update({"files/../../outside": b""}), "name that no backup has"),
        (lambda members: members.update({"files/a/..": b""}), "name that no backup has"),
        (lambda members: members.update({"files/.hidden": b""}), "name that no backup has"),
        (lambda members: members.update({"files/a\\b": b""}), "name that no backup has"),
        (lambda members: members.update({"files//etc/passwd": b""}), "name that no backup has"),
        (lambda members: members.update({"rows/registry_site.jsonl/x": b""}), "name that no backup has"),
        (lambda members: members.update({"manage.py": b""}), "name that no backup has"),
    ],
)
def test_an_archive_that_no_backup_is(altered: Callable[..., Path], change: Any, words: str) -> None:
    path = altered(change)
    wipe()
    refused(path, words)
    assert not (path.parent / "outside").exists()


@pytest.mark.parametrize("value", ['"x"', "[]", "null", '{"a":1}', '"9999999999999999999999"'])
def test_a_value_that_no_column_holds(altered: Callable[..., Path], value: str) -> None:
    def change(members: dict[str, bytes]) -> None:
        head, first, *rest = members["rows/registry_site.jsonl"].decode().splitlines()
        row = json.loads(first)
        row[json.loads(head).index("version")] = json.loads(value)
        members["rows/registry_site.jsonl"] = "\n".join([head, json.dumps(row), *rest, ""]).encode()

    path = altered(change)
    wipe()
    refused(path, "version holds what such a column cannot|The database refused")


def test_rows_that_name_what_is_not_there_are_taken_back(altered: Callable[..., Path]) -> None:
    """The database finds it, after rows were put in: all of it is undone."""

    def change(members: dict[str, bytes]) -> None:
        head = members["rows/registry_membership.jsonl"].decode().splitlines()[0]
        members["rows/registry_membership.jsonl"] = (head + "\n").encode()
        counts = json.loads(members[MANIFEST])["tables"]
        in_manifest(tables=counts | {"registry_membership": 0, "registry_user": 0})(members)
        users = members["rows/registry_user.jsonl"].decode().splitlines()[0]
        members["rows/registry_user.jsonl"] = (users + "\n").encode()

    path = altered(change)
    wipe()
    refused(path, "The database refused what was put in, and is as it was")


def test_a_fault_while_files_are_put_in_leaves_nothing(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wipe()
    before = everything()

    def fail() -> None:
        raise OSError("disk full")

    monkeypatch.setattr("deploy.operations.restoring.prove", fail)
    with pytest.raises(OSError, match="disk full"):
        restore(kept)
    assert everything() == before
    assert not files()


def test_a_file_of_another_content_is_not_replaced(altered: Callable[..., Path]) -> None:
    path = altered(lambda members: members.update({"files/works/1-abc": b"one"}))
    wipe()
    default_storage.save("works/1-abc", ContentFile(b"another"))
    refused(path, "holds another file under the name works/1-abc")
    default_storage.delete("works/1-abc")
    default_storage.save("works/1-abc", ContentFile(b"one"))
    restore(path)


def test_a_file_whose_name_proves_that_it_is_damaged_is_mended(backup: Made) -> None:
    row = Attachment.objects.get()
    stored = files()
    wipe()
    default_storage.save(row.path, ContentFile(b"damaged"))
    restore(backup.path)
    assert files() == stored


def test_a_database_with_tables_of_others_is_refused(kept: Path) -> None:
    wipe()
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE somebody_elses (id integer)")
    try:
        refused(kept, "not Unlit's .*somebody_elses", replace=True)
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE somebody_elses")


def test_the_command_says_why_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("restore", str(tmp_path / "nowhere.zip"))
    (tmp_path / "text.zip").write_text("not a ZIP archive")
    with pytest.raises(CommandError, match="no backup, or it is cut off"):
        call_command("restore", str(tmp_path / "text.zip"))


# ------------------------------------------------------------------------------------------------------ how it is made


def test_a_backup_tells_what_is_broken(used_site: Any, tmp_path: Path) -> None:
    row = Attachment.objects.get()
    default_storage.delete(row.path)
    with pytest.raises(CommandError, match="store is damaged") as caught:
        call_command("backup", str(tmp_path), keep=1)
    assert caught.value.returncode == 1
    default_storage.save(row.path, ContentFile(b"other"))
    assert "damaged" in back_up(tmp_path / "second.zip").faults[0]


def test_a_backup_never_replaces_a_file(used_site: Any, tmp_path: Path) -> None:
    (tmp_path / "site.zip").write_text("keep me")
    with pytest.raises(BackupRefused, match="there already"):
        back_up(tmp_path / "site.zip")
    with pytest.raises(BackupRefused, match="cannot be written"):
        back_up(tmp_path / "no such folder" / "site.zip")
    assert (tmp_path / "site.zip").read_text() == "keep me"


def test_a_backup_that_fails_leaves_nothing_behind(
    used_site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr("deploy.operations.backing_up.write_files", fail)
    with pytest.raises(RuntimeError, match="broken"):
        back_up(tmp_path / "site.zip")
    assert not list(tmp_path.iterdir())


def test_only_backups_that_the_command_named_are_deleted(tmp_path: Path) -> None:
    for name in ("unlit-20260101T000000Z.zip", "unlit-20260102T000000Z.zip", "unlit-20260103T000000Z.zip"):
        (tmp_path / name).write_text(name)
    (tmp_path / "unlit-precious.zip").write_text("mine")
    assert [path.name for path in prune(tmp_path, 2)] == ["unlit-20260101T000000Z.zip"]
    assert prune(tmp_path, 0) == []
    assert len(list(tmp_path.iterdir())) == 3


def test_a_backup_holds_one_moment(used_site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is written while the rows are read is not in it: it would name what is not there."""
    from deploy.operations import backing_up

    reads = backing_up.lines_of
    seen = {"written": False}

    def read(model: Any) -> Any:
        if not seen["written"] and model._meta.db_table == "registry_notice":
            seen["written"] = True
            written_elsewhere()
        return reads(model)

    monkeypatch.setattr(backing_up, "lines_of", read)
    users = User.objects.count()
    made = back_up(tmp_path / "site.zip")
    assert seen["written"]
    assert User.objects.count() == users + 1
    with Archive(made.path) as archive:
        assert sum(1 for _ in archive.lines("rows/registry_user.jsonl")) == users + 1
    assert Change.objects.exists()


def written_elsewhere() -> None:
    """Somebody else adds a row, by a connection of their own, and commits."""
    import threading

    from django.db import connections

    def write() -> None:
        User.objects.create(username="latecomer")
        connections["default"].close()

    thread = threading.Thread(target=write)
    thread.start()
    thread.join(30)
    assert not thread.is_alive()
