"""What a site needs before its first loop can be proved, read from what is there: each step ticks itself off."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.urls import reverse
from django.utils.translation import gettext as _

from loops import selectors
from registry import access
from registry.models import CableType, HazardousArea, Membership, Role, Site, Terminals, User


@dataclass(frozen=True)
class FirstStep:
    """One step: its name, what it is for, whether it is done, and where this person does it (words, name of address);
    `who` says who may where this person may not."""

    name: str
    about: str
    is_done: bool
    ways: tuple[tuple[str, str], ...] = field(default=())
    who: str = ""


def first_steps(user: User, site_ids: Iterable[int]) -> list[FirstStep]:
    """The way from an empty installation to the first loop, for the sites that a person sees."""
    sites = list(site_ids)
    roles: dict[str, set[int]] = {}
    for role, person in Membership.objects.filter(site__in=sites).values_list("role", "user_id"):
        roles.setdefault(role, set()).add(person)
    sides = set(Terminals.objects.order_by().values_list("side", flat=True).distinct())
    designers, approvers = roles.get(Role.DESIGNER, set()), roles.get(Role.APPROVER, set())

    def step(name: str, about: str, is_done: bool, action: str, *ways: tuple[str, str]) -> FirstStep:
        may = access.may(user, action)
        who = "" if may else str(access.SIDES.get(action, ""))
        return FirstStep(name, about, is_done, ways if may and not is_done else (), who)

    return [
        step(
            _("A site"),
            _("The plant whose loops are proved: its rules, time zone and the certificate schemes that it accepts."),
            Site.objects.filter(pk__in=sites, archived_at=None).exists(),
            "site.add",
            (_("Add the site"), "site_new"),
        ),
        step(
            _("People"),
            _("At least a designer, who makes loops, and an approver, who is somebody else."),
            any(designer != approver for designer in designers for approver in approvers),
            "site.people",
            (_("Add people and give them roles"), "people"),
        ),
        step(
            _("A hazardous area"),
            _("Zone or division, group, temperature class and ambient, as the area classification drawing says."),
            HazardousArea.objects.filter(site__in=sites, archived_at=None).exists(),
            "area.edit",
            (_("Add the area"), "area_new"),
        ),
        step(
            _("A source and a field device"),
            _("With the values of their certificates: pasted from the text of the certificate, typed, or imported."),
            {Terminals.Side.SOURCE, Terminals.Side.DEVICE} <= sides,
            "register.edit",
            (_("Paste from a certificate"), "equipment_paste"),
            (_("Type the values"), "equipment_new"),
            (_("Import a table"), "import"),
        ),
        step(
            _("A cable type"),
            _("With its capacitance and inductance for each length. Without one default values count."),
            CableType.objects.filter(archived_at=None).exists(),
            "register.edit",
            (_("Add the cable type"), "cable_type_new"),
        ),
        step(
            _("The first loop"),
            _("Source, cable and device at their tags; the verdict follows while you type."),
            False,
            "loop.edit",
            (_("Make the first loop"), "loop_new"),
        ),
    ]


def next_step(user: User) -> tuple[str, str] | None:
    """Where a person goes on, in words and as an address; nothing once there is a loop at their sites, or where all
    that is left is for others to do."""
    if selectors.listed_loops(user).filter(archived_at=None).exists():
        return None
    sites = [site.pk for site in access.own_sites(user) if not site.is_archived]
    ways = [step.ways[0] for step in first_steps(user, sites) if step.ways]
    return (ways[0][0], reverse(ways[0][1])) if ways else None
