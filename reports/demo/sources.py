"""Sources of the invented makers Vessarik (barriers) and Tarquessen (isolators).

Co is table A.2 of IEC 60079-11:2011 at Uo, Lo is 2e / (1.5 Io)^2 and Lo/Ro is 32 e Ro / (9 Uo^2), rounded down, so that
the values agree with each other as those of a certificate do.
"""

from __future__ import annotations

from reports.demo.wording import Text, gives, item, takes

BARRIER = "II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC"
ISOLATOR = "II (1) GD [Ex ia Ga] IIC"

V28_300 = {
    "IIC": "83 nF, 4.1 mH, 54 uH/ohm",
    "IIB": "650 nF, 16.4 mH, 218 uH/ohm",
    "IIA": "2.15 uF, 32.8 mH, 436 uH/ohm",
}
V28_240 = {
    "IIC": "83 nF, 2.59 mH, 43 uH/ohm",
    "IIB": "650 nF, 10.3 mH, 174 uH/ohm",
    "IIA": "2.15 uF, 20.7 mH, 348 uH/ohm",
}
V28_150 = {"IIB": "650 nF, 4.1 mH, 109 uH/ohm", "IIA": "2.15 uF, 8.2 mH, 218 uH/ohm"}
V22_150 = {
    "IIC": "165 nF, 1.64 mH, 44 uH/ohm",
    "IIB": "1.14 uF, 6.58 mH, 176 uH/ohm",
    "IIA": "4.2 uF, 13.1 mH, 352 uH/ohm",
}
V15_100 = {
    "IIC": "580 nF, 1.58 mH, not stated",
    "IIB": "3.55 uF, 6.32 mH, not stated",
    "IIA": "14 uF, 12.6 mH, not stated",
}
V9_110 = {"IIC": "4.9 uF, 5.28 mH, 193 uH/ohm", "IIB": "40 uF, 21.1 mH, 772 uH/ohm"}
V25_265 = {
    "IIC": "107 nF, 3.9 mH, 59 uH/ohm",
    "IIB": "820 nF, 15.7 mH, 237 uH/ohm",
    "IIA": "2.9 uF, 31.5 mH, 474 uH/ohm",
}
V25_271 = {
    "IIC": "107 nF, 4.1 mH, 60 uH/ohm",
    "IIB": "820 nF, 16.4 mH, 242 uH/ohm",
    "IIA": "2.9 uF, 32.8 mH, 485 uH/ohm",
}
V10_808 = {
    "IIC": "2.41 uF, 210 mH, 1.04 mH/ohm",
    "IIB": "16.8 uF, 841 mH, 4.16 mH/ohm",
    "IIA": "75 uF, 1 H, 8.33 mH/ohm",
}
V24_218 = {
    "IIC": "125 nF, 2.93 mH, 53 uH/ohm",
    "IIB": "930 nF, 11.7 mH, 215 uH/ohm",
    "IIA": "3.35 uF, 23.5 mH, 430 uH/ohm",
}
V25_148 = {"IIB": "820 nF, 4.92 mH, 132 uH/ohm", "IIA": "2.9 uF, 9.84 mH, 265 uH/ohm"}
V7_1108 = {"IIC": "13.5 uF, 840 mH, 3.04 mH/ohm", "IIB": "240 uF, 1 H, 12.1 mH/ohm"}
V26_301 = {
    "IIC": "97 nF, 4.69 mH, 62 uH/ohm",
    "IIB": "750 nF, 18.7 mH, 249 uH/ohm",
    "IIA": "2.54 uF, 37.5 mH, 498 uH/ohm",
}
V17_172 = {
    "IIC": "360 nF, 3.55 mH, 82 uH/ohm",
    "IIB": "2.11 uF, 14.2 mH, 330 uH/ohm",
    "IIA": "8.7 uF, 28.4 mH, 661 uH/ohm",
}
V11_FIXED = {"IIC": "1.84 uF, 9.8 mH", "IIB": "12.6 uF, 39.5 mH"}
V25_IC = {"IIC": "390 nF, 5.55 mH, 105 uH/ohm", "IIB": "2.29 uF, 22.2 mH, 423 uH/ohm"}
V25_TOGETHER = {"IIC": "60 nF, 2 mH", "IIB": "360 nF, 8 mH"}

