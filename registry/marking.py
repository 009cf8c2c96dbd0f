"""The grammar of Ex markings, both ways: what a nameplate says, taken apart and put together again.

Read are markings by IEC 60079-0:2017, clause 29 (from memory, confirm against the team's own copy), with or without the
group and category of Directive 2014/34/EU before them; those of earlier editions, which have no level letter or no EPL;
and North American ones by divisions (NEC 500) or zones (NEC 505, 506).

The reader is generous with spaces, commas and words (``Class``, ``CL``) and strict with sense: a marking that
contradicts itself (a gas group with a dust EPL, category 1 with EPL Gb, ``ib`` with Ga) is refused. Capital and small
letters count, for ``Db`` is an EPL and ``db`` a type of protection. Certificate numbers:
:mod:`registry.certificate_numbers`.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal

from registry.certificate_numbers import CertificateNumber, parse_certificate_number
from registry.marking_parts import (
    EXAMPLE,
    EXAMPLE_DIVISION,
    EXAMPLE_DUST,
    EXAMPLE_SOURCE,
    IEC_GROUP,
    PROTECTIONS,
    Associated,
    Marking,
    MarkingError,
)

__all__ = [
    "Associated",
    "CertificateNumber",
    "Marking",
    "MarkingError",
    "differences",
    "parse_certificate_number",
    "parse_marking",
    "parse_markings",
    "write_marking",
]

LONGEST = 300
FORMERLY_JOINED = {"de": ("d", "e"), "dem": ("d", "e", "m"), "em": ("e", "m"), "dia": ("d", "ia"), "eia": ("e", "ia")}


# --- reading --------------------------------------------------------------------------------------------------------

_CLEAN = str.maketrans(
    {
        **dict.fromkeys("\u00a0\u2007\u2009\u202f\t\r\n", " "),
        **dict.fromkeys("\u2212\u2013\u2010\u2011", "-"),
        **dict(zip("₀₁₂₃₄₅₆₇₈₉", "0123456789", strict=True)),
        "\u2103": "\u00b0C",
        "\u00ba": "\u00b0",
        "\u2026": "...",
    }
)
_DEGREES = r" ?(?:°|deg) ?C(?![A-Za-z])"
_NUMBER = r"[+-]? ?[0-9]{1,3}(?:[.,][0-9]{1,2})?"
_AND = r" ?(?:,|/|&|and) ?"
_AIR = r"(?:G ?/? ?D|G|D)"
_CATEGORY = r"M?[123](?: ?/ ?M?[123])?"
_PREFIX = re.compile(
    rf"(?P<group>II|I) ?(?P<own>{_CATEGORY})? ?(?P<air>{_AIR})? ?"
    rf"(?:\( ?(?P<other>{_CATEGORY}) ?(?P<inner>{_AIR})? ?\))? ?(?P<after>{_AIR})?(?![A-Za-z0-9])"
)
_SYMBOL = re.compile(r"(A?Ex|EEx)(?![A-Z])")
_ALTERNATIVES = "|".join(sorted((*PROTECTIONS, *FORMERLY_JOINED), key=lambda symbol: -len(symbol)))
_PROTECTION = re.compile(rf"(?P<joint>[/+] ?)?(?P<symbol>{_ALTERNATIVES})(?![A-Za-z])".replace("op ", "op ?"))
_GROUP = r"(?:III[ABC]|IIB ?\+ ?H2|II[ABC]|II|I)"
_GROUPS = re.compile(rf"{_GROUP}(?: ?/ ?{_GROUP})*(?![A-Za-z0-9])")
_EPL = re.compile(r"[GDM][abc](?: ?/ ?[GDM][abc])?(?![A-Za-z])")
_CLASS = re.compile(
    r"\(?(?P<first>T[1-6])(?: ?(?:\.\.\.?|-|to|/) ?(?P<last>T[1-6]))?\)?(?![A-Za-z0-9])|"
    r"(?P<sub>T2[A-D]|T3[A-C]|T4A)(?![A-Za-z0-9])"
)
# What stands before an ambient is its lower end with its sign, not the end of a range of surface temperatures.
_SURFACE = re.compile(
    rf"(?:T(?:(?P<layer>[1-9][0-9]{{1,2}}) )? ?)?(?P<degrees>[0-9]{{2,3}}(?:[.,][0-9])?){_DEGREES}"
    rf"(?: ?(?:\.\.\.?|-|to) ?T? ?(?P<last>[0-9]{{2,3}}(?:[.,][0-9])?){_DEGREES}(?! ?(?:≤|<|to|\.\.)))?"
)
_IP = re.compile(r"IP ?([0-9X]{2}[A-Z]?(?:/[0-9X]{2}[A-Z]?)?)(?![A-Za-z0-9])")
_AMBIENT = re.compile(
    rf"(?P<low>{_NUMBER})(?:{_DEGREES})? ?(?:≤|<=|<) ?T(?:amb|a)\.? ?(?:≤|<=|<) ?(?P<high>{_NUMBER}){_DEGREES}|"
    rf"(?:T(?:amb|a)\.? ?[:=]? ?)?(?P<from>{_NUMBER})(?:{_DEGREES})? ?(?:to|\.\.\.?) ?(?P<to>{_NUMBER}){_DEGREES}|"
    rf"T(?:amb|a)\.? ?(?:≤|<=|<|max\.?) ?(?P<most>{_NUMBER}){_DEGREES}"
)
_METHOD = re.compile(r"AIS|ANI|IS|NI|XP|DIP|\[ ?Ex ?i[ab] ?\]|Ex ?i[ab](?= ?,? ?cl| ?/)", re.ASCII | re.IGNORECASE)
_CLASSES = re.compile(
    rf"(?:class|cl)\.? ?(I{{1,3}}(?:{_AND}I{{1,3}}(?![A-Za-z]))*)(?![A-Za-z])", re.ASCII | re.IGNORECASE
)
_ZONE = re.compile(r"(?:zone|zn)\.? ?(0|1|20|21|22|2)(?![0-9])", re.ASCII | re.IGNORECASE)
_DIVISIONS = re.compile(rf"(?:divisions?|div)\.? ?([12](?:{_AND}[12])*)(?![0-9])", re.ASCII | re.IGNORECASE)
_LETTERS = re.compile(
    r"(?:groups?|grps?|gps?)\.? ?([A-G](?:(?: ?(?:,|/|&|-|and|to|through) ?| ?)[A-G])*)(?![A-Za-z])",
    re.ASCII | re.IGNORECASE,
)


_FIELDBUS = re.compile(
    r"\(?(?:FISCO|FNICO|2-WISE|[Ee]ntity)(?![A-Za-z])"
    r"(?: (?:power supply|power port|power load port|load port|communication port|auxiliary devices?|field device|"
    r"terminator|system)(?![A-Za-z]))?\)?"
)
"""What IEC 60079-11 and IEC TS 60079-47 add to a marking for fieldbus and two-wire Ethernet (from memory)."""
_REMARK = re.compile(r"\(?(?:see|per|refer to|as per|control drawing|install)(?![a-z])[^\[\];\n]*$", re.IGNORECASE)
"""Words that lead to another paper; they go on to the end."""
_BEGINNING = re.compile(r"(?<![A-Za-z0-9])(?:I{1,2} ?\(?M?[123][ /()GDM123]{0,20})?\[? ?[AE]?Ex(?= ?[a-z])(?![a-z]{3})")
"""Where a marking begins, its group and category with it."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text, self.place, self.found = text, 0, set[str]()

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        self.place += len(self.rest) - len(self.rest.lstrip(" ,"))
        match = pattern.match(self.text, self.place)
        if match is not None:
            self.place = match.end()
        return match

    def take_text(self, text: str) -> bool:
        return self.take(re.compile(re.escape(text))) is not None

    @property
    def rest(self) -> str:
        return self.text[self.place :]

    def once(self, what: str, example: str = EXAMPLE) -> None:
        if what in self.found:
            raise MarkingError(f"There is more than one {what}; separate two markings with a semicolon", example)
        self.found.add(what)


