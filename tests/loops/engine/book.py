"""The book of findings: one circuit for each thing that the engine can say, and what it says of it as text.

``book.txt`` beside this file holds the text, to be read and compared; :mod:`test_book` keeps both together. After a
change of the rules write it anew with ``python -m tests.loops.engine.book`` and read the difference before you commit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from pathlib import Path
from typing import Any

from loops.casefile import result_document
from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Area,
    Basis,
    CableRole,
    CableType,
    Case,
    CertificateStatus,
    DeviceKind,
    Fieldbus,
    Group,
    Interconnection,
    Level,
    Needs,
    NeedsKind,
    Output,
    Permitted,
    Screen,
    SimpleKind,
    Source,
    Supply,
    TemperatureRow,
    Terminator,
)
from loops.engine.verdict import judge

from . import make
from .make import (
    AREA,
    CABLE,
    CASE,
    CERTIFICATE,
    DEVICE,
    SIMPLE,
    SOURCE,
    T4,
    T6,
    area,
    cable,
    device,
    row,
    simple,
    source,
)

BOOK = Path(__file__).with_name("book.txt")
TODAY = date(2024, 6, 1)


def certificate(**changes: Any) -> Case:
    """The case with its device's certificate changed."""
    return device(certificate=replace(CERTIFICATE, **changes))


def several(how: Interconnection, *sources: Source, **changes: Any) -> Case:
    """Several sources on the circuit; by default twice a small one that tables A.1 and A.2 still permit in series."""
    return replace(CASE, sources=sources or (SMALL, replace(SMALL, name="S2")), interconnection=how, **changes)


SMALL = replace(
    SOURCE,
    uo_v=D("9.6"),
    io_a=D("0.02"),
    po_w=D("0.048"),
    ro_ohm=D(480),
    permitted=(replace(make.ROW, co_f=D("3e-6")),),
)
SERIES, PARALLEL, UNDEFINED = Interconnection.SERIES, Interconnection.PARALLEL, Interconnection.UNDEFINED
BARRIER = source(isolated=False, supply=Supply(D(24), resistance_ohm=D(340)))
COIL = Needs(
    kind=NeedsKind.SOLENOID,
    pull_in_current_a=D("0.02"),
    coil_resistance_ohm=D(400),
    coil_temperature_max_c=D(80),
)
VALVE = device(source(isolated=False, supply=Supply(D(24), resistance_ohm=D(300))), needs=COIL)
SENSOR = device(needs=Needs(kind=NeedsKind.PROXIMITY_SENSOR))
HART = Needs(D(11), D("0.022"), D(11), hart=True)
DUST = Area("21", None, None, Group.IIIC, "T135 degC", D(135), D(-20), D(40))
DUST_ROW = TemperatureRow("T135 degC", D(135), True, D(60))
TERMINATORS = (Terminator(D(100), D("1e-6")), Terminator(D(100), D("1e-6")))
TRUNK = replace(
    CABLE,
    capacitance_f_per_m=D("90e-12"),
    inductance_h_per_m=D("0.7e-6"),
    resistance_ohm_per_m=D("0.022"),
    resistance_per_core=False,
)
SPUR = replace(TRUNK, name="W2", length_m=D(30), role=CableRole.SPUR)
BUS_SOURCE = replace(SOURCE, uo_v=D("17.5"), io_a=D("0.38"), po_w=D("5.32"), ro_ohm=UNKNOWN, output=Output.RECTANGULAR)
BUS_DEVICE = replace(
    DEVICE, ui_v=D("17.5"), ii_a=D("0.38"), pi_w=D("5.32"), ci_f=D("5e-9"), li_h=D("10e-6"), needs=None
)
BUS = replace(
    CASE,
    sources=(BUS_SOURCE,),
    devices=(BUS_DEVICE,),
    cables=(TRUNK, SPUR),
    fieldbus=Fieldbus.FISCO,
    terminators=TERMINATORS,
)
WISE = replace(
    BUS,
    fieldbus=Fieldbus.TWO_WISE,
    terminators=(),
    cables=(replace(TRUNK, length_m=D(150)),),
)
GENERATING = {"simple_kind": SimpleKind.GENERATING, "voltage_v": D("1.4"), "current_a": D("0.05"), "power_w": D("0.02")}
LUMPED = {"ci_f": D("5e-9"), "li_h": D("100e-6")}

