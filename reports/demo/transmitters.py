"""Transmitters of the invented makers Quillowen, Drobbent and Zunteral."""

from __future__ import annotations

from reports.demo.wording import Text, gives, item, takes

V6_677 = {"IIC": "24 uF, 380 mH, 2.27 mH/ohm", "IIB": "560 uF, 1 H, 9.1 mH/ohm"}
V5_1350 = {"IIC": "60 uF, 1 H, 6.5 mH/ohm", "IIB": "900 uF, 1 H"}
T46 = {"T6": "40 degC", "T5": "55 degC", "T4": "70 degC"}
T4 = {"T4": "70 degC"}
DUST_135 = {"T4": "70 degC", "T135 degC": "60 degC"}

QUILLOWEN: tuple[Text, ...] = (
    item(
        "field_device",
        "Quillowen",
        "QP-300",
        "Pressure transmitter, HART",
        "pressure",
        "II 1 G Ex ia IIC T4...T6 Ga",
        takes("+/-", "ZQX 18 ATEX 2211", "30 V, 165 mA, 1 W, 11 nF, 0 H", T46, "10.5 V, 10.5 V, 22 mA", hart="on"),
        takes(
            "+/- (IECEx)",
            "IECEx ZQX 20.0041X",
            "30 V, 165 mA, 1 W, 11 nF, 0 H",
            T46,
            "10.5 V, 10.5 V, 22 mA",
            hart="on",
        ),
        takes(
            "+/- (multidrop)",
            "ZQX 18 ATEX 2211",
            "30 V, 165 mA, 1 W, 11 nF, 0 H",
            T46,
            "10.5 V, 10.5 V, 4 mA",
            hart="on",
        ),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-330",
        "Differential pressure transmitter with filter",
        "differential pressure",
        "II 1 G Ex ia IIC T4 Ga",
        takes("+/-", "ZQX 18 ATEX 2210 X", "30 V, 165 mA, 1 W, 22 nF, 0.68 mH", T4, "11 V, 11 V, 22.5 mA"),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-310-D",
        "Pressure transmitter, gas and dust",
        "pressure",
        "II 1 GD Ex ia IIC T4 Ga, Ex ia IIIC T135°C Da",
        takes(
            "+/-", "ZQX 18 ATEX 2210 X", "30 V, 150 mA, 0.9 W, 9 nF, 10 uH", DUST_135, "11 V, 11 V, 22 mA", dust="IIIC"
        ),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-200",
        "Pressure transmitter, national certificate that has ended",
        "pressure",
        "Ex ia IIC T4 Ga",
        takes("1-2", "NQS 3120-D", "30 V, 120 mA, 0.8 W, 15 nF, 20 uH", T4, "10 V, 10 V, 22 mA"),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-210",
        "Pressure transmitter, national certificate",
        "pressure",
        "Ex ia IIC T4 Ga",
        takes("1-2", "NQS 5103-D", "30 V, 120 mA, 0.8 W, 15 nF, 20 uH", T4, "10 V, 10 V, 22 mA"),
    ),
    item(
        "field_device",
        "Quillowen",
        "QF-50",
        "Vortex flowmeter, two-wire",
        "flow",
        "II 2 G Ex ia IIC T4 Gb",
        takes("+/-", "ZQX 18 ATEX 2211", "30 V, 130 mA, 1 W, 5 nF, 30 uH", T4, "12 V, 12 V, 22.5 mA"),
    ),
    item(
        "field_device",
        "Quillowen",
        "QF-80",
        "Magnetic flowmeter, two-wire",
        "flow",
        "II 2 G Ex ia IIB T4 Gb",
        takes("+/-", "ZQX 18 ATEX 2211", "30 V, 110 mA, 1 W, 18 nF, 0.1 mH", T4, "14.5 V, 14.5 V, 22 mA", group="IIB"),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-300-F",
        "Pressure transmitter, fieldbus",
        "pressure",
        "II 1 G Ex ia IIC T4 Ga, FISCO field device",
        takes(
            "+/-",
            "ZQX 18 ATEX 2211",
            "17.5 V, 380 mA, 5.32 W, 1.8 nF, 5 uH",
            {"T4": "60 degC"},
            "9 V, 9 V, 16 mA",
        ),
    ),
    item(
        "field_device",
        "Quillowen",
        "QP-250",
        "Pressure gauge with output, never certified",
        "pressure",
        "",
        takes("1-2", "", "30 V, 120 mA, 0.8 W, 15 nF, 20 uH", T4, "10 V, 10 V, 22 mA", level="", group=""),
        notes="Bought for a safe area. No certificate exists.",
    ),
)

