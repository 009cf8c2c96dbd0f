"""What may be picked for a place in a circuit: found by type, maker, marking, certificate, value or tag, each with the
values that decide."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from loops.entries import CableEntry, MemberEntry, near_terminals
from loops.models import Member
from registry import access
from registry.fields import Reading
from registry.models import CableType, Certificate, CertificateStatus, Equipment, EquipmentKind, Terminals, User
from registry.quantities import Kind, QuantityError
from registry.querysets import containing, search_text
from registry.reading import RecordField
from registry.showing import short_parameters
from registry.stored import measured
from registry.text_search import SEARCHED

CABLE = "cable"
"""What is picked besides terminals, which are called by their side."""
MOST = 12
"""How many are offered at once."""
AT_ONCE = 20
"""The names of so many terminals go into one question: SQLite takes no condition that is deeper than a thousand."""
MOST_CUTS = 4
"""So many commas of a search may be where the name of the terminals begins."""

VALUES: Mapping[str, Mapping[Kind, str]] = {
    Terminals.Side.SOURCE: {Kind.VOLTAGE: "uo_v", Kind.CURRENT: "io_a", Kind.POWER: "po_w"},
    Terminals.Side.DEVICE: {
        Kind.VOLTAGE: "ui_v",
        Kind.CURRENT: "ii_a",
        Kind.POWER: "pi_w",
        Kind.CAPACITANCE: "ci_f",
        Kind.INDUCTANCE: "li_h",
    },
}
"""Which parameter a typed value is looked for in, by the side of the terminals."""

VALUE = re.compile(r"(?:\b[A-Z][a-z]{1,2} ?=? ?)?(?<![\w.,-])(\d[\d.,]*) ?([a-zA-Zµμ]{1,3})(?![\w-])")


@dataclass(frozen=True)
class Pick:
    """One offer: the name that is filled in, the values that decide in one line, and what tells it from its like: what
    it is, and its certificate. `role` is what it is on a circuit by the register; a cable has none."""

    name: str
    facts: str
    what: str = ""
    role: str = ""


def terminals_named() -> QuerySet[Any]:
    """Terminals that may be chosen, with the names that people pick."""
    return named_by(MemberEntry.base_fields["terminals"])


def cables_named() -> QuerySet[Any]:
    """Cable types that may be chosen, with their names."""
    return named_by(CableEntry.base_fields["cable_type"])


def named_by(reader: Any) -> QuerySet[Any]:
    assert isinstance(reader, RecordField)
    return reader.named()


# -------------------------------------------------------------------------------------------------------------- facts


def facts_of_terminals(terminals: Terminals) -> str:
    """ "Uo 28 V · Io 93 mA · Po 650 mW · ia IIC · IIC: Co 83 nF, Lo 4.2 mH"."""
    found = [short_parameters(terminals)]
    if terminals.side == Terminals.Side.DEVICE and not terminals.simple_kind:
        stored = (("Ci", terminals.ci_f_text), ("Li", terminals.li_h_text))
        found += [f"{symbol} {measured(text)}" for symbol, text in stored if text]
    found.append(" ".join(filter(None, (terminals.level, terminals.gas_group or terminals.dust_group))))
    if terminals.side == Terminals.Side.SOURCE:
        for row in terminals.permitted.all()[:1]:
            values = (("Co", row.co_f_text), ("Lo", row.lo_h_text), ("Lo/Ro", row.lo_ro_h_per_ohm_text))
            found.append(f"{row.group}: " + ", ".join(f"{symbol} {measured(text)}" for symbol, text in values if text))
    return " · ".join(filter(None, found))


def described(terminals: Terminals) -> str:
    """ "Pressure transmitter, HART · ZQX 18 ATEX 2211", with the status of a certificate that is not current."""
    item, certificate = terminals.equipment, terminals.certificate
    parts = [item.description or item.function]
    if certificate is not None:
        current = certificate.status == CertificateStatus.CURRENT
        parts.append(certificate.number if current else f"{certificate.number} ({certificate.get_status_display()})")
    return " · ".join(filter(None, parts))


def role_of(terminals: Terminals) -> str:
    """What stands at these terminals on a circuit by the register."""
    if terminals.side == Terminals.Side.SOURCE:
        return Member.Role.SOURCE.value
    inline = terminals.equipment.kind == EquipmentKind.INLINE
    return (Member.Role.INLINE if inline else Member.Role.DEVICE).value


def facts_of_cable(cable: CableType) -> str:
    """ "C 110 nF/km · L 0.65 mH/km · L/R 25 µH/Ω", in the units that were typed."""
    values = (
        ("C", cable.capacitance_f_per_m_text or cable.core_core_f_per_m_text),
        ("L", cable.inductance_h_per_m_text),
        ("L/R", cable.inductance_per_resistance_h_per_ohm_text),
    )
    found = [f"{symbol} {measured(text)}" for symbol, text in values if text]
    return " · ".join(found) or _("no values: default values count")


def facts_by_name(terminals: Iterable[str], cables: Iterable[str]) -> dict[str, str]:
    """The facts of what has these names, in three queries, and two more for each further `AT_ONCE` terminals."""
    names = sorted(set(filter(None, terminals)))
    found: dict[str, str] = {}
    for start in range(0, len(names), AT_ONCE):
        near = Q(pk__in=[])
        for name in names[start : start + AT_ONCE]:
            near |= near_terminals(name)
        wanted = with_facts(terminals_named().filter(near))
        found |= {row.picked_name: facts_of_terminals(row) for row in wanted}
    types = CableType.objects.filter(name__in=set(filter(None, cables)))
    return found | {cable.name: facts_of_cable(cable) for cable in types}


def with_facts(terminals: QuerySet[Any]) -> QuerySet[Any]:
    return terminals.select_related("equipment", "certificate").prefetch_related("permitted")


# -------------------------------------------------------------------------------------------------------------- search


def find_terminals(user: User, side: str, text: str, most: int = MOST) -> list[Pick]:
    """Terminals of one side, those that bear the text as a tag in a loop of the person's sites first.

    Every word must be found in maker, type, description, function or marking, or in the number of the certificate; a
    value like "28 V" is one of the values of `VALUES`; after a comma stands the beginning of the terminals' name, which
    may hold commas itself ("1, 2").
    """
    offered = with_facts(terminals_named().filter(side=side))
    words, values = apart(search_text(text), side)
    ordered = ("equipment__maker", "equipment__type_name", "position", "pk")
    if not words and not values:
        return picks(offered.order_by(*ordered)[:most])
    offered = offered.filter(**values)
    found: dict[int, Any] = {}
    for head, part in cuts(words):
        if len(found) >= most:
            break
        named = offered.filter(name__istartswith=part) if part else offered
        for way in ways_to_find(user, head):
            if len(found) < most:
                found |= {row.pk: row for row in named.filter(way).order_by(*ordered)[:most]}
    return picks(list(found.values())[:most])


def cuts(words: str) -> list[tuple[str, str]]:
    """What may be searched for and what the name of the terminals may begin with, the last comma first.

    >>> cuts("NB-25, 1, 2")
    [('NB-25, 1', '2'), ('NB-25', '1, 2')]
    """
    places = [match.start() for match in re.finditer(", ", words)][:MOST_CUTS]
    return [(words[:place], words[place + 2 :]) for place in reversed(places)] or [(words.rstrip(","), "")]


def ways_to_find(user: User, words: str) -> list[Q]:
    """Terminals by a tag in a loop of the person's sites, by the item, by the certificate; all of them by no words."""
    if not words:
        return [Q()]
    tagged = Member.objects.filter(tag__iexact=words, circuit__loop__site_id__in=access.sites_of(user))
    items = containing(Equipment.objects.all(), words, SEARCHED["equipment"])
    certificates = containing(Certificate.objects.all(), words, SEARCHED["certificate"])
    return [
        Q(pk__in=tagged.values("terminals")),
        Q(equipment__in=items.values("pk")),
        Q(certificate__in=certificates.values("pk")),
    ]