O28_300 = "28 V, 93 mA, 0.65 W, 301 ohm"
O25_265 = "25.2 V, 95 mA, 0.6 W, 265 ohm"
O25_271 = "25.2 V, 93 mA, 0.59 W, 271 ohm"
O10_808 = "10.5 V, 13 mA, 34 mW, 808 ohm"

PAIR_NOTE = "Each channel is a source of its own: two channels on one circuit must be judged together."


def barrier(name: str, certificate: str, output: str, rows: dict[str, str], supply: str, **more: str) -> Text:
    """Terminals of a shunt-diode barrier: not isolated, so the circuit is earthed there."""
    return gives(name, certificate, output, rows, supply, isolation="earthed", um="250 V", **more)  # type: ignore[arg-type]


BARRIERS: tuple[Text, ...] = (
    item(
        "source",
        "Vessarik",
        "VB28-300",
        "Shunt-diode barrier, one channel, 28 V 300 ohm",
        "two-wire transmitter, switch or valve",
        BARRIER,
        barrier("3-4", "EXA 17 ATEX 0311 X", O28_300, V28_300, "26 V,, 340 ohm"),
        barrier("3-4 (IECEx)", "IECEx EXA 17.0088X", O28_300, V28_300, "26 V,, 340 ohm"),
    ),
    item(
        "source",
        "Vessarik",
        "VB28-300-2",
        "Shunt-diode barrier, two channels, 28 V 300 ohm each",
        "two transmitters or switches",
        BARRIER,
        barrier("channel 1 (3-4)", "EXA 17 ATEX 0312 X", O28_300, V28_300, "26 V,, 340 ohm"),
        barrier("channel 2 (7-8)", "EXA 17 ATEX 0312 X", O28_300, V28_300, "26 V,, 340 ohm"),
        barrier(
            "channels 1 and 2 in parallel",
            "EXA 17 ATEX 0312 X",
            "28 V, 186 mA, 1.3 W, 150.5 ohm",
            V28_150,
            "26 V,, 170 ohm",
            group="IIB",
        ),
        notes=PAIR_NOTE,
    ),
    item(
        "source",
        "Vessarik",
        "VB28-300-R",
        "Barrier with diode return, 28 V 300 ohm",
        "valve or transmitter with a return to a current input",
        BARRIER,
        barrier("3-4 with return 7", "EXA 18 ATEX 0340 X", O28_300, V28_300, "24.7 V,, 340 ohm"),
        notes="The return gives no current; the values are those of both channels together.",
    ),
    item(
        "source",
        "Vessarik",
        "VB28-240",
        "Shunt-diode barrier, one channel, 28 V 240 ohm",
        "solenoid valve or alarm",
        BARRIER,
        barrier("3-4", "EXA 17 ATEX 0311 X", "28 V, 117 mA, 0.82 W, 240 ohm", V28_240, "26 V,, 258 ohm"),
    ),
    item(
        "source",
        "Vessarik",
        "VB22-150",
        "Shunt-diode barrier, one channel, 22 V 150 ohm",
        "transmitter or solenoid valve",
        BARRIER,
        barrier("3-4", "EXA 17 ATEX 0311 X", "22 V, 147 mA, 0.81 W, 150 ohm", V22_150, "20.5 V,, 166 ohm"),
    ),
    item(
        "source",
        "Vessarik",
        "VB15-100",
        "Shunt-diode barrier, one channel, 15 V 100 ohm",
        "switch or strain gauge supply",
        BARRIER,
        barrier("3-4", "EXA 17 ATEX 0311 X", "15 V, 150 mA, 0.56 W, 100 ohm", V15_100, "12 V,, 106 ohm"),
    ),
    item(
        "source",
        "Vessarik",
        "VB09-110",
        "Shunt-diode barrier for both polarities, 9 V 110 ohm",
        "thermocouple or resistance thermometer",
        BARRIER,
        barrier("3-4", "EXA 18 ATEX 0340 X", "9 V, 82 mA, 184 mW, 110 ohm", V9_110, "6 V,, 124 ohm"),
    ),
    item(
        "source",
        "Vessarik",
        "VB28-Z old",
        "Shunt-diode barrier, delivered until 2012",
        "two-wire transmitter",
        BARRIER,
        barrier("3-4", "EXA 09 ATEX 0057 X", O28_300, V28_300, "26 V,, 345 ohm"),
    ),
)

