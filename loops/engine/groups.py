"""Groups of atmospheres: which marking covers which area, and which row of permitted values an area may use."""

from __future__ import annotations

from collections.abc import Sequence

from loops.engine.case import Area, Group, Permitted

# Each marking as the set of hazards that it covers. A hazard is one North American letter, mines, or flyings (IIIA).
# A, B ~ IIC, C ~ IIB, D ~ IIA, E ~ IIIC, F, G ~ IIIB (from memory); a letter alone covers nothing above itself, so
# that equipment marked B alone is not taken for an area with acetylene.
COVERS: dict[Group, frozenset[str]] = {
    Group.I: frozenset({"mines"}),
    Group.IIA: frozenset("D"),
    Group.IIB: frozenset("CD"),
    Group.IIC: frozenset("ABCD"),
    Group.A: frozenset("ABCD"),
    Group.B: frozenset("BCD"),
    Group.C: frozenset("CD"),
    Group.D: frozenset("D"),
    Group.IIIA: frozenset({"flyings"}),
    Group.IIIB: frozenset({"F", "G", "flyings"}),
    Group.IIIC: frozenset({"E", "F", "G", "flyings"}),
    Group.E: frozenset({"E", "F", "G", "flyings"}),
    Group.F: frozenset({"F", "G", "flyings"}),
    Group.G: frozenset({"G", "flyings"}),
}

ZONE_GROUP = {
    Group.A: Group.IIC,
    Group.B: Group.IIC,
    Group.C: Group.IIB,
    Group.D: Group.IIA,
    Group.E: Group.IIIC,
    Group.F: Group.IIIB,
    Group.G: Group.IIIB,
}
DUST = frozenset({Group.IIIA, Group.IIIB, Group.IIIC})
# Rows that an area may use, the area's own first, then the next more severe ones. Dust uses the IIB row.
_ROW_ORDER: dict[Group, tuple[Group, ...]] = {
    Group.I: (Group.I,),
    Group.IIA: (Group.IIA, Group.IIB, Group.IIC),
    Group.IIB: (Group.IIB, Group.IIC),
    Group.IIC: (Group.IIC,),
    Group.IIIA: (Group.IIIA, Group.IIIB, Group.IIIC, Group.IIB, Group.IIC),
    Group.IIIB: (Group.IIIB, Group.IIIC, Group.IIB, Group.IIC),
    Group.IIIC: (Group.IIIC, Group.IIB, Group.IIC),
}
_SEVERITY = {group: rank for rank, group in enumerate((Group.IIA, Group.IIB, Group.IIC))} | {
    group: rank for rank, group in enumerate((Group.IIIA, Group.IIIB, Group.IIIC))
}


def zone_group(group: Group) -> Group:
    """The group of the zone system that a North American letter stands for; every other group is itself.

    >>> zone_group(Group.C), zone_group(Group.IIA)
    (<Group.IIB: 'IIB'>, <Group.IIA: 'IIA'>)
    """
    return ZONE_GROUP.get(group, group)


def covers(marked: Group, area: Group) -> bool:
    """Equipment marked for ``marked`` may stand in an area of group ``area``.

    >>> covers(Group.IIC, Group.IIB), covers(Group.IIB, Group.IIC), covers(Group.B, Group.A), covers(Group.IIC, Group.I)
    (True, False, False, False)
    """
    return COVERS[area] <= COVERS[marked]


def permitted_rows(rows: Sequence[Permitted], area: Group) -> tuple[Permitted, ...]:
    """The rows of permitted values for an area: those of its group, else of the next more severe group that has any.

    Several rows of one group are alternatives. Empty when the certificate has none that is severe enough. A row for B
    alone does not speak of acetylene, so an area of group A does not use it.

    >>> [row.group.value for row in permitted_rows([Permitted(Group.IIA), Permitted(Group.IIC)], Group.IIB)]
    ['IIC']
    >>> permitted_rows([Permitted(Group.IIB)], Group.IIC), permitted_rows([Permitted(Group.B)], Group.A)
    ((), ())
    """
    if area is Group.A:
        rows = [row for row in rows if row.group is not Group.B]
    for wanted in _ROW_ORDER[zone_group(area)]:
        found = tuple(row for row in rows if zone_group(row.group) is wanted)
        if found:
            return found
    return ()


def least_severe(groups: Sequence[Group]) -> Group | None:
    """The group that a system of these parts earns: the least severe one; ``None`` for none or for unlike kinds.

    >>> least_severe([Group.IIC, Group.B, Group.IIB])
    <Group.IIB: 'IIB'>
    >>> least_severe([Group.IIC, Group.IIIC]) is None
    True
    """
    zoned = [zone_group(group) for group in groups]
    if not zoned or len({_kind(group) for group in zoned}) > 1:
        return None
    return min(zoned, key=lambda group: _SEVERITY.get(group, 0))


def is_dust(area: Area) -> bool:
    """The area is one of dust: by its zone, its North American class or its group.

    >>> is_dust(Area(zone="21")), is_dust(Area(zone="1")), is_dust(Area(group=Group.G))
    (True, False, True)
    """
    if area.zone is not None:
        return area.zone in ("20", "21", "22")
    if area.material_class is not None:
        return area.material_class != "I"
    return area.group is not None and zone_group(area.group) in DUST


def _kind(group: Group) -> str:
    if group in DUST:
        return "dust"
    return "mines" if group is Group.I else "gas"
