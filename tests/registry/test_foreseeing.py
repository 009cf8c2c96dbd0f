"""Before a change of a record that loops rest on is saved, a page says what it does to them."""

from typing import Any

import pytest

from loops.models import Verification
from loops.services import uses
from registry.models import Change, Notice, Revision
from registry.services.proposals import effects_of
from registry.services.records import Author, EntryRefused, StaleRecord

pytestmark = pytest.mark.django_db


def flat(data: Any, path: str = "") -> dict[str, str]:
    """Nested text as a form sends it."""
    rows = data.items() if isinstance(data, dict) else enumerate(data)
    found: dict[str, str] = {}
    for name, value in rows:
        found |= flat(value, f"{path}{name}.") if isinstance(value, dict | list) else {f"{path}{name}": value}
    return found


def with_co(source_data: dict[str, Any], co: str) -> dict[str, Any]:
    source_data["terminals"][0]["permitted"][0]["co_f"] = co
    return source_data


@pytest.fixture
def lower(source_data: dict[str, Any]) -> dict[str, Any]:
    """The source with a Co of 30 nF: the loop of 300 m needs 38 nF."""
    return with_co(source_data, "30 nF")


def posted(record: Any, data: dict[str, Any], **more: str) -> dict[str, str]:
    number = Revision.objects.filter(kind=record.record_kind, record_id=record.pk).count()
    fields = {"_version": str(record.version), "_revision": str(number), "_reason": "Issue 1 of the certificate"}
    return flat(data) | fields | more


def stored() -> tuple[int, int, int, int]:
    return tuple(model.objects.count() for model in (Revision, Verification, Change, Notice))  # type: ignore[return-value]


def test_effects_name_the_loops_that_fail_and_why(loop: Any, source: Any, lower: Any, people: Any) -> None:
    before = stored()
    found = effects_of("equipment", lower, Author(people["designer"]), record_id=source.pk)
    assert (found.count, found.judged, found.elsewhere) == (1, 1, 0)
    (effect,) = found.touched
    assert (effect.tag, effect.before, effect.after) == ("PT-1101", "complies", "does_not_comply")
    assert "30 nF" in effect.limiting and effect.margin_before > 0 > effect.margin_after
    assert stored() == before
    source.refresh_from_db()
    assert source.terminals.get().permitted.get().co_f_text == "83 nF"


def test_effects_are_counted_at_other_sites_and_not_shown(loop: Any, source: Any, lower: Any, people: Any) -> None:
    found = effects_of("equipment", lower, Author(people["neighbour"]), record_id=source.pk)
    assert (found.touched, found.elsewhere, found.matter) == ((), 1, True)


def test_a_change_that_touches_no_case_does_not_matter(loop: Any, source: Any, source_data: Any, people: Any) -> None:
    author = Author(people["designer"])
    assert not effects_of("equipment", source_data | {"notes": "New"}, author, record_id=source.pk).matter
    assert not effects_of("equipment", source_data, author, record_id=source.pk).matter


def test_what_is_refused_at_a_save_is_refused_here(loop: Any, source: Any, source_data: Any, people: Any) -> None:
    author = Author(people["designer"])
    with pytest.raises(EntryRefused):
        effects_of("equipment", with_co(source_data, "30 apples"), author, record_id=source.pk)
    with pytest.raises(StaleRecord):
        effects_of("equipment", with_co(source_data, "30 nF"), author, record_id=source.pk, opened_version=0)


def test_an_area_and_a_site_are_foreseen_too(loop: Any, area: Any, site: Any, people: Any, monkeypatch: Any) -> None:
    from tests.conftest import AREA

    author = Author(people["administrator"])
    data = AREA | {"site": str(site.pk), "ambient_max_degc": "75 degC"}
    (effect,) = effects_of("area", data, author, record_id=area.pk).touched
    assert effect.after == "does_not_comply"
    data = {"code": "NORTH", "name": "North works", "basis": "IEC", "time_zone": "UTC", "schemes": "IECEx"}
    data |= {"safe_ambient_max_degc": "40 degC", "safe_voltage_max_v": "250 V"}
    (effect,) = effects_of("site", data, author, record_id=site.pk).touched
    assert effect.after == "does_not_comply"


def test_only_so_many_loops_are_judged_while_somebody_waits(
    make_loop: Any, source: Any, lower: Any, people: Any, monkeypatch: Any
) -> None:
    for number in range(3):
        make_loop(tag=f"PT-{number}")
    from registry.services.proposals import propose

    record, content, differs = propose("equipment", lower, Author(people["designer"]), record_id=source.pk)
    assert differs
    found = uses.foresee({("equipment", source.pk): (record, content)}, [], most=2)
    assert (found.count, found.judged) == (3, 2)
    assert found.matter


