"""Engine inputs for tests: one complete circuit that complies, and ways to change one thing of it.

Values are those of a common 28 V, 93 mA barrier's smaller sister (25.2 V, 95 mA); names are invented.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

from loops.engine.case import (
    Area,
    Cable,
    CableType,
    Case,
    Certificate,
    CertificateStatus,
    Device,
    DeviceKind,
    Group,
    Level,
    Needs,
    Output,
    Permitted,
    Simple,
    SimpleKind,
    Source,
    Supply,
    TemperatureRow,
)
from loops.engine.findings import Check, Result, Verdict
from loops.engine.verdict import judge

CERTIFICATE = Certificate("EXA 21 ATEX 0101", "ATEX", CertificateStatus.CURRENT)
ROW = Permitted(Group.IIC, D("107e-9"), D("3.9e-3"), D("58e-6"))
SOURCE = Source(
    "S1",
    level=Level.IA,
    output=Output.LINEAR,
    isolated=True,
    um_v=D(250),
    uo_v=D("25.2"),
    io_a=D("0.095"),
    po_w=D("0.6"),
    ro_ohm=D(265),
    permitted=(ROW,),
    certificate=CERTIFICATE,
    supply=Supply(D(24), D("15.8"), D(22)),
    ambient_min_c=D(-20),
    ambient_max_c=D(60),
)
T4 = TemperatureRow("T4", D(135), False, D(70))
T6 = TemperatureRow("T6", D(85), False, D(45))
DEVICE = Device(
    "D1",
    DeviceKind.CERTIFIED,
    Level.IA,
    Group.IIC,
    D(30),
    D("0.12"),
    D(1),
    D("2.2e-9"),
    D(0),
    (T4, T6),
    D(-40),
    True,
    CERTIFICATE,
    needs=Needs(D(11), D("0.022"), D(11)),
)
SIMPLE = Device(
    "RTD",
    DeviceKind.SIMPLE,
    ci_f=D(0),
    li_h=D(0),
    isolated_from_earth=True,
    simple=Simple(SimpleKind.PASSIVE, surface_area_m2=D("100e-6")),
)
CABLE = Cable(
    "W1",
    D(300),
    capacitance_f_per_m=D("110e-12"),
    inductance_h_per_m=D("0.65e-6"),
    inductance_per_resistance_h_per_ohm=D("25e-6"),
    resistance_ohm_per_m=D("0.0121"),
    resistance_per_core=True,
    strand_diameter_m=D("0.3e-3"),
    insulation_thickness_m=D("0.4e-3"),
    test_voltage_v=D(500),
    type=CableType.SINGLE_CIRCUIT,
)
AREA = Area("1", None, None, Group.IIC, "T4", D(135), D(-20), D(40))
CASE = Case(
    (SOURCE,),
    (DEVICE,),
    (CABLE,),
    "complete",
    area=AREA,
    safe_area_ambient_max_c=D(40),
    safe_area_voltage_max_v=D(230),
    load_resistance_ohm=D(250),
)


def source(case: Case = CASE, **changes: Any) -> Case:
    """The case with its first source changed."""
    return replace(case, sources=(replace(case.sources[0], **changes), *case.sources[1:]))


def device(case: Case = CASE, **changes: Any) -> Case:
    """The case with its first device changed."""
    return replace(case, devices=(replace(case.devices[0], **changes), *case.devices[1:]))


def cable(case: Case = CASE, **changes: Any) -> Case:
    """The case with its first cable changed."""
    return replace(case, cables=(replace((case.cables or ())[0], **changes), *(case.cables or ())[1:]))


def area(case: Case = CASE, **changes: Any) -> Case:
    """The case with its area changed."""
    return replace(case, area=replace(case.area, **changes))


def row(case: Case = CASE, **changes: Any) -> Case:
    """The case with its first row of permitted values changed."""
    first = case.sources[0].permitted[0]
    return source(case, permitted=(replace(first, **changes), *case.sources[0].permitted[1:]))


def simple(**changes: Any) -> Case:
    """The case with simple apparatus alone on the circuit, changed."""
    own = {key: changes.pop(key) for key in list(changes) if key in Simple.__dataclass_fields__ and key != "kind"}
    own |= {"kind": changes.pop("simple_kind")} if "simple_kind" in changes else {}
    assert SIMPLE.simple is not None
    return replace(CASE, devices=(replace(SIMPLE, simple=replace(SIMPLE.simple, **own), **changes),))


def of(result: Result | Case, name: str, subject: str | None = None) -> Check:
    """The one check of a name (and subject); fails when there is none or more than one."""
    found = result if isinstance(result, Result) else judge(result)
    checks = [c for c in found.checks if c.id == name and (subject is None or subject in c.subject)]
    assert len(checks) == 1, (name, checks)
    return checks[0]


def verdict(case: Case, name: str, subject: str | None = None) -> Verdict:
    """The verdict of that check."""
    return of(case, name, subject).verdict
