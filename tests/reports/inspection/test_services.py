"""An inspection from its checklist to its signature, and what it leaves behind."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from loops.services.signing import SignatureRefused
from registry.digests import digest
from registry.models import Attachment, Change, Deed, Notice
from registry.services.attachments import FileRefused
from reports.inspection import services
from reports.inspection.items import GRADES, ITEMS, items
from reports.inspection.models import Defect, Line, SignedInspection
from reports.inspection.services import InspectionRefused, LineFault, LineText
from tests.access.world import picture
from tests.reports.inspection.conftest import DEFECT, seen

pytestmark = pytest.mark.django_db


def line_of(inspection: Any, item: str, subject: str = "") -> Line:
    rows = inspection.lines.filter(item=item)
    return (rows.filter(subject=subject) if subject else rows)[0]


# ---------------------------------------------------------------------------------------------------------- checklist


def test_a_stronger_grade_looks_at_all_that_a_weaker_one_does() -> None:
    """The grades build on one another (IEC 60079-17:2013, clause 3, from memory); what is looked at more closely takes
    the place of the weaker line."""
    found = {grade: {item.key for item in items(grade, initial=False)} for grade in GRADES}
    replaced = {item.key for item in ITEMS if item.not_in}
    assert found["visual"] - replaced <= found["close"]
    assert found["close"] - replaced <= found["detailed"]
    assert len(found["visual"]) < len(found["close"]) < len(found["detailed"])


@pytest.mark.parametrize(
    ("key", "grade"),
    [
        ("documents", "visual"),
        ("barrier", "visual"),
        ("damage", "visual"),
        ("weather", "visual"),
        ("item", "close"),
        ("rating", "close"),
        ("um", "close"),
        ("label", "close"),
        ("connections", "detailed"),
        ("screens", "detailed"),
        ("separation", "detailed"),
        ("condition", "detailed"),
        ("unused", "detailed"),
    ],
)
def test_what_belongs_to_which_grade(key: str, grade: str) -> None:
    """IEC 60079-17:2013, Table 2 (Ex i), from memory."""
    assert next(item.grade for item in ITEMS if item.key == key) == grade


def test_point_to_point_is_looked_at_before_first_use_alone() -> None:
    """IEC 60079-17:2013, Table 2, B5, from memory."""
    assert "point_to_point" in {item.key for item in items("detailed", initial=True)}
    assert "point_to_point" not in {item.key for item in items("detailed", initial=False)}


def test_the_checklist_says_what_should_be_found(loop: Any, begin: Any) -> None:
    inspection = begin(loop)
    plate = line_of(inspection, "nameplate", "PT-1101")
    assert plate.expected == "Ui 30 V · Ii 100 mA · Pi 1 W · Ci 5 nF · Li 10 uH"
    source = line_of(inspection, "nameplate", "PT-1101-B")
    assert "Uo 28 V" in source.expected and "Co (IIC) 83 nF" in source.expected
    item = line_of(inspection, "item", "PT-1101").expected
    assert "Sandpiper Instruments SP-100, terminals +/-" in item and "EXB 19 ATEX 0202 issue 1" in item
    assert "made on 2022-05-01" in item
    assert "II 1 G Ex ia IIC T4 Ga" in line_of(inspection, "rating", "PT-1101").expected
    assert "Zone 1, IIC, T4" in line_of(inspection, "rating", "PT-1101").expected
    assert "Pair 1.5 mm2, 300 m, from Cabinet 1 to PT-1101" in line_of(inspection, "cable").expected
    assert "LD-1101" in line_of(inspection, "documents").expected
    assert "PT-1101-B 250 V" in line_of(inspection, "um").expected
    assert "PT-1101 isolated from earth" in line_of(inspection, "earth_points").expected


def test_it_rests_on_the_issue_in_force_and_says_so_where_there_is_none(
    loop: Any, submit: Any, people: Any, password: str, begin: Any, loop_data: Any
) -> None:
    from loops.services.loops import save_loop
    from registry.services.records import Author
    from reports.services import issue

    assert begin(loop).approval is None
    issue(submit(loop).pk, people["approver"], password, None)
    save_loop(loop_data(tag="PT-1101", length="200 m"), Author(people["designer"], reason="Shorter"), loop_id=loop.pk)
    inspection = begin(loop)
    assert inspection.approval is not None and inspection.approval.letter == "A"
    assert "300 m" in line_of(inspection, "cable").expected


def test_every_specific_condition_is_a_line_with_how_it_is_met(
    device_certificate: Any, save: Any, loop_data: Any, people: Any, begin: Any
) -> None:
    from loops.services import confirmations
    from loops.services.loops import save_loop
    from registry.selectors import record_text
    from registry.services.records import Author

    data = loop_data()
    text = record_text(device_certificate) | {
        "number": "EXB 19 ATEX 0202 X",
        "specific_conditions": "1. Keep the lid closed.\n2. Shield it.",
    }
    save("certificate", text, record_id=device_certificate.pk)
    loop = save_loop(data, Author(people["designer"]))
    matter = next(item for item in confirmations.matters(loop) if item.number == 1 and item.kind == "condition")
    confirmations.confirm(loop.pk, people["designer"], mark=matter.mark, how="A lock.")
    rows = [line.expected for line in begin(loop).lines.filter(item="condition")]
    assert [("condition 1: Keep the lid closed." in row, "A lock." in row) for row in rows] == [
        (True, True),
        (False, False),
    ]
    assert "not on record" in rows[1]


# -------------------------------------------------------------------------------------------------------------- lines


def test_a_line_is_saved_alone_and_told_apart_from_what_others_saved(loop: Any, begin: Any, people: Any) -> None:
    inspection = begin(loop, "visual")
    line = line_of(inspection, "damage")
    opened = services.state_of(line).mark
    services.save_line(inspection.pk, line.pk, people["planner"], LineText("ok"), opened)
    with pytest.raises(LineFault, match="The planner saved this line"):
        services.save_line(inspection.pk, line.pk, people["designer"], LineText("not_checked", "Scaffold."), opened)
    line.refresh_from_db()
    assert (line.result, line.saved_by, inspection.lines.exclude(result="").count()) == ("ok", people["planner"], 1)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (LineText("perfect"), "result"),
        (LineText("defect", priority="1"), "note"),
        (LineText("defect", "Loose"), "priority"),
        (LineText("defect", "Loose", "9"), "priority"),
        (LineText("not_checked"), "note"),
        (LineText("ok", "a\u202eb"), "note"),
    ],
)
def test_what_cannot_be_kept_is_told_beside_its_field(
    typed: LineText, field: str, loop: Any, begin: Any, people: Any
) -> None:
    inspection = begin(loop, "visual")
    line = line_of(inspection, "damage")
    with pytest.raises(LineFault) as refused:
        services.save_line(inspection.pk, line.pk, people["planner"], typed)
    assert set(refused.value.faults) == {field}
    line.refresh_from_db()
    assert line.result == ""


@pytest.mark.parametrize("role", ["approver", "reader", "keeper", "administrator", "superuser", "neighbour"])
def test_planners_and_designers_inspect(role: str, loop: Any, begin: Any, people: Any) -> None:
    with pytest.raises(PermissionDenied):
        begin(loop, by=role)
    inspection = begin(loop, "visual", by="designer")
    with pytest.raises(PermissionDenied):
        services.save_line(inspection.pk, inspection.lines.first().pk, people[role], LineText("ok"))


# ------------------------------------------------------------------------------------------------------------- photos


def test_a_photo_is_checked_and_kept_under_its_digest(loop: Any, begin: Any, people: Any) -> None:
    inspection = begin(loop, "visual")
    line = line_of(inspection, "damage")
    photo = services.add_photo(inspection.pk, line.pk, people["planner"], name="../x.exe", content=picture())
    assert (photo.kind, photo.record_id, photo.name) == ("inspection", line.pk, "x.exe.png")
    assert photo.sha256 == hashlib.sha256(picture()).hexdigest()
    told = Change.objects.filter(verb=Deed.ATTACH).order_by("-number").first()
    assert told is not None and (told.kind, told.site_id) == ("inspection", loop.site_id)
    with pytest.raises(FileRefused):
        services.add_photo(inspection.pk, line.pk, people["planner"], name="a.png", content=b"<svg/>")
    services.retire_photo(inspection.pk, photo.pk, people["planner"], reason="Another loop.")
    assert Attachment.objects.filter(retirement=None).count() == 0


# ---------------------------------------------------------------------------------------------------------- signature


def test_signing_needs_a_result_on_every_line(loop: Any, begin: Any, people: Any, password: str) -> None:
    inspection = begin(loop, "visual")
    with pytest.raises(InspectionRefused, match="no result yet"):
        services.sign(inspection.pk, people["planner"], password)
    assert not SignedInspection.objects.exists()


def test_signing_needs_the_password(loop: Any, begin: Any, fill: Any, people: Any) -> None:
    inspection = fill(begin(loop, "visual"))
    with pytest.raises(SignatureRefused):
        services.sign(inspection.pk, people["planner"], "wrong", shown=seen(inspection))
    assert not SignedInspection.objects.exists()


def test_a_signed_inspection_is_a_record_that_nobody_changes(
    loop: Any, signed: Any, people: Any, password: str
) -> None:
    record = signed(loop, "close", glands=DEFECT)
    assert record.digest == digest(record.content)
    assert (record.printed_name, record.content["inspector"]) == ("The planner", "The planner")
    assert record.defect_count == 1 and record.is_complete
    line = next(row for row in record.content["lines"] if row["result"] == "defect")
    assert (line["item"], line["note"], line["priority"]) == ("glands", "The gland is loose.", "2")
    for deed in ("update", "delete"):
        rows = SignedInspection.objects.filter(pk=record.pk)
        with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
            rows.update(printed_name="Somebody else") if deed == "update" else rows._raw_delete(rows.db)
    with pytest.raises(InspectionRefused, match="is signed"):
        services.save_line(record.inspection_id, record.inspection.lines.first().pk, people["planner"], LineText("ok"))
    with pytest.raises(InspectionRefused, match="is signed"):
        services.sign(record.inspection_id, people["planner"], password)
    told = Change.objects.get(kind="inspection", verb=Deed.INSPECT)
    assert (told.digest, told.site_id, told.detail["defects"]) == (record.digest, loop.site_id, 1)


def test_the_photos_stand_in_the_record_by_their_digest(
    loop: Any, begin: Any, fill: Any, people: Any, password: str
) -> None:
    inspection = begin(loop, "visual")
    line = line_of(inspection, "damage")
    photo = services.add_photo(inspection.pk, line.pk, people["planner"], name="a.png", content=picture())
    record = services.sign(fill(inspection).pk, people["planner"], password, shown=seen(inspection))
    kept = next(row for row in record.content["lines"] if row["item"] == "damage")["photos"]
    assert kept == [{"name": "a.png", "sha256": photo.sha256}]


def test_what_was_not_checked_leaves_the_inspection_incomplete(loop: Any, signed: Any) -> None:
    record = signed(loop, "visual", damage={"result": "not_checked", "note": "Behind a scaffold."})
    assert not record.is_complete and record.next_due_on is None


def test_an_inspection_that_is_given_up_leaves_no_record(loop: Any, begin: Any, people: Any) -> None:
    inspection = begin(loop, "visual")
    with pytest.raises(InspectionRefused, match="why"):
        services.give_up(inspection.pk, people["planner"], text="")
    services.give_up(inspection.pk, people["planner"], text="The unit was started.")
    with pytest.raises(InspectionRefused, match="given up"):
        services.save_line(inspection.pk, inspection.lines.first().pk, people["planner"], LineText("ok"))
    assert Change.objects.get(kind="inspection").verb == Deed.DISCARD
    assert not Defect.objects.exists() and not Notice.objects.exists()
