"""`manage.py verify_store` says that a whole store is whole, and names what somebody altered behind the site's back."""

import io
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from loops.models import Approval, Verification
from registry.digests import digest, mark_of
from registry.models import Change, Revision
from registry.services.changes import Told, chained
from registry.services.proofs import values_of
from reports.models import Sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def tamper() -> Callable[[Callable[[], Any]], None]:
    """`tamper(deed)`: do something that the triggers of the database would refuse."""

    def run(deed: Callable[[], Any]) -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET LOCAL session_replication_role = replica")
                deed()
                cursor.execute("SET LOCAL session_replication_role = origin")
                return
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
            for name, _ in triggers:
                cursor.execute(f'DROP TRIGGER "{name}"')
            deed()
            for _, definition in triggers:
                cursor.execute(definition)

    return run


@pytest.fixture
def store(loop: Any, submit: Any, sign: Any) -> Any:
    """A store with a register, a loop and an issued sheet; gives the sheet."""
    return sign(submit(loop))


def run(*arguments: str) -> str:
    output = io.StringIO()
    call_command("verify_store", *arguments, stdout=output)
    return output.getvalue()


def fault(*arguments: str) -> str:
    with pytest.raises(CommandError) as caught:
        run(*arguments)
    assert caught.value.returncode == 1
    return str(caught.value)


def test_a_whole_store_is_whole(store: Any) -> None:
    text = run()
    assert "All is as it was recorded" in text
    found = json.loads(run("--json"))
    assert found["whole"] and found["broken"] == []
    assert found["checked"]["change log"] == Change.objects.count() == found["end"]["number"]
    assert found["checked"]["revisions"] == Revision.objects.count()
    assert (found["checked"]["approvals"], found["checked"]["sheets"]) == (1, 1)
    assert found["end"]["mark"] in text


def test_an_empty_store_is_whole() -> None:
    assert "change log 0" in run()


def change_of(number: int) -> Any:
    return Change.objects.filter(number=number)


def test_a_revision_that_was_altered(store: Any, tamper: Any) -> None:
    row = Revision.objects.filter(kind="certificate").first()
    assert row is not None
    tamper(lambda: Revision.objects.filter(pk=row.pk).update(snapshot=row.snapshot | {"status": "withdrawn"}))
    assert f"Revision 1 of certificate {row.record_id}" in fault() and "altered" in fault()


def test_a_revision_that_was_altered_together_with_its_digest(store: Any, tamper: Any) -> None:
    """Its own digest fits again; that in the log does not."""
    row = Revision.objects.filter(kind="certificate").first()
    assert row is not None
    content = row.snapshot | {"status": "withdrawn"}
    tamper(lambda: Revision.objects.filter(pk=row.pk).update(snapshot=content, digest=digest(content)))
    assert "is not the one that line" in fault()


def test_a_revision_that_was_deleted(area: Any, author_as: Any, tamper: Any) -> None:
    from registry.services.records import set_archived

    set_archived(area, True, author_as("designer"))
    rows = Revision.objects.filter(kind="area", number=2)
    tamper(lambda: rows._raw_delete(rows.db))
    assert f"Revision 2 of area {area.pk} is missing" in fault()


def test_a_line_that_was_edited(store: Any, tamper: Any) -> None:
    tamper(lambda: change_of(3).update(actor_name="Somebody else"))
    assert "(change log): Line 3 " in fault() and "was altered" in fault()


def test_a_line_that_was_edited_with_its_mark(store: Any, tamper: Any) -> None:
    """A new mark that fits the new content does not fit the next line."""
    row = change_of(3).get()
    values = values_of(row) | {"actor_name": "Somebody else"}
    tamper(lambda: change_of(3).update(actor_name="Somebody else", mark=mark_of(values)))
    assert "Line 4 " in fault() and "does not follow line 3" in fault()


@pytest.mark.parametrize("number", [1, 4])
def test_a_line_that_was_removed(store: Any, tamper: Any, number: int) -> None:
    tamper(lambda: change_of(number)._raw_delete("default"))
    assert f"Line {number} is missing" in fault()


def test_the_end_of_the_log_cut_off(store: Any, tamper: Any) -> None:
    """Line and revision gone together leave a chain that fits: only the mark that was written down tells."""
    end = json.loads(run("--json"))["end"]
    rows = Change.objects.filter(number__gt=end["number"] - 1)
    tamper(lambda: rows._raw_delete(rows.db))
    tamper(lambda: Sheet.objects.all()._raw_delete("default"))
    assert "All is as it was recorded" in run()
    assert "the log was cut" in fault("--expect", f"{end['number']}:{end['mark']}")


