"""Quantities: what is read, what is refused with which cure, and that nothing is lost on the way."""

import doctest
import random
import re
from decimal import Decimal, localcontext
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry import quantities
from registry.quantities import MAX_LENGTH, NOT_STATED, Kind, QuantityError, read, write
from registry.units import UNITS, _size, sizes
from tests.registry.texts import random_texts

# The SI prefixes of the BIPM SI brochure, 9th edition, table 7; international foot, inch, yard and mile of 1959.
PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0, "c": -2, "k": 3, "M": 6, "G": 9}
LENGTHS = {
    **{prefix + "m": Fraction(10) ** PREFIXES[prefix] for prefix in ("u", "m", "c", "", "k")},
    "in": Fraction("0.0254"),
    "ft": Fraction("0.3048"),
    "kft": Fraction("304.8"),
    "yd": Fraction("0.9144"),
    "mi": Fraction("1609.344"),
    "100m": Fraction(100),
    "1000m": Fraction(1000),
    "100ft": Fraction("30.48"),
    "1000ft": Fraction("304.8"),
}
EVERY_UNIT = [(kind, name) for kind, names in UNITS.items() for name in names]


def size_by_hand(part: str) -> Fraction:
    """The size of one side of a unit, from its prefix or the table of lengths."""
    if part in LENGTHS:
        return LENGTHS[part]
    if part.endswith("2"):
        return size_by_hand(part[:-1] if part != "ft2" else "ft") ** 2
    symbol = next(symbol for symbol in ("ohm", "degC", "V", "A", "W", "F", "H", "K", "s") if part.endswith(symbol))
    return Fraction(10) ** PREFIXES[part.removesuffix(symbol)]


def by_hand(number: str, name: str, kind: Kind) -> Fraction:
    value = Fraction(number)
    if kind is Kind.TEMPERATURE:
        return {"degC": value, "degF": (value - 32) * 5 / 9, "K": value - Fraction("273.15")}[name]
    above, _, below = name.partition("/")
    return value * size_by_hand(above) / (size_by_hand(below) if below else 1)


def terminates(value: Fraction) -> bool:
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return rest == 1


