"""The specific conditions of use of a certificate (suffix X), read from pasted text, one a line.

A condition that is lost or half read is worse than none: where it is not clear where one ends, all of them stand in
doubt, and a person decides. Source: IEC 60079-0:2017, clause 29 (suffix X: specific conditions of use), from memory.
The headings are those of certificates in English, German and French (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from registry.exchange.pasted_labels import NUMBERED, is_labelled
from registry.exchange.pasted_result import Found, Unread
from registry.exchange.pasted_words import plain

COLUMN = "specific_conditions"
MOST_LINES, MOST_CONDITIONS, LONGEST_LINE = 120, 40, 1_000
UNCLEAR_END = "It is not clear where the last condition ends."
UNCLEAR_PARTS = "It is not clear where one condition ends and the next begins."
_USE = r"(?: (?:of|for)(?: the)?(?: safe)? (?:use|operation|installation))?"
_HEADING = re.compile(
    rf"(?P<number>{NUMBERED})(?P<words>(?i:(?:schedule of )?(?:special|specific) conditions?{_USE}|"
    r"conditions (?:of|for) safe use|"
    r"(?:besondere|spezifische|spezielle) (?:bedingungen|verwendungsbedingungen|nutzungsbedingungen)"
    r"(?: (?:für|zu)[r]? (?:die |den |der )?(?:sicheren? )?(?:anwendung|verwendung|betrieb|gebrauch))?|"
    r"conditions (?:spéciales|particulières|spécifiques)"
    r"(?: (?:d['’]|pour une )utilisation(?: sûre| en toute sécurité)?)?))"
    r"(?: ?/ ?[A-Za-zÀ-ü'’ ]{8,60})?(?: ?\((?P<aside>[^)]{0,60})\))?[ ]*(?P<sign>[:.-]?)[ \t|]*(?P<rest>.*)"
)
_NONE = re.compile(
    r"(?i)(?:none|nil|no|keine|aucune|néant|entfällt|n/?a|not applicable|nicht zutreffend|sans objet|-+|—+)\.?"
)
_YES = re.compile(r"(?i)(?:yes|ja|oui)\b(?:[ ,]+as (?:shown|listed|given) below)?[ .:]*")
_INTRO = re.compile(
    r"(?i)(?:the )?following (?:special |specific )?conditions? (?:of use )?(?:apply|applies|are to be met|"
    r"(?:must|shall) be (?:met|observed))[ :.]*|es gelten (?:die )?folgenden? bedingungen[ :.]*"
)
_ELSEWHERE = re.compile(r"(?i)(?:see|refer|siehe|voir|as (?:listed|given|stated|specified))\b")
_ENDS = re.compile(
    rf"(?P<number>{NUMBERED})(?i:essential health|(?:drawings?|documents?|documentation)\b.{{0,40}}$|"
    r"test (?:documents?|documentation|reports?)|reports?\b.{0,20}$|standards?\b.{0,20}$|"
    r"routine (?:tests?|verification)|conditions of (?:manufacture|certification)|production (?:control|testing)|"
    r"manufacturer's (?:documents?|responsib)|(?:ex )?marking\b.{0,20}$|additional information|"
    r"(?:equipment )?descriptions?\b.{0,20}$|(?:details|history) of (?:change|certificate)|supplementary|annex|"
    r"remarks?$|schedule$|technical data|electrical data|grundlegende (?:sicherheits|gesundheits)|"
    r"wesentliche (?:gesundheits|sicherheits)|prüfungsunterlagen|prüfbericht|stückprüfung|zeichnungen|"
    r"kennzeichnung\b.{0,20}$|elektrische daten|exigences essentielles|documents? descriptifs?|"
    r"épreuves? individuelles?|marquage\b.{0,20}$).*"
)
_OF = r"[0-9]{1,3} ?(?:of|/|von|sur) ?[0-9]{1,3}"
_PAGE = re.compile(
    rf"(?i)[ \t]*(?:(?:page|seite|blatt|sheet):? [0-9]{{1,3}}(?:\W.{{0,40}})?|{_OF}|.*\b(?:page|seite|sheet) {_OF}.*)"
)
_ITEM = re.compile(
    r"[ \t]*(?:\(?(?P<number>[0-9]{1,2})[.)]|(?P<major>[0-9]{1,2})\.(?P<minor>[0-9]{1,2})\.?|\(?(?P<letter>[a-z])\)|"
    r"(?P<bullet>[-•*]))[ \t]+(?P<text>.*)"
)
_VALUE = re.compile(r"[ \t]*(?:[UIPCLV][io0]\b|(?i:terminals?|klemmen|bornes) [0-9+-])")


@dataclass(frozen=True)
class Conditions:
    """The conditions that were found, why others were not, and the numbers of the lines that hold them."""

    found: tuple[Found, ...]
    doubts: tuple[Unread, ...]
    used: frozenset[int]
    none_named: bool = False


@dataclass
class _Section:
    """The lines under one heading, put together to conditions."""

    major: str
    items: list[str] = field(default_factory=list)
    style: str = ""
    doubts: list[str] = field(default_factory=list)
    expected: int = 1
    first: int = 0
    last: int = 0

    def doubt(self, sentence: str) -> None:
        if sentence not in self.doubts:
            self.doubts.append(sentence)

    def begins(self, line: str) -> tuple[str, int, str] | None:
        """(style, which, text) of a line that begins a condition of its own."""
        match = _ITEM.fullmatch(line)
        if match is None:
            return None
        if match["major"]:
            return ("minor", int(match["minor"]), match["text"]) if match["major"] == self.major else None
        if match["number"]:
            return "number", int(match["number"]), match["text"]
        if match["letter"]:
            return "letter", ord(match["letter"]) - 96, match["text"]
        return "bullet", 0, match["text"]

    def take(self, line: str, after_blank: bool) -> bool:
        """Take a line in; false where it cannot be of this section."""
        begun = self.begins(line)
        if begun and (not self.style or begun[0] == self.style):
            style, which, text = begun
            if self.items and not self.style:
                self.doubt("Text stands before the first number.")
            self.style = style
            if which and which != self.expected:
                self.doubt("The numbers are not in sequence.")
            self.expected = which + 1
            self.items.append(text)
        elif not self.items:
            self.items.append(line)
        elif after_blank and self.style:
            self.doubt(UNCLEAR_END)
            return False
        elif after_blank or (not self.style and begun):
            self.items.append(line)
        else:
            self._go_on(line)
        if re.search(r"\t|\||\S {3,}\S", line.strip()):
            self.doubt("Columns may stand beside each other.")
        return True

    def _go_on(self, line: str) -> None:
        if re.search(r"[^\W\d_]-$", self.items[-1].rstrip()) and line.strip()[:1].islower():
            self.doubt("A word is parted at the end of a line.")
            self.items[-1] = f"{self.items[-1].rstrip()}{line.strip()}"
        else:
            self.items[-1] = f"{self.items[-1].rstrip()} {line.strip()}"
        if not self.style and re.search(r"[.;]\s+[A-ZÄÖÜÀ-Þ]", self.items[-1]):
            self.doubt(UNCLEAR_PARTS)

    def is_finished(self) -> bool:
        """Whether what was read last ends as a sentence does, or nothing was read."""
        return not self.items or self.items[-1].rstrip()[-1:] in {".", ";", "!", ")"}

    def text(self) -> str:
        return "\n".join(filter(None, (" ".join(item.split()) for item in self.items)))


def conditions(texts: Sequence[str]) -> Conditions:
    """Read the specific conditions of use from the lines of a text.

    >>> conditions(["17 Specific conditions of use", "1. Keep it", "dry.", "2. Shield it."]).found[0].text
    'Keep it dry.\\nShield it.'
    """
    lines = [plain(text) for text in texts]
    found, doubts, used, none_named = list[Found](), list[Unread](), set[int](), False
    for index in range(len(lines)):
        match = _heading(lines, index)
        if match is None:
            continue
        rest = _YES.sub("", match["rest"], count=1).strip()
        if _NONE.fullmatch(rest):
            none_named = True
            used.add(index + 1)
            continue
        section = _Section(re.sub("[^0-9].*", "", match["number"].strip(" \t|[(")))
        _gather(section, lines, index, rest)
        text = section.text()
        if _NONE.fullmatch(text):
            none_named = True
            used |= {index + 1, *range(section.first, section.last + 1)}
            continue
        reason = _reason_against(section, text)
        if reason:
            doubts.append(Unread(index + 1, texts[index], reason))
            continue
        first = max(section.first - 1, 0)
        start = len(texts[first]) - len(texts[first].lstrip())
        span = (start, max(start + 1, len(texts[first].rstrip())))
        found.append(Found(COLUMN, text, section.first, texts[first], span, " ".join(section.doubts)))
        used |= {index + 1, *range(section.first, section.last + 1)}
    return Conditions(tuple(found), tuple(doubts), frozenset(used), none_named)


def _reason_against(section: _Section, text: str) -> str:
    if not text:
        return "No condition is read under this heading: type them by hand."
    if _ELSEWHERE.match(text):
        return f"“{text.partition(chr(10))[0][:60]}” tells of another place: type the conditions by hand."
    if len(section.items) > MOST_CONDITIONS or section.last - section.first > MOST_LINES:
        return "It is not clear where the conditions end: type them by hand."
    return ""


def _heading(lines: Sequence[str], index: int) -> re.Match[str] | None:
    """The heading on a line, or None for prose that speaks of such conditions."""
    line = lines[index]
    match = _HEADING.fullmatch(line) if len(line) <= LONGEST_LINE else None
    if match is None:
        return None
    number, words, rest = match["number"].strip(" \t|"), match["words"], match["rest"].strip()
    before = lines[index - 1].strip() if index else ""
    if not number and (
        words[0].islower() or (before and re.search(r"(?i)\b(?:to|the|of|see|by|den|die|aux)$", before))
    ):
        return None
    said = not rest or match["sign"] in {":", "-"} or _NONE.fullmatch(rest) or _YES.match(rest)
    return match if said else None


def _gather(section: _Section, lines: Sequence[str], index: int, rest: str) -> None:
    """Take in what stands behind a heading and on the lines under it, up to where something else begins."""
    blank = False
    section.first = section.last = index + 1
    if rest and not _INTRO.fullmatch(rest):
        section.take(rest, False)
    for at in range(index + 1, min(len(lines), index + MOST_LINES + 10)):
        line = lines[at]
        if not line.strip():
            blank = True
            continue
        if len(line) > LONGEST_LINE:
            section.doubt(UNCLEAR_END)
            break
        end = _end(section, line)
        if end:
            if end == "perhaps" or not (blank or section.is_finished()):
                section.doubt(UNCLEAR_END)
            break
        if _PAGE.fullmatch(line):
            section.doubt("A page ends between them.")
            continue
        if not section.items and _INTRO.fullmatch(line.strip()):
            continue
        if section.items and _NONE.fullmatch(section.items[0].strip()):
            break
        if _VALUE.match(line):
            section.doubt(UNCLEAR_END)
            if blank:
                break
        if not section.items:
            section.first = at + 1
        if not section.take(line, blank):
            break
        section.last, blank = at + 1, False
    if not section.style and len(section.items) > 1:
        section.doubt(UNCLEAR_PARTS)


def _end(section: _Section, line: str) -> str:
    """Whether a line begins another part of the certificate: "surely", "perhaps", or empty."""
    ends = _ENDS.fullmatch(line)
    if (ends and line[len(ends["number"]) :][:1].isupper()) or _HEADING.fullmatch(line) or is_labelled(line):
        return "surely"
    match = re.match(r"[ \t]*[\[(]?(?P<number>[0-9]{1,2})[\])]?\.?[ \t]+[A-ZÄÖÜÀ-Þ]", line)
    if match and section.major and int(match["number"]) == int(section.major) + 1:
        begun = section.begins(line)
        if begun and begun[0] == "number" and section.style in {"", "number"} and begun[1] == section.expected:
            section.doubt(UNCLEAR_END)
            return ""
        return "surely"
    letters = re.sub(r"[\W\d_]", "", line)
    return "perhaps" if len(letters) > 3 and letters.isupper() and len(line.split()) < 12 else ""


def cross_checked(read: Conditions, numbers: Sequence[str]) -> Iterator[Found]:
    """The conditions, in doubt where the number of the certificate says that there are none."""
    without = bool(numbers) and not any(number.rstrip().endswith("X") for number in numbers)
    for item in read.found:
        notes = [item.note] if item.note else []
        if without:
            notes.append("The number of the certificate has no X.")
        if read.none_named:
            notes.append("In another place the text says that there are none.")
        yield Found(item.column, item.text, item.line_number, item.line, item.span, " ".join(notes))
