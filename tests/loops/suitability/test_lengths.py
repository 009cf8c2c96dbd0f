"""A site in feet reads lengths so where candidates, changes and studies are looked at: 1 ft is 0.3048 m."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from loops.services.suitability.substitution import SUBSTITUTION
from registry.lengths import permitted_length, typed_length
from registry.models import Site, Work
from registry.services import works
from tests.loops.suitability.test_answers import other  # noqa: F401  a fixture
from tests.loops.suitability.test_impact import asked
from tests.registry.test_lengths import imperial  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db


@pytest.fixture
def longest(failing_loop: Any, imperial: Site) -> str:  # noqa: F811
    """The longest cable of the failing loop, as its site reads it: "2362 ft (720 m)"."""
    length = failing_loop.verification.results[0]["max_length"]["length"]
    told = permitted_length(Decimal(length.removesuffix(" m")), imperial.length_unit)
    assert " ft (" in told
    return told


def test_a_study(failing_loop: Any, longest: str, client_as: Any) -> None:
    run = failing_loop.circuits.get().cables.get()
    address = reverse("loop_studies", args=[failing_loop.pk])
    page = client_as("designer").post(address, {f"B.c{run.pk}.length_m": "500 m"}).content.decode()
    assert f"{longest}, " in page, "the longest last run"
    assert f"of at most {longest}" in page, "what would cure it"
    assert typed_length("1000 m", "ft") in page and typed_length("500 m", "ft") in page, "what changes"


def test_the_room_of_candidates(failing_loop: Any, longest: str, other: Any, client_as: Any) -> None:  # noqa: F811
    candidate = other("SP-SAME", ci_f="5 nF", li_h="0 H")
    item = failing_loop.circuits.get().members.get(role="device")
    client = client_as("planner")
    words = f"of at most {longest}"
    assert words in client.get(reverse("suits_loop", args=[failing_loop.pk])).content.decode()
    nearly = client.get(reverse("suits_item", args=[failing_loop.pk, item.pk])).content.decode()
    assert re.search(r"at most \d+ ft \(\d+ m\)", nearly), "what would make it suit"
    way = str(candidate.terminals.get().pk)
    page = client.get(reverse("suits_check", args=[failing_loop.pk, item.pk, way])).content.decode()
    assert re.search(r"at most \d+ ft \(\d+ m\)", page)


def test_sources_for_devices(loop: Any, imperial: Site, area: Any, client_as: Any) -> None:  # noqa: F811
    device = loop.circuits.get().members.get(role="device").terminals
    sent = {"device": str(device), "area": f"{imperial.code}: {area.name}"}
    page = client_as("designer").get(reverse("suits_sources"), sent).content.decode()
    assert re.search(r"<strong>\d+ ft \(\d+ m\)</strong>", page)


def test_impact_and_substitution(failing_loop: Any, longest: str, other: Any, people: Any, client_as: Any) -> None:  # noqa: F811
    client = client_as("designer")
    cable = failing_loop.circuits.get().cables.get().cable_type
    work = asked(client, "cable_type", cable.pk, capacitance_f_per_m="300 pF/m")
    page = client.get(reverse("impact_answer", args=[work.pk])).content.decode()
    assert re.search(r"of at most \d+ ft \(\d+ m\)", page)
    other("SP-SAME", ci_f="5 nF", li_h="0 H")
    device = failing_loop.circuits.get().members.get(role="device").terminals.equipment
    begun = works.begin(people["designer"], SUBSTITUTION, "In place of it", {"equipment": device.pk})
    row = Work.objects.get(pk=begun.pk).result["rows"][0]
    page = client.get(reverse("substitution", args=[begun.pk])).content.decode()
    assert re.search(r"at most \d+ m\b", row["why"]), "what is stored stays in metres"
    assert re.search(r"at most \d+ ft \(\d+ m\)", page)


def test_what_a_change_of_a_record_would_do(failing_loop: Any, longest: str, client_as: Any) -> None:
    from registry.selectors import record_text
    from registry.services.proposals import effects_of
    from registry.services.records import Author

    cable = failing_loop.circuits.get().cables.get().cable_type
    text = record_text(cable) | {"capacitance_f_per_m": "300 pF/m"}
    user = failing_loop.owner
    effects = effects_of("cable_type", text, Author(user), record_id=cable.pk, opened_version=cable.version)
    assert [effect.unit for effect in effects.touched] == ["ft"]
