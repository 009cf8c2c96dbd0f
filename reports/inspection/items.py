"""What an inspection of an intrinsically safe loop looks at, and in which grade.

The topics and the grades that they belong to follow IEC 60079-17:2013, Table 2 (Ex i), from memory, in words of our
own: confirm them against the team's own copy. The grades build on one another: whatever is looked at in a visual
inspection is looked at in a close one too, and whatever in a close one in a detailed one too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

VISUAL, CLOSE, DETAILED = "visual", "close", "detailed"
GRADES = (VISUAL, CLOSE, DETAILED)
BASIS = "IEC 60079-17:2013, Table 2 (topics and grades from memory: confirm against the team's own copy)"
VERSION = "2026.2"
"""Changes whenever an item, its words or its grade changes; kept with every inspection."""

LOOP, SOURCE, MEMBER, FIELD, CABLE, CONDITION = "loop", "source", "member", "field", "cable", "condition"
"""Where an item is looked at: at the loop as a whole, at each source, at each source and device, at what stands in the
field, at each cable run, and for each specific condition of use."""


@dataclass(frozen=True)
class Item:
    """One thing to look at. `grade` is the weakest grade that it belongs to; `values` name what may be found to differ
    from the record and is then judged (reports.inspection.asfound)."""

    key: str
    where: str
    grade: str
    text: str
    values: tuple[str, ...] = ()
    initial_only: bool = False
    not_in: str = ""
    """A stronger grade in which another item stands in its place."""


ITEMS = (
    Item(
        "documents", LOOP, VISUAL, "The documents of the loop are at hand, current, and suit the place's EPL or zone."
    ),
    Item("um", LOOP, CLOSE, "Nothing on the safe side can put more than Um on the source.", ("safe_voltage_max_v",)),
    Item("extra", LOOP, CLOSE, "Nothing is connected to the loop that is not on record.", ("extra",)),
    Item("point_to_point", LOOP, DETAILED, "Every core runs from and to the terminals on the drawing.", (), True),
    Item(
        "earth_continuity", LOOP, DETAILED, "Earth conductors are sound, tight and thick enough where earth is needed."
    ),
    Item("earth_sound", LOOP, VISUAL, "Earth and bonding connections look whole; none was taken away or added."),
    Item("earth_points", LOOP, DETAILED, "The circuit is earthed where the record says, and nowhere else."),
    Item("isolation", LOOP, DETAILED, "Insulation of the circuit from earth and from other circuits is good."),
    Item(
        "separation",
        LOOP,
        DETAILED,
        "In shared boxes and cabinets, circuits of other kinds are kept apart from this one.",
    ),
    Item("fault_protection", LOOP, DETAILED, "Short-circuit protection of the power supply is as documented."),
    Item("item", MEMBER, CLOSE, "The item is the one on record, with its certificate.", ("item",)),
    Item("nameplate", MEMBER, CLOSE, "The values on the nameplate are those on record.", ("parameters",)),
    Item("rating", FIELD, CLOSE, "Level, group and temperature class suit the place.", ("marking",)),
    Item(
        "ambient",
        FIELD,
        CLOSE,
        "The ambient, and what the process brings to it, is within the item's range.",
        ("ambient",),
    ),
    Item("ingress", FIELD, CLOSE, "The enclosure keeps out dust and water as the place asks (IP rating)."),
    Item("label", MEMBER, CLOSE, "Tag and marking can be read and stand for this loop."),
    Item("enclosure", FIELD, DETAILED, "Enclosure, windows, seals and gaskets are sound inside and outside."),
    Item("glands", FIELD, CLOSE, "Glands and blanking plugs are of the right type, complete, and tight by hand."),
    Item("glands_seen", FIELD, VISUAL, "Glands and blanking plugs look complete and in place.", not_in=CLOSE),
    Item("modified", MEMBER, DETAILED, "Nothing was modified without being recorded."),
    Item("modified_seen", MEMBER, VISUAL, "Nothing looks as if it had been modified.", not_in=DETAILED),
    Item(
        "barrier",
        SOURCE,
        VISUAL,
        "The source is approved, built in as its certificate asks, and earthed where it must be.",
    ),
    Item("connections", MEMBER, DETAILED, "Connections are tight."),
    Item("boards", MEMBER, DETAILED, "Printed circuits, where they can be seen, are clean and whole."),
    Item("cable", CABLE, DETAILED, "Type and length of the cable are those on record.", ("cable_type", "length_m")),
    Item("screens", CABLE, DETAILED, "The screen is earthed as documented, and only there."),
    Item("damage", CABLE, VISUAL, "The cable shows no damage."),
    Item("sealing", CABLE, VISUAL, "Trunking, ducts, pipes and conduits are sealed where they cross a boundary."),
    Item("unused", CABLE, DETAILED, "Cores that are not used are terminated as documented."),
    Item("condition", CONDITION, DETAILED, "The specific condition of use is met."),
    Item("weather", FIELD, VISUAL, "The item is protected from corrosion, weather, vibration and what else wears it."),
    Item("dust", FIELD, VISUAL, "No dust or dirt has gathered on it more than it should."),
)


def items(grade: str, initial: bool) -> Iterator[Item]:
    """What is looked at in a grade; `initial` before the loop is put to use for the first time."""
    rank = GRADES.index(grade)
    for item in ITEMS:
        replaced = bool(item.not_in) and rank >= GRADES.index(item.not_in)
        if GRADES.index(item.grade) <= rank and not replaced and (initial or not item.initial_only):
            yield item