def test_a_mark_that_was_written_down_is_found_again(store: Any) -> None:
    end = json.loads(run("--json"))["end"]
    assert "All is as it was recorded" in run("--expect", f"{end['number']}:{end['mark']}")


def test_a_line_that_was_put_in(store: Any, tamper: Any) -> None:
    """Lines 4 and later move up by one; the new line is chained to line 3."""

    def deed() -> None:
        for row in Change.objects.filter(number__gte=4).order_by("-number"):
            Change.objects.filter(pk=row.pk).update(number=row.number + 1)
        chained(Told("change", "certificate", 1, "Never done"), 4, change_of(3).get().mark).save()

    tamper(deed)
    assert "Line 5 " in fault() and "does not follow line 4" in fault()


def test_lines_that_changed_places(store: Any, tamper: Any) -> None:
    def deed() -> None:
        third, fourth = change_of(3).get().pk, change_of(4).get().pk
        for pk, number in ((third, 0), (fourth, 3), (third, 4)):
            Change.objects.filter(pk=pk).update(number=number)

    tamper(deed)
    assert "Line 3 " in fault() and "does not follow line 2" in fault()


def test_a_sheet_whose_bytes_were_altered(store: Any, tamper: Any) -> None:
    tamper(lambda: Sheet.objects.filter(pk=store.pk).update(bytes=bytes(store.bytes) + b" "))
    assert f"The bytes of sheet {store.number} were altered" in fault()


def test_an_approval_whose_digest_was_altered(store: Any, tamper: Any) -> None:
    tamper(lambda: Approval.objects.update(verification_digest="0" * 64))
    assert "does not name the digest of the verification" in fault()
    tamper(lambda: Approval.objects.update(revision_digest="0" * 64))
    assert "does not name the digest of the revision" in fault()


def test_an_approval_that_was_never_given(store: Any, loop: Any, tamper: Any) -> None:
    lines = Change.objects.filter(verb="approve")
    tamper(lambda: lines._raw_delete(lines.db))
    assert any("is not in the change log" in item["fault"] for item in broken())


def broken() -> list[dict[str, str]]:
    output = io.StringIO()
    with pytest.raises(CommandError):
        call_command("verify_store", "--json", stdout=output)
    found: list[dict[str, str]] = json.loads(output.getvalue())["broken"]
    return found


def test_a_verification_whose_result_was_altered(failing_loop: Any, tamper: Any) -> None:
    row = failing_loop.verification
    results = [result | {"verdict": "complies"} for result in row.results]
    tamper(lambda: Verification.objects.filter(pk=row.pk).update(results=results))
    assert f"Verification {row.pk} of loop PT-1102 was altered" in fault()


def point() -> bytes:
    """A picture of one point."""
    from PIL import Image

    output = io.BytesIO()
    Image.new("RGB", (1, 1)).save(output, "PNG")
    return output.getvalue()


def test_an_attached_file_that_was_altered_or_removed(store: Any, certificate: Any, people: Any) -> None:
    from django.core.files.base import ContentFile
    from django.core.files.storage import default_storage

    from registry.services.attachments import attach

    row = attach("certificate", certificate.pk, people["keeper"], name="plate.png", content=point())
    try:
        assert json.loads(run("--json"))["checked"]["files"] == 1
        default_storage.delete(row.path)
        assert "The file is missing in the store" in fault()
        default_storage.save(row.path, ContentFile(point() + b" "))
        assert "File plate.png" in fault() and "differs from the one that was attached" in fault()
        default_storage.delete(row.path)
        default_storage.save(row.path, ContentFile(point()))
        assert "All is as it was recorded" in run()
    finally:
        default_storage.delete(row.path)


def test_an_attachment_whose_row_is_gone(store: Any, certificate: Any, people: Any, tamper: Any) -> None:
    from registry.models import Attachment
    from registry.services.attachments import attach

    attach("certificate", certificate.pk, people["keeper"], name="plate.png", content=point())
    tamper(lambda: Attachment.objects.all()._raw_delete("default"))
    assert f"A file of certificate {certificate.pk} is missing" in fault()