# --- read ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("83 nF", Kind.CAPACITANCE, "83e-9"),
        ("83nF", Kind.CAPACITANCE, "83e-9"),
        ("0,083 \u00b5F", Kind.CAPACITANCE, "83e-9"),
        ("0,083 \u03bcF", Kind.CAPACITANCE, "83e-9"),
        ("0.083 uF", Kind.CAPACITANCE, "83e-9"),
        ("0,0 F", Kind.CAPACITANCE, "0"),
        ("0 F", Kind.CAPACITANCE, "0"),
        ("3 H", Kind.INDUCTANCE, "3"),
        ("0 H", Kind.INDUCTANCE, "0"),
        ("1.5e-3 H", Kind.INDUCTANCE, "0.0015"),
        ("1.5E\u22123 H", Kind.INDUCTANCE, "0.0015"),
        ("1,5 mH", Kind.INDUCTANCE, "0.0015"),
        ("1.500 mH", Kind.INDUCTANCE, "0.0015"),
        ("1,5000 mH", Kind.INDUCTANCE, "0.0015"),
        ("0,150 mH", Kind.INDUCTANCE, "0.00015"),
        ("83\u00a0nF", Kind.CAPACITANCE, "83e-9"),
        ("83\u2009nF", Kind.CAPACITANCE, "83e-9"),
        ("\u202f83\u202fnF\u00a0", Kind.CAPACITANCE, "83e-9"),
        ("0.66 uH/m", Kind.INDUCTANCE_PER_LENGTH, "0.66e-6"),
        ("0.65 mH/km", Kind.INDUCTANCE_PER_LENGTH, "0.65e-6"),
        ("0.65 mH / km", Kind.INDUCTANCE_PER_LENGTH, "0.65e-6"),
        ("200 pF/m", Kind.CAPACITANCE_PER_LENGTH, "200e-12"),
        ("30.48 pF/ft", Kind.CAPACITANCE_PER_LENGTH, "100e-12"),
        ("12.1 ohm/km", Kind.RESISTANCE_PER_LENGTH, "0.0121"),
        ("12.1 \u03a9/km", Kind.RESISTANCE_PER_LENGTH, "0.0121"),
        ("12.1 \u2126/km", Kind.RESISTANCE_PER_LENGTH, "0.0121"),
        ("10 m\u03a9/m", Kind.RESISTANCE_PER_LENGTH, "0.01"),
        ("3.048 ohm/1000 ft", Kind.RESISTANCE_PER_LENGTH, "0.01"),
        ("3.048 ohm/kft", Kind.RESISTANCE_PER_LENGTH, "0.01"),
        ("55 uH/ohm", Kind.INDUCTANCE_PER_RESISTANCE, "55e-6"),
        ("0.040 mH/\u03a9", Kind.INDUCTANCE_PER_RESISTANCE, "40e-6"),
        ("265 ohm", Kind.RESISTANCE, "265"),
        ("265 Ohm", Kind.RESISTANCE, "265"),
        ("1 kohm", Kind.RESISTANCE, "1000"),
        ("1 Mohm", Kind.RESISTANCE, "1000000"),
        ("1 mohm", Kind.RESISTANCE, "0.001"),
        ("25.2 V", Kind.VOLTAGE, "25.2"),
        ("+24 V", Kind.VOLTAGE, "24"),
        ("95 mA", Kind.CURRENT, "0.095"),
        ("0.6 W", Kind.POWER, "0.6"),
        ("1 km", Kind.LENGTH, "1000"),
        ("100 ft", Kind.LENGTH, "30.48"),
        ("0.3 mm", Kind.LENGTH, "0.0003"),
        ("-20 degC", Kind.TEMPERATURE, "-20"),
        ("\u221220 degC", Kind.TEMPERATURE, "-20"),
        ("\u201320 \u00b0C", Kind.TEMPERATURE, "-20"),
        ("+70 \u00b0C", Kind.TEMPERATURE, "70"),
        ("40 \u2103", Kind.TEMPERATURE, "40"),
        ("104 degF", Kind.TEMPERATURE, "40"),
        ("-40 \u00b0F", Kind.TEMPERATURE, "-40"),
        ("-459.67 degF", Kind.TEMPERATURE, "-273.15"),
        ("0 K", Kind.TEMPERATURE, "-273.15"),
        ("-0 degC", Kind.TEMPERATURE, "0"),
        ("2.5 mm2", Kind.AREA, "2.5e-6"),
        ("2.5 mm\u00b2", Kind.AREA, "2.5e-6"),
        ("2.5 mm^2", Kind.AREA, "2.5e-6"),
        ("37 K/W", Kind.THERMAL_RESISTANCE, "37"),
        ("37 \u00b0C/W", Kind.THERMAL_RESISTANCE, "37"),
    ],
)
def test_text_is_read_exactly(text: str, kind: Kind, value: str) -> None:
    assert read(text, kind) == Decimal(value)
    assert read(text, kind).is_signed() == (Decimal(value) < 0), "no minus zero"


def test_equal_values_have_equal_digits() -> None:
    """Digests are made of the digits, so 2.50 V, 2,5 V and 2500 mV answer with the same ones."""
    assert {str(read(text, Kind.VOLTAGE)) for text in ("2.50 V", "2,5 V", "2500 mV", "02.5 V", "0.25e1V")} == {"2.5"}
    assert {str(read(text, Kind.LENGTH)) for text in ("1 km", "1000 m", "1000.0 m", "1e3 m")} == {"1000"}


def test_value_per_foot_is_read_to_sixty_digits() -> None:
    """1 ft = 0.3048 m exactly; 60/0.3048 does not end."""
    value = read("60 pF/ft", Kind.CAPACITANCE_PER_LENGTH)
    exact = Fraction(60, 10**12) / Fraction("0.3048")
    assert abs(Fraction(value) - exact) / exact < Fraction(1, 10**59)


@pytest.mark.parametrize(("kind", "name"), EVERY_UNIT)
def test_every_unit_has_the_size_that_the_si_gives_it(kind: Kind, name: str) -> None:
    value = Fraction(read(f"7.3 {name}", kind))
    expected = by_hand("7.3", name, kind)
    if terminates(expected):
        assert value == expected
    else:
        assert abs(value - expected) / expected < Fraction(1, 10**58)


