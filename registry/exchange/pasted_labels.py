"""What stands behind a label of a certificate: who made the equipment, its type, who holds the certificate.

A name is read behind its label alone, and what may be half of it, an address or several types stands in doubt: a person
decides. The labels are those of certificates of several bodies in English, German and French (common practice, no
source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from registry.exchange.pasted_result import Found, Unread
from registry.exchange.pasted_words import plain

NUMBERED = r"[ \t|]*(?:[\[(]?[0-9]{1,2}(?:\.[0-9]{1,2})*(?:[\])][.:]?|[.:])?[ \t]+)?"
"""The number of a section before its heading or label: `(5)`, `[5]`, `5.`, `5`."""
_ADDRESS = r"(?:address(?:es)?|anschrift|adresse)"
_AND_ADDRESS = rf"(?:(?:,| ?&| ?/| and| und| et) ?{_ADDRESS})?"
_DESIGNATION = r"(?:[ -](?:designations?|codes?|names?|numbers?|references?|nos?\.?))?"
LABELS = (
    (
        "maker",
        rf"(?:(?:name|nom){_AND_ADDRESS} )?(?:of (?:the )?|des |du )?"
        rf"(?:manufacturer|hersteller|fabricant)s?(?:['’]s)?(?: name)?{_AND_ADDRESS}",
    ),
    (
        "holder",
        rf"(?:name{_AND_ADDRESS} of (?:the )?)?applicants?(?:['’]s)?(?: name)?{_AND_ADDRESS}|"
        r"certificate[ -]holder|holder(?: of (?:the )?certificate)?|issued to|"
        r"antragsteller(?:in)?|zertifikats?inhaber|inhaber(?: des zertifikats)?|demandeur|titulaire(?: du certificat)?",
    ),
    (
        "type_name",
        rf"(?:(?:equipment|product|apparatus|device)[ -])?types?(?:\(s\))?{_DESIGNATION}|"
        rf"models?(?:\(s\))?{_DESIGNATION}|"
        r"(?:geräte)?typ(?:en)?(?:bezeichnung)?|modell|modèles?|type d['’]appareil",
    ),
    (
        "described",
        r"(?:equipment|product|apparatus|device)(?: or protective systems?)?|gerät|produkt|betriebsmittel|"
        r"appareil|produit|matériel|component|komponente",
    ),
    (
        "",
        r"(?:manufacturer's )?address(?:es)?|anschrift|adresse|country|location|"
        r"(?:additional )?manufacturing locations?|"
        r"(?:ex )?marking|kennzeichnung|marquage|code|standards?|normen|normes|type of protection|zündschutzart|"
        r"mode de protection|certificate(?: (?:number|no\.?))?|date(?: of issue)?|issue|status|page|optional accessory|"
        r"serial (?:number|no\.?)|description|beschreibung|report|drawings?|electrical data|elektrische daten",
    ),
)
_LABEL = re.compile(
    rf"(?i:(?P<number>{NUMBERED})(?:"
    + "|".join(f"(?P<l{index}>{pattern})" for index, (_, pattern) in enumerate(LABELS))
    + r")(?: ?/ ?[a-zà-ü' ]{3,24})?)[ ]*(?:(?P<sign>[:=])[ ]*(?P<value>.*))?"
)
_CELL = re.compile(r"\t+|\||;| {2,}")
LEGAL = re.compile(
    r"(?i)(?:^|[\s&,])(?:gmbh|ag|kg|kgaa|ltd|limited|llc|inc|incorporated|corp|corporation|co|plc|s\.?a\.?s?|s\.?r\.?l|"
    r"s\.?p\.?a|b\.?v|n\.?v|a/?s|ab|oy|pty|pte|sarl|bvba|aps|kk)\.?$"
)
ELSEWHERE = re.compile(
    r"(?i)(?:see|siehe|voir|refer|as (?:above|applicant|manufacturer|listed)|same|idem|wie|n/?a\b|not applicable|none|"
    r"various|diverse|to be|[-—]+$)"
)
OPEN_END = re.compile(r"(?i)(?:\b(?:and|und|et|of|for|für|de)|[&,/(-])$")
MARKING = re.compile(r"(?i)(?:ex|aex|eex|ii?|iii)(?:$|[ (\[/])|[\[(]")
_TYPE = r"[A-Z0-9][\w./+-]*(?: [A-Z0-9][\w./+-]*){0,3}"
ONE_TYPE = re.compile(_TYPE)
IN_WORDS = re.compile(rf"(?i:\b(?:type|typ|model|modell|modèle)s?)[ :]+(?P<type>{_TYPE})")
SEVERAL = re.compile(
    r"(?i)[,;/&*]|\b(?:and|or|und|oder|et|ou|series|serie|baureihe|série|family|to|bis)\b|\.\.|…|\bx{2,}\b"
)
LONGEST_NAME = 80
"""What the register holds of a maker or a type."""


@dataclass(frozen=True)
class _Cell:
    """A label on a line, or a text between labels."""

    column: str | None
    """What the label names; empty for a label of something else, None where it is no label."""
    label: str
    text: str
    start: int
    sign: bool
    ruled: bool = False
    """Whether a tab or a rule parts it from what stands before it."""


@dataclass(frozen=True)
class Labels:
    """The values behind labels, why others are none, and the numbers of the lines that say nothing more."""

    found: tuple[Found, ...]
    doubts: tuple[Unread, ...]
    used: frozenset[int]


def is_labelled(line: str) -> bool:
    """Whether a plain line begins with a label and its sign."""
    cells = _cells(line)
    return bool(cells) and cells[0].column is not None and cells[0].sign


def _cells(line: str) -> list[_Cell]:
    cells, place, ruled = list[_Cell](), 0, False
    for match in [*_CELL.finditer(line), None]:
        end = match.start() if match else len(line)
        text = line[place:end]
        start = place + len(text) - len(text.lstrip())
        place = match.end() if match else len(line)
        if text.strip():
            cells.append(_cell(text.strip(), start, ruled))
            ruled = False
        ruled = ruled or (match is not None and match[0][0] in "\t|")
    return cells


def _cell(text: str, start: int, ruled: bool) -> _Cell:
    match = _LABEL.fullmatch(text)
    if match is None or not text[len(match["number"] or "") :][:1].isupper():
        return _Cell(None, "", text, start, False, ruled)
    column = next(name for index, (name, _) in enumerate(LABELS) if match[f"l{index}"] is not None)
    value = (match["value"] or "").strip()
    at = start + (match.start("value") if value else 0)
    label = text[len(match["number"]) : match.start("sign") if match["sign"] else len(text)].strip()
    return _Cell(column, label, value, at, bool(match["sign"]), ruled)


def labels(texts: Sequence[str]) -> Labels:
    """Read maker, type and holder from the lines of a text.

    >>> [(item.column, item.text) for item in labels(["(5) Manufacturer: Vessarik GmbH", "Type: SP-100"]).found]
    [('maker', 'Vessarik GmbH'), ('type_name', 'SP-100')]
    """
    lines = [_cells(plain(text)) if len(text) <= 1_000 else [] for text in texts]
    found, doubts, used = list[Found](), list[Unread](), set[int]()
    for index, cells in enumerate(lines):
        for place, cell in enumerate(cells):
            if not cell.column:
                continue
            number = index + 1
            value = _value(lines, index, place)
            if value is None:
                if _is_asked(cells, place):
                    doubts.append(Unread(number, texts[index], _not_beside(cell.label)))
                continue
            at, taken, notes = value
            read = _read(cell, taken, lines[at + 1] if at + 1 < len(lines) else [])
            if read is None:
                continue
            text, reason, more = read
            if reason:
                doubts.append(Unread(at + 1, texts[at], reason))
                continue
            start = taken.start + max(0, plain(texts[at])[taken.start :].find(text))
            column = "type_name" if cell.column == "described" else cell.column
            note = " ".join((*notes, *more))
            found.append(Found(column, text, at + 1, texts[at], (start, min(start + len(text), len(texts[at]))), note))
            used |= {number, at + 1}
    return Labels(tuple(_certain_first(found)), tuple(doubts), frozenset(used))


def _certain_first(found: Sequence[Found]) -> Iterator[Found]:
    """Of the same value in doubt and without doubt, the one without."""
    sure = {(item.column, item.text) for item in found if not item.note}
    return (item for item in found if not item.note or (item.column, item.text) not in sure)


def _not_beside(label: str) -> str:
    return f"What stands for {label} is not read as a value: type it by hand."


def _is_asked(cells: Sequence[_Cell], place: int) -> bool:
    """Whether a label without a value is worth a word: one of a name, not that of prose or of a description."""
    behind = cells[place + 1].column is not None if place + 1 < len(cells) else False
    return cells[place].column not in {"described", "", None} and (cells[place].sign or behind)


def _value(lines: Sequence[Sequence[_Cell]], index: int, place: int) -> tuple[int, _Cell, list[str]] | None:
    """The line and the text that a label stands for, with what is in doubt about that; None where it is not clear."""
    cells = lines[index]
    cell = cells[place]
    behind = cells[place + 1] if place + 1 < len(cells) else None
    further = place + 2 < len(cells) and cells[place + 2].column is None
    if cell.text:
        more = behind is not None and behind.column is None
        return index, cell, ["More stands behind it on its line."] if more else []
    if behind is not None:
        if behind.column is not None or (not cell.sign and not behind.text[:1].isupper()):
            return None
        below = lines[index + 1] if index + 1 < len(lines) else []
        notes = [] if cell.sign or behind.ruled else ["Its label has no colon."]
        if not cell.sign and len(below) > 1 and below[0].column is None:
            notes.append("It may be a heading of a table.")
        return index, behind, notes + (["More stands behind it on its line."] if further else [])
    if not cell.sign or len(cells) > 1:
        return None
    return _below(lines, index)


def _below(lines: Sequence[Sequence[_Cell]], index: int) -> tuple[int, _Cell, list[str]] | None:
    """The value on the line under a label that stands alone; none where labels stand in a pile."""
    at = next((at for at in range(index + 1, min(index + 3, len(lines))) if lines[at]), None)
    above = next((lines[at] for at in range(index - 1, max(index - 3, -1), -1) if lines[at]), [])
    if at is None or len(lines[at]) > 1 or lines[at][0].column is not None:
        return None
    if above and above[-1].column is not None and not above[-1].text:
        return None
    return at, lines[at][0], ["It stands on the line under its label."]


def _read(cell: _Cell, taken: _Cell, below: Sequence[_Cell]) -> tuple[str, str, list[str]] | None:
    """(text, reason against it, doubts) of the text behind a label; None where it is none."""
    text = taken.text.strip(" .:") if cell.column == "type_name" else taken.text.strip(" :")
    follows = below[0].text if len(below) == 1 and below[0].column is None else ""
    if cell.column == "described":
        match = IN_WORDS.search(text)
        if match is None or not re.search("[0-9A-Z]", match["type"]):
            return None
        rest = text[match.end() :].strip(" .)")
        more = ["Words stand beside the type."] if rest else []
        several = ["It may be several types."] if SEVERAL.search(rest) else []
        goes_on = ["The next line may belong to it."] if follows else []
        return match["type"], "", [*(several or more), *goes_on, *_doubts_of_type(match["type"], "")]
    if not re.search(r"[^\W_]", text) or ELSEWHERE.match(text):
        return "", f"“{text}” is no name: type it by hand.", []
    if len(text) > LONGEST_NAME:
        return "", "This is longer than a name: type it by hand.", []
    if cell.column == "type_name":
        return None if MARKING.match(text) else (text, "", list(_doubts_of_type(text, follows)))
    name, notes = _without_address(text)
    return name, "", [*notes, *_doubts_of_name(name, follows, bool(re.search(f"(?i){_ADDRESS}", cell.label)))]


def _without_address(text: str) -> tuple[str, list[str]]:
    """A name without what stands behind its comma, unless that is a legal form."""
    parts = [part.strip() for part in text.split(",")]
    kept = parts[0]
    rest = parts[1:]
    while rest and LEGAL.search(rest[0]) and len(rest[0].split()) <= 2:
        kept, rest = f"{kept}, {rest[0]}", rest[1:]
    left = ", ".join(part for part in rest if part)
    return (kept, [f"“{left}” behind it is left out, as an address."]) if left else (text, [])


def _doubts_of_name(name: str, follows: str, with_address: bool) -> Iterator[str]:
    if re.search("[0-9]", name):
        yield "A number stands in it: an address may be part of it."
    elif with_address:
        yield "The label names the address too."
    if re.search(r"(?i) (?:and|und|et|/) ", name) and not LEGAL.search(name):
        yield "It may be several names."
    ends = bool(LEGAL.search(name)) or bool(re.search("[0-9]", follows))
    goes_on = re.match(r"[&a-zà-ü(]", follows) or (LEGAL.search(follows) and not re.search("[0-9]", follows))
    if follows and (OPEN_END.search(name) or goes_on or not ends):
        yield "The name may go on in the next line."
    elif OPEN_END.search(name):
        yield "The name may go on."


def _doubts_of_type(text: str, follows: str) -> Iterator[str]:
    if SEVERAL.search(text):
        yield "It may be several types."
    elif not ONE_TYPE.fullmatch(text):
        yield "Words stand beside the type."
    elif not re.search("[0-9]", text):
        yield "No number stands in it: it may say what kind of equipment it is."
    if follows and (OPEN_END.search(text) or (ONE_TYPE.fullmatch(follows) and re.search("[0-9]", follows))):
        yield "The next line may belong to it."
    elif OPEN_END.search(text):
        yield "The name may go on."
