"""What is doubted and what is not, against published parameter sets.

The sets: "Z" a data sheet of a series of shunt-diode barriers (05/13/05, IIC); "H" a flame detector's manual
2-3-0-809 issue 2 (2007), page 8, tables 6 and 7; "N" a gas detector's manual, section 6.2; "E1" a road-loading
overspill calculation of 02.02.2017; "E11" a fire detection manual, page 4; "E8" an output module's manual of June 2011.
None of them may be called implausible beyond what its source says itself.
"""

from decimal import Decimal as D

import pytest

from registry import plausibility
from registry.plausibility import Output, Permitted, doubts_of_output, doubts_of_size, longest_inductance
from registry.quantities import Kind

PUBLISHED = {
    "Z 10 V 50 ohm": Output(
        D("9.56"), D("0.195"), D("0.47"), D(49), permitted=(Permitted("IIC", D("3e-6"), D("0.86e-3")),)
    ),
    "Z 15 V 100 ohm": Output(
        D("14.7"), D("0.150"), D("0.55"), D(98), permitted=(Permitted("IIC", D("0.62e-6"), D("1.45e-3")),)
    ),
    "Z 28 V 300 ohm": Output(
        D(28), D("0.093"), D("0.65"), D(301), permitted=(Permitted("IIC", D("83e-9"), D("4.21e-3")),)
    ),
    "H 28 V 300 ohm": Output(
        D(28),
        D("0.0933"),
        D("0.67"),
        D(300),
        permitted=(
            Permitted("IIC", D("83e-9"), D("4.2e-3")),
            Permitted("IIB", D("0.65e-6"), D("12.6e-3")),
            Permitted("IIA", D("2.15e-6"), D("33.6e-3")),
        ),
    ),
    "N 28 V": Output(D(28), D("0.093"), D("0.651"), permitted=(Permitted("IIC", D("83e-9"), D("3.05e-3")),)),
    "E1": Output(D("10.5"), D("0.0171"), D("0.045"), permitted=(Permitted("IIC", D("2.41e-6"), D("121.5e-3")),)),
    "E8": Output(
        D("27.4"),
        D("0.110"),
        permitted=(Permitted("IIB", D("677e-9"), D("8e-3")), Permitted("IIC", D("87e-9"), D("2e-3"))),
    ),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_sets_are_not_doubted(name: str) -> None:
    assert list(doubts_of_output(PUBLISHED[name])) == []


def test_a_published_current_that_is_not_uo_by_ro_is_doubted() -> None:
    """E11 prints 99 mA beside 25 V and 300 ohm, which give 83.3 mA: the certificate governs, the page asks."""
    set_of_e11 = Output(D(25), D("0.099"), D("0.613"), D(300), permitted=(Permitted("IIC", D("110e-9"), D("2.5e-3")),))
    (doubt,) = doubts_of_output(set_of_e11)
    assert doubt.column == "io_a"
    assert "83.33 mA" in doubt.text


@pytest.mark.parametrize(
    "current, group, printed_mh",
    [
        # Column "Lo calc" of the published sets, and the formula of E1.
        ("0.195", "IIC", "0.935"),
        ("0.150", "IIC", "1.580"),
        ("0.0933", "IIC", "4.08"),
        ("0.0933", "IIB", "16.3"),
        ("0.0933", "IIA", "32.7"),
        ("0.0171", "IIC", "121.6"),
        ("0.110", "IIB", "11.75"),
    ],
)
def test_the_energy_formula(current: str, group: str, printed_mh: str) -> None:
    found = longest_inductance(D(current), group)
    assert found is not None
    assert abs(found * 1000 - D(printed_mh)) <= D(printed_mh) * D("0.003")


def test_groups_of_dust_and_north_america_take_the_gas_group_they_equal() -> None:
    """C and dust as IIB, D as IIA, A and B as IIC (from memory)."""
    current = D("0.1")
    assert longest_inductance(current, "IIIC") == longest_inductance(current, "C") == longest_inductance(current, "IIB")
    assert longest_inductance(current, "A") == longest_inductance(current, "IIC")
    assert longest_inductance(current, "D") == longest_inductance(current, "IIA")
    assert longest_inductance(current, "?") is None


def test_level_ic_takes_no_safety_factor() -> None:
    ic, ia = longest_inductance(D("0.1"), "IIC", "ic"), longest_inductance(D("0.1"), "IIC", "ia")
    assert ic is not None and ia is not None
    assert abs(ic / ia - D("2.25")) < D("1e-20")


# --------------------------------------------------------------------------------- the limit and the step beyond it


def columns(output: Output) -> list[str]:
    return [doubt.column for doubt in doubts_of_output(output)]


@pytest.mark.parametrize(
    "po, doubted", [("0.7", []), ("0.735", []), ("0.7351", ["po_w"]), ("0.665", []), ("0.6649", ["po_w"])]
)
def test_po_within_five_per_cent_of_a_quarter(po: str, doubted: list[str]) -> None:
    assert columns(Output(D(28), D("0.1"), D(po))) == doubted


@pytest.mark.parametrize("po, doubted", [("2.8", []), ("2.8001", ["po_w"])])
def test_po_of_a_rectangular_output_is_at_most_the_product(po: str, doubted: list[str]) -> None:
    assert columns(Output(D(28), D("0.1"), D(po), characteristic="rectangular")) == doubted


@pytest.mark.parametrize("ro, doubted", [("280", []), ("294", []), ("295", ["io_a"]), ("266", ["io_a"])])
def test_io_within_five_per_cent_of_uo_by_ro(ro: str, doubted: list[str]) -> None:
    """28 V / 294 ohm = 95.24 mA: 100 mA is 5.0 % above; 28 V / 295 ohm = 94.9 mA is beyond."""
    assert columns(Output(D(28), D("0.1"), ro_ohm=D(ro))) == doubted


@pytest.mark.parametrize("lo_mh, doubted", [("4.08888", []), ("4.0889", ["lo_h"])])
def test_lo_above_the_formula_by_fifteen_per_cent(lo_mh: str, doubted: list[str]) -> None:
    """2 · 40 µJ / (1.5 · 0.1 A)² = 3.5556 mH; 15 % above that is 4.08889 mH."""
    assert columns(Output(D(28), D("0.1"), permitted=(Permitted("IIC", None, D(lo_mh) / 1000),))) == doubted


@pytest.mark.parametrize(
    "uo, group, level, co, doubted",
    [
        # 28 V: 83 nF IIC, 650 nF IIB, 2.15 uF IIA (H); ic IIC 272 nF (a paper of January 2018 on gas groups).
        ("28", "IIC", "ia", "83e-9", []),
        ("28", "IIC", "ia", "83.1e-9", ["co_f"]),
        ("28", "IIB", "ib", "651e-9", ["co_f"]),
        ("28", "IIA", "ia", "2.15e-6", []),
        ("28", "IIC", "ic", "272e-9", []),
        ("28", "IIC", "ic", "273e-9", ["co_f"]),
        ("90", "IIC", "ia", "1", []),
    ],
)
def test_co_above_the_table_is_doubted(uo: str, group: str, level: str, co: str, doubted: list[str]) -> None:
    assert columns(Output(D(uo), level=level, permitted=(Permitted(group, D(co)),))) == doubted


def test_a_table_of_permitted_capacitance_is_asked_where_one_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plausibility, "_tables", [])
    output = Output(D(28), D("0.093"), permitted=(Permitted("A", D("84e-9")),))
    assert columns(output) == []
    asked = []

    def table(group: str, uo_v: D, is_ic: bool) -> D:
        asked.append((group, uo_v, is_ic))
        return D("83e-9")

    plausibility.use_capacitance_table(table)
    assert columns(output) == ["co_f"]
    assert asked == [("IIC", D(28), False)]
    assert columns(Output(D(28), D("0.093"), permitted=(Permitted("A", D("83e-9")),))) == []


