"""What a line of a certificate says beside its parameters: headings, markings, certificate numbers, ambient ranges."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from registry.certificate_numbers import parse_certificate_number
from registry.exchange.pasted_words import DEGREES, Token, tokens
from registry.marking import Marking, MarkingError, parse_marking

MASK = "\ue000"
"""Stands for each character of a part of a line that has been read already."""

CLASS_LIMITS = {"T1": "450", "T2": "300", "T3": "200", "T4": "135", "T5": "100", "T6": "85"}
"""Highest surface temperature of each class in degC (IEC 60079-0:2017, table 2, from memory)."""


@dataclass(frozen=True)
class Part:
    """A text read from a part of a line."""

    column: str
    text: str
    start: int
    end: int
    note: str = ""


def masked(line: str, parts: list[Part]) -> str:
    """The line with the parts that have been read blotted out; as long as before."""
    for part in parts:
        line = line[: part.start] + MASK * (part.end - part.start) + line[part.end :]
    return line


# --- certificates -----------------------------------------------------------------------------------------------------

_UPPER, _LETTER = "A-ZÀ-ÖØ-Þ", "A-Za-zÀ-ÖØ-öø-ÿ"
_BODY = rf"(?:(?!NO\b|NR\b|TYPE\b|EU\b|EC\b|EG\b|THE\b|FOR\b|CERT)[{_UPPER}]{{2,4}} )?[{_UPPER}][{_LETTER}]{{1,14}}"
_ISSUE = r"(?:[ ,/(-]{1,4}(?:issue|iss\.?)(?: ?(?:no\.?|number))?:? ?[0-9]{1,3}\)?)?"
_NUMBERS = re.compile(
    rf"(?<![{_LETTER}0-9])(?:{_BODY}[ -]?[0-9]{{2}}[ -]?(?:ATEX|UKEX)[ -]?[A-Z]? ?[0-9]{{1,8}}(?:[./-][0-9]{{1,4}})*"
    rf"|IECEx[ -]?{_BODY}[ -]?[0-9]{{2}}\.[0-9]{{4,6}})(?: ?[XU](?![{_LETTER}0-9]))?(?i:{_ISSUE})"
)
_ISSUE_ALONE = re.compile(
    r"(?i)(?:^|[ \t(,])(?:issue|ausgabe)(?: ?(?:no\.?|nr\.?|number))? ?[:=]? ?(?P<issue>[0-9]{1,3})(?![0-9.])"
)


def certificates(line: str) -> Iterator[Part]:
    """Certificate numbers in their one spelling, and the issue where it is named."""
    ends: list[tuple[int, int]] = []
    for match in _NUMBERS.finditer(line):
        try:
            number = parse_certificate_number(match[0])
        except MarkingError:
            continue
        ends.append(match.span())
        yield Part("number", str(number).partition(" issue ")[0], *match.span())
        if number.issue is not None:
            yield Part("issue", str(number.issue), *match.span())
    alone = _ISSUE_ALONE.search(line)
    if alone and not any(a <= alone.start("issue") < b for a, b in ends):
        yield Part("issue", alone["issue"], *alone.span("issue"))


# --- markings ---------------------------------------------------------------------------------------------------------

_MARKING_START = re.compile(
    r"(?<![A-Za-z0-9])(?:II? ?\(?M?[123]|\[ ?(?:A?Ex|EEx)(?![a-z])|(?:A?Ex|EEx) ?\[?(?:i[abc]|[demnopqst])|"
    r"(?:A?IS|A?NI|XP)[ ,/]+(?:CL|Cl|cl))"
)
LONGEST_MARKING = 160
MOST_MARKINGS = 6


def markings(line: str) -> list[Part]:
    """Ex markings that :func:`registry.marking.parse_marking` understands, each as long as it can be."""
    found: list[Part] = []
    place = 0
    for _ in range(MOST_MARKINGS):
        match = _MARKING_START.search(line, place)
        if match is None:
            break
        part = _longest_marking(line, match.start())
        if part:
            found.append(part)
        place = part.end if part else match.end()
    return found


def _longest_marking(line: str, start: int) -> Part | None:
    ends = [match.end() for match in re.finditer(r"[^ ,;\t|]+", line[start : start + LONGEST_MARKING])]
    for end in reversed(ends[:30]):
        text = line[start : start + end].strip(" ,;:.")
        if MASK in text:
            continue
        try:
            marking = parse_marking(text)
        except MarkingError:
            continue
        if _says_enough(marking):
            return Part(
                "marking", " ".join(text.split()), start, start + len(line[start : start + end].rstrip(" ,;:."))
            )
    return None


def _says_enough(marking: Marking) -> bool:
    return bool(marking.protections or marking.associated or (marking.methods and marking.divisions))


# --- temperatures -----------------------------------------------------------------------------------------------------

_DEGREE = rf"(?: ?(?:{DEGREES}))"
_TEMPERATURE = r"[+-]? ?[0-9]{1,3}(?:[.,][0-9])?"
_LESS = r" ?(?:≤|<=|=<|<) ?"
_TA = r"T ?_?(?:amb|AMB|a|A|u)\.?(?![A-Za-z])"
_AMBIENT_WORDS = (
    rf"(?:{_TA}|(?i:ambient(?: air)?(?: temperatures?)?(?: range)?|umgebungstemperatur(?:bereich)?|"
    r"(?:plage de )?température ambiante))"
)
_RANGE = re.compile(rf"(?P<low>{_TEMPERATURE}){_DEGREE}?{_LESS}{_TA}{_LESS}(?P<high>{_TEMPERATURE}){_DEGREE}")
_RANGE_IN_WORDS = re.compile(
    rf"{_AMBIENT_WORDS}(?: ?\({_TA}\))?[ \t:=|]*(?:(?i:from|of|von|de|range) )?(?P<low>{_TEMPERATURE}){_DEGREE}?"
    rf" ?(?i:to|bis|à|\.\.\.?|…|-|/) ?(?P<high>{_TEMPERATURE}){_DEGREE}"
)
_MOST = re.compile(
    rf"(?:(?i:max(?:imum|imale?|\.)?) {_AMBIENT_WORDS}|{_AMBIENT_WORDS}(?:[ ,(]*(?i:max(?:imum|imal|\.)?)[).]?))"
    rf"(?:{_LESS}|[ \t:=|]*)(?P<high>{_TEMPERATURE}){_DEGREE}"
    rf"|{_AMBIENT_WORDS}(?:{_LESS}| (?i:up to|bis) )(?P<most>{_TEMPERATURE}){_DEGREE}"
)
_LEAST = re.compile(
    rf"(?:(?i:min(?:imum|imale?|\.)?) {_AMBIENT_WORDS}|{_AMBIENT_WORDS}(?:[ ,(]*(?i:min(?:imum|imal|\.)?)[).]?))"
    rf"[ \t:=≥|]*(?P<low>{_TEMPERATURE}){_DEGREE}"
)
_OTHER_MEDIUM = re.compile(r"(?i)storage|process|medium|fluid|surface|lager|prozess|oberfläche|stockage|procédé")


def ambients(line: str) -> list[Part]:
    """The ambient range of a line, or the end of it that is named: parts `ambient_min_degc` and `ambient_max_degc`."""
    if _OTHER_MEDIUM.search(line):
        return []
    found: list[Part] = []
    for pattern in (_RANGE, _RANGE_IN_WORDS, _MOST, _LEAST):
        for match in pattern.finditer(line):
            if any(part.start < match.end() and match.start() < part.end for part in found):
                continue
            unit = "degF" if "F" in match[0][-3:] or match[0][-1] == "℉" else "degC"
            names = {name: text for name, text in match.groupdict().items() if text}
            for name, text in names.items():
                column = "ambient_min_degc" if name == "low" else "ambient_max_degc"
                found.append(Part(column, degrees_text(text, unit), *match.span()))
    return found


def degrees_text(number: str, unit: str) -> str:
    """`+ 70` and `degC` make `70 degC`."""
    return f"{number.replace(' ', '').lstrip('+')} {unit}"


def class_rows(line: str, found: Sequence[Token]) -> tuple[list[tuple[Part, Part]], str]:
    """Temperature classes with the highest ambient of each, from one line; and why not, where there is a doubt.

    Reads `T6: 45 °C`, `T6 for -20 °C ≤ Ta ≤ +45 °C`, `Ta ≤ 45 °C (T6)`, several on a line.
    """
    kinds = [token for token in found if token.what in {"class", "degrees"}]
    classes = [token for token in kinds if token.what == "class"]
    if not classes or len(kinds) == len(classes) or _OTHER_MEDIUM.search(line):
        return [], ""
    if kinds[0].what == "degrees":
        kinds.reverse()
    rows: list[tuple[Part, Part]] = []
    for position, token in enumerate(kinds):
        if token.what != "class":
            continue
        following = []
        for other in kinds[position + 1 :]:
            if other.what == "class":
                break
            following.append(other)
        if not 1 <= len(following) <= 2:
            return [], f"The ambient temperature that belongs to {token.names[0]} is not clear: type it by hand."
        highest = max(following, key=lambda other: other.start)
        number = re.sub(rf"(?:{DEGREES}).*", "", highest.text)
        unit = "degF" if "F" in highest.text or "℉" in highest.text else "degC"
        text = degrees_text(number, unit)
        if CLASS_LIMITS.get(token.names[0]) == text.partition(" ")[0] and not re.search(_AMBIENT_WORDS, line):
            return (
                [],
                f"{text} is the surface temperature of {token.names[0]} itself; an ambient temperature is not named.",
            )
        rows.append(
            (
                Part("temperature_class", token.names[0], token.start, token.end),
                Part("ambient_max_degc", text, highest.start, highest.end),
            )
        )
    return rows, ""


# --- headings ---------------------------------------------------------------------------------------------------------

_PIECE = r"(?:[A-Z]{0,3}[0-9]{1,3}[a-z]?(?: ?\([+-]\)|[+-](?![0-9]))?|[+-](?![0-9]))"
NAMES = rf"{_PIECE}(?: ?(?:,|/|-|&|\+|\.\.\.?|…|and|und|et|to|bis) ?{_PIECE}){{0,7}}"
_TERMINALS = rf"(?i:terminals?|klemmen?|anschlüsse|anschluss|bornes?|pins?)(?: (?i:nos?\.?|nr\.?))? ?(?P<names>{NAMES})"
_CHANNEL = (
    r"(?i:channel|kanal|voie|canal|circuit|stromkreis)(?: (?i:no\.?|nr\.?))? ?"
    r"(?P<channel>[0-9]{1,2}|[A-D])(?![A-Za-z0-9])"
)
_HEADING = re.compile(rf"^(?P<before>[^:=|\t]{{0,60}}?)(?<![A-Za-z])(?:{_TERMINALS}|{_CHANNEL})")
_OUTPUT_WORD = re.compile(
    r"(?i)\b(?:outputs?|output (?:circuit|parameters?)|ausgang\w*|ausgänge|sorties?|associated apparatus)\b"
)
_INPUT_WORD = re.compile(
    r"(?i)\b(?:inputs?|input (?:circuit|parameters?)|eingang\w*|eingänge|entrées?|supply circuit)\b"
)


@dataclass(frozen=True)
class Heading:
    """A heading that names terminals or a channel, up to `end`; the rest of the line may hold values."""

    name: str
    end: int


def heading(line: str) -> Heading | None:
    """The terminals or channel that a line begins with, or None for prose that merely mentions some."""
    match = _HEADING.match(line)
    if match is None or any(token.what in {"symbol", "value"} for token in tokens(match["before"])):
        return None
    end = match.end()
    name = " ".join((match["names"] or f"channel {match['channel']}").split())
    after = re.match(
        rf" ?[)]? ?(?:[(,/] ?(?:{_TERMINALS.replace('<names>', '<more>')}|[^()=:]{{0,40}})\)?)?", line[end:]
    )
    rest_start = end + (after.end() if after else 0)
    if after and after.groupdict().get("more"):
        name = " ".join(after["more"].split())
    rest = line[rest_start:].lstrip()
    if rest[:1] in {":", "-", "|", "="} or not rest:
        return Heading(name, rest_start + (len(line[rest_start:]) - len(rest)) + (1 if rest else 0))
    following = tokens(line[end:])
    if following and following[0].what == "symbol":
        return Heading(name, end)
    return None


def named_terminals(text: str) -> str:
    """The terminals or channel that a cell of a table names; empty where it names none."""
    match = re.fullmatch(rf"\W*?(?:{_TERMINALS}|{_CHANNEL})[ :]*", text)
    if match:
        return " ".join((match["names"] or f"channel {match['channel']}").split())
    match = re.fullmatch(NAMES, text.strip())
    return (
        " ".join(match[0].split())
        if match and re.fullmatch(rf"{_PIECE}.+", match[0]) and not match[0].isalnum()
        else ""
    )


def side_named(line: str) -> str:
    """`source` or `device` where a short line says that outputs or inputs follow."""
    gives, takes = bool(_OUTPUT_WORD.search(line)), bool(_INPUT_WORD.search(line))
    if len(line) > 70 or gives == takes:
        return ""
    return "source" if gives else "device"


_CHARACTERISTIC = re.compile(
    r"(?i)(?:characteristics?|kennlinie|caractéristique)[^.;]{0,30}?(?P<word>linear|linéaire|trapezoidal|trapezförmig|"
    r"trapézoïdale?|rectangular|rechteckig|rechteckförmig|rectangulaire)|(?P<early>linear|linéaire|lineare|trapezoidal|"
    r"trapezförmige|rectangular|rechteckige) (?:output )?(?:characteristics?|kennlinie)"
)


def characteristic(line: str) -> Part | None:
    """The output characteristic that a line names."""
    match = _CHARACTERISTIC.search(line)
    if match is None or re.search(r"(?i)non[- ]?lin|nicht[- ]?lin", line):
        return None
    word = (match["word"] or match["early"]).lower()
    text = "linear" if word.startswith("lin") else "trapezoidal" if word.startswith("trap") else "rectangular"
    return Part("output", text, *match.span())
