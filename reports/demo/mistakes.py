"""Loops that show the mistakes that practice reports; each says in its notes which one, and which check finds it."""

from __future__ import annotations

from dataclasses import replace

from reports.demo.loops import AI1, BARRIER, DO, FIELDBUS, MULTI_12, MULTI_24, PAIR_05, PAIR_10, PAIR_15, PT, SENSOR
from reports.demo.plans import CircuitPlan, LoopPlan, Part, Run, Story, single

ON_ONE_CORE = "KS-10 1x2x1.0, screen on one core"
SLIP = "KI-10 typed per metre"


def wrong(plan: LoopPlan, shows: str, check: str, verdict: str = "fail") -> LoopPlan:
    """A loop made for a mistake: it does not comply."""
    return told(plan, shows, check, verdict, complies=False)


def told(plan: LoopPlan, shows: str, check: str, verdict: str, complies: bool = True) -> LoopPlan:
    """A loop made for a mistake in judging it; where it complies, the mistake would be to refuse or to overlook."""
    notes = f"Shows a mistake that practice reports. {shows}"
    return replace(plan, shows=shows, notes=notes, expects=(check, verdict), complies=complies)


ENERGY: tuple[LoopPlan, ...] = (
    wrong(
        single("PT-1401", "Feed gas pressure", AI1, PT, "hydrogen", (MULTI_24, "600 m"), (PAIR_10, "300 m")),
        "The run from the junction box to the transmitter was forgotten in the first calculation; with it the "
        "capacitance is too high.",
        "capacitance",
    ),
    wrong(
        single("PT-1402", "Feed gas pressure, spare", AI1, PT, "hydrogen", (MULTI_12, "180 m"), (PAIR_10, "")),
        "The length of the last run was never measured: without it nobody can say.",
        "capacitance",
        "incomplete",
    ),
    wrong(
        single("XV-1403", "Feed gas valve", "TI-DO1-B: 1-2", "HS-12: 1-2", "hydrogen", (PAIR_15, "160 m")),
        "A source for group IIB stands in a IIC area; its IIB values do not hold there.",
        "group",
    ),
    wrong(
        single("FT-1404", "Feed gas flow", AI1, "QF-80: +/-", "hydrogen", (PAIR_15, "160 m")),
        "A flowmeter certified for group IIB is used in a IIC area.",
        "group",
    ),
    wrong(
        single("PDT-1405", "Feed filter differential pressure", AI1, "QP-330: +/-", "hydrogen", (PAIR_15, "400 m")),
        "The 1 % rule was never applied: Ci and Li of the transmitter are both over 1 %, so Co and Lo are halved.",
        "capacitance",
    ),
    told(
        single("PT-1406", "Feed drum pressure", AI1, "QP-310-D: +/-", "hydrogen", (PAIR_15, "600 m")),
        "The 1 % rule was always applied: here Li is under 1 %, nothing is halved, and the loop that was refused "
        "complies.",
        "capacitance",
        "pass",
    ),
    wrong(
        single("PT-1407", "Flare gas pressure", BARRIER, PT, "hydrogen", (ON_ONE_CORE, "350 m"), load="250 ohm"),
        "Only the capacitance from core to core was counted behind a barrier, where the screen is on one core.",
        "capacitance",
    ),
    wrong(
        single("ZS-1408", "Flare valve position", "VB15-100: 3-4", "LS-1: 13-14", "hydrogen", (SENSOR, "2300 m")),
        "The inductance of one core was taken for that of the loop: counted for both cores it is too high.",
        "inductance",
    ),
    wrong(
        single("PT-1409", "Nitrogen pressure", AI1, PT, "hydrogen", (SLIP, "40 m")),
        "The capacitance of the cable was typed in nF/m instead of nF/km.",
        "capacitance",
    ),
    wrong(
        single(
            "VT-1410", "Pump vibration", "VB28-240: 3-4", "PV-3: A-B", "hydrogen", (PAIR_15, "150 m"), load="250 ohm"
        ),
        "The 300 ohm barrier was swapped for a 240 ohm one without a calculation: its current is above Ii.",
        "current",
    ),
    wrong(
        single("AT-1411", "Toxic gas at the sampler", DO, "PG-3: 1-2", "hydrogen", (PAIR_15, "80 m")),
        "A 24 V driver was connected to a detector head for 16 V.",
        "voltage",
    ),
)

