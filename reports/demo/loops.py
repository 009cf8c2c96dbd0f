"""The ordinary loops of the invented plant: all of them comply."""

from __future__ import annotations

from itertools import pairwise

from reports.demo.plans import CircuitPlan, LoopPlan, Part, Run, Story, single

PAIR_05, PAIR_07, PAIR_10, PAIR_15 = "KI-05 1x2x0.5", "KI-07 1x2x0.75", "KI-10 1x2x1.0", "KI-15 1x2x1.5"
PAIR_25, MULTI_12, MULTI_24 = "KI-25 1x2x2.5", "KM-12 12x2x0.75", "KM-24 24x2x1.0"
ARMOURED, MINERAL, FIELDBUS, SENSOR = "KA-15 1x2x1.5 SWA", "KN-15 2x1.5 MI", "KF-A 1x2x0.8 fieldbus", "KP-07 RTD 4x0.75"
ISOLATED_SCREEN = "KS-10 1x2x1.0, screen isolated"
AI1, AI2_1, AI2_2 = "TI-AI1: 1-2", "TI-AI2-H: channel 1 (1-2)", "TI-AI2-H: channel 2 (4-5)"
BARRIER, DI_1, DI_2, DO = "VB28-300: 3-4", "TI-DI2: channel 1 (1-2)", "TI-DI2: channel 2 (4-5)", "TI-DO1: 1-2"
PT, PT100 = "QP-300: +/-", "Pt100 insert: 1-4"

