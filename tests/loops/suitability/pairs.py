"""Random places and parts for the tests of suitability: seeded, around the limits and far from them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from random import Random

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Area,
    Cable,
    CableType,
    Case,
    Certificate,
    CertificateStatus,
    Device,
    DeviceKind,
    Fieldbus,
    Group,
    Level,
    Needs,
    NeedsKind,
    Output,
    Parameter,
    Permitted,
    Source,
    Supply,
    TemperatureRow,
)
from loops.services.suitability.spots import Slot, Spot
from tests.loops.engine import make

CLASSES = {"T3": D(200), "T4": D(135), "T5": D(100), "T6": D(85)}
GAS = (Group.IIC, Group.IIC, Group.IIB, Group.IIA)
NUMBERS = ("EXA 21 ATEX 0101", "EXA 21 ATEX 0102 X", "EXA 21 ATEX 0103 U")


def stepped(chance: Random, low: int, high: int, step: str) -> D:
    """A round figure, so that sums often meet their limit exactly."""
    return chance.randint(low, high) * D(step)


def maybe(chance: Random, value: Parameter, unknown: float = 0.03, not_stated: float = 0.02) -> Parameter:
    share = chance.random()
    return UNKNOWN if share < unknown else NOT_STATED if share < unknown + not_stated else value


def certificate(chance: Random) -> Certificate:
    status = chance.choice([*[CertificateStatus.CURRENT] * 12, *CertificateStatus])
    return Certificate(chance.choice((*NUMBERS[:1] * 12, *NUMBERS)), chance.choice(("ATEX", "IECEx", "NQ")), status)


def device(chance: Random) -> Device:
    """A field device; one of ten is simple apparatus."""
    rows = tuple(
        TemperatureRow(name, CLASSES[name], False, D(chance.choice((40, 55, 60, 70, 80))),
                       chance.choice((NOT_STATED, NOT_STATED, D("0.7"), UNKNOWN)))
        for name in chance.sample(sorted(CLASSES), chance.choice((1, 1, 2)))
    )  # fmt: skip
    made = replace(
        make.DEVICE,
        level=chance.choice((Level.IA, Level.IA, Level.IB, Level.IC, None)),
        group=chance.choice((*GAS, None, Group.IIC, Group.IIC)),
        ui_v=maybe(chance, stepped(chance, 150, 350, "0.1")),
        ii_a=maybe(chance, stepped(chance, 60, 200, "0.001")),
        pi_w=maybe(chance, stepped(chance, 4, 14, "0.1")),
        ci_f=maybe(chance, stepped(chance, 0, 60, "1e-9")),
        li_h=maybe(chance, stepped(chance, 0, 60, "1e-6") * chance.choice((0, 1, 10))),
        temperature_classes=rows,
        ambient_min_c=D(chance.choice((-40, -20))),
        isolated_from_earth=chance.choice((True, True, True, False, None)),
        certificate=certificate(chance),
        needs=chance.choice((Needs(stepped(chance, 80, 160, "0.1"), D("0.022")), None, Needs(kind=NeedsKind.SOLENOID))),
    )
    if chance.random() < 0.1:
        return replace(
            made, kind=DeviceKind.SIMPLE, level=None, group=None, certificate=None, simple=make.SIMPLE.simple
        )
    return made


def source(chance: Random) -> Source:
    """A source with permitted values for one to three groups."""
    rows = tuple(
        Permitted(
            group,
            maybe(chance, stepped(chance, 30, 700, "1e-9")),
            maybe(chance, stepped(chance, 1, 60, "1e-4")),
            chance.choice((UNKNOWN, NOT_STATED, stepped(chance, 10, 70, "1e-6"))),
            chance.random() < 0.1,
        )
        for group in chance.choices((*GAS, Group.IIC), k=chance.choice((1, 1, 2, 3)))
    )
    return replace(
        make.SOURCE,
        level=chance.choice((Level.IA, Level.IA, Level.IB, Level.IC, None)),
        output=chance.choice((Output.LINEAR, Output.LINEAR, Output.RECTANGULAR, Output.TRAPEZOIDAL, None)),
        isolated=chance.choice((True, True, False, None)),
        um_v=maybe(chance, D(chance.choice((60, 250, 253)))),
        uo_v=maybe(chance, stepped(chance, 80, 300, "0.1")),
        io_a=maybe(chance, stepped(chance, 20, 150, "0.001")),
        po_w=maybe(chance, stepped(chance, 2, 12, "0.1"), unknown=0.2, not_stated=0.2),
        permitted=rows,
        certificate=certificate(chance),
        supply=chance.choice((make.SOURCE.supply, Supply(D(24), UNKNOWN, D(340)), None)),
        ambient_max_c=D(chance.choice((35, 50, 60))),
    )


def cable(chance: Random, name: str) -> Cable:
    return replace(
        make.CABLE,
        name=name,
        length_m=maybe(chance, D(chance.randrange(5, 1200, 5)), not_stated=0),
        capacitance_f_per_m=maybe(chance, stepped(chance, 60, 200, "1e-12"), unknown=0.1),
        inductance_h_per_m=maybe(chance, stepped(chance, 4, 10, "1e-7"), unknown=0.1),
        inductance_per_resistance_h_per_ohm=maybe(chance, stepped(chance, 15, 60, "1e-6"), unknown=0.4),
        type=chance.choice((*[CableType.SINGLE_CIRCUIT] * 8, CableType.A, CableType.B, CableType.MIXED)),
    )


AREAS = tuple(
    Area(zone, None, None, group, name, CLASSES[name], D(cold), D(hot))
    for zone in ("0", "1", "2")
    for group in (Group.IIC, Group.IIB)
    for name in ("T4", "T6")
    for cold, hot in ((-20, 40), (-30, 60))
)
"""Few kinds of place, as a plant has."""


def case(chance: Random) -> Case:
    """A circuit of one or two sources, one to three devices and up to two runs."""
    runs = tuple(cable(chance, f"W{number}") for number in range(chance.choice((0, 1, 1, 1, 2))))
    return Case(
        tuple(replace(source(chance), name=f"S{number}") for number in range(chance.choice((1, 1, 1, 1, 2)))),
        tuple(replace(device(chance), name=f"D{number}") for number in range(chance.choice((1, 1, 2, 3)))),
        None if chance.random() < 0.03 else runs,
        area=chance.choice(AREAS),
        safe_area_ambient_max_c=D(40),
        safe_area_voltage_max_v=D(230),
        load_resistance_ohm=D(250),
        fieldbus=Fieldbus.FISCO if chance.random() < 0.04 else None,
        accepted_schemes=chance.choice((None, ("ATEX", "IECEx"))),
    )


def good_case(chance: Random) -> Case:
    """A circuit whose other parts are in order, so that the part in question decides."""
    run = replace(cable(chance, "W1"), type=CableType.SINGLE_CIRCUIT, length_m=D(chance.randrange(5, 700, 5)))
    beside = (replace(make.DEVICE, name="D1", ci_f=stepped(chance, 0, 9, "1e-9"), needs=None),)
    made = replace(make.CASE, cables=(run,), area=chance.choice(AREAS[:8]))
    return replace(made, devices=(*made.devices, *beside)) if chance.random() < 0.3 else made


def spots(chance: Random, count: int, *, is_source: bool) -> list[Spot]:
    found = []
    for _ in range(count):
        made = good_case(chance) if chance.random() < 0.7 else case(chance)
        rows = made.sources if is_source else made.devices
        found.append(Spot((made,), (Slot(0, is_source, chance.randrange(len(rows))),)))
    return found