CIRCUITS: dict[str, Case] = {
    # ------------------------------------------------------------------------------------- voltage, current, power
    "Uo above Ui": device(ui_v=D(25)),
    "Io above Ii": device(ii_a=D("0.09")),
    "Po above Pi": device(pi_w=D("0.5")),
    "equal everywhere": device(ui_v=D("25.2"), ii_a=D("0.095"), pi_w=D("0.6")),
    "Po computed, linear": source(po_w=UNKNOWN),
    "Po computed, linear, above Pi": device(source(po_w=UNKNOWN), pi_w=D("0.5")),
    "Po computed, rectangular": source(po_w=UNKNOWN, output=Output.RECTANGULAR),
    "Po of a trapezoidal source not known": source(po_w=UNKNOWN, output=Output.TRAPEZOIDAL),
    "Po computed from an unknown Io": source(po_w=NOT_STATED, io_a=UNKNOWN),
    "Uo and Ui not known": device(source(uo_v=UNKNOWN), ui_v=UNKNOWN),
    "Ii not stated": device(ii_a=NOT_STATED),
    "Ii and Pi not stated": device(ii_a=NOT_STATED, pi_w=NOT_STATED),
    "Ui not stated": device(ui_v=NOT_STATED, ii_a=NOT_STATED, pi_w=NOT_STATED),
    "Pi not known": device(pi_w=UNKNOWN),
    "no device": replace(CASE, devices=()),
    "Uo, Io and Po at odds": source(po_w=D("0.5")),
    "Uo, Io and Ro at odds": source(ro_ohm=D(300)),
    "Co and Lo far above what the output gives": row(co_f=D("200e-9"), lo_h=D("8e-3")),
    "Co and Lo far above what an ic output gives": source(row(co_f=D("400e-9"), lo_h=D("12e-3")), level=Level.IC),
    # ------------------------------------------------------------------------------------------------------ storage
    "too much cable": cable(length_m=D(1500)),
    "too much cable behind another run": replace(CASE, cables=(CABLE, replace(CABLE, name="W2", length_m=D(900)))),
    "first runs alone too much": replace(CASE, cables=(replace(CABLE, length_m=D(2000)), replace(CABLE, name="W2"))),
    "Ci alone too much": device(ci_f=D("110e-9")),
    "Ci alone too much, halved": device(**LUMPED | {"ci_f": D("110e-9")}),
    "Ci alone above the cap": device(row(co_f=D("2e-6")), ci_f=D("700e-9"), li_h=D("100e-6")),
    "Li alone too much": device(li_h=D("5e-3")),
    "Li alone too much, halved": device(**LUMPED | {"li_h": D("2e-3")}),
    "too much inductance, no L/R": cable(
        row(lo_ro_h_per_ohm=NOT_STATED), inductance_h_per_m=D("20e-6"), inductance_per_resistance_h_per_ohm=UNKNOWN
    ),
    "inductance by L/R": cable(inductance_h_per_m=D("20e-6")),
    "inductance by the default L/R": cable(
        length_m=D(900),
        capacitance_f_per_m=D("50e-12"),
        inductance_h_per_m=UNKNOWN,
        inductance_per_resistance_h_per_ohm=UNKNOWN,
        resistance_ohm_per_m=UNKNOWN,
    ),
    "inductance by a computed L/R": cable(
        row(lo_h=D("0.2e-3")), inductance_h_per_m=D("0.8e-6"), inductance_per_resistance_h_per_ohm=UNKNOWN
    ),
    "L/R of the cable not known": cable(
        row(lo_h=D("0.1e-3")), inductance_per_resistance_h_per_ohm=UNKNOWN, resistance_ohm_per_m=UNKNOWN
    ),
    "L/R above Lo/Ro": cable(row(lo_h=D("0.1e-3")), inductance_per_resistance_h_per_ohm=D("60e-6")),
    "L/R recomputed for the devices": device(row(lo_h=D("0.6e-3")), li_h=D("450e-6"), ci_f=D(0)),
    "far too much cable, 1 % rule open": cable(device(ci_f=D("5e-9"), li_h=UNKNOWN), length_m=D(1500)),
    "L/R recomputed for the devices, and not within it": device(
        row(lo_h=D("0.6e-3"), lo_ro_h_per_ohm=D("20e-6")), li_h=D("450e-6")
    ),
    "L/R with Li of a device not known": device(row(lo_h=D("0.1e-3")), li_h=UNKNOWN),
    "no inductance limit at all": cable(inductance_h_per_m=D(0), capacitance_f_per_m=D(0)),
    "inductance limits the length": cable(
        capacitance_f_per_m=D("10e-12"), inductance_per_resistance_h_per_ohm=D("60e-6")
    ),
    "halved by the 1 % rule": device(**LUMPED),
    "halved, with the cap of IIC": device(row(co_f=D("2e-6")), **LUMPED | {"ci_f": D("50e-9")}),
    "halved, with the cap of IIB": device(
        row(area(group=Group.IIB), group=Group.IIB, co_f=D("4e-6")), **LUMPED | {"ci_f": D("50e-9")}
    ),
    "halved and too much": cable(device(**LUMPED), length_m=D(600)),
    "Co and Lo declared together": device(row(together=True), **LUMPED),
    "1 % rule open for Li": device(ci_f=D("5e-9"), li_h=UNKNOWN),
    "1 % rule open and the sum between both limits": cable(device(ci_f=D("5e-9"), li_h=UNKNOWN), length_m=D(600)),
    "1 % rule open for Ci": device(ci_f=UNKNOWN, li_h=D("100e-6")),
    "Co not known": row(co_f=UNKNOWN),
    "Lo not known": row(lo_h=UNKNOWN, lo_ro_h_per_ohm=UNKNOWN),
    "length not known": cable(length_m=UNKNOWN),
    "length of an earlier run not known": replace(
        CASE, cables=(replace(CABLE, length_m=UNKNOWN), replace(CABLE, name="W2"))
    ),
    "cables not known": replace(CASE, cables=None),
    "no cable": replace(CASE, cables=()),
    "defaults of the cable": cable(capacitance_f_per_m=UNKNOWN, inductance_h_per_m=UNKNOWN),
    "defaults of the cable in North America": replace(
        cable(capacitance_f_per_m=UNKNOWN, inductance_h_per_m=UNKNOWN), basis=Basis.NEC
    ),
    "core capacitances, screen isolated": cable(
        capacitance_f_per_m=UNKNOWN,
        core_core_f_per_m=D("80e-12"),
        core_screen_f_per_m=D("140e-12"),
        screen=Screen.ISOLATED,
    ),
    "core capacitances, screen on one core": cable(
        capacitance_f_per_m=UNKNOWN,
        core_core_f_per_m=D("80e-12"),
        core_screen_f_per_m=D("140e-12"),
        screen=Screen.ON_ONE_CORE,
    ),
    "core capacitances of an earthed circuit": source(
        cable(
            capacitance_f_per_m=UNKNOWN,
            core_core_f_per_m=D("80e-12"),
            core_screen_f_per_m=D("140e-12"),
            screen=Screen.ISOLATED,
        ),
        isolated=False,
    ),
    "inductance per core": cable(inductance_per_core=True),
    "two pairs of permitted values": source(
        permitted=(make.ROW, Permitted(Group.IIC, D("40e-9"), D("6e-3"), together=True))
    ),
    "two pairs, the second one suits": device(
        source(permitted=(make.ROW, Permitted(Group.IIC, D("90e-9"), D("1e-3"), together=True))), **LUMPED
    ),
    # ------------------------------------------------------------------------------------------------ level and group
    "level too low": device(area(zone="0"), level=Level.IB),
    "level of a device not known": device(level=None),
    "levels of source and device not known": device(source(level=None), level=None),
    "zone not known": area(zone=None),
    "Division 1": replace(area(zone=None, division="1", material_class="I", group=Group.C), basis=Basis.NEC),
    "Division 2": replace(area(zone=None, division="2", material_class="I", group=Group.D), basis=Basis.NEC),
    "Division 1 with a level too low": device(
        area(zone=None, division="1", material_class="I", group=Group.C), level=Level.IB
    ),
    "zone and division": area(zone="1", division="1", material_class="I"),
    "mines": device(area(row(group=Group.I), zone=None, group=Group.I), group=Group.I),
    "zone 0": area(zone="0"),
    "zone 2 with ic": device(source(area(zone="2"), level=Level.IC), level=Level.IC),
    "group of the area not known": area(group=None),
    "group of the device not known": device(group=None),
    "device of a less severe group": device(group=Group.IIB),
    "source of a less severe group": row(group=Group.IIB),
    "source without permitted values": source(permitted=()),
    "area of a less severe group": area(group=Group.IIA),
    "less severe row for a less severe area": source(
        area(group=Group.IIB), permitted=(make.ROW, replace(make.ROW, group=Group.IIB, co_f=D("600e-9")))
    ),
    "North American group A": device(row(area(group=Group.A), group=Group.A), group=Group.A),
    "gas group in a zone of dust": area(zone="21"),
    "dust group in a zone of gas": area(group=Group.IIIC),
    "dust group in Class I": area(zone=None, division="1", material_class="I", group=Group.G),
    "dust": device(row(replace(CASE, area=DUST), group=Group.IIB), group=Group.IIIC, temperature_classes=(DUST_ROW,)),
    "dust with simple apparatus alone": replace(row(simple(), group=Group.IIB), area=DUST),
    "dust by class": device(
        area(zone=None, division="2", material_class="II", group=Group.G), group=Group.G, temperature_classes=(T4,)
    ),
    # -------------------------------------------------------------------------------------- temperature and ambient
    "class too weak": device(temperature_classes=(TemperatureRow("T3", D(200), False, D(70)),)),
    "class not known": device(temperature_classes=()),
    "class of the area not known": area(temperature_class=None, temperature_c=None),
    "reach of the class not known": device(temperature_classes=(replace(T4, ambient_max_c=UNKNOWN),)),
    "reach of the class not stated": device(temperature_classes=(replace(T4, ambient_max_c=NOT_STATED),)),
    "class holds at less power only": device(temperature_classes=(replace(T4, pi_w=D("0.5")),)),
    "class holds at less current only": device(temperature_classes=(replace(T4, ii_a=D("0.05")),)),
    "class with its power not known": device(
        source(po_w=UNKNOWN, uo_v=UNKNOWN), temperature_classes=(replace(T4, pi_w=D("0.5")),)
    ),
    "a weaker class further up": device(
        area(ambient_max_c=D(60)), temperature_classes=(T6, TemperatureRow("T3", D(200), False, D(70)))
    ),
    "ambient too warm": area(ambient_max_c=D(75)),
    "ambient too cold": area(ambient_min_c=D(-50)),
    "ambient not known": area(ambient_min_c=UNKNOWN, ambient_max_c=UNKNOWN),
    "ambient of the device not stated": device(
        ambient_min_c=NOT_STATED, temperature_classes=(replace(T4, ambient_max_c=NOT_STATED),)
    ),
    "ambient of the device not known": device(
        ambient_min_c=UNKNOWN, temperature_classes=(replace(T4, ambient_max_c=UNKNOWN),)
    ),
    "one reach known, one not": device(
        area(ambient_max_c=D(60)), temperature_classes=(T6, replace(T4, ambient_max_c=UNKNOWN))
    ),
    "source too warm": replace(CASE, safe_area_ambient_max_c=D(65)),
    "source too cold": replace(CASE, safe_area_ambient_min_c=D(-30)),
    "ambient of the source not known": source(ambient_min_c=UNKNOWN, ambient_max_c=UNKNOWN),
    "ambient of the source not stated": source(ambient_min_c=NOT_STATED, ambient_max_c=NOT_STATED),
    "ambient of the source's place not known": replace(CASE, safe_area_ambient_max_c=UNKNOWN),
    # ---------------------------------------------------------------------------------------------- simple apparatus
    "simple apparatus": simple(),
    "simple apparatus beside a device": replace(CASE, devices=(DEVICE, SIMPLE)),
    "simple apparatus of unknown kind": simple(simple_kind=None),
    "simple apparatus that stores energy": simple(simple_kind=SimpleKind.STORED_ENERGY),
    "simple apparatus that stores an unknown energy": simple(simple_kind=SimpleKind.STORED_ENERGY, ci_f=UNKNOWN),
    "generating": simple(**GENERATING),
    "generating at its limits": simple(
        **GENERATING | {"voltage_v": D("1.5"), "current_a": D("0.1"), "power_w": D("0.025")}
    ),
    "generating too much": simple(**GENERATING | {"voltage_v": D(2), "current_a": D("0.2"), "power_w": D("0.03")}),
    "generating nobody knows what": simple(simple_kind=SimpleKind.GENERATING),
    "own limit of power": simple(power_w=D("0.3")),
    "own limit of power above what the source gives": simple(power_w=D("0.8")),
    "power above the T4 table": replace(simple(), sources=(replace(SOURCE, po_w=D("1.4")),)),
    "T4 table in the heat": replace(simple(), area=replace(AREA, ambient_max_c=D(75))),
    "T4 table above its last row": replace(simple(), area=replace(AREA, ambient_max_c=D(90))),
    "surface not known": simple(surface_area_m2=UNKNOWN),
    "surface computed": simple(thermal_resistance_k_per_w=D(50), surface_area_m2=UNKNOWN),
    "surface computed, too hot": simple(thermal_resistance_k_per_w=D(200), surface_area_m2=UNKNOWN),
    "surface computed, place too hot": replace(
        simple(thermal_resistance_k_per_w=D(1), surface_area_m2=UNKNOWN), area=replace(AREA, ambient_max_c=D(131))
    ),
    "small surface": simple(thermal_resistance_k_per_w=D(300), surface_area_m2=D("10e-6")),
    "medium surface": replace(simple(thermal_resistance_k_per_w=D(100)), sources=(replace(SOURCE, po_w=D("1.4")),)),
    "surface in class T1": replace(
        simple(thermal_resistance_k_per_w=D(700), surface_area_m2=UNKNOWN),
        area=replace(AREA, temperature_class="T1", temperature_c=D(450)),
    ),
    "surface in class T3": replace(
        simple(thermal_resistance_k_per_w=D(200), surface_area_m2=UNKNOWN),
        area=replace(AREA, temperature_class="T3", temperature_c=D(200)),
    ),
    "simple apparatus in class T6": replace(simple(), area=replace(AREA, temperature_class="T6", temperature_c=D(85))),
    "no power at all": simple(power_w=D(0), surface_area_m2=UNKNOWN),
    "power not known": replace(simple(), sources=(replace(SOURCE, po_w=UNKNOWN, output=Output.TRAPEZOIDAL),)),
    "simple apparatus in an unknown place": replace(simple(), area=Area()),
    "class assigned": simple(temperature_classes=(T6,)),
    "class and ambient assigned": simple(temperature_classes=(T4,), ambient_min_c=D(-40)),
    "simple apparatus in dust, too much power": replace(
        row(simple(), group=Group.IIB), area=DUST, sources=(replace(SOURCE, po_w=D("0.8")),)
    ),
    # -------------------------------------------------------------------------------------------------- certificates
    "no certificate": device(kind=DeviceKind.UNCERTIFIED),
    "component": device(kind=DeviceKind.COMPONENT),
    "certificate not known": device(certificate=None),
    "certificate without number": certificate(number=None),
    "withdrawn without number": certificate(number=None, status=CertificateStatus.WITHDRAWN),
    "certificate X": certificate(number="EXA 21 ATEX 0101 X"),
    "certificate U": certificate(number="EXA 21 ATEX 0101 U"),
    "certificate withdrawn": certificate(status=CertificateStatus.WITHDRAWN),
    "certificate suspended": certificate(status=CertificateStatus.SUSPENDED),
    "certificate superseded": certificate(status=CertificateStatus.SUPERSEDED),
    "status and scheme not known": certificate(status=None, scheme=None),
    "scheme accepted": replace(CASE, accepted_schemes=("atex",)),
    "scheme not accepted": replace(CASE, accepted_schemes=("IECEx", "UKEX")),
    "no scheme accepted": replace(CASE, accepted_schemes=()),
    "ended": replace(certificate(valid_to=date(2024, 5, 31)), judge_on=TODAY),
    "last day": replace(certificate(valid_to=TODAY), judge_on=TODAY),
    "ended, made before": replace(certificate(valid_to=date(2024, 5, 31), made_on=date(2024, 5, 31)), judge_on=TODAY),
    "ended, made after": replace(certificate(valid_to=date(2024, 5, 31), made_on=date(2024, 6, 1)), judge_on=TODAY),
    "valid to a day, not judged on one": certificate(valid_to=TODAY),
    # -------------------------------------------------------------------------------------------------- installation
    "barrier": source(isolated=False),
    "barrier and an earthed device": device(source(isolated=False), isolated_from_earth=False),
    "barrier and two earthed devices": replace(
        source(isolated=False),
        devices=tuple(replace(DEVICE, name=name, isolated_from_earth=False) for name in ("D1", "D2")),
    ),
    "two earthed devices": replace(
        CASE, devices=tuple(replace(DEVICE, name=name, isolated_from_earth=False) for name in ("D1", "D2"))
    ),
    "earthed device": device(isolated_from_earth=False),
    "isolation of the device not known": device(isolated_from_earth=None),
    "isolation of source and device not known": device(source(isolated=None), isolated_from_earth=None),
    "two barriers": several(PARALLEL, replace(SMALL, isolated=False), replace(SMALL, name="S2", isolated=False)),
    "Um too low": source(um_v=D(125)),
    "Um equal": source(um_v=D(230)),
    "Um not known": source(um_v=UNKNOWN),
    "Um of a barrier not known": source(um_v=UNKNOWN, isolated=False),
    "voltage of the safe area not known": replace(CASE, safe_area_voltage_max_v=UNKNOWN),
    "strand too thin": cable(strand_diameter_m=D("0.09e-3")),
    "insulation too thin": cable(insulation_thickness_m=D("0.19e-3")),
    "test voltage too low": cable(test_voltage_v=D(499)),
    "construction not known": cable(strand_diameter_m=UNKNOWN, insulation_thickness_m=UNKNOWN, test_voltage_v=UNKNOWN),
    "construction at its limits": cable(
        strand_diameter_m=D("0.1e-3"), insulation_thickness_m=D("0.2e-3"), test_voltage_v=D(500)
    ),
    "cable of type A": cable(type=CableType.A),
    "cable of type B": cable(type=CableType.B),
    "cable of type B at its limit": cable(source(uo_v=D(60)), type=CableType.B),
    "cable of type B above 60 V": cable(source(uo_v=D("60.1")), type=CableType.B),
    "cable of type B, Uo not known": cable(source(uo_v=UNKNOWN), type=CableType.B),
    "cable of type C": cable(type=CableType.C),
    "cable shared with other circuits": cable(type=CableType.MIXED),
    "cable of unknown type": cable(type=None),
    # ------------------------------------------------------------------------------------------------ several sources
    "two in series": several(SERIES),
    "two in parallel": several(PARALLEL),
    "two, nobody knows how": several(UNDEFINED),
    "five, nobody knows how": several(UNDEFINED, *(replace(SMALL, name=f"S{n}") for n in range(1, 6))),
    "two too strong in parallel": several(PARALLEL, SOURCE, replace(SOURCE, name="S2")),
    "two too strong, nobody knows how": several(UNDEFINED, SOURCE, replace(SOURCE, name="S2")),
    "two above the tables": several(
        SERIES, replace(SOURCE, uo_v=D(60), io_a=D("0.01")), replace(SOURCE, name="S2", uo_v=D(60), io_a=D("0.01"))
    ),
    "two below the tables": several(PARALLEL, replace(SMALL, uo_v=D(3)), replace(SMALL, name="S2", uo_v=D(3))),
    "two of ic": several(SERIES, *(replace(SMALL, name=name, level=Level.IC) for name in ("S1", "S2"))),
    "two in an area of unknown group": replace(several(SERIES), area=replace(AREA, group=None)),
    "two of which one is rectangular": several(
        SERIES, SMALL, replace(SMALL, name="S2", output=Output.RECTANGULAR, uo_v=D(12))
    ),
    "two of which one is not known": several(SERIES, SMALL, replace(SMALL, name="S2", io_a=UNKNOWN)),
    "two of which one has no shape": several(SERIES, SMALL, replace(SMALL, name="S2", output=None)),
    "two in zone 0": replace(several(SERIES), area=replace(AREA, zone="0")),
    "two, computed power": several(SERIES, *(replace(SMALL, name=name, po_w=UNKNOWN) for name in ("S1", "S2"))),
    "two with declared values below the tables": several(
        SERIES, *(replace(SMALL, name=name, permitted=(make.ROW,)) for name in ("S1", "S2"))
    ),
    "two and too much cable": replace(several(SERIES), cables=(replace(CABLE, length_m=D(9000)),)),
    "two and a cable of type B": replace(
        several(SERIES, SMALL, replace(SMALL, name="S2", output=None)), cables=(replace(CABLE, type=CableType.B),)
    ),
    # ------------------------------------------------------------------------------------------------------- fieldbus
    "FISCO": BUS,
    "FISCO with two sources": replace(BUS, sources=(BUS_SOURCE, replace(BUS_SOURCE, name="S2"))),
    "FISCO supply too low": source(BUS, uo_v=D(13)),
    "FISCO supply too high": source(BUS, uo_v=D("17.6")),
    "FISCO supply not known": source(BUS, uo_v=UNKNOWN),
    "FISCO device too weak in voltage": device(BUS, ui_v=D(17)),
    "FISCO device too weak in current": device(BUS, ii_a=D("0.37")),
    "FISCO device too weak in power": device(BUS, pi_w=D(5)),
    "FISCO device with too much Ci": device(BUS, ci_f=D("6e-9")),
    "FISCO device with too much Li": device(BUS, li_h=D("11e-6")),
    "FISCO device not known": device(BUS, li_h=UNKNOWN),
    "FISCO simple apparatus": replace(BUS, devices=(SIMPLE,)),
    "FISCO cable with little resistance": cable(BUS, resistance_ohm_per_m=D("0.014")),
    "FISCO cable with too much resistance": cable(BUS, resistance_ohm_per_m=D("0.151")),
    "FISCO cable with little inductance": cable(BUS, inductance_h_per_m=D("0.3e-6")),
    "FISCO cable with too much inductance, per core": cable(BUS, inductance_per_core=True),
    "FISCO cable with too much capacitance": cable(BUS, capacitance_f_per_m=D("210e-12")),
    "FISCO cable by its cores, screen isolated": cable(
        BUS,
        capacitance_f_per_m=UNKNOWN,
        core_core_f_per_m=D("150e-12"),
        core_screen_f_per_m=D("140e-12"),
        screen=Screen.ISOLATED,
    ),
    "FISCO cable by its cores": cable(
        BUS, capacitance_f_per_m=UNKNOWN, core_core_f_per_m=D("90e-12"), core_screen_f_per_m=D("100e-12")
    ),
    "FISCO cable not known": cable(BUS, resistance_ohm_per_m=UNKNOWN),
    "FISCO spur too long": replace(BUS, cables=(TRUNK, replace(SPUR, length_m=D(61)))),
    "FISCO segment too long": cable(BUS, length_m=D(980)),
    "FISCO segment of IIB": area(cable(BUS, length_m=D(4000)), group=Group.IIB),
    "FISCO segment too long for IIB": area(cable(BUS, length_m=D(4980)), group=Group.IIB),
    "FISCO segment of unknown length": cable(BUS, length_m=UNKNOWN),
    "FISCO segment of unknown length, already too long": replace(
        BUS, cables=(replace(TRUNK, length_m=UNKNOWN), replace(TRUNK, name="W2", length_m=D(1100)))
    ),
    "FISCO trunk alone": replace(BUS, cables=(TRUNK,)),
    "FISCO without runs": replace(BUS, cables=None),
    "FISCO without cable": replace(BUS, cables=()),
    "FISCO terminators not known": replace(BUS, terminators=()),
    "FISCO with one terminator": replace(BUS, terminators=TERMINATORS[:1]),
    "FISCO terminator too weak": replace(BUS, terminators=(TERMINATORS[0], Terminator(D(89), D("1e-6")))),
    "FISCO terminator with too much C": replace(BUS, terminators=(TERMINATORS[0], Terminator(D(100), D("2.3e-6")))),
    "FISCO terminator of unknown C": replace(BUS, terminators=(TERMINATORS[0], Terminator(D(100)))),
    "FISCO without rows": replace(BUS, sources=(replace(BUS_SOURCE, permitted=()),)),
    "2-WISE": WISE,
    "2-WISE supply with too much current": source(WISE, io_a=D("0.39")),
    "2-WISE supply with too much power": source(WISE, po_w=D("5.4")),
    "2-WISE too long": cable(WISE, length_m=D(201)),
    # ------------------------------------------------------------------------------------------------------- function
    "no need stated": device(needs=None),
    "too little voltage at the highest current": device(BARRIER, needs=Needs(D(12), D("0.022"), D(11))),
    "too little voltage at 4 mA": device(BARRIER, needs=Needs(D(5), D("0.022"), D(22))),
    "4 mA is the worse end, and passes": device(BARRIER, needs=Needs(D(5), D("0.022"), D(20))),
    "current at alarm not known": device(BARRIER, needs=Needs(D(9))),
    "a device of 3 mA": device(BARRIER, needs=Needs(D(9), D("0.003"))),
    "isolator above 20 mA without Ro": source(ro_ohm=UNKNOWN, io_a=UNKNOWN),
    "supply not known": source(supply=None),
    "supply stated in part": source(supply=Supply(D(24))),
    "need not known": device(needs=Needs()),
    "load not known": replace(BARRIER, load_resistance_ohm=UNKNOWN),
    "length not known for function": cable(BARRIER, length_m=UNKNOWN),
    "length not known, starved all the same": device(cable(BARRIER, length_m=UNKNOWN), needs=Needs(D(20), D("0.022"))),
    "a device that says nothing": replace(CASE, devices=(DEVICE, replace(DEVICE, name="D2", needs=None))),
    "an inline item": replace(
        BARRIER,
        devices=(DEVICE, replace(DEVICE, name="D2", needs=None, series_resistance_ohm=D(20), voltage_drop_v=D(1))),
    ),
    "two transmitters": replace(CASE, devices=(DEVICE, replace(DEVICE, name="D2", needs=Needs(D(13), D("0.004"))))),
    "needs of different kinds": replace(CASE, devices=(DEVICE, replace(DEVICE, name="D2", needs=COIL))),
    "several sources and a need": several(SERIES),
    "conductor by its size": cable(resistance_ohm_per_m=UNKNOWN, conductor="1.5 mm2"),
    "conductor by its gauge": cable(resistance_ohm_per_m=UNKNOWN, conductor="18 AWG"),
    "thin copper assumed": cable(resistance_ohm_per_m=UNKNOWN),
    "HART": device(BARRIER, needs=HART),
    "HART over too much cable": device(cable(BARRIER, length_m=D(1200)), needs=HART),
    "HART with too little load": replace(device(BARRIER, needs=HART), load_resistance_ohm=D(200)),
    "HART with its load not known": replace(device(BARRIER, needs=HART), load_resistance_ohm=UNKNOWN),
    "HART with Ci not known": device(BARRIER, needs=HART, ci_f=UNKNOWN),
    "HART behind an isolator": device(source(supply=Supply(D(24), D("15.8"), D(22), D(250))), needs=HART),
    "HART behind an isolator that says nothing": device(needs=HART),
    "proximity sensor": SENSOR,
    "proximity sensor over a long line": cable(SENSOR, length_m=D(2500)),
    "proximity sensor over an unknown line": cable(SENSOR, length_m=UNKNOWN),
    "two proximity sensors": replace(SENSOR, devices=(SENSOR.devices[0], replace(SENSOR.devices[0], name="D2"))),
    "solenoid": VALVE,
    "solenoid that gets too little": device(VALVE, needs=replace(COIL, pull_in_current_a=D("0.03"))),
    "solenoid of which nothing is known": device(VALVE, needs=Needs(kind=NeedsKind.SOLENOID)),
    "solenoid on an unknown supply": source(VALVE, supply=None),
    "solenoid behind an isolator": device(needs=replace(COIL, coil_resistance_ohm=D(700))),
    "solenoid behind an isolator, below 20 mA": device(needs=replace(COIL, coil_resistance_ohm=D(900))),
    "solenoid hotter than its place": area(VALVE, ambient_max_c=D(90)),
    "two solenoids": replace(VALVE, devices=(VALVE.devices[0], replace(VALVE.devices[0], name="D2"))),
}