ISOLATORS: tuple[Text, ...] = (
    item(
        "source",
        "Tarquessen",
        "TI-AI1",
        "Transmitter supply isolator, one channel",
        "analogue input 4-20 mA",
        ISOLATOR,
        gives("1-2", "EXA 21 ATEX 0101 X", O25_265, V25_265, ", 15.8 V, 22 ohm, 250 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI2-H",
        "Transmitter supply isolator, two channels, passes HART",
        "analogue input 4-20 mA, HART",
        ISOLATOR,
        gives("channel 1 (1-2)", "IECEx EXA 21.0034", O25_271, V25_271, ", 15.3 V, 25 ohm, 250 ohm"),
        gives("channel 2 (4-5)", "IECEx EXA 21.0034", O25_271, V25_271, ", 15.3 V, 25 ohm, 250 ohm"),
        notes=PAIR_NOTE,
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-N",
        "Transmitter supply isolator, national certificate that has ended",
        "analogue input 4-20 mA",
        "[Ex ia Ga] IIC",
        gives("1-2", "NQS 4417-A", O25_265, V25_265, ", 15.8 V, 22 ohm, 250 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-M",
        "Transmitter supply isolator, Co and Lo certified to hold together",
        "analogue input 4-20 mA, HART",
        "[Ex ia Ga] IIC",
        gives("1-2", "NQS 4902-A", O25_265, V25_TOGETHER, ", 15.8 V, 22 ohm, 250 ohm", together=True),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-S",
        "Transmitter supply isolator, first version",
        "analogue input 4-20 mA",
        ISOLATOR,
        gives("1-2", "EXA 16 ATEX 0148", O25_271, V25_271, ", 14.9 V, 28 ohm, 250 ohm"),
        gives("1-2, from 2022", "EXA 16 ATEX 0148", O25_271, V25_271, ", 14.9 V, 28 ohm, 250 ohm", issue="1"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-K",
        "Transmitter supply isolator, certificate suspended",
        "analogue input 4-20 mA",
        ISOLATOR,
        gives("1-2", "EXA 15 ATEX 0122", O25_265, V25_265, ", 15.8 V, 22 ohm, 250 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-B",
        "Transmitter supply isolator, level ib",
        "analogue input 4-20 mA",
        "II (2) G [Ex ib Gb] IIC",
        gives("1-2", "EXA 20 ATEX 0263", O25_265, V25_265, ", 17.5 V, 20 ohm, 250 ohm", level="ib"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AI1-C",
        "Transmitter supply isolator, level ic",
        "analogue input 4-20 mA",
        "II (3) G [Ex ic Gc] IIC",
        gives(
            "1-2",
            "EXA 20 ATEX 0263",
            "25.2 V, 120 mA, 0.76 W, 210 ohm",
            V25_IC,
            ", 18 V, 18 ohm, 250 ohm",
            level="ic",
        ),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-AO1",
        "Current output isolator, passes HART",
        "analogue output 4-20 mA, HART",
        ISOLATOR,
        gives("1-2", "EXA 21 ATEX 0101 X", O25_271, V25_271, ", 14 V, 30 ohm, 250 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-DI2",
        "Switch amplifier, two channels (IEC 60947-5-6)",
        "digital input, proximity switch",
        ISOLATOR,
        gives("channel 1 (1-2)", "EXA 19 ATEX 0217", O10_808, V10_808, "8.2 V,, 1 kohm"),
        gives("channel 2 (4-5)", "EXA 19 ATEX 0217", O10_808, V10_808, "8.2 V,, 1 kohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-DO1",
        "Solenoid driver",
        "digital output",
        ISOLATOR,
        gives("1-2", "EXA 19 ATEX 0217", "24 V, 110 mA, 0.66 W, 218 ohm", V24_218, "22 V,, 240 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-DO1-B",
        "Solenoid driver of higher power, group IIB only",
        "digital output",
        "II (1) G [Ex ia Ga] IIB",
        gives("1-2", "EXA 19 ATEX 0217", "25.2 V, 170 mA, 1.07 W, 148 ohm", V25_148, "23 V,, 170 ohm", group="IIB"),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-TC1",
        "Temperature converter",
        "resistance thermometer or thermocouple input",
        ISOLATOR,
        gives("1-4", "IECEx ZQX 19.0007", "7.2 V, 6.5 mA, 11.7 mW, 1108 ohm", V7_1108),
    ),
    item(
        "source",
        "Tarquessen",
        "TI-SG1",
        "Strain gauge supply and converter",
        "load cell input",
        ISOLATOR,
        gives("1-6", "IECEx ZQX 19.0007", "17.2 V, 100 mA, 0.43 W, 172 ohm", V17_172, "10 V,, 20 ohm"),
    ),
    item(
        "source",
        "Tarquessen",
        "TR-AI8",
        "Remote input card, eight channels",
        "analogue input 4-20 mA, HART",
        ISOLATOR,
        *(
            gives(
                f"channel {n}",
                "IECEx EXA 21.0034",
                "26.2 V, 87 mA, 0.57 W, 301 ohm",
                V26_301,
                ", 16 V, 24 ohm, 250 ohm",
            )
            for n in range(1, 5)
        ),
    ),
    item(
        "source",
        "Tarquessen",
        "TF-15",
        "Fieldbus supply to FISCO",
        "fieldbus segment",
        "II (1) G [Ex ia Ga] IIC, FISCO power supply",
        gives(
            "1-2",
            "EXA 20 ATEX 0263",
            "15 V, 133 mA, 2 W",
            {"IIC": "580 nF, 2 mH", "IIB": "3.55 uF, 8 mH"},
            "13 V,, 0 ohm",
            shape="rectangular",
        ),
    ),
    item(
        "source",
        "Tarquessen",
        "TF-15-B",
        "Fieldbus supply to FISCO for long segments in IIB",
        "fieldbus segment",
        "II (1) G [Ex ia Ga] IIB, FISCO power supply",
        gives(
            "1-2",
            "EXA 20 ATEX 0263",
            "15 V, 354 mA, 5.32 W",
            {"IIB": "3.55 uF, 1 mH"},
            "13 V,, 0 ohm",
            shape="rectangular",
        ),
    ),
    item(
        "source",
        "Tarquessen",
        "TP-11",
        "Electronically limited supply for gas detector heads",
        "supply",
        ISOLATOR,
        gives("1-2", "EXA 20 ATEX 0263", "11.2 V, 60 mA, 0.67 W", V11_FIXED, "10.8 V,, 10 ohm", shape="rectangular"),
    ),
)

INLINE: tuple[Text, ...] = (
    item(
        "inline",
        "Vessarik",
        "VS-2W",
        "Surge protector for a two-wire loop",
        "surge protection",
        "II 1 G Ex ia IIC T6 Ga",
        takes(
            "1-2",
            "EXA 18 ATEX 0340 X",
            "30 V, 250 mA, 1.2 W, 1.3 nF, 0 H",
            {"T6": "60 degC", "T4": "80 degC"},
            series="4.4 ohm",
        ),
    ),
    item(
        "inline",
        "Plimsond",
        "PD-5",
        "Loop-powered field indicator",
        "local display",
        "II 2 G Ex ia IIC T5 Gb",
        takes(
            "1-2",
            "ORVE 22 ATEX 0104",
            "30 V, 200 mA, 0.9 W, 2 nF, 4 uH",
            {"T5": "60 degC", "T4": "70 degC"},
            series="55 ohm",
        ),
    ),
)

SOURCES = BARRIERS + ISOLATORS + INLINE
