"""A keeper's day: a certificate arrives, its values are typed in, corrected, doubted, superseded and found again."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from registry.models import Certificate, Equipment
from tests.registry.pages import form_of

pytestmark = pytest.mark.django_db


def fill(client: Any, address: str, follow: bool = True, **typed: str) -> Any:
    """Open a form, type into it and save it; names are written with __ for the dots."""
    form = form_of(client.get(address)) | {name.replace("__", "."): value for name, value in typed.items()}
    return client.post(address.partition("?")[0], form, follow=follow)


def test_from_the_certificate_to_the_corrected_record(people: Any, client_as: Any) -> None:
    keeper, reader = client_as("keeper"), client_as("reader")

    # 1. The certificate comes first, and is found by its number.
    saved = fill(
        keeper,
        reverse("certificate_new"),
        scheme="ATEX",
        number="EXA 24 ATEX 0404 X",
        specific_conditions="Protect it against impact.\nKeep the lid closed.",
    )
    assert "Saved as revision 1" in saved.content.decode()
    certificate = Certificate.objects.get()
    found = reader.get(reverse("search"), {"q": "exa 24 atex 0404 x"}, follow=True)
    assert found.redirect_chain[0][0] == reverse("certificate", args=[certificate.pk])
    assert "Keep the lid closed." in found.content.decode()

    # 2. The source: a slip in the unit is refused and mended, a doubtful value is saved and doubted.
    start = reverse("equipment_new") + "?kind=source"
    typed = {
        "maker": "Northlight Barriers",
        "type_name": "NB-22",
        "marking": "II (1) G [Ex ia Ga] IIC",
        "terminals__0__name": "1-2",
        "terminals__0__output": "linear",
        "terminals__0__level": "ia",
        "terminals__0__gas_group": "IIC",
        "terminals__0__certificate": "EXA 24 ATEX 0404 X issue 0",
        "terminals__0__uo_v": "22 V",
        "terminals__0__io_a": "146,7 mA",
        "terminals__0__po_w": "807 W",
        "terminals__0__ro_ohm": "150",
        "terminals__0__permitted__0__group": "IIC",
        "terminals__0__permitted__0__co_f": "165 nF",
        "terminals__0__permitted__0__lo_h": "not stated",
    }
    refused = fill(keeper, start, **typed)
    assert refused.status_code == 400
    (error,) = refused.context["errors"]
    assert (error["label"], error["id"]) == ("Terminals 1-2, Ro", "f-terminals-0-ro_ohm")
    assert "for example 150 ohm" in error["text"]
    mended = form_of(refused) | {"terminals.0.ro_ohm": "150 ohm"}
    page = keeper.post(reverse("equipment_new"), mended, follow=True).content.decode()
    record = Equipment.objects.get()
    assert "Po 807 W is more than Uo·Io" in page
    assert "146.7 mA" in page and "146,7 mA" in page
    assert "not stated" in page and "unknown" in page

    # 3. The doubt was right: 807 mW, and the history says who, what and why.
    page = fill(
        keeper,
        reverse("equipment_edit", args=[record.pk]),
        terminals__0__po_w="807 mW",
        _reason="Unit mistyped",
    ).content.decode()
    assert "more than Uo·Io" not in page
    history = reader.get(reverse("equipment_history", args=[record.pk])).content.decode()
    for text in ("Terminals 1-2, Po", "<del>807 W</del>", "<ins>807 mW</ins>", "The keeper", "Unit mistyped"):
        assert text in history

    # 4. The certificate is superseded: the record and the list say so.
    fill(keeper, reverse("certificate_edit", args=[certificate.pk]), status="superseded", _reason="Issue 1 is out")
    assert "Superseded" in reader.get(reverse("equipment", args=[record.pk])).content.decode()
    listed = reader.get(reverse("equipment_list"), {"status": "superseded"}).content.decode()
    assert "NB-22" in listed

    # 5. It is made no more: archived it leaves the list, and is found again, and comes back.
    fill(keeper, reverse("equipment_archive", args=[record.pk]), _reason="Made no more")
    assert "NB-22" not in reader.get(reverse("equipment_list")).content.decode()
    assert "NB-22" in reader.get(reverse("equipment_list"), {"archived": "only"}).content.decode()
    assert "NB-22" in reader.get(reverse("search"), {"q": "NB-2"}).content.decode()
    fill(keeper, reverse("equipment_restore", args=[record.pk]), _reason="Made again")
    assert "NB-22" in reader.get(reverse("equipment_list")).content.decode()


def test_two_keepers_at_once_lose_nothing(source: Any, people: Any, client_as: Any) -> None:
    address = reverse("equipment_edit", args=[source.pk])
    keeper, designer = client_as("keeper"), client_as("designer")
    first, second = form_of(keeper.get(address)), form_of(designer.get(address))
    first |= {"terminals.0.uo_v": "27 V", "_reason": "Issue 2"}
    second |= {"terminals.0.permitted.0.co_f": "80 nF", "notes": "Seen on site", "_reason": "Nameplate"}
    assert keeper.post(address, first).status_code == 302
    clash = designer.post(address, second)
    assert clash.status_code == 409
    assert "Nothing of yours is saved yet, and nothing is lost" in clash.content.decode()
    assert designer.post(address, form_of(clash)).status_code == 302
    terminals = source.terminals.get()
    source.refresh_from_db()
    assert (terminals.uo_v_text, terminals.permitted.get().co_f_text, source.notes) == ("27 V", "80 nF", "Seen on site")


def test_a_changed_source_tells_its_loops_apart_by_revision(loop: Any, source: Any, client_as: Any) -> None:
    """The register never alters what a loop was judged with: the loop keeps its pin until somebody refreshes it."""
    from loops.services.loops import changed_pins

    assert changed_pins(loop) == []
    change = {"terminals__0__uo_v": "27 V", "_reason": "Issue 2"}
    edit = reverse("equipment_edit", args=[source.pk])
    fill(client_as("keeper"), edit, **change)
    assert changed_pins(loop) == []  # what it does to loops is shown first
    fill(client_as("keeper"), edit, **change, _confirmed="1")
    assert changed_pins(loop) == [str(source)]