@pytest.mark.parametrize(
    "kind, limit, beyond",
    [
        (Kind.VOLTAGE, "60", "60.1"),
        (Kind.CURRENT, "1", "1.001"),
        (Kind.POWER, "25", "25.1"),
        (Kind.CAPACITANCE, "100e-6", "101e-6"),
        (Kind.INDUCTANCE, "1", "1.1"),
    ],
)
def test_values_so_large_that_a_unit_was_mistaken(kind: Kind, limit: str, beyond: str) -> None:
    assert not list(doubts_of_size({"x": (D(limit), kind, "X")}))
    assert [doubt.column for doubt in doubts_of_size({"x": (D(beyond), kind, "X")})] == ["x"]


def test_what_is_unknown_is_not_doubted() -> None:
    assert columns(Output()) == []
    assert not list(doubts_of_size({"x": (None, Kind.VOLTAGE, "X")}))


def test_a_cable_value_per_foot_typed_per_metre_or_the_wrong_prefix_is_doubted() -> None:
    """Common practice: 60 pF/ft is 197 pF/m; 110 nF/km typed as 110 pF/km or 110 µF/km is a slip."""

    def doubted(text: str) -> bool:
        from registry.quantities import read

        value = read(text, Kind.CAPACITANCE_PER_LENGTH)
        return bool(
            list(plausibility.doubts_of_cable({"capacitance_f_per_m": (value, Kind.CAPACITANCE_PER_LENGTH, "Cc")}))
        )

    assert not doubted("60 pF/ft")
    assert not doubted("110 nF/km")
    assert doubted("110 pF/km")
    assert doubted("110 uF/km")
