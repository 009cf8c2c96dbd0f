"""The reader of a loop, from a page, the API or an import row."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import F, Q, Value
from django.db.models.functions import Concat
from django.utils.translation import gettext as _

from loops.models import CableRun, Circuit, Loop, Member, Terminator
from registry.models import CableType, HazardousArea, Site, Terminals
from registry.quantities import Kind
from registry.reading import MOST_WAYS, EntryForm, ReadingField, RecordField, any_way, fields_of
from registry.words import lazily

Faults = Iterator[tuple[str, str]]


def near_terminals(name: str) -> Q:
    """Terminals of items whose maker and type make up the beginning of a name like "Larkfield LB-28, 1-2": every way
    to cut it. Columns of one table alone, else no index is used. Any terminals, where there are more ways than a real
    name has."""
    ways = ways_to_cut(name)
    return Q() if len(ways) > MOST_WAYS else any_way(MAKER_AND_TYPE, ways)


MAKER_AND_TYPE = ("equipment__maker", "equipment__type_name")


def ways_to_cut(name: str) -> list[tuple[str, str]]:
    """Every maker and type that can make up the beginning of the name of terminals.

    >>> ways_to_cut("Larkfield LB 28, 1-2")
    [('Larkfield', 'LB 28'), ('Larkfield LB', '28')]
    """
    heads = (name[: comma.start()].split(" ") for comma in re.finditer(", ", name))
    return [(" ".join(words[:cut]), " ".join(words[cut:])) for words in heads for cut in range(1, len(words))]


NOT_CHOSEN = "?"
"""An area that somebody has yet to choose, as a new row of the editor says it: empty is the safe area."""


class PlaceField(RecordField):
    """An area, or the safe area: empty or in these words."""

    def to_python(self, value: Any) -> Any:
        text = " ".join(value.split()).casefold() if isinstance(value, str) else ""
        if text == NOT_CHOSEN:
            raise ValidationError(_("Choose the area that this device stands in, or “Safe area” if it stands in none."))
        if text in {"safe area", _("Safe area").casefold()}:
            return None
        return super().to_python(value)


class MemberEntry(EntryForm):
    """Terminals of a register item at a tag in an area."""

    model = Member
    terminals = RecordField(
        lambda: Terminals.objects.select_related("equipment"),
        Concat(F("equipment__maker"), Value(" "), F("equipment__type_name"), Value(", "), F("name")),
        Q(equipment__archived_at=None),
        near=ways_to_cut,
        near_by=MAKER_AND_TYPE,
        label=lazily("set of terminals"),
    )
    area = PlaceField(
        HazardousArea.objects.all,
        Concat(F("site__code"), Value(": "), F("name")),
        Q(archived_at=None),
        required=False,
        label="area",
    )
    locals().update(fields_of(Member))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        terminals = cleaned["terminals"]
        if cleaned["role"] == Member.Role.SOURCE and terminals.side != Terminals.Side.SOURCE:
            yield "terminals", _("A source needs terminals that give energy: choose other terminals or another role.")
        if cleaned["role"] != Member.Role.SOURCE and terminals.side != Terminals.Side.DEVICE:
            yield (
                "terminals",
                _("A field device needs terminals that take energy: choose other terminals or the role source."),
            )


class CableEntry(EntryForm):
    """One run of cable."""

    model = CableRun
    cable_type = RecordField(
        CableType.objects.all, "name", Q(archived_at=None), required=False, label=lazily("cable type")
    )
    locals().update(fields_of(CableRun))
    length_m = ReadingField(Kind.LENGTH, "300 m", allow_not_stated=False, label="length", required=False)


class TerminatorEntry(EntryForm):
    """A terminator of a fieldbus trunk."""

    model = Terminator
    locals().update(fields_of(Terminator))


class CircuitEntry(EntryForm):
    """One circuit of a loop."""

    model = Circuit
    children = {"members": MemberEntry, "cables": CableEntry, "terminators": TerminatorEntry}
    locals().update(fields_of(Circuit))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        members = children.get("members", [])
        roles = [row.get("role") for row in members]
        if Member.Role.SOURCE not in roles:
            yield "members", _("A circuit has at least one source: add it.")
        if not {Member.Role.DEVICE, Member.Role.INLINE} & set(roles):
            yield "members", _("A circuit has at least one field device: add it.")
        places = [row["area"] for row in members if row.get("area")]
        if len({place.is_dust for place in places}) == 2:
            yield (
                "members",
                _("One circuit is judged for gas or for dust: give devices in a dust area a circuit of their own."),
            )
        if len({bool(place.zone) for place in places}) == 2:
            yield (
                "members",
                _("One circuit is judged by zones or by divisions: choose areas that are classified alike."),
            )
        yield from twice(members, "members")
        yield from twice(children.get("cables", []), "cables")
        yield from twice(children.get("terminators", []), "terminators")
        if cleaned.get("fisco") and cleaned.get("two_wise"):
            yield "two_wise", _("A circuit is FISCO or 2-WISE, not both: keep one of the two ticks.")
        if children.get("terminators") and not (cleaned.get("fisco") or cleaned.get("two_wise")):
            yield "terminators", _("Terminators belong to a fieldbus circuit: tick FISCO or 2-WISE, or remove them.")
        if cleaned.get("no_cable") and children.get("cables"):
            yield "no_cable", _("There are cable runs below: remove them, or take this tick away.")


class LoopEntry(EntryForm):
    """A loop with its circuits."""

    model = Loop
    children = {"circuits": CircuitEntry}
    site = RecordField(lambda: Site.objects.filter(archived_at=None), "code", label="site")
    locals().update(fields_of(Loop))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        circuits = children.get("circuits", [])
        if not circuits:
            yield "circuits", _("A loop has at least one circuit: name its source and its field device.")
        for index, circuit in enumerate(circuits):
            for position, member in enumerate(circuit.get("members", [])):
                area = member.get("area")
                if area is not None and area.site_id != cleaned["site"].pk:
                    yield (
                        f"circuits.{index}.members.{position}.area",
                        _("This area is at another site: choose one of this site."),
                    )
        yield from twice(circuits, "circuits", "name")


def twice(rows: list[dict[str, Any]], path: str, key: str = "tag") -> Faults:
    """A name that stands twice among rows that are told apart by it."""
    seen: set[str] = set()
    for index, row in enumerate(rows):
        name = str(row.get(key, "")).casefold()
        if name and name in seen:
            yield f"{path}.{index}.{key}", _("This name stands twice here: give each its own.")
        seen.add(name)