UNIT_10: tuple[LoopPlan, ...] = (
    single(
        "PT-1101", "Hydrogen compressor suction pressure", AI1, PT, "hydrogen", (PAIR_15, "180 m"), story=Story.ISSUED
    ),
    single(
        "PT-1102",
        "Hydrogen compressor discharge pressure",
        BARRIER,
        PT,
        "hydrogen",
        (MULTI_12, "120 m"),
        (PAIR_10, "20 m"),
        load="250 ohm",
        story=Story.ISSUED,
    ),
    single(
        "PT-1103",
        "Seal gas pressure",
        AI2_1,
        "QP-300: +/- (IECEx)",
        "hydrogen",
        (PAIR_15, "165 m"),
        story=Story.ISSUED,
    ),
    single(
        "PDT-1104",
        "Seal gas filter differential pressure",
        AI2_2,
        "QP-330: +/-",
        "hydrogen",
        (PAIR_15, "150 m"),
        notes="Ci and Li of the transmitter are both over 1 % of what is permitted: Co and Lo are halved.",
    ),
    single(
        "TT-1105",
        "Compressor discharge temperature",
        AI1,
        "ZH-20: +/- (supply)",
        "hydrogen",
        (PAIR_15, "150 m"),
        sensor=("1-4 (sensor)", PT100, (SENSOR, "6 m")),
        story=Story.ISSUED,
    ),
    single(
        "TT-1106",
        "Compressor bearing temperature",
        AI1,
        "ZF-60: +/- (supply)",
        "hydrogen",
        (ARMOURED, "140 m"),
        sensor=("sensor terminals", "TC-K isolated: +/-", (SENSOR, "12 m")),
    ),
    single(
        "FT-1107",
        "Hydrogen to reactor flow",
        "TR-AI8: channel 1",
        "QF-50: +/-",
        "hydrogen",
        (PAIR_15, "250 m"),
        story=Story.REVISED,
        word="The pipe rack was closed: the cable takes the longer way.",
    ),
    single("XV-1108", "Hydrogen isolation valve", DO, "HS-12: 1-2", "hydrogen", (PAIR_15, "210 m"), story=Story.ISSUED),
    single("ZSO-1108", "Hydrogen isolation valve open", DI_1, "HN-8: BN/BU", "hydrogen", (PAIR_10, "210 m")),
    single("ZSC-1108", "Hydrogen isolation valve closed", DI_2, "HN-8: BN/BU", "hydrogen", (PAIR_10, "210 m")),
    single(
        "FV-1109",
        "Recycle flow valve",
        "TI-AO1: 1-2",
        "HP-700: 11-12",
        "hydrogen",
        (PAIR_15, "190 m"),
        story=Story.ISSUED,
    ),
    single("AT-1110", "Hydrogen in the compressor house", BARRIER, "PG-6: 1-2", "hydrogen", (PAIR_15, "130 m")),
    single(
        "VT-1111", "Compressor casing vibration", AI1, "PV-3: A-B", "hydrogen", (PAIR_15, "170 m"), story=Story.ISSUED
    ),
    single("ZS-1112", "Compressor house door", DI_1, "LS-1: 13-14", "hydrogen", (PAIR_07, "90 m")),
    single(
        "PT-1113",
        "Lube oil pressure",
        "TI-AI1-M: 1-2",
        "QP-310-D: +/-",
        "hydrogen",
        (PAIR_10, "260 m"),
        notes="The certificate of the isolator gives Co and Lo that hold together: nothing is halved.",
    ),
    single("PT-1201", "Disulphide dosing pressure", AI1, PT, "dosing", (PAIR_15, "95 m"), story=Story.REVIEW),
    single("LSL-1202", "Disulphide tank low level", DI_1, "DL-20: 1-2", "dosing", (PAIR_10, "95 m")),
    single("XV-1203", "Disulphide dosing valve", DO, "HS-12: 1-2", "dosing", (PAIR_15, "95 m")),
    LoopPlan(
        "FB-1301",
        "Fieldbus segment 1, hydrogen unit",
        (
            CircuitPlan(
                (
                    Part("source", "FB-1301-PS", "TF-15: 1-2"),
                    Part("device", "PT-1311", "QP-300-F: +/-", "hydrogen"),
                    Part("device", "PT-1312", "QP-300-F: +/-", "hydrogen"),
                    Part("device", "TT-1313", "ZT-20-F: +/-", "hydrogen"),
                ),
                (
                    Run(FIELDBUS, "320 m", end="JB-131"),
                    Run(FIELDBUS, "18 m", "JB-131", "PT-1311", role="spur"),
                    Run(FIELDBUS, "24 m", "JB-131", "PT-1312", role="spur"),
                    Run(FIELDBUS, "31 m", "JB-131", "TT-1313", role="spur"),
                ),
                fisco=True,
                terminators=(("at the power supply", "1 uF"), ("JB-131", "1 uF")),
            ),
        ),
        expects=("fisco", "pass"),
    ),
    LoopPlan(
        "PT-1302",
        "Hydrogen header pressure, two-wire Ethernet",
        (
            CircuitPlan(
                (
                    Part("source", "PT-1302-PP", "TF-15: 1-2"),
                    Part("device", "PT-1302", "QP-300-F: +/-", "hydrogen"),
                ),
                (Run(FIELDBUS, "180 m", end="PT-1302"),),
                two_wise=True,
            ),
        ),
        expects=("fisco", "pass"),
    ),
)

