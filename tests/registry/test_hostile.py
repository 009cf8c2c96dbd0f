"""Whatever is sent to a form of the register, the answer is a page: never a 5xx, and never a half-saved record."""

from __future__ import annotations

import copy
from typing import Any
from urllib.parse import urlencode

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.differences import canonical, lay_over, leaves
from registry.entries import ENTRIES, EquipmentEntry
from registry.models import Equipment, Revision
from registry.services.records import EntryRefused
from registry.views.forms import add_or_remove, drop_blank_rows, error_list, form_tree, labels_of, nest
from tests.registry.pages import form_of

NAMES = [
    "kind", "maker", "type_name", "marking", "terminals", "terminals.0", "terminals.0.id", "terminals.0.name",
    "terminals.0.side", "terminals.0.uo_v", "terminals.0.certificate", "terminals.0.permitted",
    "terminals.0.permitted.0.group", "terminals.0.permitted.0.together", "terminals.0.permitted.x.group",
    "terminals.1.name", "terminals.99999.permitted.0.x", "terminals.0.0.0.0", "terminals..name", ".", "..", "id", "",
    "a.b.c.d.e.f.g.h.i.j.k.l", "_version", "_revision", "_reason", "_add", "_remove", "_duplicate",
    "csrfmiddlewaretoken", "terminals.00.name", "terminals.0.temperature_classes.0.temperature_class", "scheme",
    "number", "issue",
    "valid_to", "issued_on", "status", "site", "zone", "group", "name", "code", "time_zone", "schemes",
    "capacitance_f_per_m", "screen", "email", "is_active", "password", "again", "role.1.reader",
]  # fmt: skip
VALUES = [
    "", " ", "28 V", "28", "0", "-1", "not stated", "NOT  STATED", "\x00", "a\x00b", "\ud800", "\u202e", "²",
    "٣", "9" * 5000, "terminals", "terminals.0", "terminals.0.permitted", "terminals.0.permitted.0", "source", "device",
    "IIC", "ia",
    "on", "off", "<script>", "1e999 V", "9**9**9 V", "2026-02-30", "0001-01-01", "9999-12-31", "'; DROP TABLE", "../..",
    "None", "[]", "{}", "1,500 V", "T4", "135 degC", "UTC", "NORTH", "\r\n", "x" * 4000,
]  # fmt: skip
TEXTS = st.one_of(st.sampled_from(VALUES), st.text(max_size=40))
PATHS = st.one_of(
    st.sampled_from(NAMES),
    st.lists(st.sampled_from(["terminals", "permitted", "0", "1", "name", "id", "x", ""]), max_size=10).map(".".join),
)
BODIES = st.dictionaries(PATHS, TEXTS, max_size=14)


def encodable(body: dict[str, str]) -> dict[str, bytes]:
    """As a hostile client would send it: lone surrogates too."""
    return {name.encode("utf-8", "surrogatepass").decode("utf-8", "replace"): value.encode("utf-8", "surrogatepass")
            for name, value in body.items()}  # fmt: skip


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=BODIES, other=st.integers(0, 6))
@pytest.mark.django_db
def test_no_body_breaks_a_form(
    body: dict[str, str], other: int, source: Any, area: Any, cable_type: Any, client_as: Any
) -> None:

    client = fuzz_client(client_as)
    valid = form_of(client.get(reverse("equipment_edit", args=[source.pk])))
    sent = urlencode(encodable(body))
    over = urlencode(encodable(valid | {"_reason": "x"} | body))
    before = Revision.objects.count()
    others = (
        reverse("equipment_new"),
        reverse("certificate_new"),
        reverse("cable_type_edit", args=[cable_type.pk]),
        reverse("area_edit", args=[area.pk]),
        reverse("site_edit", args=[area.site_id]),
        reverse("equipment_archive", args=[source.pk]),
        reverse("person_new"),
    )
    for address, data in ((reverse("equipment_edit", args=[source.pk]), over), (others[other], sent)):
        answer = client.post(address, data, content_type="application/x-www-form-urlencoded")
        assert answer.status_code in (200, 302, 400, 409), (address, body)
        if answer.status_code != 302:
            assert Revision.objects.count() == before, "a form that comes back saved nothing"
        before = Revision.objects.count()
    for record in Equipment.objects.all():
        assert Revision.objects.filter(kind="equipment", record_id=record.pk).exists()