COMBINED: tuple[LoopPlan, ...] = (
    wrong(
        single(
            "AT-1501",
            "Toxic gas in the house",
            "TP-11: 1-2",
            "PG-3: 1-2",
            "hydrogen",
            (PAIR_15, "90 m"),
            extra=(Part("source", "AI-1501-IS", "TI-DI2: channel 1 (1-2)"),),
        ),
        "A second source was added; one of the two is not linear, so the simple rules cannot judge them together.",
        "sources",
        "beyond_simple_rules",
    ),
    wrong(
        single(
            "PT-1502",
            "Reactor pressure",
            "VB28-300-2: channel 1 (3-4)",
            "QP-300: +/-",
            "hydrogen",
            (PAIR_15, "100 m"),
            extra=(Part("source", "PT-1502-IS2", "VB28-300-2: channel 2 (7-8)"),),
            load="250 ohm",
        ),
        "Two channels of 28 V 300 ohm meet on one circuit in IIC: the current of both is above what may be at 28 V.",
        "sources",
    ),
    wrong(
        LoopPlan(
            "FB-1503",
            "Fieldbus segment 2, hydrogen unit",
            (
                CircuitPlan(
                    (
                        Part("source", "FB-1503-PS", "TF-15: 1-2"),
                        Part("device", "PT-1511", "QP-300-F: +/-", "hydrogen"),
                        Part("device", "FV-1512", "HP-700-F: 11-12", "hydrogen"),
                    ),
                    (
                        Run(FIELDBUS, "300 m", end="JB-151"),
                        Run(FIELDBUS, "20 m", "JB-151", "PT-1511", role="spur"),
                        Run(FIELDBUS, "22 m", "JB-151", "FV-1512", role="spur"),
                    ),
                    fisco=True,
                ),
            ),
        ),
        "A positioner from before its FISCO revision is on the segment: its Li is above 10 uH.",
        "fisco",
    ),
    wrong(
        single(
            "TE-2601",
            "Furnace tube temperature",
            "VB09-110: 3-4",
            "TC-K earthed: +/-",
            "furnace",
            (SENSOR, "90 m"),
            owner="designer2",
        ),
        "An earthed thermocouple on a barrier: the circuit is earthed twice.",
        "earthing",
    ),
    wrong(
        single(
            "TT-2602",
            "Reboiler temperature",
            "VB28-300: 3-4",
            "ZH-20-X: +/- (supply)",
            "solvent",
            (PAIR_15, "90 m"),
            owner="designer2",
            load="250 ohm",
        ),
        "A transmitter that is not isolated is fed by a barrier: the circuit is earthed twice.",
        "earthing",
    ),
)

