"""From an empty installation to the first loop: the home page says what is next, by what is there."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from registry.models import Membership, Site

pytestmark = pytest.mark.django_db


def done(page: Any) -> list[bool]:
    return [step.is_done for step in page.context["first_steps"]]


def test_an_empty_installation_begins_with_a_site(superuser: Any) -> None:
    assert not Site.objects.exists()
    client = Client()
    client.force_login(superuser)
    page = client.get("/")
    assert done(page) == [False] * 6
    text = page.content.decode()
    assert "From nothing to the first loop" in text and 'href="/sites/new/"' in text and 'href="/people/"' in text
    # What the administrator of the installation may not do says who may.
    assert 'href="/areas/new/"' not in text and "A designer or site administrator of this site may do this." in text


def test_each_step_ticks_itself_off(people: Any, client_as: Any, site: Any) -> None:
    assert done(client_as("designer").get("/")) == [True, True, False, False, False, False]
    Membership.objects.filter(role="approver").delete()
    text = client_as("designer").get("/").content.decode()
    assert done(client_as("designer").get("/"))[1] is False
    assert 'href="/loops/new/"' in text and 'href="/equipment/paste/"' in text


def test_with_area_items_and_cable_only_the_loop_is_left(
    people: Any, client_as: Any, area: Any, source: Any, device: Any, cable_type: Any
) -> None:
    assert done(client_as("designer").get("/")) == [True, True, True, True, True, False]
    # A source alone is half of a circuit.
    device.terminals.all().delete()
    assert done(client_as("designer").get("/"))[3] is False


def test_with_the_first_loop_the_list_is_gone(loop: Any, client_as: Any) -> None:
    page = client_as("designer").get("/")
    assert page.context["first_steps"] == [] and "From nothing to the first loop" not in page.content.decode()
    # At another site nothing of this one is seen, and that one has no loop yet.
    assert client_as("neighbour").get("/").context["first_steps"]


def test_a_keeper_begins_with_equipment_and_a_superuser_is_named(client_as: Any, loop: Any) -> None:
    page = client_as("keeper").get("/").content.decode()
    assert 'class="button" href="/equipment/new/"' in page and 'href="/equipment/paste/"' in page
    assert "/equipment/new/" not in client_as("approver").get("/").content.decode()
    assert "Administrator of the installation · " in client_as("superuser").get("/").content.decode()


ON = "Next on the way to the first loop: "


def test_of_a_step_that_is_half_done_the_missing_half_is_named(
    people: Any, client_as: Any, area: Any, source: Any, site: Any
) -> None:
    cable = {"name": "Two-core 1", "_reason": ""}
    text = client_as("designer").post("/cable-types/new/", cable, follow=True).content.decode()
    assert (
        f"{ON}A source and a field device. A field device is missing. "
        '<a href="/equipment/paste/">Paste from a certificate</a>'
    ) in text
    assert "A field device is missing." in client_as("designer").get("/").content.decode()
    Membership.objects.filter(role="approver").delete()
    text = client_as("superuser").get("/").content.decode()
    assert "An approver is missing." in text
    Membership.objects.filter(role="designer").exclude(user=people["designer"]).delete()
    Membership.objects.create(site=site, user=people["designer"], role="approver")
    assert "The approver must be somebody else." in client_as("superuser").get("/").content.decode()


def test_a_save_leads_on_to_the_next_step_until_there_is_a_loop(
    people: Any, client_as: Any, area: Any, source: Any, device: Any, make_loop: Any
) -> None:
    cable = {"name": "Two-core 1", "_reason": ""}
    text = client_as("designer").post("/cable-types/new/", cable, follow=True).content.decode()
    assert f'{ON}The first loop. <a href="/loops/new/">Make the first loop</a>' in text
    # A keeper makes no loops, and is told who does.
    text = client_as("keeper").post("/cable-types/new/", cable | {"name": "Two-core 2"}, follow=True).content.decode()
    assert f"{ON}The first loop. A designer of this site may do this." in text
    make_loop(tag="PT-1")
    text = client_as("designer").post("/cable-types/new/", cable | {"name": "Two-core 3"}, follow=True).content.decode()
    assert "Saved as revision 1." in text and "Next on the way" not in text


def test_who_may_not_add_a_site_reads_who_may(client_as: Any, people: Any) -> None:
    for role, told in (("administrator", True), ("superuser", False)):
        text = client_as(role).get("/sites/").content.decode()
        assert ("The administrator of the installation may do this." in text) is told, role
        assert ('href="/sites/new/"' in text) is not told, role
