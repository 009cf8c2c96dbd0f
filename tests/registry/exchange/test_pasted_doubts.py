"""Phrasings that invite a wrong reading: each is read right, or shown in doubt, or told as not understood.

All numbers are invented; the phrasings are common practice, no source.
"""

import pytest

from registry.exchange.pasted_text import equipment_text, read_pasted_text

Expected = dict[str, str]

TRAPS: list[tuple[str, Expected, Expected, str]] = [
    # text, values that go into the form, values that a person has to tick, what is said of the rest
    # --- decimal signs and thousands
    ("Pi = 0,9 W", {"pi_w": "0,9 W"}, {}, ""),
    ("Ci = 0.083 nF", {"ci_f": "0.083 nF"}, {}, ""),
    ("Ci = 1.500 nF", {}, {"ci_f": "1.500 nF"}, ""),
    ("Ci = 1,500 nF", {}, {}, "can mean two things"),
    ("Ci = 1.500,0 nF", {}, {}, "not read as a value"),
    ("Ci = 1 500 nF", {}, {}, "two parts"),
    ("Ci = 1'500 nF", {}, {}, "not read as a value"),
    ("Ui = 30.", {}, {}, "no unit"),
    ("Ui = 3O V", {}, {}, "not read as a value"),
    ("Pi = 1 1/2 W", {}, {}, "no unit"),
    ("Ci = 5·10⁻⁹ F", {}, {}, "no unit"),
    ("Ci = 5E-9 F", {"ci_f": "5E-9 F"}, {}, ""),
    # --- units
    ("Ci = 5 µF, Li = 5 uH", {"ci_f": "5 uF", "li_h": "5 uH"}, {}, ""),
    ("Ci = 5 μF", {"ci_f": "5 uF"}, {}, ""),
    ("Ci = 5 nf", {}, {}, "no unit"),
    ("Ii = 100 MA", {}, {}, "no unit"),
    ("Ci = 5 nF/m", {}, {}, "no unit"),
    ("Cable capacitance: 200 pF/m", {}, {}, "no unit"),
    ("Ui in V: 30", {"ui_v": "30 V"}, {}, ""),
    # --- negligible, zero, nothing
    ("Ci ≈ 0", {}, {"ci_f": "0 F"}, ""),
    ("Ci ~ 0", {}, {"ci_f": "0 F"}, ""),
    ("Ci, Li: 0", {}, {"ci_f": "0 F", "li_h": "0 H"}, ""),
    ("Ci = 0 nF; Li = 0 mH", {"ci_f": "0 nF", "li_h": "0 mH"}, {}, ""),
    ("Li is not negligible", {}, {}, "gives no value"),
    ("Ci nicht vernachlässigbar", {}, {}, "gives no value"),
    ("Li: non négligeable", {}, {}, "gives no value"),
    ("Li not effectively negligible", {}, {}, "gives no value"),
    ("Li = negligible (< 1 µH)", {}, {}, ""),
    ("Li: 10 µH max., Ci: none", {"li_h": "10 uH"}, {}, "What stands for Ci"),
    ("Ii: unlimited", {}, {}, "not read as a value"),
    ("Ii = ∞", {}, {}, "not read as a value"),
    ("Pi: see table 2", {}, {}, "not read as a value"),
    ("Ii not specified", {}, {"ii_a": "not stated"}, ""),
    # --- asides and footnotes
    ("Ci = 5 nF (incl. cable)", {"ci_f": "5 nF"}, {}, ""),
    ("Ci = 5 nF (without cable)", {}, {"ci_f": "5 nF"}, ""),
    ("Ci = 5 nF zzgl. Leitung", {}, {"ci_f": "5 nF"}, ""),
    ("Ci = 5 nF + 0,2 nF/m", {}, {}, "a sum"),
    ("Ui = 30 V¹)", {}, {"ui_v": "30 V"}, ""),
    ("Ui = 30 V *", {}, {"ui_v": "30 V"}, ""),
    ("Ui = 30 V 1)", {}, {"ui_v": "30 V"}, ""),
    ("Ui¹ = 30 V", {}, {"ui_v": "30 V"}, ""),
    ("Ui (terminals 1-2) = 30 V", {"ui_v": "30 V"}, {}, ""),
    ("Old value: Ui = 28 V", {}, {"ui_v": "28 V"}, ""),
    # --- several values on one line
    ("Ui 24 V nominal, 30 V max", {}, {}, "30 V"),
    ("Ui = max. 30 V, min. 10 V", {}, {}, "10 V"),
    ("Ui = 30 V (Zone 0: 28 V)", {}, {}, "28 V"),
    ("Ui = 30 V for terminals 1-2, 28 V for terminals 3-4", {}, {}, "28 V"),
    ("Ui: 30 V -> 28 V", {}, {}, "28 V"),
    ("Ui = 30 V\n(28 V in zone 0)", {"ui_v": "30 V"}, {}, "28 V"),
    ("Ui = 30 V\nInsulation tested\nat 500 V", {"ui_v": "30 V"}, {}, ""),
    ("Ui = 30 V / 28 V", {}, {}, ""),
    ("Ii = 0.1 A / 100 mA", {"ii_a": "0.1 A"}, {}, ""),
    ("Ii = 4...20 mA", {}, {}, "no unit"),
    ("Ii = 2 x 50 mA", {}, {}, "no unit"),
    ("Ui = 24 V ± 10 %", {}, {}, "tolerance"),
    ("Pi = 1.0 W at T4, 0.7 W at T6", {}, {}, "0.7 W"),
    ("Pi (T4) = 1 W", {}, {"pi_w": "1 W"}, ""),
    ("Um = 253 V AC / 125 V DC", {}, {}, ""),
    ("Io = 93 mA (single), 186 mA (both channels parallel)", {}, {}, ""),
    ("Ui = 30 V, Ii = 100 mA or Ui = 28 V, Ii = 120 mA", {}, {}, ""),
    ("Ui = 30 V, tested at 60 °C and 1 kHz", {"ui_v": "30 V"}, {}, ""),
    # --- demands on the other side
    ("Ui ≥ 28 V", {}, {}, "demand"),
    ("Connect only to a source with Uo ≤ 30 V", {}, {"uo_v": "30 V"}, ""),
    ("Supplied from a barrier with Uo = 28 V, Io = 93 mA", {}, {"uo_v": "28 V", "io_a": "93 mA"}, ""),
    ("Nur zum Anschluss an Stromkreise mit Uo = 28 V", {}, {"uo_v": "28 V"}, ""),
    ("Ui not less than 30 V", {}, {}, "not clearly together"),
    ("Uo greater than 28 V is not permitted", {}, {}, "not clearly together"),
    ("The input voltage Ui must not exceed 30 V.", {"ui_v": "30 V"}, {}, ""),
    # --- names
    ("Uomax = 28 V, Io,max = 93 mA", {"uo_v": "28 V", "io_a": "93 mA"}, {}, ""),
    ("Umax = 30 V", {}, {}, "input or the output"),
    ("Vt = 28 V, It = 93 mA", {"uo_v": "28 V", "io_a": "93 mA"}, {}, ""),
    ("Voc or Uo = 28 V", {"uo_v": "28 V"}, {}, ""),
]  # fmt: skip


