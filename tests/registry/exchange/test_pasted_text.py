"""Text as it stands on certificates, read into parameters. All numbers are invented; the phrasings are common practice,
no source."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.exchange.pasted_result import Pasted
from registry.exchange.pasted_text import PastedTextError, equipment_text, read_pasted_text
from registry.exchange.pasted_words import COLUMNS
from registry.models import PermittedRow, TemperatureRow, Terminals
from registry.quantities import read


def values(pasted: Pasted) -> dict[str, str]:
    """Values by column, those of named terminals with the name in front; contradictory ones by "/"."""
    found: dict[str, list[str]] = {}
    for terminals in pasted.terminals:
        for value in terminals.values:
            name = f"{terminals.name}: {value.column}" if terminals.name else value.column
            found.setdefault(name, []).append(value.text)
    return {name: " / ".join(texts) for name, texts in found.items()}


def permitted(pasted: Pasted) -> list[tuple[str, dict[str, str]]]:
    return [
        (row.group, {value.column: value.text for value in row.values})
        for terminals in pasted.terminals
        for row in terminals.permitted
    ]


DEVICE = {"ui_v": "30 V", "ii_a": "100 mA", "pi_w": "0.9 W"}
VALUES = [
    # one line
    (
        "Ui = 30 V, Ii = 100 mA, Pi = 0.9 W, Ci = 5 nF, Li = negligible",
        {**DEVICE, "ci_f": "5 nF", "li_h": "0 H"},
    ),
    ("Ui=30V,Ii=100mA,Pi=0.9W", {"ui_v": "30 V", "ii_a": "100 mA", "pi_w": "0.9 W"}),
    ("Ui: 30 V; Ii: 100 mA; Pi: 0.9 W", DEVICE),
    ("Ui / Ii / Pi: 30 V / 100 mA / 0.9 W", DEVICE),
    ("Ui, Ii, Pi = 30 V, 100 mA, 0.9 W", DEVICE),
    ("Uo = 25.2 V\tIo = 93 mA\tPo = 0.59 W", {"uo_v": "25.2 V", "io_a": "93 mA", "po_w": "0.59 W"}),
    ("| Uo | 25.2 V | Io | 93 mA |", {"uo_v": "25.2 V", "io_a": "93 mA"}),
    # spellings of the symbol
    ("U_i = 30 V", {"ui_v": "30 V"}),
    ("U_{i} = 30 V", {"ui_v": "30 V"}),
    ("Uᵢ = 30 V", {"ui_v": "30 V"}),
    ("U i = 30 V", {"ui_v": "30 V"}),
    ("UI = 30 V, II = 100 mA", {"ui_v": "30 V", "ii_a": "100 mA"}),
    ("Uo = 28 V", {"uo_v": "28 V"}),
    ("U0 = 28 V", {"uo_v": "28 V"}),
    ("UO = 28 V", {"uo_v": "28 V"}),
    ("U₀ = 28 V, Iₒ = 93 mA", {"uo_v": "28 V", "io_a": "93 mA"}),
    ("Voc = 25.2 V, Isc = 93 mA, Po = 0.59 W", {"uo_v": "25.2 V", "io_a": "93 mA", "po_w": "0.59 W"}),
    ("V oc 25.2 V", {"uo_v": "25.2 V"}),
    ("Uo (Voc) = 25.2 V", {"uo_v": "25.2 V"}),
    ("Vmax = 30 V  Imax = 100 mA  Ci = 5 nF", {"ui_v": "30 V", "ii_a": "100 mA", "ci_f": "5 nF"}),
    ("Ro = 301 Ω, Um = 253 V", {"ro_ohm": "301 ohm", "um_v": "253 V"}),
    # around the value
    ("Ui: DC 30 V", {"ui_v": "30 V"}),
    ("Ui = 30 Vdc", {"ui_v": "30 V"}),
    ("Ui = 30 V d.c.", {"ui_v": "30 V"}),
    ("Ui ≤ 30V", {"ui_v": "30 V"}),
    ("Ui <= 30 V", {"ui_v": "30 V"}),
    ("Ui max. 30 V", {"ui_v": "30 V"}),
    ("Ii up to 100 mA", {"ii_a": "100 mA"}),
    ("Um = 253 V a.c.", {"um_v": "253 V"}),
    ("Ui\u00a0=\u00a030\u202fV", {"ui_v": "30 V"}),
    ("Ui (terminals 1 and 2) = 30 V", {"ui_v": "30 V"}),
    ("Pi = 0,9 W, Ci = 0,005 µF", {"pi_w": "0,9 W", "ci_f": "0,005 uF"}),
    ("Ci = 5 nF, Li = 10 μH", {"ci_f": "5 nF", "li_h": "10 uH"}),
    # words
    ("Maximum input voltage Ui: 30 V", {"ui_v": "30 V"}),
    ("Maximum input voltage: 30 V", {"ui_v": "30 V"}),
    ("Max. output power (Po) 650 mW", {"po_w": "650 mW"}),
    ("Open circuit voltage 25.2 V\nShort-circuit current 93 mA", {"uo_v": "25.2 V", "io_a": "93 mA"}),
    ("Spannung Ui DC 30 V\nStromstärke Ii 100 mA\nLeistung Pi 0,9 W", {**DEVICE, "pi_w": "0,9 W"}),
    ("Ausgangsspannung 25,2 V\nKurzschlussstrom 93 mA", {"uo_v": "25,2 V", "io_a": "93 mA"}),
    ("Tension d'entrée maximale : 30 V\nCourant d’entrée : 100 mA", {"ui_v": "30 V", "ii_a": "100 mA"}),
    ("Eingang:\nSpannung 30 V\nStrom: 100 mA", {"ui_v": "30 V", "ii_a": "100 mA"}),
    ("Output parameters\nVoltage: 25.2 V\nPower: 0.6 W", {"uo_v": "25.2 V", "po_w": "0.6 W"}),
    # negligible and not stated
    ("Ci = negligible, Li = 0", {"ci_f": "0 F", "li_h": "0 H"}),
    ("Ci and Li are negligible", {"ci_f": "0 F", "li_h": "0 H"}),
    ("The internal capacitance and inductance are negligibly small.", {"ci_f": "0 F", "li_h": "0 H"}),
    ("innere Kapazität Ci vernachlässigbar klein", {"ci_f": "0 F"}),
    ("Li : négligeable", {"li_h": "0 H"}),
    ("Ui = 30 V\nIi: not specified\nPi: n/a", {"ui_v": "30 V", "ii_a": "not stated", "pi_w": "not stated"}),
    ("Ii: —\nPi: nicht angegeben", {"ii_a": "not stated", "pi_w": "not stated"}),
    # lines as a PDF gives them
    ("Ui\n30 V\nIi\n100 mA", {"ui_v": "30 V", "ii_a": "100 mA"}),
    ("Ui\nIi\nPi\n30 V\n100 mA\n0.9 W", DEVICE),
    ("Ui [V]\tIi [mA]\tPi [W]\n30\t100\t0.9", DEVICE),
    ("Ui  Ii  Pi\nV  mA  W\n30  100  0.9", DEVICE),
    ("Ui Ii Pi\n30 V 100 mA 0.9 W", DEVICE),
    # several sets of terminals
    ("Terminals 1-2\nUi = 30 V\nTerminals 3-4:\nUi = 28 V", {"1-2: ui_v": "30 V", "3-4: ui_v": "28 V"}),
    ("Terminals 1-2: Ui = 30 V\nTerminals 3-4: Ui = 28 V", {"1-2: ui_v": "30 V", "3-4: ui_v": "28 V"}),
    (
        "Supply circuit (terminals 1, 2)\nUi = 30 V\nSensor circuit (terminals 3 to 6)\nUo = 5.4 V",
        {"1, 2: ui_v": "30 V", "3 to 6: uo_v": "5.4 V"},
    ),
    ("Kanal 1\nUo = 25,2 V\nKanal 2\nUo = 12 V", {"channel 1: uo_v": "25,2 V", "channel 2: uo_v": "12 V"}),
    ("Klemmen 1+, 2-\nUi = 30 V", {"1+, 2-: ui_v": "30 V"}),
    ("Terminals\tUi\tIi\n1-2\t30 V\t100 mA\n3-4\t28 V\t93 mA",
     {"1-2: ui_v": "30 V", "1-2: ii_a": "100 mA", "3-4: ui_v": "28 V", "3-4: ii_a": "93 mA"}),
    ("\tTerminals 1-2\tTerminals 3-4\nUo\t25.2 V\t12 V", {"1-2: uo_v": "25.2 V", "3-4: uo_v": "12 V"}),
    ("1-2 and 3-4 below.\nTerminals 1-2 shall be connected to an earthed bar.\nUi = 30 V", {"ui_v": "30 V"}),
    # ambient
    ("-40 °C ≤ Ta ≤ +70 °C", {"ambient_min_degc": "-40 degC", "ambient_max_degc": "70 degC"}),
    ("−40 ≤ Tamb ≤ 70 °C", {"ambient_min_degc": "-40 degC", "ambient_max_degc": "70 degC"}),
    ("Ambient temperature range: -20 °C to +60 °C", {"ambient_min_degc": "-20 degC", "ambient_max_degc": "60 degC"}),
    ("Umgebungstemperatur -20 °C bis +60 °C", {"ambient_min_degc": "-20 degC", "ambient_max_degc": "60 degC"}),
    ("Température ambiante : de -20 °C à +60 °C", {"ambient_min_degc": "-20 degC", "ambient_max_degc": "60 degC"}),
    ("Ta = -20...+60 °C", {"ambient_min_degc": "-20 degC", "ambient_max_degc": "60 degC"}),
    ("Maximum ambient temperature: 60 °C", {"ambient_max_degc": "60 degC"}),
    ("Output characteristic: trapezoidal, Uo = 25.2 V", {"output": "trapezoidal", "uo_v": "25.2 V"}),
]  # fmt: skip

IIC_IIB = [("IIC", {"co_f": "83 nF", "lo_h": "4.2 mH"}), ("IIB", {"co_f": "650 nF", "lo_h": "16 mH"})]
PERMITTED = [
    ("IIC: Co = 83 nF, Lo = 4.2 mH\nIIB: Co = 650 nF, Lo = 16 mH", IIC_IIB),
    ("Group IIC\nCo = 83 nF\nLo = 4.2 mH\nGroup IIB\nCo = 650 nF\nLo = 16 mH", IIC_IIB),
    ("Gruppe IIC: Co 83 nF; Lo 4.2 mH\nGruppe IIB: Co 650 nF; Lo 16 mH", IIC_IIB),
    ("Co = 83 nF (IIC), 650 nF (IIB)\nLo = 4.2 mH (IIC), 16 mH (IIB)", IIC_IIB),
    ("Co: IIC 83 nF; IIB 650 nF\nLo: IIC 4.2 mH; IIB 16 mH", IIC_IIB),
    ("Co (IIC) = 83 nF\nLo (IIC) = 4.2 mH\nCo (IIB) = 650 nF\nLo (IIB) = 16 mH", IIC_IIB),
    ("Group\tIIC\tIIB\nCo\t83 nF\t650 nF\nLo\t4.2 mH\t16 mH", IIC_IIB),
    ("Group  IIC  IIB\nCo [nF]  83  650\nLo [mH]  4.2  16", IIC_IIB),
    ("Group IIC IIB\nCo 83 nF 650 nF\nLo 4.2 mH 16 mH", IIC_IIB),
    ("| Group | Co [nF] | Lo [mH] |\n|---|---|---|\n| IIC | 83 | 4.2 |\n| IIB | 650 | 16 |", IIC_IIB),
    ("Group Co Lo\nIIC 83 nF 4.2 mH\nIIB 650 nF 16 mH", IIC_IIB),
    ("   IIC    IIB\n Co  Lo  Co  Lo\n83 nF  4.2 mH  650 nF  16 mH", IIC_IIB),
    ("Co (IIC)\tLo (IIC)\tCo (IIB)\tLo (IIB)\n83 nF\t4.2 mH\t650 nF\t16 mH", IIC_IIB),
    (
        "Groups A, B: Ca = 0.083 µF, La = 4.2 mH",
        [("A", {"co_f": "0.083 uF", "lo_h": "4.2 mH"}), ("B", {"co_f": "0.083 uF", "lo_h": "4.2 mH"})],
    ),
    (
        "Group\tA, B\tC\tD\nCa\t0.083 µF\t0.3 µF\t0.7 µF",
        [(name, {"co_f": f"{size} uF"}) for name, size in zip("ABCD", ("0.083", "0.083", "0.3", "0.7"), strict=True)],
    ),
    ("Group IIC: Lo/Ro = 55 µH/Ω", [("IIC", {"lo_ro_h_per_ohm": "55 uH/ohm"})]),
    ("L/R ratio (IIC): 0,055 mH/Ω", [("IIC", {"lo_ro_h_per_ohm": "0,055 mH/ohm"})]),
    (
        "Group\tLo\tCo\nIIC\t0.5 mH\t80 nF\nIIC\t1 mH\t60 nF",
        [("IIC", {"lo_h": "0.5 mH", "co_f": "80 nF"}), ("IIC", {"lo_h": "1 mH", "co_f": "60 nF"})],
    ),
    (
        "Group\tIIC\tIIB\nLo\t0.5 mH\t1 mH\nCo\t80 nF\t500 nF\nLo\t1 mH\t5 mH\nCo\t60 nF\t400 nF",
        [
            ("IIC", {"lo_h": "0.5 mH", "co_f": "80 nF"}),
            ("IIB", {"lo_h": "1 mH", "co_f": "500 nF"}),
            ("IIC", {"lo_h": "1 mH", "co_f": "60 nF"}),
            ("IIB", {"lo_h": "5 mH", "co_f": "400 nF"}),
        ],
    ),
    (
        "Group\tIIC\tIIB\nCo\t83 nF\t—\nLo\t4.2 mH\t",
        [("IIC", {"co_f": "83 nF", "lo_h": "4.2 mH"}), ("IIB", {"co_f": "not stated"})],
    ),
    ("Co = 83 nF, Lo = 4.2 mH", [("", {"co_f": "83 nF", "lo_h": "4.2 mH"})]),
    ("Ui = 30 V, Group IIC: Co = 83 nF", [("IIC", {"co_f": "83 nF"})]),
    # a line that says less than the table below it adds no row
    ("IIC: Co = 83 nF\nGroup\tCo\tLo\nIIC\t83 nF\t4.2 mH\nIIB\t650 nF\t16 mH", IIC_IIB),
]  # fmt: skip


@pytest.mark.parametrize("text, expected", VALUES, ids=lambda value: value[:40] if isinstance(value, str) else "")
def test_values(text: str, expected: dict[str, str]) -> None:
    found = read_pasted_text(text)
    assert values(found) == expected
    assert not permitted(found)
    assert not any(line.reason for line in found.unread)


@pytest.mark.parametrize("text, expected", PERMITTED, ids=lambda value: value[:40] if isinstance(value, str) else "")
def test_permitted_values(text: str, expected: list[tuple[str, dict[str, str]]]) -> None:
    found = read_pasted_text(text)
    assert permitted(found) == expected
    assert not any(line.reason for line in found.unread)


CLASSES = [
    ("T6: 45 °C\nT5: 60 °C\nT4: 70 °C", [("T6", "45 degC"), ("T5", "60 degC"), ("T4", "70 degC")]),
    ("T6: -40 °C ≤ Ta ≤ +45 °C", [("T6", "45 degC")]),
    ("T6 at Ta ≤ 45 °C; T5 at Ta ≤ 60 °C", [("T6", "45 degC"), ("T5", "60 degC")]),
    ("Ta ≤ 45 °C for T6", [("T6", "45 degC")]),
    ("Class  T6  T5  T4\nTa max  45 °C  60 °C  70 °C", [("T6", "45 degC"), ("T5", "60 degC"), ("T4", "70 degC")]),
    ("T135 °C: Ta ≤ 60 °C", [("135 degC", "60 degC")]),
]


@pytest.mark.parametrize("text, expected", CLASSES)
def test_temperature_classes(text: str, expected: list[tuple[str, str]]) -> None:
    rows = [row for terminals in read_pasted_text(text).terminals for row in terminals.temperature_classes]
    assert [(row.temperature_class.text, row.ambient_max.text) for row in rows] == expected


@pytest.mark.parametrize(
    "text, reason",
    [
        ("Ui = 30", "has no unit"),
        ("Co = 83, Lo = 4.2 mH", "has no unit"),
        ("Ui = 100 mA", "is not in a unit of Ui"),
        ("Ui = 10 V to 30 V", "one end of a range"),
        ("Ui 10 … 30 V", "no unit"),
        ("Ui = 24 V ± 10 %", "tolerance"),
        ("Ci = 5 nF + 0.2 nF/m", "a sum"),
        ("Co = 1,500 nF", "can mean two things"),
        ("Co = 1 500 nF", "two parts"),
        ("Uo = 1'500 mV", "not read as a value"),
        ("Li = .5 mH", "not read as a value"),
        ("Ui = -30 V", "no unit"),
        ("Ui ≥ 28 V", "demand on the other equipment"),
        ("Ui, Uo: 28 V", "may belong to Ui and Uo"),
        ("Spannung: 30 V", "input or the output"),
        ("Ui = negligible", "no value of this parameter"),
        ("IIB + H2: Co = 83 nF", "not a group of the register"),
        ("Co = 83 nF (IIB + H2)", "not a group of the register"),
        ("Group IIC IIB IIA\nCo 83 nF 650 nF", "3 columns, but 2 values"),
        ("T6 (85 °C)", "surface temperature of T6 itself"),
        ("Class\tT6\tT5\nPi\t0.5 W\t0.7 W", "holds for T6 only"),
    ],
)
def test_what_is_not_clear_is_left_with_a_reason(text: str, reason: str) -> None:
    found = read_pasted_text(text)
    assert any(reason in line.reason for line in found.unread)
    assert {value.column for value in found.all_found()} <= {"lo_h"}


def test_values_for_one_temperature_class_say_so() -> None:
    found = read_pasted_text("T6: Pi = 0.5 W\nT4: Pi = 1 W").terminals[0].values
    assert [(value.text, value.contradictory) for value in found] == [("0.5 W", True), ("1 W", True)]
    assert "The line names T6" in found[0].note


def test_two_different_values_are_both_shown_and_none_is_preferred() -> None:
    found = read_pasted_text("Ui = 30 V\nIi = 100 mA\nUi = 28 V\nIi = 0.1 A\nIIC: Co = 83 nF\nIIC: Co = 100 nF")
    by_column = [(value.column, value.text, value.contradictory) for value in found.terminals[0].values]
    assert by_column == [("ui_v", "30 V", True), ("ii_a", "100 mA", False), ("ui_v", "28 V", True)]
    assert [(value.text, value.contradictory) for value in found.terminals[0].permitted[0].values] == [
        ("83 nF", True),
        ("100 nF", True),
    ]
    device, source = equipment_text(found)["terminals"]
    assert "ui_v" not in device
    assert device["ii_a"] == "100 mA"
    assert source["permitted"] == [{"group": "IIC"}]


def test_interpretations_are_said() -> None:
    found = read_pasted_text("Ui = 30 V\nLi negligible\nCi [nF] = 5\nIi: n/a\nPmax = 1 W\nGroup IIC\nCo = 83 nF")
    notes = {value.column: value.note for value in found.all_found()}
    assert notes["ui_v"] == ""
    assert notes["li_h"] == "“negligible” read as 0 H."
    assert notes["ci_f"] == "The unit nF is that of the heading."
    assert notes["ii_a"] == "“n/a” read as not stated."
    assert notes["pi_w"] == "Pmax read as Pi."
    assert found.terminals[0].permitted[0].note == "The group is that of line 6."


def test_certificate_and_marking() -> None:
    found = read_pasted_text(
        "CERTIFICATE EXA 21 ATEX 0101 X\nIECEx EXB 19.0202U Issue No: 2\n"
        "Marking: II 1 G Ex ia IIC T4 Ga  -40 °C ≤ Ta ≤ +70 °C\nII (1) D [Ex ia Da] IIIC"
    )
    assert [(value.column, value.text) for value in found.certificates] == [
        ("number", "EXA 21 ATEX 0101 X"),
        ("number", "IECEx EXB 19.0202U"),
        ("issue", "2"),
    ]
    assert [value.text for value in found.markings] == ["II 1 G Ex ia IIC T4 Ga", "II (1) D [Ex ia Da] IIIC"]
    assert values(found) == {"ambient_min_degc": "-40 degC", "ambient_max_degc": "70 degC"}
    assert not found.unread


def test_every_value_stands_where_it_says_and_prose_is_listed() -> None:
    text = "This certificate is valid.\nUi = 30 V; Pi: 0,9 W\nCo & Sons of No 12"
    found = read_pasted_text(text)
    lines = text.splitlines()
    assert {value.line[slice(*value.span)] for value in found.all_found()} == {"30 V", "0,9 W"}
    assert all(value.line == lines[value.line_number - 1] for value in found.all_found())
    assert [(line.line_number, line.reason) for line in found.unread] == [(1, ""), (3, "")]


def test_columns_are_those_of_the_register() -> None:
    for column, kind in COLUMNS.items():
        model = PermittedRow if column in {"co_f", "lo_h", "lo_ro_h_per_ohm"} else Terminals
        assert model._meta.get_field(column).kind is kind
    assert TemperatureRow._meta.get_field("ambient_max_degc")


@pytest.mark.django_db
def test_the_entry_reads_what_was_found() -> None:
    from registry.entries import EquipmentEntry
    from registry.reading import read_entry

    found = read_pasted_text(
        "Marking: II (1) G [Ex ia Ga] IIC\nTerminals 1-2\nLinear characteristic\nUo = 25,2 V\nIo = 93 mA\nPo: n/a\n"
        "Group\tIIC\tIIB\nCo [µF]\t0.107\t0.82\nLo [mH]\t4.2\t16\nLo/Ro [µH/Ω]\t55\t—\nCi negligible"
    )
    data = equipment_text(found) | {"maker": "Northlight Barriers", "type_name": "NB-25"}
    cleaned, errors = read_entry(EquipmentEntry, data)
    assert not errors
    assert cleaned["kind"] == "source"
    assert cleaned["terminals"][0]["uo_v"].text == "25,2 V"
    assert [row["lo_ro_h_per_ohm"].state for row in cleaned["terminals"][0]["permitted"]] == ["value", "not stated"]


PIECES = st.sampled_from(
    [
        *(
            "Ui",
            "Uo",
            "Ii",
            "Pi",
            "Co",
            "Lo",
            "Ci",
            "Li",
            "Ca",
            "La",
            "Lo/Ro",
            "Voc",
            "Vmax",
            "voltage",
            "=",
            ":",
            "≤",
            "≥",
        ),
        *(
            ",",
            ";",
            "/",
            "(",
            ")",
            "[nF]",
            "[mH]",
            "|",
            "\t",
            "IIC",
            "IIB",
            "Group",
            "A,",
            "-",
            "—",
            "30",
            "V",
            "100",
            "mA",
        ),
        *(
            "0,9",
            "W",
            "83",
            "nF",
            "4.2",
            "mH",
            "negligible",
            "n/a",
            "T6",
            "45",
            "°C",
            "Ta",
            "Terminals",
            "1-2",
            "Ex",
            "ia",
        ),
        *(
            "II",
            "1",
            "G",
            "EXA 21 ATEX 0101",
            "X",
            "and",
            "to",
            "0",
            "IIB + H2",
            "Eingang:",
            "not stated",
            "30 V",
            "µH/Ω",
        ),
        *(
            "Manufacturer:",
            "Type:",
            "Vessarik,",
            "GmbH",
            "Specific conditions of use:",
            "1.",
            "2.",
            "see",
            "Page 3 of 5",
        ),
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(PIECES, st.just("\n"), st.text(max_size=6)), max_size=60).map(" ".join))
def test_any_text_is_read_and_every_value_is_one_the_entry_reads(text: str) -> None:
    for value in read_pasted_text(text).all_found():
        start, end = value.span
        assert 0 <= start < end <= len(value.line)
        if value.column in COLUMNS and value.text != "not stated":
            read(value.text, COLUMNS[value.column])


def test_too_long_a_text_is_refused_with_the_cure() -> None:
    with pytest.raises(PastedTextError, match="paste the pages"):
        read_pasted_text("Ui = 30 V\n" * 30_000)


def test_um_before_the_first_heading_is_of_every_set_that_gives_energy() -> None:
    """A certificate of associated apparatus states Um of the item before its terminals (common practice, no source)."""
    two = "Um = 253 V\nTerminals 1-2\nUo = 25 V\nTerminals 3-4\nUo = 10 V\nTerminals 5-6\nUi = 30 V"
    rows = equipment_text(read_pasted_text(two))["terminals"]
    assert [(row["name"], row.get("um_v")) for row in rows] == [("1-2", "253 V"), ("3-4", "253 V"), ("5-6", None)]
    own = equipment_text(read_pasted_text("Um = 253 V\nTerminals 1-2\nUo = 25 V\nUm = 125 V"))["terminals"]
    assert [row["um_v"] for row in own] == ["125 V"]
    alone = equipment_text(read_pasted_text("Um = 253 V\nTerminals 5-6\nUi = 30 V"))["terminals"]
    assert [(row["name"], row.get("um_v")) for row in alone] == [("", "253 V"), ("5-6", None)]