@pytest.mark.parametrize(("kind", "name"), [row for row in EVERY_UNIT if "/1" not in row[1]])
def test_every_unit_agrees_with_plain_pint(kind: Kind, name: str, plain_pint: pint.UnitRegistry) -> None:
    """pint on its own, with floats and its own reader of units; it has none for "per 1000 ft"."""

    def for_pint(unit: str) -> str:
        return re.sub("^(K|degC)/", "delta_degC/", re.sub("2$", "**2", unit))

    expected = plain_pint.Quantity(47.5, for_pint(name)).to(for_pint(kind.value)).magnitude
    assert float(read(f"47.5 {name}", kind)) == pytest.approx(expected, rel=1e-12, abs=1e-30)


@pytest.fixture(scope="module")
def plain_pint() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def test_reading_and_writing_do_not_depend_on_the_callers_precision() -> None:
    _size.cache_clear()
    sizes.cache_clear()
    with localcontext() as context:
        context.prec = 3
        miles, temperature = read("1.2345678 mi", Kind.LENGTH), read("-12.345678 degC", Kind.TEMPERATURE)
        per_foot = read("3.048765 pF/ft", Kind.CAPACITANCE_PER_LENGTH)
        text = write(Decimal("1234.5678"), Kind.LENGTH)
    assert Fraction(miles) == Fraction("1.2345678") * Fraction("1609.344")
    assert temperature == Decimal("-12.345678")
    assert abs(Fraction(per_foot) * Fraction("0.3048") - Fraction("3.048765e-12")) < Fraction(1, 10**70)
    assert text == "1234.5678 m"


# --- refused ------------------------------------------------------------------------------------------------------