def test_the_page_asks_first_then_saves(loop: Any, source: Any, lower: Any, client_as: Any) -> None:
    client = client_as("designer")
    address = f"/equipment/{source.pk}/edit/"
    before = stored()
    answer = client.post(address, posted(source, lower))
    text = answer.content.decode()
    assert answer.status_code == 200 and stored() == before
    assert "1 loop would have another verdict." in text and "1 of them would have a worse one." in text
    assert 'name="_confirmed"' in text and 'value="30 nF"' in text
    back = client.post(address, posted(source, lower, _back="1"))
    assert back.status_code == 200 and 'value="30 nF"' in back.content.decode() and stored() == before
    saved = client.post(address, posted(source, lower, _confirmed="1"))
    assert saved.status_code == 302
    assert Revision.objects.filter(kind="equipment", record_id=source.pk).count() == 2


def test_a_change_that_does_not_matter_is_saved_at_once(
    loop: Any, source: Any, source_data: Any, client_as: Any
) -> None:
    answer = client_as("designer").post(
        f"/equipment/{source.pk}/edit/", posted(source, source_data | {"notes": "In cabinet 4"})
    )
    assert answer.status_code == 302


def test_the_page_of_a_record_says_what_each_loop_was_judged_with(
    loop: Any, source: Any, lower: Any, save: Any, client_as: Any
) -> None:
    client = client_as("reader")
    address = f"/equipment/{source.pk}/"
    assert "revision 1</td>" in client.get(address).content.decode()
    save("equipment", lower, record_id=source.pk)
    text = client.get(address).content.decode()
    assert "revision 1; 2 is newer" in text and "Complies" in text


def test_the_check_of_a_table_foresees_what_it_does_to_loops(
    loop: Any, source: Any, people: Any, client_as: Any
) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    from registry.models import Equipment, Origin
    from registry.services.imports import export_file, import_file

    table = export_file("equipment", Equipment.objects.filter(pk=source.pk), "csv").replace(b"83 nF", b"30 nF")
    author = Author(people["designer"], Origin.IMPORT)
    before = stored()
    found = import_file(table, author).effects
    assert found is not None and [(effect.tag, effect.after) for effect in found.touched] == [
        ("PT-1101", "does_not_comply")
    ]
    page = client_as("designer").post("/import/", {"file": SimpleUploadedFile("table.csv", table), "check": "1"})
    assert "1 loop would have another verdict." in page.content.decode()
    assert stored() == before
    assert import_file(table, author, commit=True).effects is None
    loop.refresh_from_db()
    assert Notice.objects.filter(person=people["designer"], kind="basis").count() == 1


# ------------------------------------------------------------------------------- more loops than one waits for


@pytest.fixture
def two_judged(monkeypatch: Any) -> None:
    """A page judges two loops, no more."""
    monkeypatch.setattr(effects_of, "__kwdefaults__", effects_of.__kwdefaults__ | {"most": 2})


def test_all_loops_are_judged_later_and_the_person_is_told(
    make_loop: Any, source: Any, lower: Any, client_as: Any, two_judged: None
) -> None:
    for number in range(3):
        make_loop(tag=f"PT-{number}")
    client = client_as("designer")
    address = f"/equipment/{source.pk}/edit/"
    page = client.post(address, posted(source, lower)).content.decode()
    assert "Have all 3 loops judged" in page and "1 more is judged after the save" in page
    before = stored()
    answer = client.post(address, posted(source, lower, _judge_all="1"))
    text = answer.content.decode()
    assert answer.status_code == 200 and "All of these loops are being judged." in text
    assert "Have all 3 loops judged" not in text and 'value="30 nF"' in text
    assert stored()[:3] == before[:3]  # nothing is saved; only the notice is new
    notice = Notice.objects.get(kind="foreseen")
    assert notice.link == f"/equipment/{source.pk}/"
    assert notice.subject == (
        f"{source}, not saved: 3 loops were judged, 3 would have another verdict, 3 a worse one (PT-0, PT-1, PT-2)."
    )


def test_a_change_that_has_become_impossible_meanwhile_is_told_as_such(loop: Any, source: Any, people: Any) -> None:
    from registry.tasks import foretell_change

    foretell_change.enqueue(people["designer"].pk, "equipment", {"maker": ""}, source.pk, source.version, "NB-28")
    foretell_change.enqueue(people["reader"].pk, "equipment", {"maker": ""}, source.pk, source.version, "NB-28")
    assert Notice.objects.filter(kind="foreseen", subject__startswith="NB-28, not saved: ").count() == 2


def test_a_table_is_judged_later_too(loop: Any, source: Any, client_as: Any) -> None:
    import base64

    from registry.models import Equipment
    from registry.services.imports import export_file

    table = export_file("equipment", Equipment.objects.filter(pk=source.pk), "csv").replace(b"83 nF", b"30 nF")
    before = stored()
    sent = {"carried": base64.b64encode(table).decode(), "carried_name": "low.csv", "_judge_all": "1"}
    assert client_as("designer").post("/import/", sent).status_code == 200
    assert stored()[:3] == before[:3]
    notice = Notice.objects.get(kind="foreseen")
    assert notice.subject == (
        "low.csv, not saved: 1 loop was judged, 1 would have another verdict, 1 a worse one (PT-1101)."
    )
