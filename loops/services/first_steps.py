"""What a site needs before its first loop can be proved, read from what is there: each step ticks itself off."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.urls import reverse
from django.utils.translation import gettext as _

from loops import selectors
from registry import access
from registry.models import CableType, HazardousArea, Membership, Role, Site, Terminals, User
from registry.uses import NextStep


@dataclass(frozen=True)
class FirstStep:
    """One step: its name, what it is for, whether it is done, and where this person does it (words, name of address);
    `who` says who may where this person may not, `lacks` what is missing where a part is there."""

    name: str
    about: str
    is_done: bool
    ways: tuple[tuple[str, str], ...] = field(default=())
    who: str = ""
    lacks: str = ""


def first_steps(user: User, site_ids: Iterable[int]) -> list[FirstStep]:
    """The way from an empty installation to the first loop, for the sites that a person sees."""
    sites = list(site_ids)
    roles: dict[str, set[int]] = {}
    for role, person in Membership.objects.filter(site__in=sites).values_list("role", "user_id"):
        roles.setdefault(role, set()).add(person)
    sides = set(Terminals.objects.order_by().values_list("side", flat=True).distinct())
    designers, approvers = roles.get(Role.DESIGNER, set()), roles.get(Role.APPROVER, set())

    def step(name: str, about: str, is_done: bool, action: str, *ways: tuple[str, str], lacks: str = "") -> FirstStep:
        may = access.may(user, action)
        who = "" if may else str(access.SIDES.get(action, ""))
        return FirstStep(name, about, is_done, ways if may and not is_done else (), who, "" if is_done else lacks)

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
            lacks=lacking_people(designers, approvers),
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
            lacks=lacking_sides(sides),
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


def lacking_people(designers: set[int], approvers: set[int]) -> str:
    """Who is missing where somebody is there."""
    if not designers:
        return _("A designer is missing.") if approvers else ""
    return _("The approver must be somebody else.") if approvers else _("An approver is missing.")


def lacking_sides(sides: set[str]) -> str:
    """Which side of a circuit is missing where the other is there."""
    if len(sides) != 1:
        return ""
    return _("A field device is missing.") if Terminals.Side.SOURCE in sides else _("A source is missing.")


def next_step(user: User) -> NextStep | None:
    """Where a person goes on; nothing once there is a loop at their sites. Where all that is left is for others to do,
    who may."""
    if selectors.listed_loops(user).filter(archived_at=None).exists():
        return None
    sites = [site.pk for site in access.own_sites(user) if not site.is_archived]
    left = [step for step in first_steps(user, sites) if not step.is_done]
    step = next((step for step in left if step.ways), left[0])
    words, name = step.ways[0] if step.ways else ("", "")
    return NextStep(step.name, step.lacks, words, reverse(name) if name else "", step.who)