def parse_markings(text: str) -> tuple[Marking, ...]:
    """All markings of a nameplate: separated by semicolons or lines, by a comma before an Ex or a class, or by nothing.

    Group and category that stand before the first hold for the others too where their atmosphere is named there.

    >>> [write_marking(marking) for marking in parse_markings("II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC")]
    ['II (1) GD [Ex ia Ga] IIC', 'II (1) GD [Ex ia Da] IIIC']

    Raises :class:`MarkingError` with what is wrong with the text as it stands.
    """
    found: list[Marking] = []
    for part in re.split(r"[;\n]|,(?= ?(?:\[?[AE]?Ex |(?:CL|Class) |I{1,2} ?\(?M?[123]))", text):
        plain = part.strip(" ,\t\r")
        if found and (_REMARK.fullmatch(plain) or _FIELDBUS.fullmatch(plain)):
            found[-1] = replace(found[-1], notes=(*found[-1].notes, " ".join(plain.strip("()").split())))
        elif plain:
            found += _parse_part(part)
    return tuple(found)


def _parse_part(text: str) -> tuple[Marking, ...]:
    """One marking, or several with nothing between them."""
    try:
        return (parse_marking(text),)
    except MarkingError:
        starts = [match.start() for match in _BEGINNING.finditer(text)]
        if len(starts) < 2:
            raise
        edges = [0, *starts[1:], len(text)]
        pieces = [text[start:end].strip(" ,/&") for start, end in itertools.pairwise(edges)]
        before = pieces[0][: re.search(r"\[? ?[AE]?Ex", pieces[0]).start()]  # type: ignore[union-attr]
        with suppress(MarkingError):
            return tuple(_with_prefix(piece, before if number else "") for number, piece in enumerate(pieces))
        raise


