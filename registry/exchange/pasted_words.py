"""The words of certificates: a line of pasted text cut into symbols, groups, values and signs.

Names are those of IEC 60079-11:2011, clause 3 (from memory), of North American control drawings after ISA-RP12.06.01
(from memory) and the German and French words that stand in certificates (common practice, no source). No value is read
without its unit, and nothing here decides between two readings: that is for :mod:`registry.exchange.pasted_text`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache

from registry.quantities import Kind
from registry.units import UNITS

COLUMNS: dict[str, Kind] = {
    "uo_v": Kind.VOLTAGE,
    "io_a": Kind.CURRENT,
    "po_w": Kind.POWER,
    "uq_v": Kind.VOLTAGE,
    "ro_ohm": Kind.RESISTANCE,
    "um_v": Kind.VOLTAGE,
    "ui_v": Kind.VOLTAGE,
    "ii_a": Kind.CURRENT,
    "pi_w": Kind.POWER,
    "ci_f": Kind.CAPACITANCE,
    "li_h": Kind.INDUCTANCE,
    "co_f": Kind.CAPACITANCE,
    "lo_h": Kind.INDUCTANCE,
    "lo_ro_h_per_ohm": Kind.INDUCTANCE_PER_RESISTANCE,
}
"""The parameters that are looked for, by the column of the register that holds each."""

PERMITTED = frozenset({"co_f", "lo_h", "lo_ro_h_per_ohm"})
NEGLIGIBLE = {"ci_f": "0 F", "li_h": "0 H"}
"""What may be negligible, and the zero that stands for it."""

# --- one character for one, so that places in the plain line are places in the line as pasted -------------------------

PLAIN = str.maketrans(
    {
        **dict.fromkeys("\u00a0\u2007\u2008\u2009\u200a\u202f\u200b\u200c\u200d\u2060\ufeff\u00ad", " "),
        **dict.fromkeys("\u2212\u2010\u2011\u2012\u2013", "-"),
        **dict(zip("₀₁₂₃₄₅₆₇₈₉", "0123456789", strict=True)),
        **dict(zip("ᵢₒₐₘₓ", "ioamx", strict=True)),
        "\u2264": "≤",
        "\u2a7d": "≤",
        "\u2a7e": "≥",
        "\uff1d": "=",
        "\uff1a": ":",
        "\u00ba": "°",
        "\u02da": "°",
        "\u03bc": "µ",
        "\u2126": "Ω",
        "\u2502": "|",
        "\u2503": "|",
        "\u00a6": "|",
    }
)


def plain(line: str) -> str:
    """The line with look-alike characters made one; as long as before."""
    return line.translate(PLAIN)


# --- patterns ---------------------------------------------------------------------------------------------------------


def _symbol(base: str, subscripts: str, spaced: str = "") -> str:
    """`Ui`, `U_i`, `U_{i}`, and `U i` for the subscripts that may stand apart."""
    apart = rf"|{base} (?:{spaced})" if spaced else ""
    return rf"(?:{base}_?\{{?(?:{subscripts})(?:[,_]?max)?\}}?{apart})"


_OUT, _IN = "[oO0]", "i|I"
_SYMBOLS: tuple[tuple[str, str], ...] = (
    ("lo_ro_h_per_ohm", rf"L_?{_OUT} ?/ ?R_?{_OUT}|La ?/ ?Ra|L ?/ ?R(?= ratio|[ \t]*[\[(=:≤<|]|[ \t]*[0-9]|[ \t]*$)"),
    ("uo_v", rf"{_symbol('[UV]', _OUT, 'o')}|{_symbol('[VU]', 'oc|OC|t', 'oc|OC')}"),
    ("io_a", rf"{_symbol('I', _OUT, 'o')}|{_symbol('I', 'sc|SC|k|t', 'sc|SC')}"),
    ("po_w", rf"{_symbol('P', _OUT, 'o')}"),
    ("co_f", rf"{_symbol('C', _OUT + '|a|ext', 'o|a|ext')}"),
    ("lo_h", rf"{_symbol('L', _OUT + '|a|ext', 'o|a|ext')}"),
    ("ro_ohm", rf"{_symbol('R', _OUT + '|i|min', 'o')}"),
    ("uq_v", _symbol("U", "[qQ]", "q")),
    ("um_v", _symbol("[UV]", "m", "m")),
    ("ui_v", rf"{_symbol('[UV]', _IN, 'i')}|{_symbol('V', 'max|MAX', 'max|MAX')}"),
    ("ii_a", rf"I_?\{{?i\}}?|I i|II(?=[ \t]*[=:≤<])|{_symbol('I', 'max|MAX', 'max|MAX')}"),
    ("pi_w", rf"{_symbol('P', _IN, 'i')}"),
    ("pmax", _symbol("P", "max|MAX", "max|MAX")),
    ("ci_f", _symbol("C", _IN, "i")),
    ("li_h", _symbol("L", _IN, "i")),
    ("generic.V", _symbol("U", "max|MAX", "max|MAX")),
)
_OUTPUT = r"(?:output|open[- ]circuit|off[- ]load)"
_PHRASES: tuple[tuple[str, str], ...] = (
    ("ci_f li_h", r"internal capacitances? and (?:the )?(?:internal )?inductances?"),
    ("ci_f li_h", r"innere(?:n)? kapazitäten? und (?:innere )?induktivitäten?"),
    ("ci_f li_h", r"capacité et inductance internes?"),
    (
        "lo_ro_h_per_ohm",
        r"(?:external )?inductance(?: to |[ -/]+)resistance ratio|l ?/ ?r[- ]ratio|l ?/ ?r[- ]verhältnis",
    ),
    ("uo_v", rf"{_OUTPUT} voltage|ausgangsspannung|leerlaufspannung|tension (?:de sortie|à vide)"),
    ("io_a", r"(?:output|short[- ]circuit) current|ausgangsstrom|kurzschlussstrom|courant de (?:sortie|court-circuit)"),
    ("po_w", r"output power|ausgangsleistung|puissance de sortie"),
    ("ui_v", r"input voltage|eingangsspannung|tension d['’]entrée"),
    ("ii_a", r"input current|eingangsstrom|courant d['’]entrée"),
    ("pi_w", r"input power|eingangsleistung|puissance d['’]entrée"),
    ("ci_f", r"internal capacitance|innere kapazität|capacité interne"),
    ("li_h", r"internal inductance|innere induktivität|inductance interne"),
    ("co_f", r"(?:external|permitted|cable) capacitance|(?:äußere|externe) kapazität|capacité externe"),
    ("lo_h", r"(?:external|permitted|cable) inductance|(?:äußere|externe) induktivität|inductance externe"),
    ("generic.V", r"voltage|spannung|tension"),
    ("generic.A", r"current|stromstärke|strom|courant|intensité"),
    ("generic.W", r"power|leistung|puissance"),
    ("generic.F", r"capacitance|kapazität|capacité"),
    ("generic.H", r"inductance|induktivität"),
)
_NEGLIGIBLE = (
    r"negligibl[ey](?: small)?|negl\.?|insignificant|vernachlässigbar(?: klein)?|négligeables?|"
    r"(?:≈|~|approx\.?) ?0(?![0-9.,])"
)
_NOT_NEGLIGIBLE = r"(?:not|nicht|non|never|no longer)(?: [a-zà-ü]+)? (?:negligibl[ey]|vernachlässigbar|négligeables?)"
_NOT_STATED = (
    r"not (?:stated|specified|given|applicable|defined|declared)|unspecified|n/a|n\.a\.|n/s|"
    r"nicht (?:angegeben|spezifiziert|festgelegt)|keine angaben?|k\. ?a\.|entfällt|"
    r"non (?:spécifiée?|indiquée?|précisée?|applicable)|sans objet|—+"
)
_GROUP_WORD = r"(?:groups?|gruppen?|groupes?|grp\.?|gps?\.?)"
_LETTERS = r"[A-G](?![A-Za-z0-9])(?: ?(?:,|/|&|-|and|und|et|to) ?[A-G](?![A-Za-z0-9]))*"
_IEC_GROUP = r"III?[ABC](?![A-Za-z0-9])"
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?"
_BEFORE_NUMBER = r"(?<![0-9][.,])(?<![\w.^'’-])"
DEGREES = r"(?:°|deg) ?[CF](?![A-Za-z])|℃|℉"
CLASS = r"T(?:2[A-D]|3[A-C]|4A|[1-6])(?![A-Za-z0-9])"
SURFACE = r"T ?[0-9]{2,3} ?(?:°|deg) ?C(?![A-Za-z])"
FILLERS = frozenset(
    (
        *("max", "max.", "maximum", "maximum.", "maximal", "maximale", "maxi", "dc", "ac", "d.c.", "a.c.", "up", "to"),
        *(
            "is",
            "are",
            "be",
            "must",
            "may",
            "value",
            "values",
            "of",
            "in",
            "shall",
            "not",
            "exceed",
            "exceeding",
            "bis",
            "höchstens",
        ),
        *("ist", "sind", "wert", "werte", "est", "sont", "valeur", "jusqu'à", "en", "à"),
    )
)
"""Words that may stand between a symbol and its value."""


def _unit_spellings() -> dict[str, str]:
    """Every way in which a unit of the parameters is written -> its one spelling."""
    found: dict[str, str] = {}
    for kind in {*COLUMNS.values()}:
        for unit in UNITS[kind]:
            for ohm in ("ohm", "Ohm", "Ω", "ohms"):
                for micro in ("u", "µ") if unit.startswith("u") else ("",):
                    written = (micro + unit[1:] if micro else unit).replace("ohm", ohm)
                    found[written] = unit
                    found[written.replace("/", " / ")] = unit
    return found


SPELLINGS = _unit_spellings()
_UNIT = "|".join(re.escape(name) for name in sorted(SPELLINGS, key=len, reverse=True))
_UNIT_END = r"(?![A-Za-z0-9/²µΩ])"
_CURRENT_FORM = r"(?:DC|AC|dc|ac|d\. ?c\.|a\. ?c\.|a\.c|d\.c|rms|r\.m\.s\.|eff)"


@dataclass(frozen=True, slots=True)
class Token:
    """One piece of a line. `what` is symbol, group, class, value, number, word, dash, unit, sign, mark or other.

    `names` are the columns of a symbol, the groups of a group, the class, or the meaning of a word (`negligible`,
    `not stated`); `unit` the unit of a value in its one spelling; `fault` why a value is not to be taken.
    """

    what: str
    start: int
    end: int
    text: str
    names: tuple[str, ...] = ()
    unit: str = ""
    fault: str = ""


@cache
def _pattern() -> re.Pattern[str]:
    edge, after = r"(?<![A-Za-z0-9_])", r"(?![A-Za-z0-9_])(?![.,][0-9])"
    symbols = "|".join(f"(?P<s{index}>{pattern})" for index, (_, pattern) in enumerate(_SYMBOLS))
    phrases = "|".join(f"(?P<p{index}>{pattern})" for index, (_, pattern) in enumerate(_PHRASES))
    return re.compile(
        rf"(?P<degrees>{_BEFORE_NUMBER}[+-]? ?{_NUMBER} ?(?:{DEGREES}))"
        rf"|(?P<value>{_BEFORE_NUMBER}\+?(?P<number>{_NUMBER})[ \t]?(?P<unit>{_UNIT})"
        rf"(?:(?= ?{_CURRENT_FORM})|{_UNIT_END})"
        rf"(?P<form> ?{_CURRENT_FORM}(?![A-Za-z]))?)"
        rf"|(?P<strange>{_IEC_GROUP} ?\+ ?H2)"
        rf"|(?i:(?P<named>{edge}{_GROUP_WORD}[ \t]*:?[ \t]*))"
        rf"(?P<groups>(?:III? ?[ABC](?![A-Za-z0-9])|I{{1,3}}(?![A-Za-z0-9])|{_LETTERS})"
        rf"(?: ?(?:,|/|and|und|et) ?(?:{_IEC_GROUP}|I(?![A-Za-z0-9])))*)"
        rf"|(?P<iec>{edge}{_IEC_GROUP}(?: ?(?:,|/|and|und|et) ?{_IEC_GROUP})*)"
        rf"|(?P<class>{edge}(?:{SURFACE}|{CLASS}))"
        rf"|(?i:(?P<large>{edge}{_NOT_NEGLIGIBLE}))"
        rf"|(?i:(?P<negligible>{edge}(?:{_NEGLIGIBLE})|[≈~] ?0(?![0-9.,])))"
        rf"|(?i:(?P<nothing>(?<![A-Za-z0-9])(?:{_NOT_STATED})(?![A-Za-z0-9])))"
        rf"|{edge}(?:{symbols}){after}"
        rf"|(?i:{edge}(?:{phrases})(?![A-Za-zäöüéèß0-9]))"
        rf"|(?P<bracketed>[\[(] ?(?P<inner>{_UNIT}) ?[\])])"
        rf"|(?P<dash>(?<![^ \t|])-{{1,3}}(?![^ \t|]))"
        rf"|(?P<plain_number>{_BEFORE_NUMBER}[+-]?{_NUMBER}(?![\w°^'’/]|[.,][0-9]))"
        rf"|(?P<bare_unit>(?<![^ \t|/\[(])(?:{_UNIT})(?![^ \t|,;:\])]))"
        r"|(?P<sign>≤|≥|<=|>=|=|:|<|>)"
        r"|(?P<mark>[,;/&|()\[\]]|\t)"
        r"|(?P<other>[^\W_]+(?:[.'’_-][^\W_]+)*\.?|[^\s])"
    )


@lru_cache(maxsize=64)
def tokens(line: str) -> tuple[Token, ...]:
    """The pieces of a plain line, in their order; white space is left out."""
    found = [_token(match) for match in _pattern().finditer(line)]
    return tuple(_doubted(line, _letters_of_headings(line, found)))


def _token(match: re.Match[str]) -> Token:
    what, text = str(match.lastgroup), match[0]
    start, end = match.span()

    def token(kind: str, *names: str, unit: str = "", fault: str = "") -> Token:
        return Token(kind, start, end, text, names, unit, fault)

    if match["value"] is not None:
        return token("value", match["number"], unit=SPELLINGS[match["unit"]])
    if match["groups"] is not None:
        names = group_names(match["groups"])
        return token("group", *names) if names else token("other")
    if match["iec"] is not None:
        return token("group", *group_names(match["iec"]))
    if match["bracketed"] is not None:
        return token("unit", unit=SPELLINGS[match["inner"]])
    for index, (columns, _) in enumerate(_SYMBOLS):
        if match[f"s{index}"] is not None:
            return token("symbol", *columns.split())
    for index, (columns, _) in enumerate(_PHRASES):
        if match[f"p{index}"] is not None:
            return token("symbol", *columns.split())
    if what == "class":
        degrees = re.search("[0-9]{2,3}", text)
        return token("class", f"{degrees[0]} degC" if degrees else text)
    if what == "large":
        return token("word", "not negligible", fault=f"“{text}” gives no value: type it by hand.")
    if what == "negligible":
        return token("word", "negligible")
    if what == "nothing":
        return token("word", "not stated")
    if what == "bare_unit":
        return token("unit", unit=SPELLINGS[text])
    if what == "strange":
        return token("group", fault=f"“{text}” is not a group of the register: type these values by hand.")
    return token({"plain_number": "number"}.get(what, what))


def group_names(text: str) -> tuple[str, ...]:
    """`IIC/IIB` -> IIC, IIB; `A-D` -> A, B, C, D. `II` alone names no group of gases."""
    found = re.findall(r"III?[ABC]|(?<![A-Z])I(?![A-Z])", re.sub(r"(I) (?=[ABC](?![A-Za-z]))", r"\1", text))
    letters = re.sub(r"\b(?:and|und|et)\b|III?[ABC]|I", ",", text)
    for first, last in re.findall(r"([A-G]) ?(?:-|to) ?([A-G])", letters):
        found += [chr(code) for code in range(ord(first), ord(last) + 1)]
    return tuple(dict.fromkeys(found + re.findall(r"[A-G]", letters.replace("to", ","))))


def _letters_of_headings(line: str, found: list[Token]) -> list[Token]:
    """Cells such as `A, B`, `C` or `I` beside the word group or another group are groups too, and `(A-D)` beside the
    name of a permitted value."""
    spans = []
    if re.search(rf"(?i){_GROUP_WORD}", line) or any(token.what == "group" for token in found):
        cell = rf"(?:(?<=\t)|(?<=\|)|(?<=  ))[ ]*({_LETTERS}|I(?![\w/]))[ ]*(?=\t|\||  |$)"
        spans += [match.span(1) for match in re.finditer(cell, line)]
    if any(token.what == "symbol" and PERMITTED.intersection(token.names) for token in found):
        spans += [match.span(1) for match in re.finditer(rf"\( ?({_LETTERS}) ?\)", line)]
    if not spans:
        return found
    cells = [Token("group", a, b, line[a:b], group_names(line[a:b])) for a, b in spans]
    kept = [token for token in found if not any(a < token.end and token.start < b for a, b in spans)]
    return sorted(kept + cells, key=lambda token: token.start)


def _doubted(line: str, found: list[Token]) -> Iterator[Token]:
    """Values that are only a part of what stands there get the reason why they are not taken."""
    for index, token in enumerate(found):
        before = found[index - 1] if index else None
        rest = line[token.end :]
        fault = token.fault
        if token.what == "value":
            if before and before.what == "number" and line[before.end : token.start] == " ":
                fault = f"“{line[before.start : token.end]}” is a number in two parts: type it by hand."
            elif re.match(r" ?(?:[±+*·×x]|\+/-) ?[0-9]", rest):
                fault = f"“{token.text}” is followed by a tolerance, a sum or a product: type the value by hand."
            elif re.match(rf" ?(?:\.\.\.?|…|-|to|bis|à) ?[+-]?{_NUMBER}", rest) or (
                re.search(
                    rf"{_NUMBER} ?(?:{_UNIT})? ?(?:\.\.\.?|…|-|to|bis|à) ?$",
                    line[max(0, token.start - 24) : token.start],
                )
            ):
                fault = f"“{token.text}” is one end of a range: type the value by hand."
        yield Token(token.what, token.start, token.end, token.text, token.names, token.unit, fault)