PLACES: tuple[LoopPlan, ...] = (
    wrong(
        single(
            "TE-2603",
            "Vent heater temperature",
            "VB28-300-2: channels 1 and 2 in parallel",
            "Heater shunt: 1-2",
            "solvent",
            (PAIR_10, "60 m"),
            owner="designer2",
        ),
        "Simple apparatus without a check of its temperature: at 45 degC it may not take the 1.3 W of this source.",
        "simple_apparatus",
    ),
    wrong(
        single(
            "XT-2604",
            "Light at the flare",
            "TI-TC1: 1-4",
            "PX solar cell: +/-",
            "solvent",
            (PAIR_10, "70 m"),
            owner="designer2",
        ),
        "Taken for simple apparatus, but it generates more than 1.5 V and 25 mW.",
        "simple_apparatus",
    ),
    wrong(
        single("LT-3201", "Tank 305 level", AI1, "DT-12: 1-2", "vapour", (PAIR_15, "220 m")),
        "A device of level ib stands in zone 0.",
        "level",
    ),
    wrong(
        single("VT-1602", "Dosing pump vibration", AI1, "PV-3: A-B", "dosing", (PAIR_15, "85 m")),
        "A T4 device stands where T6 is needed.",
        "temperature_class",
    ),
    wrong(
        single("LT-2605", "Fuel drum level", AI1, "DT-12: 1-2", "furnace", (PAIR_15, "150 m"), owner="designer2"),
        "A device rated to 50 degC stands at 60 degC.",
        "ambient",
    ),
    wrong(
        single("PT-1603", "Motor room pressure", AI1, PT, "hydrogen", (PAIR_15, "130 m"), safe_voltage="400 V"),
        "400 V stands in the connected equipment of the safe area; the isolator bears 253 V.",
        "um",
    ),
    wrong(
        LoopPlan(
            "PT-1604",
            "Cooling water pressure",
            (
                CircuitPlan(
                    (Part("source", "PT-1604-IS", AI1), Part("device", "PT-1604", PT, "hydrogen")),
                    (Run(MULTI_12, "140 m", end="PT-1604", separation="mixed"),),
                ),
            ),
        ),
        "The pair runs in one cable with circuits that are not intrinsically safe.",
        "cable_type",
    ),
    wrong(
        single("PT-1605", "Temporary test gauge", AI1, PT, "hydrogen", ("KX-01 appliance flex", "15 m")),
        "An appliance flex with strands under 0.1 mm was used for a temporary job.",
        "cable_construction",
    ),
)

PAPERS: tuple[LoopPlan, ...] = (
    wrong(
        single(
            "LI-1701",
            "Local level display",
            AI1,
            PT,
            "hydrogen",
            (PAIR_15, "130 m"),
            extra=(Part("inline", "LI-1701-D", "PD-M: 1-2", "hydrogen"),),
        ),
        "A component (U) was built in by itself: a source cannot make it safe.",
        "certificate",
    ),
    wrong(
        single("PT-1702", "Gauge with output", AI1, "QP-250: 1-2", "hydrogen", (PAIR_15, "120 m")),
        "The device has no certificate and is no simple apparatus.",
        "certificate",
    ),
    wrong(
        single("PT-1703", "Old feed pressure", "VB28-Z old: 3-4", PT, "hydrogen", (PAIR_15, "120 m"), load="250 ohm"),
        "The certificate of the barrier was withdrawn.",
        "certificate",
    ),
    wrong(
        single("PT-1704", "Spare pressure", "TI-AI1-K: 1-2", PT, "hydrogen", (PAIR_15, "120 m")),
        "The certificate of the isolator is suspended.",
        "certificate",
    ),
    told(
        single("LT-3202", "Tank 306 level", AI1, "DR-80: 1-2", "vapour", (PAIR_15, "260 m")),
        "The X of the certificate was overlooked: its conditions are to be confirmed by a person before approval.",
        "certificate",
        "confirm",
    ),
    told(
        single(
            "PT-3104",
            "Tank 303 blanket pressure",
            "TI-AI1-N: 1-2",
            PT,
            "farm",
            (PAIR_15, "310 m"),
            made=2,
            story=Story.ISSUED,
        ),
        "A certificate that has ended was taken for illegal: what was made while it held may stay; a person confirms.",
        "certificate",
        "confirm",
    ),
    told(
        single("PT-1705", "Purge pressure", AI1, PT, "hydrogen", (PAIR_15, "110 m"), drawing="LD-1750"),
        "The number of the drawing does not match the tag. No rule can find that: the checker must read.",
        "certificate",
        "confirm",
    ),
    told(
        single(
            "FT-2606",
            "Solvent return flow",
            BARRIER,
            "QF-80: +/-",
            "solvent",
            (PAIR_05, "600 m"),
            load="250 ohm",
            owner="designer2",
        ),
        "Safe, but it will not work: at the alarm current too little voltage is left for the flowmeter.",
        "capacitance",
        "pass",
    ),
)

STARVED = "FT-2606"
MISTAKES = ENERGY + COMBINED + PLACES + PAPERS