def fuzz_client(client_as: Any) -> Any:
    client = client_as("administrator")
    client.raise_request_exception = True
    return client


@settings(max_examples=300, deadline=None)
@given(body=BODIES, command=st.sampled_from(["_add", "_remove", "_duplicate"]), value=TEXTS)
@pytest.mark.django_db
def test_no_text_breaks_the_way_between_form_and_nested_text(body: dict[str, str], command: str, value: str) -> None:
    data = nest(body)
    add_or_remove(data, command, value, EquipmentEntry)
    data = drop_blank_rows(copy.deepcopy(data), EquipmentEntry)
    tree = form_tree(EquipmentEntry, data, {"maker": ["x"]})
    labels_of(tree)
    error_list({"maker": ["x"]}, labels_of(tree))
    plain = canonical(EquipmentEntry, data)
    leaves(EquipmentEntry, plain)
    assert canonical(EquipmentEntry, lay_over(EquipmentEntry, None, plain, plain)).keys() == plain.keys()


HUGE = {
    "a value of a megabyte": {"maker": "x" * 1_000_000},
    "a number of a megabyte": {"terminals.0.uo_v": "9" * 1_000_000},
    "a key of a megabyte": {"x" * 1_000_000: "1"},
    "many rows": {f"terminals.{number}.name": str(number) for number in range(4_000)},
    "many rows within a row": {f"terminals.0.permitted.{number}.group": "IIC" for number in range(4_000)},
    "deep paths": {".".join(["terminals", "0"] * 200): "x"},
    "five thousand unknown names": {f"n{number}": "x" for number in range(4_990)},
}


@pytest.mark.django_db
@pytest.mark.parametrize("case", HUGE)
def test_huge_bodies_come_back_as_a_page(case: str, source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    address = reverse("equipment_edit", args=[source.pk])
    form = form_of(client.get(address)) | {"_reason": "x"} | HUGE[case]
    answer = client.post(address, form)
    assert answer.status_code == 400
    assert Revision.objects.filter(kind="equipment").count() == 1


@pytest.mark.django_db
def test_more_fields_or_bytes_than_are_read_are_a_400(people: Any, client_as: Any) -> None:
    client = client_as("keeper")
    client.raise_request_exception = False
    assert client.post(reverse("equipment_new"), {f"n{n}": "x" for n in range(5_001)}).status_code == 400
    too_much = "maker=" + "x" * 3_000_000
    kind = "application/x-www-form-urlencoded"
    assert client.post(reverse("equipment_new"), too_much, content_type=kind).status_code == 400


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["application/json", "text/plain", "multipart/form-data; boundary=x", ""])
def test_a_body_of_another_kind_is_an_empty_form(kind: str, people: Any, client_as: Any) -> None:
    client = client_as("keeper")
    client.raise_request_exception = False
    assert client.post(reverse("equipment_new"), b'{"maker": ["x"]}', content_type=kind).status_code == 400


@pytest.mark.django_db
def test_a_refusal_in_the_middle_of_a_save_leaves_nothing(source_data: Any, save: Any, client_as: Any) -> None:
    """The second set of terminals breaks a rule of the database: neither the item nor the first set is stored."""
    rows = [source_data["terminals"][0], source_data["terminals"][0] | {"name": "1-2 "}]
    with pytest.raises(EntryRefused):
        save("equipment", source_data | {"terminals": rows})
    assert not Equipment.objects.exists()
    assert set(ENTRIES) == {"equipment", "certificate", "scheme", "cable_type", "site", "area"}