def _with_prefix(piece: str, before: str) -> Marking:
    """A marking with the group and category of another before it, without them where they do not go with it."""
    if before and re.match(r"\[? ?[AE]?Ex", piece):
        with suppress(MarkingError):
            return parse_marking(before + piece)
    return parse_marking(piece)


def parse_marking(text: str) -> Marking:
    """The one marking in ``text``.

    >>> marking = parse_marking("II 2 (1) G  Ex db [ia Ga] IIC T6 Gb, -20 °C ≤ Ta ≤ +60 °C")
    >>> marking.source_level, marking.device_level, marking.groups, marking.epl
    ('ia', '', ('IIC',), ('Gb',))
    >>> write_marking(marking)
    'II 2 (1) G Ex db [ia Ga] IIC T6 Gb -20 °C ≤ Ta ≤ +60 °C'

    Raises :class:`MarkingError`.
    """
    if not isinstance(text, str) or len(text) > LONGEST:
        raise MarkingError(f"Write one marking of at most {LONGEST} characters", EXAMPLE)
    plain = re.sub(" +", " ", text.translate(_CLEAN)).strip(" ,;")
    if not plain:
        raise MarkingError("Write the marking as it stands on the nameplate", EXAMPLE)
    if ";" in plain:
        raise MarkingError("There are two markings here; write them one by one", EXAMPLE)
    for character in plain:
        if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
            raise MarkingError(f"There is a hidden character (U+{ord(character):04X}) in this text", EXAMPLE)
    scanner = _Scanner(plain)
    fields: dict[str, object] = {}
    notes = _take_notes(scanner)
    start = scanner.place
    if not _read_american(scanner, fields) and (match := scanner.take(_PREFIX)) and (match["own"] or match["other"]):
        _keep_prefix(match, fields)
    else:
        scanner.place = start if not fields else scanner.place
    _read_body(scanner, fields, notes)
    return Marking(**fields)  # type: ignore[arg-type]


def _read_american(scanner: _Scanner, fields: dict[str, object]) -> bool:
    """Methods, classes, division or zone, and groups; False and nothing read if the marking is not North American."""
    begin = scanner.place
    methods: list[str] = []
    while (match := scanner.take(_METHOD)) is not None:
        named = re.sub("[ \\[\\]]", "", match[0])
        exact = f"Ex {named[2:].lower()}" if named.lower().startswith("ex") else named.upper()
        methods.append(f"[{exact}]" if "[" in match[0] else exact)
        scanner.take(re.compile("/"))
    classes, zone = scanner.take(_CLASSES), scanner.take(_ZONE)
    if classes is None and zone is None:
        scanner.place = begin
        return False
    fields["methods"] = tuple(dict.fromkeys(methods))
    if classes:
        fields["classes"] = tuple(dict.fromkeys(re.findall("I+", classes[1].upper())))
    if zone:
        fields["zone"] = zone[1]
        return True
    if (divisions := scanner.take(_DIVISIONS)) is None:
        raise MarkingError("The class is not followed by a division or a zone", EXAMPLE_DIVISION)
    fields["divisions"] = tuple(sorted(set(re.findall("[12]", divisions[1]))))
    if letters := scanner.take(_LETTERS):
        spread = re.sub(
            r"([A-G]) ?(?:-|TO|THROUGH) ?([A-G])",
            lambda pair: "".join(map(chr, range(ord(pair[1]), ord(pair[2]) + 1))),
            letters[1].upper().replace("AND", ","),
        )
        fields["hazard_groups"] = tuple(sorted(set(re.findall("[A-G]", spread))))
    return True