REFUSED = [
    # text, kind, what the message says, the example that it gives
    ("", Kind.CAPACITANCE, "Write a value with its unit", "110 nF"),
    ("   ", Kind.CAPACITANCE, "Write a value with its unit", "110 nF"),
    ("110", Kind.CAPACITANCE, "Add the unit", "110 nF"),
    ("-20", Kind.TEMPERATURE, "Add the unit", "-20 degC"),
    ("25,2", Kind.VOLTAGE, "Add the unit", "25,2 V"),
    ("1,500 mH", Kind.INDUCTANCE, "write 1.5 mH or, with no separator", "1500 mH"),
    ("12,500 ohm", Kind.RESISTANCE, "write 12.5 ohm or, with no separator", "12500 ohm"),
    ("1,500", Kind.INDUCTANCE, "can mean two things", "1500 mH"),
    ("1,500.5 mH", Kind.INDUCTANCE, "one decimal mark and no thousands separator", "1500.5 mH"),
    ("1.500,5 mH", Kind.INDUCTANCE, "one decimal mark and no thousands separator", None),
    ("1 500 mH", Kind.INDUCTANCE, "without spaces", "1500 mH"),
    ("1\u00a0500 mH", Kind.INDUCTANCE, "without spaces", "1500 mH"),
    ("1'500 mH", Kind.INDUCTANCE, "without spaces", "1500 mH"),
    ("1_0 V", Kind.VOLTAGE, "without spaces", "10 V"),
    ("110 nf", Kind.CAPACITANCE, "mind capital and small letters and write nF", "110 nF"),
    ("2 MW", Kind.POWER, "write mW", "2 mW"),
    ("5 MA", Kind.CURRENT, "write mA", "5 mA"),
    ("5 MV", Kind.VOLTAGE, "write mV", "5 mV"),
    ("5 Mohm/km", Kind.RESISTANCE_PER_LENGTH, "write mohm/km", "5 mohm/km"),
    ("1 KM", Kind.LENGTH, "write km", "1 km"),
    ("5 KOHM", Kind.RESISTANCE, "write kohm", "5 kohm"),
    ("28V dc", Kind.VOLTAGE, "write V and nothing after it", "28 V"),
    ("250 Vac", Kind.VOLTAGE, "write V and nothing after it", "250 V"),
    ("250 V a.c.", Kind.VOLTAGE, "write V and nothing after it", "250 V"),
    ("83 nF.", Kind.CAPACITANCE, "write nF and nothing after it", "83 nF"),
    ("10 mA", Kind.VOLTAGE, "a value of current; give the voltage", "25.2 V"),
    ("110 nF", Kind.CAPACITANCE_PER_LENGTH, "a value of capacitance; give the capacitance per length", "110 nF/km"),
    ("40 C", Kind.TEMPERATURE, "C is the coulomb", "40 degC"),
    ("104 F", Kind.TEMPERATURE, "F is the farad", "104 degF"),
    ("-5 V", Kind.VOLTAGE, "cannot be negative", "5 V"),
    ("\u22125 nF", Kind.CAPACITANCE, "cannot be negative", "5 nF"),
    ("-0 V", Kind.VOLTAGE, "cannot be negative", "0 V"),
    ("--5 degC", Kind.TEMPERATURE, "one sign at most", "-5 degC"),
    ("- 5 degC", Kind.TEMPERATURE, "close to the number", "-5 degC"),
    ("+-5 V", Kind.VOLTAGE, "one sign at most", "5 V"),
    ("-274 degC", Kind.TEMPERATURE, "not a possible temperature", "40 degC"),
    ("-1 K", Kind.TEMPERATURE, "not a possible temperature", "40 degC"),
    ("nan", Kind.VOLTAGE, "not a number", "25.2 V"),
    ("nan V", Kind.VOLTAGE, "not a number", "25.2 V"),
    ("inf", Kind.VOLTAGE, "not a number", "25.2 V"),
    ("-Infinity V", Kind.VOLTAGE, "not a number", "25.2 V"),
    ("1e400 V", Kind.VOLTAGE, "out of all proportion", "25.2 V"),
    ("1e-400 V", Kind.VOLTAGE, "out of all proportion", "25.2 V"),
    ("1e99999999999999999999 V", Kind.VOLTAGE, "out of all proportion", "25.2 V"),
    ("1e20 V", Kind.VOLTAGE, "out of all proportion", "25.2 V"),
    ("1e-20 fF", Kind.CAPACITANCE, "out of all proportion", "110 nF"),
    ("1" * 41 + " V", Kind.VOLTAGE, "at most 40 digits", "25.2 V"),
    ("1" * 59 + " V", Kind.VOLTAGE, "at most 60 characters", "25.2 V"),
    (" " * 61, Kind.VOLTAGE, "at most 60 characters", "25.2 V"),
    ("9" * 1_000_000 + " V", Kind.VOLTAGE, "at most 60 characters", "25.2 V"),
    ("25.2\u200b V", Kind.VOLTAGE, "hidden character (U+200B)", "25.2 V"),
    ("\u202e25.2 V", Kind.VOLTAGE, "hidden character (U+202E)", "25.2 V"),
    ("25.2 V\ufeff", Kind.VOLTAGE, "hidden character (U+FEFF)", "25.2 V"),
    ("25.2\u00adV", Kind.VOLTAGE, "hidden character (U+00AD)", "25.2 V"),
    ("25.2\tV", Kind.VOLTAGE, "hidden character (U+0009)", "25.2 V"),
    ("25.2 V\n", Kind.VOLTAGE, "hidden character (U+000A)", "25.2 V"),
    ("25.2 V\x00", Kind.VOLTAGE, "hidden character (U+0000)", "25.2 V"),
    ("25.2 V\ud800", Kind.VOLTAGE, "hidden character (U+D800)", "25.2 V"),
    ("\u0662\u0665 V", Kind.VOLTAGE, "write the digits 0 to 9", "25.2 V"),
    ("\uff12\uff15 V", Kind.VOLTAGE, "write the digits 0 to 9", "25.2 V"),
    ("2\u00bd V", Kind.VOLTAGE, "write the digits 0 to 9", "25.2 V"),
    ("5\u00b2 V", Kind.VOLTAGE, "not read as a unit of voltage", "25.2 V"),
    ("1.2.3 V", Kind.VOLTAGE, "one decimal mark", "25.2 V"),
    ("1,2,3 V", Kind.VOLTAGE, "one decimal mark", None),
    (".083 uF", Kind.CAPACITANCE, "both sides of the decimal mark", "0.083 uF"),
    ("5. V", Kind.VOLTAGE, "both sides of the decimal mark", "5 V"),
    ("0x10 V", Kind.VOLTAGE, "not read as a unit of voltage", "25.2 V"),
    ("9**9**9 V", Kind.VOLTAGE, "not read as a unit of voltage", "25.2 V"),
    ("1/2 V", Kind.VOLTAGE, "not read as a unit of voltage", "25.2 V"),
    ("5 V/m", Kind.VOLTAGE, "not read as a unit of voltage", "25.2 V"),
    ("V", Kind.VOLTAGE, "not a number", "25.2 V"),
    ("< 5 nF", Kind.CAPACITANCE, "write the value alone", "110 nF"),
    ("\u00b15 V", Kind.VOLTAGE, "write the value alone", "25.2 V"),
    ("-20 ... 40 \u00b0C", Kind.TEMPERATURE, "", "40 degC"),
    (NOT_STATED, Kind.CAPACITANCE, "not a number", "110 nF"),
]


