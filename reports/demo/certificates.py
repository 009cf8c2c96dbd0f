"""Certificates by invented bodies (EXA, ZQX, ORVE and the national scheme NQS) for invented equipment."""

from __future__ import annotations

import datetime as dt

Text = dict[str, str]

IEC_EDITIONS = "IEC 60079-0:2017, IEC 60079-11:2011"
EN_EDITIONS = "EN IEC 60079-0:2018, EN 60079-11:2012"
EARTH_BAR = (
    "The barrier is to be connected to the intrinsic safety earth bar by two conductors of 1.5 mm2 or one of 4 mm2."
)
ARRESTER = (
    "The arrester is to be bonded to the equipotential conductor of the plant close to the device that it protects."
)
CLEANING = "The plastic window is a risk of static charge: clean with a damp cloth only."
IMPACT = "The light-metal enclosure is to be protected from impact and friction where it is used in zone 0."
NO_TEST = "The circuit does not withstand the 500 V test to the enclosure: take this into account when it is installed."

MET = {
    EARTH_BAR: "Bar IE-1 of the cabinet, two conductors of 4 mm2; measured below 1 ohm.",
    ARRESTER: "Bonded to the frame of the junction box by 6 mm2, less than 1 m from the device.",
    CLEANING: "Warning label at the item; damp cloth named in the cleaning plan.",
    IMPACT: "Guard of stainless steel around the item; outside of zone 0.",
    "Install in a cabinet of at least IP 20.": "Cabinet of the equipment room, IP 54.",
    NO_TEST: "Enclosure bonded to the same earth as the barrier; noted on the loop drawing.",
}
"""How the plant meets the conditions, in its own words."""


def years_from(today: dt.date, years: int, days: int = 0) -> str:
    """A day some years and days from today, as the entry reads it."""
    month, day = today.month, min(today.day, 28)
    return (dt.date(today.year + years, month, day) + dt.timedelta(days=days)).isoformat()


def atex(number: str, holder: str, issued_on: str, conditions: str = "", **more: str) -> Text:
    """A certificate under ATEX: no end date."""
    return {
        "scheme": "ATEX",
        "number": number,
        "issue": "0",
        "holder": holder,
        "standards": EN_EDITIONS,
        "issued_on": issued_on,
        "status": "current",
        "specific_conditions": conditions,
    } | more


def iecex(number: str, holder: str, issued_on: str, conditions: str = "", **more: str) -> Text:
    """A certificate of conformity under IECEx: no end date."""
    return atex(number, holder, issued_on, conditions, **{"scheme": "IECEx", "standards": IEC_EDITIONS} | more)


def national(number: str, holder: str, today: dt.date, valid_years: int, days: int) -> Text:
    """A certificate under the invented national scheme, issued for five years, ending that far from today."""
    return atex(
        number,
        holder,
        years_from(today, valid_years - 5, days),
        scheme="NQS",
        standards=IEC_EDITIONS,
        valid_to=years_from(today, valid_years, days),
    )


def certificates(today: dt.date) -> list[Text]:
    """All certificates; those that end are dated relative to `today`."""
    return [
        atex("EXA 17 ATEX 0311 X", "Vessarik", "2017-03-14", EARTH_BAR),
        atex("EXA 17 ATEX 0312 X", "Vessarik", "2017-03-14", EARTH_BAR),
        atex("EXA 18 ATEX 0340 X", "Vessarik", "2018-09-03", ARRESTER),
        atex("EXA 09 ATEX 0057 X", "Vessarik", "2009-05-20", EARTH_BAR, status="withdrawn"),
        iecex("IECEx EXA 17.0088X", "Vessarik", "2017-04-02", EARTH_BAR),
        atex("EXA 21 ATEX 0101 X", "Tarquessen", "2021-02-11", "Install in a cabinet of at least IP 20."),
        iecex("IECEx EXA 21.0034", "Tarquessen", "2021-02-18"),
        atex("EXA 19 ATEX 0217", "Tarquessen", "2019-10-07"),
        atex("EXA 20 ATEX 0263", "Tarquessen", "2020-06-30"),
        atex("EXA 16 ATEX 0148", "Tarquessen", "2016-01-25", status="superseded"),
        atex("EXA 16 ATEX 0148", "Tarquessen", "2022-05-16", issue="1"),
        atex("EXA 15 ATEX 0122", "Tarquessen", "2015-11-09", status="suspended"),
        iecex("IECEx ZQX 19.0007", "Tarquessen", "2019-03-29"),
        national("NQS 4417-A", "Tarquessen", today, 0, -63),
        national("NQS 4902-A", "Tarquessen", today, 0, 74),
        atex("ZQX 18 ATEX 2210 X", "Quillowen", "2018-02-05", IMPACT),
        atex("ZQX 18 ATEX 2211", "Quillowen", "2018-02-05"),
        iecex("IECEx ZQX 20.0041X", "Quillowen", "2020-08-12", IMPACT),
        national("NQS 3120-D", "Quillowen", today, -1, -20),
        national("NQS 5103-D", "Quillowen", today, 1, 20),
        atex("ZQX 20 ATEX 2304 X", "Drobbent", "2020-11-02", f"{IMPACT}\n{CLEANING}"),
        atex("ZQX 16 ATEX 2120", "Drobbent", "2016-07-19"),
        atex("ZQX 22 ATEX 2377 X", "Drobbent", "2022-03-08", CLEANING),
        atex("ORVE 19 ATEX 0045", "Zunteral", "2019-01-15"),
        atex("ORVE 21 ATEX 0090 X", "Zunteral", "2021-09-27", NO_TEST),
        iecex("IECEx ORV 19.0012", "Zunteral", "2019-01-22"),
        atex("ORVE 17 ATEX 0018 X", "Halvorick", "2017-06-06", CLEANING),
        atex("ORVE 18 ATEX 0027", "Halvorick", "2018-04-17"),
        atex("ORVE 20 ATEX 0071", "Halvorick", "2020-02-28"),
        national("NQS 2766-V", "Halvorick", today, 0, -200),
        atex("ORVE 21 ATEX 0083 X", "Plimsond", "2021-05-31", "The sensor head is to be shielded from draughts."),
        atex("ORVE 22 ATEX 0104", "Plimsond", "2022-10-10"),
        atex("ORVE 14 ATEX 0003 U", "Plimsond", "2014-12-01", "Component: to be built into certified equipment."),
        iecex("IECEx ORV 22.0019X", "Plimsond", "2022-10-24", NO_TEST),
    ]