def _keep_prefix(match: re.Match[str], fields: dict[str, object]) -> None:
    def parts(text: str | None, pattern: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(re.findall(pattern, text or "")))

    fields["equipment_group"] = match["group"]
    fields["categories"], fields["associated_categories"] = (
        parts(match["own"], "M?[123]"),
        parts(match["other"], "M?[123]"),
    )
    last = match["after"] or match["inner"] or match["air"]
    fields["atmospheres"] = parts(match["air"] or last, "[GD]") if match["own"] else ()
    fields["associated_atmospheres"] = parts(match["inner"] or last, "[GD]") if match["other"] else ()


def _take_notes(scanner: _Scanner) -> list[str]:
    """The words beside the marking that stand here."""
    found = []
    while match := scanner.take(_FIELDBUS) or scanner.take(_REMARK):
        found.append(match[0].strip(" ,.()"))
    return found


def _read_body(scanner: _Scanner, fields: dict[str, object], notes: list[str]) -> None:
    protections: list[str] = []
    brackets: list[Associated] = []
    while scanner.rest.strip(" ,"):
        if match := scanner.take(_SYMBOL):
            scanner.once("Ex")
            fields["symbol"] = match[1]
        elif scanner.take_text("["):
            brackets.append(_read_brackets(scanner, fields))
        elif match := scanner.take(_AMBIENT):
            scanner.once("ambient range")
            low, high = match["low"] or match["from"], match["high"] or match["to"] or match["most"]
            fields["ambient_min_degc"], fields["ambient_max_degc"] = _degrees(low), _degrees(high)
        elif match := scanner.take(_CLASS):
            scanner.once("temperature class")
            fields["temperature_classes"] = tuple(filter(None, (match["first"] or match["sub"], match["last"])))
        elif match := scanner.take(_SURFACE):
            scanner.once("surface temperature")
            # Of a range the highest counts: whoever relies on less must read the certificate.
            ends = [_degrees(match[name]) for name in ("degrees", "last") if match[name]]
            fields["surface_temperature_degc"] = max(end for end in ends if end is not None)
            fields["dust_layer_mm"] = int(match["layer"]) if match["layer"] else None
        elif match := scanner.take(_EPL):
            scanner.once("EPL")
            fields["epl"] = _listed(match[0])
        elif match := scanner.take(_GROUPS):
            scanner.once("group")
            fields["groups"] = _listed(match[0])
        elif match := scanner.take(_IP):
            scanner.once("IP code")
            fields["ip"] = f"IP{match[1]}"
        elif match := scanner.take(_PROTECTION):
            protections += _symbols(match)
            if match["joint"]:
                fields["joint"] = match["joint"][0]
        elif found := _take_notes(scanner):
            notes += found
        else:
            raise _not_understood(scanner.rest)
    fields["protections"], fields["associated"], fields["notes"] = tuple(protections), tuple(brackets), tuple(notes)


def _read_brackets(scanner: _Scanner, fields: dict[str, object]) -> Associated:
    protections: list[str] = []
    groups: tuple[str, ...] = ()
    epl: tuple[str, ...] = ()
    if symbol := scanner.take(_SYMBOL):
        fields.setdefault("symbol", symbol[1])
    while not scanner.take_text("]"):
        if match := scanner.take(_PROTECTION):
            protections += _symbols(match)
        elif not groups and (match := scanner.take(_GROUPS)):
            groups = _listed(match[0])
        elif not epl and (match := scanner.take(_EPL)):
            epl = _listed(match[0])
        else:
            raise _not_understood(scanner.rest, EXAMPLE_SOURCE)
    return Associated(tuple(protections), groups, epl)


def _symbols(match: re.Match[str]) -> tuple[str, ...]:
    symbol = re.sub("^op ?", "op ", match["symbol"])
    return FORMERLY_JOINED.get(symbol, (symbol,))


def _listed(text: str) -> tuple[str, ...]:
    return tuple(text.replace(" ", "").split("/"))


def _degrees(text: str | None) -> Decimal | None:
    return Decimal(text.replace(" ", "").replace(",", ".")) if text else None


def _not_understood(rest: str, example: str = EXAMPLE) -> MarkingError:
    shown = rest.strip(" ,")[:20]
    if not shown:
        return MarkingError("A bracket is not closed", EXAMPLE_SOURCE)
    if re.match(r"[XU]\b", shown):
        return MarkingError(f"{shown[0]} belongs to the certificate number; leave it out here", example)
    if re.match(r"T ?[0-9]", shown):
        return MarkingError(
            f"\u201c{shown}\u201d is no temperature class; a surface temperature ends in \u00b0C", EXAMPLE_DUST
        )
    return MarkingError(f"\u201c{shown}\u201d is not understood; mind capital and small letters", example)


# --- writing --------------------------------------------------------------------------------------------------------


