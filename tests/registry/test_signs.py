"""The signs of units on paper, beside what a general library of units calls the same unit."""

from __future__ import annotations

import pytest
from pint import UnitRegistry

from registry.signs import plain_signs, with_signs

UNITS = UnitRegistry()


@pytest.mark.parametrize(
    "typed, printed",
    [
        ("265 ohm", "265 Ω"), ("1.2 kohm", "1.2 kΩ"), ("59 uH/ohm", "59 µH/Ω"), ("12.1 ohm/km", "12.1 Ω/km"),
        ("2.9 uF", "2.9 µF"), ("7.845 us", "7.845 µs"), ("-20 degC", "-20 °C"),
    ],
)  # fmt: skip
def test_another_library_reads_what_is_printed_as_what_was_typed(typed: str, printed: str) -> None:
    assert with_signs(typed) == printed

    def read(text: str) -> object:
        number, unit = text.split(" ")
        return UNITS.Quantity(float(number), unit)

    assert read(printed) == read(typed)


@pytest.mark.parametrize(
    "text", ["ohm", "2 users", "4 mA", "180 m", "5 nF", "R2 ohmic", "Pair 1.5 mm2", "10 kV", "3 ohm_x", "u 5"]
)
def test_everything_else_stays(text: str) -> None:
    assert with_signs(text) == text


def test_quantities_in_a_sentence_and_signs_that_are_there_stay() -> None:
    text = "254.7 ohm and\u00a030.8 uF make 7.845\u00a0us, up to 40 °C; Ω stays."
    assert with_signs(text) == "254.7 Ω and\u00a030.8 µF make 7.845\u00a0µs, up to 40 °C; Ω stays."
    assert with_signs(with_signs(text)) == with_signs(text)
    assert plain_signs("40 °C, 3 µΩ, 4 mm², 5 µF, 7 µs") == "40 degC, 3 uohm, 4 mm2, 5 uF, 7 us"
