"""The people of the invented plant, one for each role."""

from __future__ import annotations

from dataclasses import dataclass

from registry.models import Membership, Role, Site, User


@dataclass(frozen=True)
class Person:
    """A log-in with the name that is printed beside a signature. Without a role: the administrator of the site."""

    username: str
    printed_name: str
    role: Role | None


PEOPLE = (
    Person("admin", "Iskrelle Mossendrake", None),
    Person("designer", "Neris Quandeshaw", Role.DESIGNER),
    Person("designer2", "Tovin Vantermoss", Role.DESIGNER),
    Person("approver", "Odrane Felsewick", Role.APPROVER),
    Person("planner", "Mirle Plovenhask", Role.PLANNER),
    Person("keeper", "Jorun Ablethorve", Role.KEEPER),
    Person("administrator", "Petrane Oskendrow", Role.ADMINISTRATOR),
    Person("reader", "Liosh Brannekel", Role.READER),
)


def build_people(password: str) -> tuple[dict[str, User], set[str]]:
    """The people by log-in, and which of them were added now.

    Who is there already keeps password and name: the demo never resets a password.
    """
    people: dict[str, User] = {}
    added: set[str] = set()
    for person in PEOPLE:
        user = User.objects.filter(username=person.username).first()
        if user is None:
            create = User.objects.create_user if person.role else User.objects.create_superuser
            user = create(person.username, password=password, full_name=person.printed_name)
            added.add(person.username)
        people[person.username] = user
    return people, added


def build_memberships(people: dict[str, User], site: Site) -> None:
    """Everybody's role at a site. What is known of a person's roles in this process is forgotten."""
    for person in PEOPLE:
        if person.role is not None:
            Membership.objects.get_or_create(user=people[person.username], site=site, role=person.role)
            vars(people[person.username]).pop("_roles_by_site", None)
