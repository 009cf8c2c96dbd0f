"""Random circuits near their limits, for the metamorphic tests."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

from hypothesis import strategies as st

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Area,
    Basis,
    Cable,
    CableType,
    Case,
    Device,
    DeviceKind,
    Group,
    Interconnection,
    Level,
    Output,
    Parameter,
    Permitted,
    Source,
    TemperatureRow,
)

from . import make

Draw = st.DrawFn
LEVELS = [Level.IA, Level.IB, Level.IC]
GROUPS = [Group.IIC, Group.IIB, Group.IIA]
ROWS = [TemperatureRow(f"T{n}", D(limit)) for n, limit in ((6, 85), (5, 100), (4, 135), (3, 200))]


def number(draw: Draw, low: int, high: int, unit: str) -> D:
    """A value of few digits, so that equal sums and limits are common."""
    return draw(st.integers(low, high)) * D(unit)


def parameter(draw: Draw, low: int, high: int, unit: str) -> Parameter:
    """A value, seldom missing."""
    kind = draw(st.integers(0, 59))
    if kind == 0:
        return UNKNOWN
    return NOT_STATED if kind == 1 else number(draw, low, high, unit)


def choice(draw: Draw, good: Any, *others: Any) -> Any:
    """The good value mostly, so that most circuits hang on their numbers alone."""
    return good if draw(st.integers(0, 9)) else draw(st.sampled_from(others))


def _source(draw: Draw, name: str) -> Source:
    rows = tuple(
        Permitted(
            choice(draw, Group.IIC, *GROUPS),
            parameter(draw, 2, 20, "10e-9"),
            parameter(draw, 1, 10, "0.1e-3"),
            parameter(draw, 10, 60, "1e-6"),
            draw(st.booleans()),
        )
        for _ in range(choice(draw, 1, 0, 2, 3))
    )
    return replace(
        make.SOURCE,
        name=name,
        level=choice(draw, Level.IA, *LEVELS),
        output=choice(draw, Output.LINEAR, Output.RECTANGULAR),
        isolated=choice(draw, True, False),
        uo_v=parameter(draw, 5, 30, "1"),
        io_a=parameter(draw, 1, 12, "0.01"),
        po_w=parameter(draw, 1, 8, "0.1"),
        ro_ohm=parameter(draw, 10, 40, "10"),
        permitted=rows,
    )


def _device(draw: Draw, name: str) -> Device:
    if draw(st.integers(0, 5)) == 0:
        return replace(make.SIMPLE, name=name, ci_f=parameter(draw, 0, 5, "1e-9"), li_h=parameter(draw, 0, 5, "10e-6"))
    rows = [choice(draw, ROWS[2], *ROWS), ROWS[0]][: choice(draw, 2, 0, 1)]
    return replace(
        make.DEVICE,
        name=name,
        kind=choice(draw, DeviceKind.CERTIFIED, DeviceKind.CERTIFIED, DeviceKind.COMPONENT),
        level=choice(draw, Level.IA, *LEVELS),
        group=choice(draw, Group.IIC, *GROUPS),
        ui_v=parameter(draw, 24, 30, "1"),
        ii_a=parameter(draw, 9, 20, "0.01"),
        pi_w=parameter(draw, 6, 15, "0.1"),
        ci_f=parameter(draw, 0, 20, "1e-9"),
        li_h=parameter(draw, 0, 20, "10e-6"),
        temperature_classes=tuple(
            replace(row, ambient_max_c=number(draw, 5, 8, "10"), pi_w=choice(draw, NOT_STATED, D("0.6")))
            for row in rows
        ),
        isolated_from_earth=choice(draw, True, False, None),
    )


def _cable(draw: Draw, name: str) -> Cable:
    return replace(
        make.CABLE,
        name=name,
        length_m=parameter(draw, 0, 20, "25"),
        capacitance_f_per_m=parameter(draw, 0, 20, "10e-12"),
        inductance_h_per_m=parameter(draw, 0, 10, "0.1e-6"),
        inductance_per_resistance_h_per_ohm=parameter(draw, 10, 60, "1e-6"),
        type=choice(draw, CableType.SINGLE_CIRCUIT, CableType.A, CableType.B, CableType.C, None),
    )


@st.composite
def circuits(draw: Draw) -> Case:
    """A circuit of one or two sources, up to three devices and up to three runs."""
    sources = tuple(_source(draw, f"S{n}") for n in range(choice(draw, 1, 2)))
    devices = tuple(_device(draw, f"D{n}") for n in range(choice(draw, 1, 2, 3)))
    cables = tuple(_cable(draw, f"W{n}") for n in range(choice(draw, 1, 0, 2, 3)))
    area = Area(
        choice(draw, "1", "0", "2"),
        None,
        None,
        choice(draw, Group.IIC, *GROUPS),
        "T4",
        D(135),
        D(-20),
        number(draw, 2, 5, "10"),
    )
    return replace(
        make.CASE,
        sources=sources,
        devices=devices,
        cables=cables,
        area=area,
        basis=choice(draw, Basis.IEC, Basis.NEC),
        interconnection=draw(st.sampled_from(list(Interconnection))),
    )


def _more(value: Parameter) -> Parameter:
    return value * D("1.5") + D("1e-12") if isinstance(value, D) else value


def _less(value: Parameter) -> Parameter:
    return value * D("0.6") if isinstance(value, D) else value


def safer(draw: Draw, case: Case) -> Case:
    """The case with one parameter of one part made safer."""
    part = draw(st.sampled_from(["source", "row", "device", "cable", "area"]))
    if part == "source":
        index = draw(st.integers(0, len(case.sources) - 1))
        old = case.sources[index]
        changes: dict[str, Any] = draw(
            st.sampled_from(
                [
                    {"uo_v": _less(old.uo_v)},
                    {"io_a": _less(old.io_a)},
                    {"po_w": _less(old.po_w)},
                    {"ro_ohm": _more(old.ro_ohm)},
                    {"level": LEVELS[max(0, LEVELS.index(old.level or Level.IC) - 1)]},
                    {"isolated": True},
                ]
            )
        )
        parts = list(case.sources)
        parts[index] = replace(old, **changes)
        return replace(case, sources=tuple(parts))
    if part == "row":
        index = draw(st.integers(0, len(case.sources) - 1))
        rows = list(case.sources[index].permitted)
        if rows:
            at = draw(st.integers(0, len(rows) - 1))
            field = draw(st.sampled_from(["co_f", "lo_h", "lo_ro_h_per_ohm", "together"]))
            value = True if field == "together" else _more(getattr(rows[at], field))
            rows[at] = replace(rows[at], **{field: value})
        parts = list(case.sources)
        parts[index] = replace(parts[index], permitted=tuple(rows))
        return replace(case, sources=tuple(parts))
    if part == "device":
        index = draw(st.integers(0, len(case.devices) - 1))
        device = case.devices[index]
        changes = draw(
            st.sampled_from(
                [
                    {"ui_v": _more(device.ui_v)},
                    {"ii_a": _more(device.ii_a)},
                    {"pi_w": _more(device.pi_w)},
                    {"ci_f": _less(device.ci_f)},
                    {"li_h": _less(device.li_h)},
                    {"group": Group.IIC},
                    {"isolated_from_earth": True},
                    {"temperature_classes": (*device.temperature_classes, replace(make.T6, ambient_max_c=D(90)))},
                ]
            )
        )
        devices = list(case.devices)
        devices[index] = replace(device, **changes)
        return replace(case, devices=tuple(devices))
    if part == "cable" and case.cables:
        index = draw(st.integers(0, len(case.cables) - 1))
        field = draw(
            st.sampled_from(
                [
                    "length_m",
                    "capacitance_f_per_m",
                    "inductance_h_per_m",
                    "inductance_per_resistance_h_per_ohm",
                ]
            )
        )
        cables = list(case.cables)
        cables[index] = replace(cables[index], **{field: _less(getattr(cables[index], field))})
        return replace(case, cables=tuple(cables))
    return make.area(case, ambient_max_c=_less(case.area.ambient_max_c))