def read(text: str) -> tuple[Expected, Expected, str]:
    """(what goes into a form, what a person has to tick, all reasons) of a text."""
    found = read_pasted_text(text)
    offered = {
        column: value
        for row in equipment_text(found)["terminals"]
        for column, value in row.items()
        if isinstance(value, str) and column not in {"name", "side"}
    }
    doubtful = {value.column for value in found.all_found() if not value.is_plain}
    return (
        {column: text for column, text in offered.items() if column not in doubtful},
        {column: text for column, text in offered.items() if column in doubtful},
        " ".join(line.reason for line in found.unread if line.reason),
    )


@pytest.mark.parametrize("text, plain, doubtful, told", TRAPS, ids=[trap[0][:40] for trap in TRAPS])
def test_no_phrasing_is_read_wrong(text: str, plain: Expected, doubtful: Expected, told: str) -> None:
    found_plain, found_doubtful, reasons = read(text)
    assert (found_plain, found_doubtful) == (plain, doubtful)
    assert told in reasons
    assert bool(told) == bool(reasons)


def test_there_are_enough_of_them() -> None:
    assert len({trap[0] for trap in TRAPS}) == len(TRAPS) >= 60


@pytest.mark.parametrize(
    "text, expected",
    [
        ("Ca = 0.11 µF (A-B), 0.33 µF (C), 0.88 µF (D)",
         [("A", "0.11 uF"), ("B", "0.11 uF"), ("C", "0.33 uF"), ("D", "0.88 uF")]),
        ("Co = 83 nF IIC / 650 nF IIB", [("IIC", "83 nF"), ("IIB", "650 nF")]),
        ("Co ≤ 83 nF (IIC)\nCo ≤ 650 nF (IIB)", [("IIC", "83 nF"), ("IIB", "650 nF")]),
        ("Co = 83 nF, 0.5 mH", [("", "83 nF")]),
    ],
)  # fmt: skip
def test_groups_beside_values(text: str, expected: list[tuple[str, str]]) -> None:
    rows = [row for terminals in read_pasted_text(text).terminals for row in terminals.permitted]
    assert [(row.group, value.text) for row in rows for value in row.values] == expected
    assert not any(value.contradictory for row in rows for value in row.values)
