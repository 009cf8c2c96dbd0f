"""People and their roles: who may make, change and deactivate whom."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.urls import reverse

from registry.models import Membership, Revision, Role, User
from registry.services.people import save_person
from registry.services.records import Author, EntryRefused
from registry.views.people import DUTIES
from tests.registry.pages import form_of

pytestmark = pytest.mark.django_db
GOOD = "Slow-copper-91-lantern-b"


def new_person(client: Any, site: Any, **changes: str) -> Any:
    form = form_of(client.get(reverse("person_new")))
    form |= {"username": "frieda", "full_name": "Frieda Lamp", "password": GOOD, "again": GOOD}
    form |= {f"role.{site.pk}.designer": "on"}
    return client.post(reverse("person_new"), form | changes)


@pytest.mark.parametrize(
    "role, sees, keeps",
    [
        ("reader", 200, 403),
        ("designer", 200, 403),
        ("keeper", 200, 403),
        ("administrator", 200, 200),
        ("superuser", 200, 200),
        ("outsider", 403, 403),
    ],
)
def test_who_sees_and_who_keeps_people(role: str, sees: int, keeps: int, people: Any, client_as: Any) -> None:
    client = client_as(role)
    assert client.get(reverse("people")).status_code == sees
    assert client.get(reverse("person_new")).status_code == keeps
    assert client.post(reverse("person_new"), {}).status_code == (400 if keeps == 200 else 403)
    pk = people["reader"].pk
    assert client.get(reverse("person", args=[pk])).status_code == keeps
    assert client.get(reverse("person_password", args=[pk])).status_code == keeps


def test_the_list_shows_people_of_ones_own_sites_with_their_roles_there(
    people: Any, other_site: Any, client_as: Any
) -> None:
    Membership.objects.create(user=people["reader"], site=other_site, role=Role.APPROVER)
    page = client_as("reader").get(reverse("people"))
    shown = {row["person"].username: row["roles"] for row in page.context["people"]}
    assert "neighbour" in shown, "whoever shares a site is seen"
    shown_to_designer = client_as("designer").get(reverse("people")).context["people"]
    by_name = {row["person"].username: row["roles"] for row in shown_to_designer}
    assert "neighbour" not in by_name and "outsider" not in by_name
    assert by_name["reader"] == [{"site": "NORTH", "roles": "Reader"}]
    everybody = client_as("superuser").get(reverse("people")).context["people"]
    assert {"neighbour", "outsider"} <= {row["person"].username for row in everybody}


def test_a_new_person_can_log_in_with_their_roles(people: Any, site: Any, client_as: Any) -> None:
    assert new_person(client_as("administrator"), site).status_code == 302
    person = User.objects.get(username="frieda")
    assert list(person.memberships.values_list("site__code", "role")) == [("NORTH", "designer")]
    client = Client()
    assert client.login(username="frieda", password=GOOD)
    assert client.get("/equipment/new/").status_code == 200
    revision = Revision.objects.get(kind="person", record_id=person.pk)
    assert revision.snapshot["roles"] == ["NORTH: Designer"]
    assert GOOD not in str(revision.snapshot)


@pytest.mark.parametrize(
    "changes, field, words",
    [
        ({"password": "short", "again": "short"}, "password", "too short"),
        ({"password": "password123", "again": "password123"}, "password", "too common"),
        ({"password": "frieda.lamp", "again": "frieda.lamp"}, "password", "too similar"),
        ({"again": GOOD + "x"}, "again", "differ"),
        ({"password": "", "again": ""}, "password", "required"),
        ({"password": "x" * 5000, "again": "x" * 5000}, "password", "at most 200"),
        ({"username": "READER"}, "username", "already"),
        ({"username": "a b"}, "username", "valid username"),
        ({"username": ""}, "username", "required"),
        ({"username": "x" * 151}, "username", "at most 150"),
        ({"full_name": "a\x00b"}, "full_name", "hidden"),
        ({"email": "nobody"}, "email", "valid email"),
    ],
)
def test_a_person_that_cannot_be_comes_back(
    changes: dict[str, str], field: str, words: str, people: Any, site: Any, client_as: Any
) -> None:
    answer = new_person(client_as("administrator"), site, **changes)
    assert answer.status_code == 400
    assert words in next(error["text"] for error in answer.context["errors"] if error["path"] == field)
    back = form_of(answer)
    assert back[f"role.{site.pk}.designer"] == "on"
    assert back["password"] == back["again"] == "", "a password is never sent back"
    assert not User.objects.filter(username="frieda").exists()


def test_roles_are_given_and_taken_only_at_ones_own_sites(
    people: Any, site: Any, other_site: Any, client_as: Any
) -> None:
    person = people["reader"]
    Membership.objects.create(user=person, site=other_site, role=Role.APPROVER)
    client = client_as("administrator")
    address = reverse("person", args=[person.pk])
    page = client.get(address)
    form = form_of(page)
    assert f"role.{other_site.pk}.approver" not in page.content.decode()
    form |= {f"role.{site.pk}.planner": "on", f"role.{other_site.pk}.administrator": "on", "full_name": "Renamed"}
    form.pop(f"role.{site.pk}.reader")
    assert client.post(address, form).status_code == 302
    found = set(person.memberships.values_list("site__code", "role"))
    assert found == {("NORTH", "planner"), ("SOUTH", "approver")}
    person.refresh_from_db()
    assert person.full_name == "The reader", "their name is not this administrator's to change"
    assert client.get(reverse("person_password", args=[person.pk])).status_code == 403
    assert (
        client.post(reverse("person_password", args=[person.pk]), {"password": GOOD, "again": GOOD}).status_code == 403
    )


def test_nobody_becomes_somebody_of_another_site_or_a_superuser(people: Any, site: Any, client_as: Any) -> None:
    client = client_as("administrator")
    for name in ("neighbour", "superuser", "outsider"):
        assert client.get(reverse("person", args=[people[name].pk])).status_code == 404, name
        assert client.get(reverse("person_password", args=[people[name].pk])).status_code == 404, name
    Membership.objects.create(user=people["superuser"], site=site, role=Role.READER)
    pk = people["superuser"].pk
    assert client.get(reverse("person_password", args=[pk])).status_code == 403
    form = form_of(client.get(reverse("person", args=[pk]))) | {"username": "mine", "is_active": ""}
    client.post(reverse("person", args=[pk]), form)
    kept = User.objects.get(pk=pk)
    assert (kept.username, kept.is_active, kept.is_superuser) == ("superuser", True, True)
    posted = form_of(client.get(reverse("person", args=[people["reader"].pk]))) | {
        "is_superuser": "on",
        "is_staff": "on",
    }
    client.post(reverse("person", args=[people["reader"].pk]), posted)
    reader = User.objects.get(pk=people["reader"].pk)
    assert not reader.is_superuser and not reader.is_staff


def test_a_deactivated_person_is_out_at_once_and_keeps_their_name_on_what_they_did(
    people: Any, source: Any, client_as: Any
) -> None:
    theirs = client_as("keeper")
    assert theirs.get("/equipment/").status_code == 200
    client = client_as("administrator")
    address = reverse("person", args=[people["keeper"].pk])
    form = form_of(client.get(address))
    form.pop("is_active")
    assert client.post(address, form).status_code == 302
    assert theirs.get("/equipment/").status_code == 302
    assert not Client().login(username="keeper", password="Slow-copper-91-lantern")
    assert "The keeper" in client.get(reverse("equipment_history", args=[source.pk])).content.decode()


def test_nobody_locks_themselves_out(people: Any, site: Any, client_as: Any) -> None:
    client = client_as("administrator")
    address = reverse("person", args=[people["administrator"].pk])
    form = form_of(client.get(address))
    without_access = {name: value for name, value in form.items() if name != "is_active"}
    assert client.post(address, without_access).status_code == 400
    without_role = {name: value for name, value in form.items() if not name.startswith("role.")}
    answer = client.post(address, without_role)
    assert answer.status_code == 400
    assert "your own role" in answer.content.decode()
    assert people["administrator"].memberships.get().role == Role.ADMINISTRATOR


def test_a_new_password_ends_their_sessions(people: Any, client_as: Any) -> None:
    theirs = client_as("reader")
    client = client_as("administrator")
    address = reverse("person_password", args=[people["reader"].pk])
    assert client.post(address, {"password": "short", "again": "short"}).status_code == 400
    assert theirs.get("/equipment/").status_code == 200
    assert client.post(address, {"password": GOOD, "again": GOOD}).status_code == 302
    assert theirs.get("/equipment/").status_code == 302
    assert Client().login(username="reader", password=GOOD)
    assert Revision.objects.get(kind="person").snapshot["password_set"] is True


def test_everybody_changes_their_own_password(people: Any, client_as: Any, password: str) -> None:
    client = client_as("reader")
    address = reverse("password_change")
    wrong = {"old_password": "no", "new_password1": GOOD, "new_password2": GOOD}
    assert "incorrectly" in client.post(address, wrong).content.decode()
    assert client.post(address, wrong | {"old_password": password}).status_code == 302
    assert client.get("/equipment/").status_code == 200, "this session goes on"
    assert len(client.get("/account/").context["sessions"]) == 1, "and is listed"
    assert Revision.objects.get(kind="person", record_id=people["reader"].pk).snapshot["password_set"] is True
    assert Client().login(username="reader", password=GOOD)


def without_role(client: Any, person: Any, site: Any) -> Any:
    address = reverse("person", args=[person.pk])
    form = {name: value for name, value in form_of(client.get(address)).items() if not name.startswith("role.")}
    return client.post(address, form)


def without_access(client: Any, person: Any) -> Any:
    address = reverse("person", args=[person.pk])
    form = form_of(client.get(address))
    form.pop("is_active", None)
    return client.post(address, form)


def test_the_last_administrator_of_a_site_stays(people: Any, site: Any, client_as: Any) -> None:
    client, last = client_as("superuser"), people["administrator"]
    for answer in (without_role(client, last, site), without_access(client, last)):
        assert answer.status_code == 400
        assert "the last administrator of NORTH who may log in: give that role" in answer.content.decode()
    Membership.objects.create(user=people["keeper"], site=site, role=Role.ADMINISTRATOR)
    User.objects.filter(pk=people["keeper"].pk).update(is_active=False)
    assert without_role(client, last, site).status_code == 400, "whoever may not log in does not count"
    User.objects.filter(pk=people["keeper"].pk).update(is_active=True)
    assert without_access(client, last).status_code == 302
    assert without_role(client, last, site).status_code == 302, "who may not log in is not the last one"


def test_the_last_administrator_of_the_installation_stays(people: Any) -> None:
    last = people["superuser"]
    data = {"username": "superuser", "full_name": "The superuser", "is_active": "", "memberships": []}
    # Nobody else may; a second superuser whose access was taken away meanwhile still holds an old object.
    second = User.objects.create_superuser("second", password=GOOD)
    User.objects.filter(pk=second.pk).update(is_active=False)
    with pytest.raises(EntryRefused, match="last administrator of the installation"):
        save_person(data, Author(second), person_id=last.pk)
    User.objects.filter(pk=second.pk).update(is_active=True)
    assert save_person(data, Author(second), person_id=last.pk).is_active is False


def test_sessions_of_who_was_deactivated_do_not_come_back(people: Any, client_as: Any) -> None:
    theirs = Client()
    theirs.post("/login/", {"login": "keeper", "password": "Slow-copper-91-lantern"})
    assert theirs.get("/equipment/").status_code == 200
    client = client_as("administrator")
    assert without_access(client, people["keeper"]).status_code == 302
    assert theirs.get("/equipment/").status_code == 302
    address = reverse("person", args=[people["keeper"].pk])
    assert client.post(address, form_of(client.get(address)) | {"is_active": "on"}).status_code == 302
    assert theirs.get("/equipment/").status_code == 302, "let in again is not logged in again"


def test_no_door_deletes_a_person(people: Any, client_as: Any) -> None:
    client, pk = client_as("superuser"), people["outsider"].pk
    for address in (reverse("person", args=[pk]), reverse("people"), reverse("person_password", args=[pk])):
        assert client.delete(address).status_code == 405
        client.post(address, {"delete": "1", "_delete": "1", "archive": "1", "_method": "DELETE"})
    assert User.objects.filter(pk=pk).exists()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_administrators_do_not_take_away_each_other_at_once(people: Any, site: Any) -> None:
    """Without the lock on the site both see the other one there, and the site is left with nobody."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL: SQLite has one writer at a time")
    first, second = people["administrator"], people["keeper"]
    Membership.objects.filter(user=second).delete()
    Membership.objects.create(user=second, site=site, role=Role.ADMINISTRATOR)
    start = Barrier(2)

    def take_away(actor: User, person: User) -> str:
        data = {"username": person.username, "full_name": person.full_name, "is_active": "on", "memberships": []}
        try:
            start.wait(timeout=20)
            save_person(data, Author(actor), person_id=person.pk)
            return "done"
        except (EntryRefused, PermissionDenied) as refused:
            return type(refused).__name__
        finally:
            connection.close()

    for _ in range(5):
        with ThreadPoolExecutor(2) as pool:
            done = list(pool.map(take_away, (first, second), (second, first)))
        left = Membership.objects.filter(site=site, role=Role.ADMINISTRATOR)
        assert left.count() == 1 and done.count("done") == 1, done
        gone = second if left.get().user_id == first.pk else first
        Membership.objects.create(user=gone, site=site, role=Role.ADMINISTRATOR)


def test_every_role_says_what_it_does_where_it_is_given(client_as: Any) -> None:
    page = client_as("administrator").get("/people/new/").content.decode()
    assert all(str(DUTIES[role]) in page for role in Role)
