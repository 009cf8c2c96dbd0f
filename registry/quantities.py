"""Text with a unit to an exact :class:`~decimal.Decimal` in SI, and back.

One strict grammar decides what is read; pint only says how large a unit is. A text is ``[sign] number [spaces] unit``:

* The number is ``12``, ``12.5`` or ``12,5``, with an optional exponent (``1.5e-3``). A point is always a decimal mark.
  A comma is a decimal mark unless exactly three digits follow a whole part other than 0: ``0,083`` and ``1,5`` are
  read, ``1,500`` could mean two things a thousandfold apart and is refused. There is no thousands separator, and a
  digit stands on both sides of a decimal mark (``.083`` is refused: the point is too easily lost in a copy).
* A leading ``+`` is read. A leading minus (also U+2212 and the dashes that word processors make of it) is read for
  temperatures only: no other quantity here can be negative.
* The unit is one of a closed list per kind, in its right case, so that ``2 MW`` or ``110 nf`` is never guessed at.
  Micro is ``u`` or either of its two code points, ohm is ``ohm`` or either omega. Mega and giga belong to resistance
  alone. ``C`` and ``F`` are coulomb and farad; a temperature says ``degC``, ``°C``, ``degF``, ``°F`` or ``K``.
* Spaces, no-break and thin spaces may stand around number and unit. Hidden characters and digits other than 0-9 are
  refused, as is any text over 60 characters.

Exactness: the number and the size of every unit are exact decimals, multiplied with 60 digits of precision. Only a
value per foot, inch, yard or mile, and one in degrees Fahrenheit, may not terminate; it is rounded at the 60th digit.

The kinds, the list of units and where their sizes come from: :mod:`registry.units`.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache

from registry.units import UNITS, WORK, Kind, sizes

__all__ = ["MAX_LENGTH", "NOT_STATED", "Kind", "QuantityError", "read", "write"]

NOT_STATED = "not stated"
"""What stands in place of a quantity that a certificate does not state; no quantity, so :func:`read` refuses it."""

MAX_LENGTH = 60
"""Longest text of one quantity, in characters."""

_MAX_DIGITS = 40
_MAX_EXPONENT = 30
_SMALLEST, _LARGEST = Decimal("1e-24"), Decimal("1e15")
_EXACT_DIGITS = 24
_ROUNDED_DIGITS = 12
_ROUND = Context(prec=_ROUNDED_DIGITS, rounding=ROUND_HALF_EVEN, Emin=-999999, Emax=999999)


class QuantityError(ValueError):
    """The text is not a quantity of the kind asked for.

    ``str(error)`` is one sentence that says what is wrong and names a right example; ``error.example`` is that example
    alone, which :func:`read` reads for the same kind.
    """

    def __init__(self, problem: str, example: str) -> None:
        super().__init__(f"{problem}, for example {example}.")
        self.example = example


# --- reading -------------------------------------------------------------------------------------------------------

_MINUS = "\u2212\u2013\u2010\u2011-"  # the hyphen last: it ends character classes
_SPACES = str.maketrans(
    dict.fromkeys("\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f", " ")
)
_SPELLINGS = str.maketrans(
    {
        "\u00b5": "u",
        "\u03bc": "u",
        "\u03a9": "ohm",
        "\u2126": "ohm",
        "\u00b2": "2",
        "\u00b0": "deg",
        "\u00ba": "deg",
        "\u2103": "degC",
        "\u2109": "degF",
        "\u212a": "K",
    }
)
_GRAMMAR = re.compile(
    rf"(?P<sign>[+{_MINUS}]?)(?P<whole>[0-9]+)(?:(?P<mark>[.,])(?P<fraction>[0-9]+))?"
    rf"(?:[eE](?P<exponent>[+{_MINUS}]?[0-9]+))? *(?P<unit>[^0-9 .,_'\u2019+{_MINUS}].*)?"
)


def read(text: str, kind: Kind) -> Decimal:
    """The value of ``text`` in the SI unit of ``kind``, exact and without trailing zeros.

    >>> read("83 nF", Kind.CAPACITANCE) == Decimal("83e-9")
    True
    >>> read("0,083 µF", Kind.CAPACITANCE) == read("83nF", Kind.CAPACITANCE)
    True
    >>> read("110", Kind.CAPACITANCE)
    Traceback (most recent call last):
    registry.quantities.QuantityError: Add the unit, for example 110 nF.

    Raises :class:`QuantityError` for everything that the grammar of this module does not read.
    """
    if not isinstance(text, str):
        raise QuantityError("Write the value as text with its unit", kind.example)
    if len(text) > MAX_LENGTH:
        raise QuantityError(f"Shorten this to at most {MAX_LENGTH} characters", kind.example)
    return _read(text, kind)


@lru_cache(maxsize=16384)
def _read(text: str, kind: Kind) -> Decimal:
    plain = text.translate(_SPACES).strip(" ")
    value = _attempt(plain, kind)
    if value is None:
        raise _explain(plain, kind)
    return value


def _attempt(plain: str, kind: Kind) -> Decimal | None:
    """The value, or None for whatever reason it is not read."""
    match = _GRAMMAR.fullmatch(plain)
    if match is None or match["unit"] is None:
        return None
    number = _number(match)
    name = _spelled(match["unit"])
    if number is None or name not in UNITS[kind]:
        return None
    if match["sign"] in tuple(_MINUS):
        if kind is not Kind.TEMPERATURE:
            return None
        number = number.copy_negate()
    return _in_si(number, name, kind)


def _number(match: re.Match[str]) -> Decimal | None:
    """The number without its sign; None if it is ambiguous or out of all proportion."""
    whole, fraction = match["whole"], match["fraction"] or ""
    if match["mark"] == "," and len(fraction) == 3 and whole.strip("0"):
        return None
    exponent = (match["exponent"] or "0").translate(dict.fromkeys(map(ord, _MINUS), "-"))
    if len((whole + fraction).strip("0")) > _MAX_DIGITS or abs(int(exponent)) > _MAX_EXPONENT:
        return None
    return Decimal(f"{whole}.{fraction}e{exponent}") if fraction else Decimal(f"{whole}e{exponent}")


def _spelled(unit: str) -> str:
    """The unit in the one spelling of the list."""
    name = unit.translate(_SPELLINGS).replace("Ohm", "ohm").replace("ohms", "ohm").replace("^2", "2")
    name = re.sub(r" ?/ ?", "/", name)
    return re.sub(r"(?<=/100|1000) (?=ft|m)", "", name)


def _in_si(number: Decimal, name: str, kind: Kind) -> Decimal | None:
    """The number of listed units in SI; None outside the range of possible values."""
    if kind is Kind.TEMPERATURE:
        if name == "degF":
            value = WORK.divide(WORK.multiply(WORK.subtract(number, Decimal(32)), Decimal(5)), Decimal(9))
        elif name == "K":
            value = WORK.subtract(number, Decimal("273.15"))
        else:
            value = number
        possible = Decimal("-273.15") <= value <= _LARGEST
    else:
        above, below = sizes(name, kind)
        value = WORK.divide(WORK.multiply(number, above), below)
        possible = not value or _SMALLEST <= value <= _LARGEST
    if not possible:
        return None
    if not value:
        return Decimal(0)
    value = value.normalize(WORK)
    return value.quantize(Decimal(1), context=WORK) if value == value.to_integral_value() else value


# --- saying what is wrong ------------------------------------------------------------------------------------------


def _explain(plain: str, kind: Kind) -> QuantityError:
    """Why ``plain`` is not read as ``kind``, with the cure nearest to what was typed."""
    if not plain:
        return QuantityError("Write a value with its unit", kind.example)
    for character in plain:
        if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
            return QuantityError(
                f"There is a hidden character (U+{ord(character):04X}) in this text; type it by hand", kind.example
            )
        if character.isnumeric() and not character.isascii() and character != "\u00b2":
            return QuantityError(f"\u201c{character}\u201d is not read; write the digits 0 to 9", kind.example)
    match = _GRAMMAR.fullmatch(plain)
    if match is None:
        return _explain_shape(plain, kind)
    number = plain[: match.start("unit")].rstrip(" ") if match["unit"] else plain
    if _number(match) is None:
        return _explain_number(match, number, kind)
    if match["unit"] is None:
        return QuantityError("Add the unit", _first_that_reads(kind, f"{number} {_unit_of_example(kind)}"))
    if match["sign"] in tuple(_MINUS) and kind is not Kind.TEMPERATURE:
        return QuantityError(
            f"The {kind.noun} cannot be negative; write it without the minus sign", _first_that_reads(kind, plain[1:])
        )
    name = _spelled(match["unit"])
    if name not in UNITS[kind]:
        return _explain_unit(number, match["unit"], name, kind)
    if kind is Kind.TEMPERATURE:
        return QuantityError(f"\u201c{plain}\u201d is not a possible temperature; check number and unit", kind.example)
    return QuantityError(f"\u201c{plain}\u201d is out of all proportion; check number and unit", kind.example)


def _explain_shape(plain: str, kind: Kind) -> QuantityError:
    """For text that does not begin as a number and go on as a unit."""
    if not re.search(r"[0-9]", plain):
        return QuantityError(f"\u201c{plain}\u201d is not a number with its unit; write both", kind.example)
    if re.match(rf"[+{_MINUS}] *[ +{_MINUS}]", plain):
        bare = plain.lstrip(f"+{_MINUS} ")
        return QuantityError("Write one sign at most, close to the number", _first_that_reads(kind, f"-{bare}", bare))
    if re.match(rf"[+{_MINUS}]?[0-9]+[ '\u2019_][0-9]", plain):
        joined = re.sub(r"(?<=[0-9])[ '\u2019_](?=[0-9])", "", plain)
        return QuantityError("Write the number without spaces or other separators", _first_that_reads(kind, joined))
    marks = re.match(rf"[+{_MINUS}]?([0-9.,]*)", plain)
    if marks and len(re.findall(r"[.,]", marks[1])) > 1:
        return QuantityError(
            "Write the number with one decimal mark and no thousands separator",
            _first_that_reads(kind, plain.replace(",", "")),
        )
    if marks and (marks[1][:1] in (".", ",") or marks[1][-1:] in (".", ",")):
        whole = re.sub(r"(?<![0-9])[.,](?=[0-9])", "0.", plain, count=1)
        whole = re.sub(r"(?<=[0-9])[.,](?![0-9])", "", whole, count=1)
        return QuantityError("Write a digit on both sides of the decimal mark", _first_that_reads(kind, whole))
    return QuantityError(f"\u201c{plain}\u201d is not one number with its unit; write the value alone", kind.example)


def _explain_number(match: re.Match[str], number: str, kind: Kind) -> QuantityError:
    """For a number that is ambiguous, too long, or too large or small."""
    if match["mark"] == "," and len(match["fraction"]) == 3:
        unit = match["unit"] or _unit_of_example(kind)
        thousands = f"{number.replace(',', '')} {unit}"
        decimals = f"{number.replace(',', '.').rstrip('0').rstrip('.')} {unit}"
        if _attempt(thousands, kind) is not None and _attempt(decimals, kind) is not None:
            return QuantityError(
                f"The comma in \u201c{number}\u201d can mean two things; write {decimals} or, with no separator",
                thousands,
            )
        return QuantityError(f"The comma in \u201c{number}\u201d can mean two things; use a point", kind.example)
    if abs(int((match["exponent"] or "0").translate(dict.fromkeys(map(ord, _MINUS), "-")))) > _MAX_EXPONENT:
        return QuantityError("This number is out of all proportion; check its exponent", kind.example)
    return QuantityError(f"Write the number with at most {_MAX_DIGITS} digits", kind.example)


def _explain_unit(number: str, typed: str, name: str, kind: Kind) -> QuantityError:
    """For a good number with a unit that this kind does not have."""
    if kind is Kind.TEMPERATURE and name in ("C", "F"):
        other = "coulomb" if name == "C" else "farad"
        return QuantityError(f"{name} is the {other}; write degrees as deg{name}", f"{number} deg{name}")
    same_letters = [known for known in UNITS[kind] if known.casefold() == name.casefold()]
    same_letters.sort(key=lambda known: sum(a != b for a, b in zip(known, name, strict=False)))
    if same_letters:
        choice = " or ".join(same_letters)
        return QuantityError(
            f"\u201c{typed}\u201d is not a unit of {kind.noun}; mind capital and small letters and write {choice}",
            _first_that_reads(kind, f"{number} {same_letters[0]}"),
        )
    for other_kind, units in UNITS.items():
        if name in units:
            return QuantityError(
                f"\u201c{number} {typed}\u201d is a value of {other_kind.noun}; give the {kind.noun}", kind.example
            )
    first_word = name.split(" ")[0].rstrip(".,;")
    for shorter in (first_word, re.sub(r"(?i)[ .]*(dc|ac|d\.c\.|a\.c\.|rms|max|min)\.?$", "", name)):
        if shorter != name and shorter in UNITS[kind]:
            return QuantityError(
                f"\u201c{typed}\u201d is not read as a unit; write {shorter} and nothing after it",
                _first_that_reads(kind, f"{number} {shorter}"),
            )
    return QuantityError(
        f"\u201c{typed}\u201d is not read as a unit of {kind.noun}; write a number and its unit", kind.example
    )


def _unit_of_example(kind: Kind) -> str:
    return kind.example.partition(" ")[2]


def _first_that_reads(kind: Kind, *candidates: str) -> str:
    """The first of the candidates that is right, else the example of the kind: a cure is never wrong itself."""
    for candidate in candidates:
        if len(candidate) <= MAX_LENGTH and _attempt(candidate, kind) is not None:
            return candidate
    return kind.example


# --- writing -------------------------------------------------------------------------------------------------------

_STEPS: dict[Kind, tuple[tuple[Decimal, str], ...]] = {
    # (from this SI magnitude on, unit), largest first; the last unit also takes everything below it
    Kind.VOLTAGE: ((Decimal("1e3"), "kV"), (Decimal(1), "V"), (Decimal("1e-3"), "mV"), (Decimal("1e-6"), "uV")),
    Kind.CURRENT: (
        (Decimal("1e3"), "kA"),
        (Decimal(1), "A"),
        (Decimal("1e-3"), "mA"),
        (Decimal("1e-6"), "uA"),
        (Decimal("1e-9"), "nA"),
    ),
    Kind.POWER: (
        (Decimal("1e3"), "kW"),
        (Decimal(1), "W"),
        (Decimal("1e-3"), "mW"),
        (Decimal("1e-6"), "uW"),
        (Decimal("1e-9"), "nW"),
    ),
    Kind.CAPACITANCE: ((Decimal("1e-6"), "uF"), (Decimal("1e-9"), "nF"), (Decimal("1e-12"), "pF")),
    Kind.INDUCTANCE: ((Decimal(1), "H"), (Decimal("1e-3"), "mH"), (Decimal("1e-6"), "uH"), (Decimal("1e-9"), "nH")),
    Kind.RESISTANCE: (
        (Decimal("1e9"), "Gohm"),
        (Decimal("1e6"), "Mohm"),
        (Decimal("1e3"), "kohm"),
        (Decimal(1), "ohm"),
        (Decimal("1e-3"), "mohm"),
        (Decimal("1e-6"), "uohm"),
    ),
    Kind.INDUCTANCE_PER_RESISTANCE: ((Decimal("1e-6"), "uH/ohm"),),
    Kind.LENGTH: ((Decimal("0.1"), "m"), (Decimal("1e-3"), "mm")),
    Kind.CAPACITANCE_PER_LENGTH: ((Decimal("1e-12"), "nF/km"),),
    Kind.INDUCTANCE_PER_LENGTH: ((Decimal("1e-6"), "mH/km"),),
    Kind.RESISTANCE_PER_LENGTH: ((Decimal("1e-3"), "ohm/km"),),
    Kind.TEMPERATURE: ((Decimal(1), "degC"),),
    Kind.AREA: ((Decimal("1e-6"), "mm2"),),
    Kind.THERMAL_RESISTANCE: ((Decimal(1), "K/W"),),
    Kind.TIME: ((Decimal(1), "s"), (Decimal("1e-3"), "ms"), (Decimal("1e-6"), "us"), (Decimal("1e-9"), "ns")),
}
_ZEROUNITS = {Kind.CAPACITANCE: "F", Kind.INDUCTANCE: "H", Kind.RESISTANCE: "ohm"}
_ZEROUNITS |= {Kind.VOLTAGE: "V", Kind.CURRENT: "A", Kind.POWER: "W", Kind.LENGTH: "m"}


def write(value: Decimal, kind: Kind) -> str:
    """The SI ``value`` of ``kind`` as ASCII text in the unit that the trade would choose.

    Per-length values are written per kilometre, L/R in uH/ohm, areas in mm2, lengths in m (mm under 0.1 m). A value
    of at most 24 significant digits is written in full, so that ``read(write(x, kind), kind) == x``; a longer one comes
    of a division that does not end and is rounded to 12 significant digits. A negative value (a remainder that is
    overdrawn) is written with its sign although only a temperature is read back with one.

    >>> write(Decimal("83e-9"), Kind.CAPACITANCE), write(Decimal("0.00065e-3"), Kind.INDUCTANCE_PER_LENGTH)
    ('83 nF', '0.65 mH/km')
    >>> write(Decimal(0), Kind.INDUCTANCE)
    '0 H'

    Raises ValueError for NaN and infinity.
    """
    if not value.is_finite():
        raise ValueError(f"A quantity is finite, not {value}.")
    return _write(value, kind)


@lru_cache(maxsize=16384)
def _write(value: Decimal, kind: Kind) -> str:
    steps = _STEPS[kind]
    if not value:
        return f"0 {_ZEROUNITS.get(kind, steps[-1][1])}"
    short = value.normalize(WORK)
    if len(short.as_tuple().digits) > _EXACT_DIGITS:
        short = value.normalize(_ROUND)
    unit = next((unit for start, unit in steps if short.copy_abs() >= start), steps[-1][1])
    if kind is Kind.TEMPERATURE:
        number = short
    else:
        above, below = sizes(unit, kind)
        number = WORK.divide(WORK.multiply(short, below), above)
    number = number.normalize(WORK)
    form = "f" if -_MAX_EXPONENT < number.adjusted() < _MAX_EXPONENT else "E"
    return f"{number:{form}} {unit}"