def write_marking(marking: Marking) -> str:
    """The marking in the order of clause 29, spaced as the standard's examples are; it reads back as it was."""
    words: list[str] = []
    if marking.divisions:
        words += ["/".join(marking.methods)] if marking.methods else []
        groups = f", GP {', '.join(marking.hazard_groups)}" if marking.hazard_groups else ""
        words.append(f"CL {', '.join(marking.classes)}, DIV {', '.join(marking.divisions)}{groups}")
    elif marking.zone:
        words += ["/".join(marking.methods)] if marking.methods else []
        words += [f"Class {', '.join(marking.classes)}"] if marking.classes else []
        words.append(f"Zone {marking.zone}")
    if marking.equipment_group:
        words.append(_written_prefix(marking))
    if marking.protections:
        words += [marking.symbol, marking.joint.join(marking.protections)]
    for number, part in enumerate(marking.associated):
        inside = [*part.protections, "/".join(part.groups), "/".join(part.epl)]
        own = marking.symbol if not marking.protections and not number else ""
        words.append(f"[{' '.join(filter(None, [own, *inside]))}]")
    words += ["/".join(marking.groups), "...".join(marking.temperature_classes)]
    if marking.surface_temperature_degc is not None:
        layer = f"{marking.dust_layer_mm} " if marking.dust_layer_mm else ""
        words.append(f"T{layer}{marking.surface_temperature_degc:f}\u00b0C")
    words += ["/".join(marking.epl), marking.ip]
    if marking.ambient_max_degc is not None:
        low = f"{_signed(marking.ambient_min_degc)} \u00b0C \u2264 " if marking.ambient_min_degc is not None else ""
        words.append(f"{low}Ta \u2264 {_signed(marking.ambient_max_degc)} \u00b0C")
    return ", ".join([" ".join(filter(None, words)), *marking.notes])


def _written_prefix(marking: Marking) -> str:
    own, other = "/".join(marking.categories), "/".join(marking.associated_categories)
    own_air, other_air = "".join(marking.atmospheres), "".join(marking.associated_atmospheres)
    words = [marking.equipment_group, own]
    if (own and own_air != other_air) or not other:
        words.append(own_air)
    if other:
        words += [f"({other})", other_air]
    return " ".join(filter(None, words))


def _signed(degrees: Decimal) -> str:
    return f"{degrees:+f}" if degrees else "0"


# --- comparing ------------------------------------------------------------------------------------------------------


def differences(
    marking: Marking,
    *,
    side: str,
    level: str = "",
    group: str = "",
    temperature_class: str = "",
    epl: str = "",
    ambient_min_degc: Decimal | None = None,
    ambient_max_degc: Decimal | None = None,
) -> tuple[str, ...]:
    """Where typed fields say something else than the marking, one sentence each, to warn with; empty ones say nothing.

    ``side`` is ``"source"`` (the brackets count) or ``"device"``. Groups A to G stand for the IEC groups that they are
    comparable to. A typed ambient range may be narrower than that of the marking, never wider.
    """
    brackets = marking.associated if side == "source" else ()
    marked_level = marking.source_level if side == "source" else marking.device_level
    groups = [name for part in brackets for name in part.groups] or list(marking.groups or marking.hazard_groups)
    epls = [name for part in brackets for name in part.epl] if side == "source" else list(marking.epl)
    found = []
    if level and level != marked_level:
        found.append(f"The level is {level}, the marking of the {side} says {marked_level or 'none'}.")
    comparable = {IEC_GROUP.get(name, name.partition("+")[0]) for name in groups}
    if group and comparable and IEC_GROUP.get(group, group) not in comparable:
        found.append(f"The group is {group}, the marking says {', '.join(groups)}.")
    classes = sorted(name[:2] for name in marking.temperature_classes)
    if temperature_class and classes and not classes[0] <= temperature_class[:2] <= classes[-1]:
        found.append(f"The temperature class is {temperature_class}, the marking says {' to '.join(classes)}.")
    if epl and epls and epl not in epls:
        found.append(f"The EPL is {epl}, the marking says {', '.join(epls)}.")
    low, high = marking.ambient_min_degc, marking.ambient_max_degc
    if low is not None and ambient_min_degc is not None and ambient_min_degc < low:
        found.append(f"The ambient range begins at {ambient_min_degc:f} degC, that of the marking at {low:f} degC.")
    if high is not None and ambient_max_degc is not None and ambient_max_degc > high:
        found.append(f"The ambient range ends at {ambient_max_degc:f} degC, that of the marking at {high:f} degC.")
    return tuple(found)
