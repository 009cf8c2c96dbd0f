"""What an Ex marking is made of, and the contradictions that no marking may hold.

Sources: IEC 60079-0:2017, clause 29, and IEC 60079-26 for boundaries (both from memory); Directive 2014/34/EU, annex I,
for groups and categories; NEC articles 500 and 505 for classes, divisions and zones (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

EXAMPLE = "II 2 G Ex ia IIC T4 Gb"
EXAMPLE_SOURCE = "II (1) G [Ex ia Ga] IIC"
EXAMPLE_DUST = "II 1 D Ex ia IIIC T135\u00b0C Da"
EXAMPLE_DIVISION = "IS CL I, DIV 1, GP A, B, C, D T4"
EXAMPLE_ZONE = "Class I Zone 0 AEx ia IIC T4 Ga"

# Level of protection of each type; "" where the symbol alone does not tell. The second row is of earlier editions.
PROTECTIONS = {
    **dict.fromkeys(("da", "ia", "ma", "sa", "ta"), "a"),
    **dict.fromkeys(("db", "eb", "ib", "mb", "ob", "pxb", "pyb", "qb", "sb", "tb"), "b"),
    **dict.fromkeys(("dc", "ec", "ic", "mc", "nA", "nC", "nL", "nR", "oc", "pzc", "sc", "tc"), "c"),
    **dict.fromkeys(("h", "n", "op is", "op pr", "op sh", "pv", "s", "t", "tD", "tD A20", "tD A21", "tD A22"), ""),
    "d": "b",
    "e": "b",
    "m": "b",
    "o": "b",
    "p": "b",
    "px": "b",
    "py": "b",
    "pz": "c",
    "q": "b",
    "iaD": "a",
    "ibD": "b",
    "icD": "c",
    "maD": "a",
    "mbD": "b",
    "mcD": "c",
    "pD": "b",
}
INTRINSIC = {"ia": "ia", "ib": "ib", "ic": "ic", "iaD": "ia", "ibD": "ib", "icD": "ic"}
METHODS = ("IS", "AIS", "NI", "ANI", "XP", "DIP", "Ex ia", "Ex ib", "[Ex ia]", "[Ex ib]")
CATEGORY_LEVEL = {"1": "a", "2": "b", "3": "c", "M1": "a", "M2": "b"}
AIR_OF_FAMILY = {"I": "M", "II": "G", "III": "D"}
IEC_GROUP = {"A": "IIC", "B": "IIC", "C": "IIB", "D": "IIA", "E": "IIIC", "F": "IIIB", "G": "IIIB"}
LETTERS_OF_CLASS = {"I": "ABCD", "II": "EFG", "III": ""}


class MarkingError(ValueError):
    """The text is not a marking or not a certificate number.

    ``str(error)`` is one sentence that says what is wrong and names a right example; ``error.example`` is that example.
    """

    def __init__(self, problem: str, example: str) -> None:
        super().__init__(f"{problem}, for example {example}.")
        self.example = example


@dataclass(frozen=True, slots=True)
class Associated:
    """What stands in square brackets: circuits that lead to protected apparatus elsewhere."""

    protections: tuple[str, ...]
    groups: tuple[str, ...] = ()
    """Own group, where it is not that of the whole marking."""
    epl: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Marking:
    """One marking taken apart; what it does not say is empty or None. Making one that contradicts itself raises
    :class:`MarkingError`."""

    equipment_group: str = ""
    """``I`` or ``II`` of Directive 2014/34/EU."""
    categories: tuple[str, ...] = ()
    """``1``, ``2``, ``3``, ``M1``, ``M2``; two for equipment in a boundary (``1/2``)."""
    atmospheres: tuple[str, ...] = ()
    """``G``, ``D``."""
    associated_categories: tuple[str, ...] = ()
    """Those in parentheses."""
    associated_atmospheres: tuple[str, ...] = ()
    symbol: str = ""
    """``Ex``, ``AEx`` (United States) or ``EEx`` (before 2004); empty in a marking by divisions."""
    protections: tuple[str, ...] = ()
    joint: str = " "
    """What stands between the types of protection: a space, ``/`` (in a boundary) or ``+`` (independent ones)."""
    associated: tuple[Associated, ...] = ()
    groups: tuple[str, ...] = ()
    temperature_classes: tuple[str, ...] = ()
    """One, or the two ends of a range."""
    surface_temperature_degc: Decimal | None = None
    dust_layer_mm: int | None = None
    """Depth of the layer of dust under which the surface temperature holds."""
    epl: tuple[str, ...] = ()
    ip: str = ""
    ambient_min_degc: Decimal | None = None
    ambient_max_degc: Decimal | None = None
    methods: tuple[str, ...] = ()
    """North American methods: ``IS``, ``AIS``, ``NI`` …"""
    classes: tuple[str, ...] = ()
    divisions: tuple[str, ...] = ()
    zone: str = ""
    hazard_groups: tuple[str, ...] = ()
    """``A`` … ``G``."""
    notes: tuple[str, ...] = ()
    """Words beside it that say nothing of level or group: ``FISCO power supply``, ``see control drawing 7``."""

    def __post_init__(self) -> None:
        for check in (_check_prefix, _check_apparatus, _check_associated, _check_temperatures, _check_american):
            check(self)

    @property
    def source_level(self) -> str:
        """``ia``, ``ib`` or ``ic`` of the circuits that it feeds, the weakest if several; empty if it feeds none."""
        named = [INTRINSIC[part] for group in self.associated for part in group.protections if part in INTRINSIC]
        named += [part[4:6] for part in self.methods if part.startswith("[")]
        named += ["ia" if "1" in self.divisions else "ic"] if "AIS" in self.methods else []
        return max(named, default="")

    @property
    def device_level(self) -> str:
        """``ia``, ``ib`` or ``ic`` of the apparatus itself, the weakest if several; empty if it has none of them."""
        named = [INTRINSIC[part] for part in self.protections if part in INTRINSIC]
        named += [part[3:5] for part in self.methods if part.startswith("Ex")]
        named += ["ia" if "1" in self.divisions else "ic"] if "IS" in self.methods else []
        return max(named, default="")

    @property
    def direction(self) -> str:
        """Its side of an intrinsically safe circuit: ``source``, ``field device``, ``both`` or ``neither``."""
        sides = (bool(self.source_level), bool(self.device_level))
        return {(True, True): "both", (True, False): "source", (False, True): "field device"}.get(sides, "neither")


# --- sense ----------------------------------------------------------------------------------------------------------


def _family(groups: tuple[str, ...]) -> str:
    """The atmosphere of the groups: ``G`` gas, ``D`` dust, ``M`` mines; empty without groups."""
    return AIR_OF_FAMILY[groups[0].rstrip("ABC+H2")] if groups else ""


def _check_prefix(marking: Marking) -> None:
    categories = marking.categories + marking.associated_categories
    if not marking.equipment_group:
        if categories or marking.atmospheres or marking.associated_atmospheres:
            raise MarkingError("The category has no equipment group before it", EXAMPLE)
        return
    mines = marking.equipment_group == "I"
    if any(category.startswith("M") != mines for category in categories):
        raise MarkingError(
            "Group I has categories M1 and M2, group II has 1, 2 and 3", "I M1 Ex ia I Ma" if mines else EXAMPLE
        )
    if not categories:
        raise MarkingError(f"Group {marking.equipment_group} is not followed by a category", EXAMPLE)
    needs_air = (
        (marking.categories, marking.atmospheres),
        (marking.associated_categories, marking.associated_atmospheres),
    )
    if any(bool(air) == mines for category, air in needs_air if category):
        raise MarkingError("The category is followed by G, D or GD in group II and by nothing in group I", EXAMPLE)
    if marking.associated_categories and not marking.associated:
        raise MarkingError("A category in parentheses belongs to a part in square brackets", EXAMPLE_SOURCE)
    if marking.categories and not marking.protections:
        raise MarkingError("A category without parentheses needs a type of protection outside brackets", EXAMPLE_SOURCE)


def _check_apparatus(marking: Marking) -> None:
    if marking.divisions:
        return
    if not marking.protections and not marking.associated:
        raise MarkingError("There is no type of protection in this marking", EXAMPLE)
    if not marking.symbol:
        raise MarkingError("The types of protection have no Ex before them", EXAMPLE)
    if marking.joint != " " and len(marking.protections) < 2:
        raise MarkingError(f"There is one type of protection only beside \u201c{marking.joint}\u201d", EXAMPLE)
    if not marking.groups and (marking.protections or not all(part.groups for part in marking.associated)):
        raise MarkingError("The group is missing", EXAMPLE)
    if len({_family((group,)) for group in marking.groups}) > 1:
        raise MarkingError("Write the markings for gas, dust and mines one by one", EXAMPLE_DUST)
    if not marking.protections:
        if marking.epl:
            raise MarkingError("The EPL of an associated apparatus stands in the brackets", EXAMPLE_SOURCE)
        return
    family = _family(marking.groups)
    _check_protections(marking.protections, marking.epl, family)
    misplaced = marking.atmospheres and family not in marking.atmospheres
    if misplaced or (marking.equipment_group and (marking.equipment_group == "I") != (family == "M")):
        raise MarkingError(f"Group {'/'.join(marking.groups)} does not go with what stands before Ex", EXAMPLE)
    earned = [CATEGORY_LEVEL[category] for category in marking.categories]
    if marking.epl and earned and earned != [letter[1] for letter in marking.epl]:
        categories, epl = "/".join(marking.categories), "/".join(marking.epl)
        raise MarkingError(f"Category {categories} does not go with EPL {epl}", EXAMPLE)


def _check_associated(marking: Marking) -> None:
    for part in marking.associated:
        family = _family(part.groups or marking.groups)
        _check_protections(part.protections, part.epl, family)
        if marking.associated_atmospheres and family not in marking.associated_atmospheres:
            raise MarkingError("The group in the brackets does not go with what stands before Ex", EXAMPLE_SOURCE)
    earned = {CATEGORY_LEVEL[category] for category in marking.associated_categories}
    named = {letter[1] for part in marking.associated for letter in part.epl}
    if earned and named and earned != named:
        raise MarkingError("The category in parentheses does not go with the EPL in the brackets", EXAMPLE_SOURCE)


def _check_protections(protections: tuple[str, ...], epl: tuple[str, ...], family: str) -> None:
    if not protections or any(symbol not in PROTECTIONS for symbol in protections):
        raise MarkingError("There is no known type of protection here", EXAMPLE)
    if any(letter[0] != family for letter in epl):
        example = EXAMPLE_DUST if family == "D" else EXAMPLE
        raise MarkingError(f"EPL {'/'.join(epl)} does not go with the group", example)
    # Two independent types may earn together what neither earns alone, so only a single one is judged.
    level = PROTECTIONS[protections[0]] if len(protections) == 1 else ""
    if level and any(letter[1] < level for letter in epl):
        raise MarkingError(f"{protections[0]} does not earn EPL {'/'.join(epl)}", EXAMPLE)


def _check_temperatures(marking: Marking) -> None:
    if marking.temperature_classes and _family(marking.groups) == "D":
        raise MarkingError(
            "A marking for dust gives a surface temperature instead of a temperature class", EXAMPLE_DUST
        )
    if any(len(name) > 2 for name in marking.temperature_classes) and not marking.divisions:
        raise MarkingError("Subclasses such as T3C belong to markings by divisions", EXAMPLE_DIVISION)
    if len(set(marking.temperature_classes)) != len(marking.temperature_classes):
        raise MarkingError("The two ends of the range of temperature classes are the same", "Ex db IIC T6...T4 Gb")
    if marking.dust_layer_mm is not None and (
        _family(marking.groups) != "D" or marking.surface_temperature_degc is None
    ):
        raise MarkingError("A depth of layer belongs to a surface temperature for dust", EXAMPLE_DUST)
    low, high = marking.ambient_min_degc, marking.ambient_max_degc
    if low is not None and (high is None or low >= high):
        raise MarkingError(
            "The ambient range has no upper end above its lower end",
            f"{EXAMPLE} -20 \u00b0C \u2264 Ta \u2264 +60 \u00b0C",
        )


def _check_american(marking: Marking) -> None:
    if not (marking.divisions or marking.zone):
        if marking.classes or marking.methods or marking.hazard_groups:
            raise MarkingError("The class is not followed by a division or a zone", EXAMPLE_DIVISION)
        return
    if marking.equipment_group or (marking.divisions and marking.zone):
        raise MarkingError("Write the markings by categories, divisions and zones one by one", EXAMPLE_DIVISION)
    if marking.zone:
        _check_zone(marking)
        return
    if marking.protections or marking.associated or marking.groups or marking.epl or marking.symbol:
        raise MarkingError("Write the markings by divisions and by Ex one by one", EXAMPLE_DIVISION)
    if not marking.classes or any(method not in METHODS for method in marking.methods):
        raise MarkingError("The class is missing, or the method before it is unknown", EXAMPLE_DIVISION)
    allowed = "".join(LETTERS_OF_CLASS[name] for name in marking.classes)
    if any(letter not in allowed for letter in marking.hazard_groups):
        raise MarkingError("Groups A to D belong to class I, E to G to class II", EXAMPLE_DIVISION)
    for name in marking.classes:
        if LETTERS_OF_CLASS[name] and not set(LETTERS_OF_CLASS[name]) & set(marking.hazard_groups):
            raise MarkingError(f"Class {name} has no group", EXAMPLE_DIVISION)


def _check_zone(marking: Marking) -> None:
    dust = len(marking.zone) == 2
    if marking.classes not in ((), ("I",)) or (dust and marking.classes):
        raise MarkingError("Zones 0 to 2 are of class I, zones 20 to 22 of no class", EXAMPLE_ZONE)
    if marking.hazard_groups or (_family(marking.groups) or "G") != ("D" if dust else "G"):
        raise MarkingError(f"The group does not go with zone {marking.zone}", EXAMPLE_ZONE)
    worst = {"0": "a", "1": "b", "2": "c"}[marking.zone[-1]]
    if any(letter[1] > worst for letter in marking.epl):
        raise MarkingError(f"EPL {'/'.join(marking.epl)} is not enough for zone {marking.zone}", EXAMPLE_ZONE)