BOXES = ("JB-231", "JB-232", "JB-233", "JB-234")
SEGMENT = tuple(
    (f"{'PT' if number % 2 else 'TT'}-23{number:02}", BOXES[(number - 1) // 4], f"{3 + number % 4} m")
    for number in range(1, 17)
)
"""Tag, junction box and spur of each of the sixteen devices of a full segment."""

UNIT_20: tuple[LoopPlan, ...] = (
    LoopPlan(
        "FB-2301",
        "Fieldbus segment 3, solvent recovery: sixteen transmitters",
        (
            CircuitPlan(
                (
                    Part("source", "FB-2301-PS", "TF-15-B: 1-2"),
                    *(
                        Part("device", tag, "QP-300-F: +/-" if tag.startswith("P") else "ZT-20-F: +/-", "solvent")
                        for tag, _box, _spur in SEGMENT
                    ),
                ),
                (
                    Run(FIELDBUS, "110 m", end=BOXES[0]),
                    *(Run(FIELDBUS, "14 m", start, end) for start, end in pairwise(BOXES)),
                    *(Run(FIELDBUS, spur, box, tag, role="spur") for tag, box, spur in SEGMENT),
                ),
                fisco=True,
                terminators=(("at the power supply", "1 uF"), (BOXES[-1], "1 uF")),
            ),
        ),
        owner="designer2",
        expects=("fisco", "pass"),
        notes="A full segment: four junction boxes on the trunk with four spurs each.",
    ),
    single(
        "FT-2101",
        "Solvent to column flow",
        AI1,
        "QF-80: +/-",
        "solvent",
        (PAIR_15, "280 m"),
        owner="designer2",
        story=Story.RETURNED,
        word="The flowmeter list says QF-50 at this tag. Say which one is built in, and give the cable by its drawing.",
    ),
    single(
        "LT-2103",
        "Reflux drum level",
        AI1,
        "DT-12: 1-2",
        "solvent",
        (PAIR_15, "240 m"),
        owner="designer2",
        story=Story.REVIEW,
    ),
    single(
        "FV-2104",
        "Reflux valve",
        "VB28-300-R: 3-4 with return 7",
        "HC-30: +/-",
        "solvent",
        (PAIR_15, "260 m"),
        owner="designer2",
    ),
    single(
        "XV-2105",
        "Column feed valve",
        "TI-DO1-B: 1-2",
        "HS-20-B: 1-2",
        "solvent",
        (PAIR_25, "310 m"),
        owner="designer2",
    ),
    single(
        "AT-2106",
        "Waste water pH",
        "TI-AI1-B: 1-2",
        "PA-40: +/- (supply)",
        "solvent",
        (PAIR_15, "120 m"),
        sensor=("electrode", "pH electrode: electrode", (PAIR_10, "5 m")),
        owner="designer2",
    ),
    single(
        "TT-2107",
        "Furnace outlet temperature",
        AI1,
        "ZF-60: +/- (supply)",
        "furnace",
        (MINERAL, "160 m"),
        sensor=("sensor terminals", PT100, (SENSOR, "4 m")),
        owner="designer2",
        story=Story.REVIEW,
    ),
    single("PT-2108", "Furnace fuel pressure", AI1, "QP-210: 1-2", "furnace", (ARMOURED, "155 m"), owner="designer2"),
    single(
        "TE-2110", "Column bottom temperature", "TI-TC1: 1-4", PT100, "solvent", (SENSOR, "180 m"), owner="designer2"
    ),
    single(
        "TE-2111",
        "Column top temperature",
        "VB09-110: 3-4",
        "TC-K isolated: +/-",
        "solvent",
        (ISOLATED_SCREEN, "190 m"),
        owner="designer2",
    ),
    single(
        "FT-2112",
        "Steam to reboiler flow",
        AI2_1,
        "QF-50: +/-",
        "solvent",
        (MULTI_24, "200 m"),
        (PAIR_15, "35 m"),
        extra=(Part("inline", "FI-2112", "PD-5: 1-2", "solvent"), Part("inline", "SP-2112", "VS-2W: 1-2", "solvent")),
        owner="designer2",
        notes="Transmitter, field indicator and surge protector are on one circuit.",
    ),
    LoopPlan(
        "PT-2113",
        "Column pressures, four transmitters on one pair (HART)",
        (
            CircuitPlan(
                (
                    Part("source", "PT-2113-IS", BARRIER),
                    *(Part("device", f"PT-2113{letter}", "QP-300: +/- (multidrop)", "solvent") for letter in "ABCD"),
                    Part("device", "JB-212", "JB-12: 1-12", "solvent"),
                ),
                (
                    Run(MULTI_12, "230 m", end="JB-212"),
                    *(Run(PAIR_10, "12 m", "JB-212", f"PT-2113{letter}") for letter in "ABCD"),
                ),
            ),
        ),
        load="250 ohm",
        owner="designer2",
    ),
    LoopPlan(
        "PT-2114",
        "Column pressure, two channels for 1 out of 2",
        tuple(
            CircuitPlan(
                (
                    Part("source", f"PT-2114-IS{number}", f"VB28-300-2: channel {number} ({pins})"),
                    Part("device", f"PT-2114{letter}", PT, "solvent"),
                ),
                (Run(PAIR_15, "220 m", end=f"PT-2114{letter}"),),
                name=f"Channel {number}",
            )
            for number, pins, letter in ((1, "3-4", "A"), (2, "7-8", "B"))
        ),
        load="250 ohm",
        owner="designer2",
        notes="One barrier, two channels, each with a cable of its own: two circuits.",
    ),
)

UNIT_30: tuple[LoopPlan, ...] = (
    single(
        "LT-3101",
        "Tank 301 level",
        AI1,
        "DR-80: 1-2",
        "vapour",
        (ARMOURED, "420 m"),
        extra=(Part("inline", "SP-3101", "VS-2W: 1-2", "farm"),),
        story=Story.ISSUED,
    ),
    single("LSHH-3102", "Tank 301 overfill", DI_1, "DL-20: 1-2", "vapour", (ARMOURED, "420 m")),
    single("PT-3103", "Tank 301 blanket pressure", "TI-AI1-C: 1-2", PT, "farm", (ARMOURED, "430 m")),
    single(
        "PT-3105",
        "Tank 302 blanket pressure",
        AI1,
        "QP-200: 1-2",
        "farm",
        (ARMOURED, "380 m"),
        made=4,
        notes="The national certificate of the transmitter has ended; it was made and installed while it held.",
        story=Story.ISSUED,
    ),
    single(
        "XV-3106",
        "Tank 302 inlet valve",
        DO,
        "HS-9: 1-2",
        "farm",
        (ARMOURED, "375 m"),
        made=3,
        notes="The national certificate of the valve has ended; it was made and installed while it held.",
        story=Story.REVIEW,
    ),
    single("FT-3107", "Tank farm transfer flow", "TR-AI8: channel 2", "QF-50: +/-", "farm", (PAIR_25, "510 m")),
    single("BA-3108", "Tank farm alarm", "VB28-300: 3-4 (IECEx)", "PB-2: +/-", "farm", (PAIR_15, "300 m")),
    single("HS-3109", "Tank farm manual call point", DI_2, "PBX-1: 1-2", "farm", (PAIR_10, "300 m")),
    single(
        "LT-3110",
        "Tank 303 level",
        "TI-AI1-S: 1-2",
        "DR-80: 1-2",
        "vapour",
        (PAIR_15, "330 m"),
        notes="The isolator rests on an issue of its certificate that was superseded.",
    ),
    single(
        "LT-3111",
        "Tank 304 level",
        "TI-AI1-S: 1-2, from 2022",
        "DR-80: 1-2",
        "vapour",
        (PAIR_15, "340 m"),
        story=Story.ISSUED,
    ),
    single(
        "PT-3112",
        "Loading arm pressure",
        AI1,
        PT,
        "farm",
        ("", "120 m"),
        notes="The cable is old and its type unknown: the default values apply.",
    ),
)

UNIT_40: tuple[LoopPlan, ...] = (
    single("PT-4101", "Dryer inlet pressure", AI1, "QP-310-D: +/-", "dryer", (PAIR_15, "140 m"), owner="designer2"),
    single("LT-4102", "Dryer hopper level", AI2_2, "DR-85-D: 1-2", "dryer", (PAIR_15, "150 m"), owner="designer2"),
    single(
        "WT-4103",
        "Dryer hopper weight",
        "TI-SG1: 1-6",
        "PW-1: 1-6",
        "dryer",
        (PAIR_10, "130 m"),
        owner="designer2",
        story=Story.ISSUED,
    ),
    single(
        "ZS-4104", "Bagging gate position", DI_1, "HN-2-S: slot 1", "bagging", (PAIR_10, "110 m"), owner="designer2"
    ),
    single(
        "ZS-4105",
        "Bagging gate locked",
        DI_2,
        "HN-2-S: slot 2",
        "bagging",
        (MULTI_12, "95 m"),
        (PAIR_10, "15 m"),
        owner="designer2",
    ),
)

ORDINARY = UNIT_10 + UNIT_20 + UNIT_30 + UNIT_40