@pytest.mark.parametrize(("text", "kind", "says", "example"), REFUSED, ids=[repr(row[0][:30]) for row in REFUSED])
def test_text_is_refused_with_a_cure(text: str, kind: Kind, says: str, example: str | None) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text, kind)
    message = str(caught.value)
    assert says in message
    named = re.search(r", for example (.+)\.$", message)
    assert named and named[1] == caught.value.example
    read(named[1], kind)
    if example is not None:
        assert named[1] == example
    assert len(message) < 300
    assert "\n" not in message


@pytest.mark.parametrize("value", [None, 5, 25.2, Decimal("1"), b"25 V", ["25 V"], {"V": 25}, True])
def test_what_is_no_text_is_refused(value: object) -> None:
    with pytest.raises(QuantityError, match="as text with its unit"):
        read(value, Kind.VOLTAGE)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", Kind)
def test_mega_and_giga_belong_to_resistance_alone(kind: Kind) -> None:
    symbol = kind.value.replace("degC", "K")
    for prefix in "MGTPE":
        if kind is Kind.RESISTANCE and prefix in "MG":
            assert read(f"2 {prefix}ohm", kind) == 2 * Decimal(10) ** (6 if prefix == "M" else 9)
        else:
            with pytest.raises(QuantityError):
                read(f"2 {prefix}{symbol}", kind)


@pytest.mark.parametrize("kind", Kind)
def test_examples_of_every_kind_read_and_are_written_as_they_stand(kind: Kind) -> None:
    assert write(read(kind.example, kind), kind) == {"0.6 W": "600 mW"}.get(kind.example, kind.example)


def test_longest_text_and_the_next() -> None:
    padded = "25.2" + " " * (MAX_LENGTH - 5) + "V"
    assert len(padded) == MAX_LENGTH
    assert read(padded, Kind.VOLTAGE) == Decimal("25.2")
    with pytest.raises(QuantityError):
        read(padded + " ", Kind.VOLTAGE)


def test_nothing_but_a_quantity_error_comes_of_a_hundred_thousand_random_texts() -> None:
    kinds = random.Random(7)
    refused = accepted = 0
    for text in random_texts(100_000, seed=20261125):
        kind = kinds.choice(tuple(Kind))
        try:
            value = read(text, kind)
        except QuantityError as error:
            refused += 1
            if refused % 50 == 0:
                read(error.example, kind)
        else:
            accepted += 1
            assert value.is_finite()
            assert kind is Kind.TEMPERATURE or value >= 0
            assert len(value.as_tuple().digits) <= 60
    assert refused > 90_000
    assert accepted > 20


@given(st.text(max_size=70), st.sampled_from(Kind))
def test_any_text_is_read_or_refused_with_an_example_that_reads(text: str, kind: Kind) -> None:
    try:
        assert read(text, kind).is_finite()
    except QuantityError as error:
        read(error.example, kind)