DROBBENT: tuple[Text, ...] = (
    item(
        "field_device",
        "Drobbent",
        "DR-80",
        "Radar level transmitter",
        "level",
        "II 1/2 G Ex ia IIC T4...T6 Ga/Gb",
        # What reaches into the tank is Ga; the housing outside of it Gb.
        takes("1-2", "ZQX 20 ATEX 2304 X", "30 V, 131 mA, 0.98 W, 2 nF, 8 uH", T46, "10 V, 14 V, 22 mA", gas_epl="Ga"),
    ),
    item(
        "field_device",
        "Drobbent",
        "DR-85-D",
        "Guided radar for bulk solids",
        "level",
        "II 1 D Ex ia IIIC T135°C Da",
        takes(
            "1-2",
            "ZQX 22 ATEX 2377 X",
            "30 V, 131 mA, 0.98 W, 2 nF, 8 uH",
            {"T135 degC": "60 degC"},
            "12 V, 13 V, 22 mA",
            group="",
            dust="IIIC",
        ),
    ),
    item(
        "field_device",
        "Drobbent",
        "DL-20",
        "Vibrating fork level switch, two-wire to IEC 60947-5-6",
        "level switch",
        "II 1 G Ex ia IIC T6 Ga",
        takes("1-2", "ZQX 16 ATEX 2120", "16 V, 52 mA, 169 mW, 3 nF, 8 uH", {"T6": "50 degC", "T4": "70 degC"}),
    ),
    item(
        "field_device",
        "Drobbent",
        "DT-12",
        "Displacer level transmitter, rated to 50 degC",
        "level",
        "II 2 G Ex ib IIC T4 Gb",
        takes(
            "1-2",
            "ZQX 16 ATEX 2120",
            "30 V, 110 mA, 0.8 W, 10 nF, 0 H",
            {"T4": "50 degC"},
            "12 V, 12 V, 22 mA",
            level="ib",
        ),
    ),
)

ZUNTERAL: tuple[Text, ...] = (
    item(
        "field_device",
        "Zunteral",
        "ZH-20",
        "Head transmitter for Pt100 and thermocouples",
        "temperature",
        "II 1 G Ex ia IIC T6...T4 Ga",
        takes(
            "+/- (supply)",
            "ORVE 19 ATEX 0045",
            "30 V, 130 mA, 0.8 W, 7.8 nF, 10 uH",
            {"T6": "45 degC", "T4": "85 degC"},
            "9 V, 9 V, 23 mA",
        ),
        gives(
            "1-4 (sensor)",
            "ORVE 19 ATEX 0045",
            "6.5 V, 9.6 mA, 15.6 mW, 677 ohm",
            V6_677,
            um="not stated",
            ambient=("-40 degC", "85 degC"),
        ),
    ),
    item(
        "field_device",
        "Zunteral",
        "ZF-60",
        "Field temperature transmitter with display",
        "temperature",
        "II 2(1) G Ex ia [ia Ga] IIC T4 Gb",
        takes(
            "+/- (supply)",
            "IECEx ORV 19.0012",
            "30 V, 150 mA, 0.9 W, 1.2 nF, 0 H",
            {"T5": "50 degC", "T4": "75 degC"},
            "11.5 V, 11.5 V, 22 mA",
        ),
        gives(
            "sensor terminals",
            "IECEx ORV 19.0012",
            "5.4 V, 4 mA, 5.4 mW, 1350 ohm",
            V5_1350,
            um="not stated",
            ambient=("-40 degC", "75 degC"),
        ),
    ),
    item(
        "field_device",
        "Zunteral",
        "ZH-20-X",
        "Head transmitter without galvanic isolation",
        "temperature",
        "II 1 G Ex ia IIC T4 Ga",
        takes(
            "+/- (supply)",
            "ORVE 21 ATEX 0090 X",
            "30 V, 120 mA, 0.75 W, 5 nF, 0 H",
            {"T4": "70 degC"},
            "9 V, 9 V, 23 mA",
            isolation="earthed",
        ),
    ),
    item(
        "field_device",
        "Zunteral",
        "ZT-20-F",
        "Temperature transmitter, fieldbus",
        "temperature",
        "II 1 G Ex ia IIC T4 Ga, FISCO field device",
        takes("+/-", "ORVE 19 ATEX 0045", "17.5 V, 380 mA, 5.32 W, 2 nF, 8 uH", {"T4": "65 degC"}, "9 V, 9 V, 12 mA"),
    ),
)

TRANSMITTERS = QUILLOWEN + DROBBENT + ZUNTERAL
