"""The book of findings: circuits of one source, and how they depart from the one that complies."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from typing import Any

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Area,
    Basis,
    CableType,
    Case,
    CertificateStatus,
    DeviceKind,
    Epl,
    Group,
    Interconnection,
    Level,
    Output,
    Permitted,
    Screen,
    SimpleKind,
    Source,
    TemperatureRow,
)

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
DUST = Area("21", None, None, Group.IIIC, "T135 degC", D(135), D(-20), D(40))
DUST_ROW = TemperatureRow("T135 degC", D(135), True, D(60))
GENERATING = {"simple_kind": SimpleKind.GENERATING, "voltage_v": D("1.4"), "current_a": D("0.05"), "power_w": D("0.02")}
LUMPED = {"ci_f": D("5e-9"), "li_h": D("100e-6")}

ONE_SOURCE: dict[str, Case] = {
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
    "two pairs, the second one allows more cable": source(
        permitted=(
            replace(make.ROW, co_f=D("60e-9")),
            Permitted(Group.IIC, D("100e-9"), D("0.2e-3"), D("58e-6"), together=True),
        )
    ),
    "two pairs, the second one sets no limit": cable(
        source(permitted=(make.ROW, replace(make.ROW, co_f=D("90e-9")))),
        inductance_h_per_m=D(0),
        capacitance_f_per_m=D(0),
    ),
    "one metre is left": cable(row(co_f=D("2.31e-9")), length_m=D(2)),
    "not a metre is left": cable(row(co_f=D("2.25e-9")), length_m=D(2)),
    "Ci equal to what is permitted": device(ci_f=D("107e-9")),
    "inductance limits the last of two runs": replace(
        CASE,
        cables=(
            replace(CABLE, capacitance_f_per_m=D("1e-12")),
            replace(CABLE, name="W2", capacitance_f_per_m=D("1e-12"), inductance_per_resistance_h_per_ohm=D("60e-6")),
        ),
    ),
    "two pairs, the second one suits": device(
        source(permitted=(make.ROW, Permitted(Group.IIC, D("90e-9"), D("1e-3"), together=True))), **LUMPED
    ),
    # ------------------------------------------------------------------------------------------------ level and group
    "level too low": device(area(zone="0"), level=Level.IB),
    "EPL of a device lower than its level earns, in zone 0": device(area(zone="0"), epl=Epl.GB),
    "EPL of a device lower than its level earns, in zone 1": device(epl=Epl.GB),
    "EPL of a source lower than its level earns, in zone 0": source(device(area(zone="0"), epl=Epl.GA), epl=Epl.GB),
    "EPL and level too low": device(area(zone="0"), level=Level.IB, epl=Epl.GC),
    "EPL too low where a level is not known": source(device(epl=Epl.GC), level=None),
    "EPL too low for dust": device(
        row(replace(CASE, area=DUST), group=Group.IIB), group=Group.IIIC, temperature_classes=(DUST_ROW,), epl=Epl.DC
    ),
    "EPL too low for Division 1": device(
        replace(area(zone=None, division="1", material_class="I", group=Group.C), basis=Basis.NEC), epl=Epl.GB
    ),
    "EPL of mines": device(area(row(group=Group.I), zone=None, group=Group.I), group=Group.I, epl=Epl.MB),
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
    "surface of exactly 20 mm2": simple(surface_area_m2=D("20e-6")),
    "surface computed, exactly 20 mm2, too hot for T4": simple(
        thermal_resistance_k_per_w=D(300), surface_area_m2=D("20e-6"), power_w=D("1.4")
    ),
    "surface computed, no rise left": replace(
        simple(thermal_resistance_k_per_w=D(1), surface_area_m2=UNKNOWN), area=replace(AREA, ambient_max_c=D(130))
    ),
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
}