# --- written ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        ("35.2e-9", Kind.CAPACITANCE, "35.2 nF"),
        ("2.41e-6", Kind.CAPACITANCE, "2.41 uF"),
        ("1e-6", Kind.CAPACITANCE, "1 uF"),
        ("999.9e-9", Kind.CAPACITANCE, "999.9 nF"),
        ("0.0024", Kind.CAPACITANCE, "2400 uF"),
        ("0.5e-12", Kind.CAPACITANCE, "0.5 pF"),
        ("195e-6", Kind.INDUCTANCE, "195 uH"),
        ("3.9e-3", Kind.INDUCTANCE, "3.9 mH"),
        ("3", Kind.INDUCTANCE, "3 H"),
        ("25.2", Kind.VOLTAGE, "25.2 V"),
        ("25.200", Kind.VOLTAGE, "25.2 V"),
        ("250", Kind.VOLTAGE, "250 V"),
        ("0.095", Kind.CURRENT, "95 mA"),
        ("1.3", Kind.POWER, "1.3 W"),
        ("265", Kind.RESISTANCE, "265 ohm"),
        ("1E+3", Kind.RESISTANCE, "1 kohm"),
        ("58e-6", Kind.INDUCTANCE_PER_RESISTANCE, "58 uH/ohm"),
        ("0.0015", Kind.INDUCTANCE_PER_RESISTANCE, "1500 uH/ohm"),
        ("952", Kind.LENGTH, "952 m"),
        ("15250", Kind.LENGTH, "15250 m"),
        ("0.0003", Kind.LENGTH, "0.3 mm"),
        ("0.5", Kind.LENGTH, "0.5 m"),
        ("200e-12", Kind.CAPACITANCE_PER_LENGTH, "200 nF/km"),
        ("0.65e-6", Kind.INDUCTANCE_PER_LENGTH, "0.65 mH/km"),
        ("0.0121", Kind.RESISTANCE_PER_LENGTH, "12.1 ohm/km"),
        ("-20", Kind.TEMPERATURE, "-20 degC"),
        ("2.5e-6", Kind.AREA, "2.5 mm2"),
        ("0.001", Kind.AREA, "1000 mm2"),
        ("37", Kind.THERMAL_RESISTANCE, "37 K/W"),
        ("0", Kind.CAPACITANCE, "0 F"),
        ("0", Kind.INDUCTANCE, "0 H"),
        ("-0", Kind.VOLTAGE, "0 V"),
        ("0E-12", Kind.LENGTH, "0 m"),
        ("0", Kind.CAPACITANCE_PER_LENGTH, "0 nF/km"),
        ("0", Kind.INDUCTANCE_PER_RESISTANCE, "0 uH/ohm"),
        ("0", Kind.TEMPERATURE, "0 degC"),
        ("-3.5e-9", Kind.CAPACITANCE, "-3.5 nF"),
    ],
)
def test_value_is_written_as_the_trade_would(value: str, kind: Kind, text: str) -> None:
    assert write(Decimal(value), kind) == text


def test_division_that_does_not_end_is_written_to_twelve_digits() -> None:
    assert write(read("60 pF/ft", Kind.CAPACITANCE_PER_LENGTH), Kind.CAPACITANCE_PER_LENGTH) == "196.850393701 nF/km"
    assert write(Decimal(1) / Decimal(3), Kind.POWER) == "333.333333333 mW"
    assert write(Decimal(2) / 3 * Decimal("1.5"), Kind.VOLTAGE) == "1 V", "rounded before the prefix is chosen"


def test_what_is_not_finite_is_not_written() -> None:
    for value in ("nan", "inf", "-inf", "snan"):
        with pytest.raises(ValueError, match="finite"):
            write(Decimal(value), Kind.VOLTAGE)


@pytest.mark.parametrize("value", ["1e-900", "1e900", "-7e-40", "1e31"])
def test_value_beyond_all_proportion_is_still_written_short(value: str) -> None:
    for kind in Kind:
        assert len(write(Decimal(value), kind)) < 60


def test_ten_thousand_values_come_back_as_they_went() -> None:
    """Over all kinds, units and magnitudes, for values that end within 24 digits."""
    chance = random.Random(1959)
    tried = 0
    while tried < 10_000:
        kind, name = chance.choice(EVERY_UNIT)
        digits = str(chance.randrange(1, 10 ** chance.randrange(1, 13)))
        place = chance.randrange(0, len(digits) + 1)
        number = f"{digits[:place] or '0'}.{digits[place:] or '0'}"
        if not Fraction(1, 10**24) <= by_hand(number, name, kind) <= 10**15 and kind is not Kind.TEMPERATURE:
            continue
        value = read(f"{number} {name}", kind)
        exact = by_hand(number, name, kind)
        if not terminates(exact) or len(value.as_tuple().digits) > 24:
            continue
        tried += 1
        assert Fraction(value) == exact
        text = write(value, kind)
        assert read(text, kind) == value, (text, value)
        assert text.isascii()
        assert len(text) <= MAX_LENGTH


@given(
    st.decimals(min_value=0, max_value=10**9, allow_nan=False, allow_infinity=False, places=12),
    st.sampled_from(list(Kind)),
)
def test_any_value_is_written_so_that_it_reads_back(value: Decimal, kind: Kind) -> None:
    assert read(write(value, kind), kind) == value


def test_examples_in_the_module_hold() -> None:
    results = doctest.testmod(quantities)
    assert results.attempted >= 5
    assert not results.failed