def suggestions(user: User, most: int) -> dict[str, list[Pick]]:
    """The beginning of the register by what is picked: terminals of either side, and cable types."""
    sides = {side.value: find_terminals(user, side.value, "", most) for side in Terminals.Side}
    return sides | {CABLE: find_cables("", most)}


def picks(rows: Iterable[Any]) -> list[Pick]:
    return [Pick(row.picked_name, facts_of_terminals(row), described(row), role_of(row)) for row in rows]


def apart(text: str, side: str) -> tuple[str, dict[str, Any]]:
    """Take the values out of a text: `("NB IIC", {"uo_v": Decimal("28")})` from "NB Uo 28 V IIC"."""
    values: dict[str, Any] = {}

    def take(match: re.Match[str]) -> str:
        for kind, column in VALUES[side].items():
            try:
                reading = Reading.of(f"{match[1]} {match[2]}", kind)
            except QuantityError:
                continue
            values[column] = reading.value_si
            return " "
        return match[0]

    rest = VALUE.sub(take, text)
    return " ".join(rest.split()), values


def find_cables(text: str, most: int = MOST) -> list[Pick]:
    """Cable types with every word of a text in name, maker or description."""
    found = containing(cables_named(), search_text(text), ("name", "maker", "description"))
    return [Pick(cable.name, facts_of_cable(cable), cable.description) for cable in found.order_by("name")[:most]]
