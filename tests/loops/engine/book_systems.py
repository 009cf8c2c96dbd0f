"""The book of findings: several sources, fieldbus segments, and whether circuits will work."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

from loops.engine.case import (
    UNKNOWN,
    Basis,
    CableRole,
    CableType,
    Case,
    Fieldbus,
    Group,
    Level,
    Needs,
    NeedsKind,
    Output,
    Screen,
    Supply,
    Terminator,
)

from . import make
from .book_circuits import DUST, PARALLEL, SERIES, SMALL, UNDEFINED, several
from .make import (
    AREA,
    CABLE,
    CASE,
    DEVICE,
    SIMPLE,
    SOURCE,
    area,
    cable,
    device,
    source,
)

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

SYSTEMS: dict[str, Case] = {
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
    "two unlike ones, nobody knows how": several(
        UNDEFINED, SMALL, replace(SMALL, name="S2", uo_v=D("6.5"), io_a=D("0.3"), ro_ohm=D(30), po_w=D("0.4"))
    ),
    "two of which one gives nothing": several(PARALLEL, SMALL, replace(SMALL, name="S2", io_a=D(0), po_w=D(0))),
    "two that give nothing": several(
        SERIES, replace(SMALL, io_a=D(0), po_w=D(0)), replace(SMALL, name="S2", io_a=D(0), po_w=D(0))
    ),
    "two, one not known and without permitted values": several(
        SERIES, replace(SMALL, permitted=()), replace(SMALL, name="S2", io_a=UNKNOWN, permitted=())
    ),
    "two not known, with lumped devices": replace(
        several(SERIES, SMALL, replace(SMALL, name="S2", io_a=UNKNOWN)),
        devices=(replace(DEVICE, ci_f=D("50e-9"), li_h=D("100e-6")),),
    ),
    "two in dust, below the tables": replace(
        several(PARALLEL, replace(SMALL, uo_v=D(3)), replace(SMALL, name="S2", uo_v=D(3))), area=DUST
    ),
    "four, nobody knows how": several(
        UNDEFINED, *(replace(SMALL, name=f"S{n}", uo_v=D(4), io_a=D("0.01") * n) for n in range(1, 5))
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
    "FISCO device not known in one value and too much in another": device(BUS, ui_v=UNKNOWN, ci_f=D("6e-9")),
    "FISCO cable by its value, cores known too": cable(
        BUS, core_core_f_per_m=D("150e-12"), core_screen_f_per_m=D("140e-12")
    ),
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
    "two inline items": replace(
        BARRIER,
        devices=(
            DEVICE,
            replace(DEVICE, name="D2", needs=None, series_resistance_ohm=D(20), voltage_drop_v=D(1)),
            replace(DEVICE, name="D3", needs=None, series_resistance_ohm=D(5), voltage_drop_v=D("0.5")),
        ),
    ),
    "a need of exactly nothing": device(BARRIER, needs=Needs(D(0), D("0.022"), D(0))),
    "supply and need not known": device(source(supply=None), needs=Needs()),
    "exactly 20 mA from an isolator": device(needs=Needs(D(11), D("0.020"))),
    "HART with the default cable of North America": replace(
        device(cable(BARRIER, capacitance_f_per_m=UNKNOWN), needs=HART), basis=Basis.NEC
    ),
    "load and lengths not known": replace(cable(BARRIER, length_m=UNKNOWN), load_resistance_ohm=UNKNOWN),
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
    "solenoid of which the pull-in current is not known": device(VALVE, needs=replace(COIL, pull_in_current_a=UNKNOWN)),
    "solenoid of which nothing is known on an unknown supply": device(
        source(VALVE, supply=None), needs=Needs(kind=NeedsKind.SOLENOID)
    ),
    "two solenoids": replace(VALVE, devices=(VALVE.devices[0], replace(VALVE.devices[0], name="D2"))),
}
