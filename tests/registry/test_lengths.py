"""Lengths in the unit of the site: 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959)."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from registry.lengths import in_feet, in_site_unit, lengths_in, permitted_length, typed_length
from registry.models import Site
from registry.selectors import record_text


def test_feet_are_exact_and_a_permitted_length_is_never_rounded_up() -> None:
    assert in_feet(Decimal("30.48")) == "100 ft"
    assert in_feet(Decimal("0.3048")) == "1 ft"
    # 3280.8399 ft make 1000 m: cut to whole feet, 3280 ft are 999.744 m.
    assert permitted_length(1000, "ft") == "3280 ft (1000 m)"
    assert in_site_unit(Decimal(1000), "ft") == "3280.8 ft (1000 m)"


@pytest.mark.parametrize(
    "typed, metric, imperial",
    [
        ("180 m", "180 m", "180 m (590.6 ft)"),
        ("0.18 km", "0.18 km", "0.18 km (590.6 ft)"),
        ("590 ft", "590 ft (179.832 m)", "590 ft"),
        ("1 mi", "1 mi (1609.344 m)", "1 mi"),
        ("2 in", "2 in (50.8 mm)", "2 in"),
        ("", "", ""),
        ("not a length", "not a length", "not a length"),
    ],
)
def test_what_was_typed_keeps_its_unit(typed: str, metric: str, imperial: str) -> None:
    assert typed_length(typed, "m") == metric
    assert typed_length(typed, "ft") == imperial


def test_only_lengths_of_a_sentence_are_put_into_feet() -> None:
    sentence = "Cable W-1 of at most 88 m would pass; 0.65 mH/km, 20 mA, 3.3 m/s and 110 nF/m stay."
    told = lengths_in(sentence, "ft")
    assert told.startswith("Cable W-1 of at most 288 ft (88 m) would pass; 0.65 mH/km, 20 mA, 3.3 m/s and 110 nF/m")
    assert lengths_in(sentence, "m") == sentence


@pytest.fixture
def imperial(site: Any, save: Any) -> Site:
    """The site of the records, once its administrator chose feet."""
    save("site", record_text(site) | {"length_unit": "ft"}, by="administrator", record_id=site.pk)
    return Site.objects.get(pk=site.pk)


@pytest.mark.django_db
def test_pages_of_a_site_in_feet(failing_loop: Any, imperial: Site, client_as: Any) -> None:
    assert imperial.length_unit == "ft"
    length = failing_loop.circuits.get().cables.get().length_m_text
    longest = failing_loop.verification.results[0]["max_length"]["length"]
    page = client_as("designer").get(f"/loops/{failing_loop.pk}/").content.decode()
    assert typed_length(length, "ft") in page
    assert permitted_length(int(longest.removesuffix(" m")), "ft") in page
    schedule = client_as("reader").get(reverse("cable_run_list")).content.decode()
    assert typed_length(length, "ft") in schedule
    # No proof rests on the unit: nothing has to be judged again.
    assert "Judge the loop again" not in page
    assert "feet" in client_as("reader").get(reverse("site", args=[imperial.pk])).content.decode()


@pytest.mark.django_db
def test_the_sheet_of_a_site_in_feet(loop: Any, imperial: Site) -> None:
    from reports.sheets.build import sheet_content

    loop.refresh_from_db()
    content = sheet_content(loop, loop.verification.revision, loop.verification, None)
    circuit = content.circuits[0]
    assert circuit.cables[0].length.endswith(" ft)") and circuit.plan.runs[0].length.endswith(" ft)")
    assert " ft (" in circuit.longest


@pytest.mark.django_db
def test_a_naked_length_is_refused_and_feet_are_echoed_in_both(imperial: Site, client_as: Any) -> None:
    client = client_as("designer")
    assert "Add the unit" in client.get("/read/length/", {"q": "300"}).content.decode()
    assert client.get("/read/length/", {"q": "100 ft"}).content.decode() == "Read as 100 ft = 30.48 m"
    assert client.get("/read/length/", {"q": "0.3 km"}).content.decode() == "Read as 300 m"