def _lines(case: Case) -> Iterator[str]:
    """What the result says, a line each."""
    found = result_document(case, judge(case), detail=True)
    yield f"verdict: {found['verdict']}"
    for check in found["checks"]:
        limit = f" {check['relation']} {check['limit']}" if check["limit"] else ""
        margin = f", margin {check['margin']}" if check["margin"] else ""
        yield f"{check['verdict'].upper()} {check['id']} [{check['subject']}] {check['value']}{limit}{margin}"
        yield f"    {check['why']}"
        yield f"    {check['reference']}"
    yield f"halved: {found['halved']}"
    yield f"totals: {found['totals']}"
    yield f"longest last run: {found['max_length']}"
    yield f"system: {found['system']}"
    function = found["function"]
    yield f"FUNCTION {function['verdict']}: {function['voltage_at_device']} of {function['voltage_needed']}"
    yield f"    {function['why']}"
    for part in function["parts"]:
        yield f"{part['verdict'].upper()} {part['name']} {part['value']} {part['relation']} {part['limit']}"
        yield f"    {part['why']}"
        yield f"    {part['reference']}"
    yield from (f"confirm: {remark}" for remark in found["confirmations"])


def _groups(case: Case) -> list[str]:
    """The lines with what is indented below them kept together."""
    groups: list[str] = []
    for line in _lines(case):
        if line.startswith("    "):
            groups[-1] += "\n" + line
        else:
            groups.append(line)
    return groups


def written() -> str:
    """The whole book: of each circuit what is said otherwise than of the earlier one that is most like it."""
    pages: list[str] = []
    earlier: dict[str, frozenset[str]] = {}
    for title, case in {"complies": CASE, **CIRCUITS, "in North America": replace(CASE, basis=Basis.NEC)}.items():
        said = _groups(case)
        like = max(earlier, key=lambda name: len(earlier[name].intersection(said)), default=None)
        known = earlier[like] if like is not None else frozenset()
        lines = [f"== {title}" + (f" (as: {like})" if like else ""), *(group for group in said if group not in known)]
        pages.append("\n".join(lines))
        earlier[title] = frozenset(said)
    return "\n\n".join(pages) + "\n"


if __name__ == "__main__":
    BOOK.write_text(written(), encoding="utf-8")
