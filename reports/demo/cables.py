"""Cable types of the invented plant: values of the usual order for each construction, none of them a real product's.

Resistances are those of IEC 60228:2004, Table 1 and 2 (class 2 copper at 20 degC), per core.
"""

from __future__ import annotations

Text = dict[str, str]
MAKER = "Kabrellin"


def cable(name: str, description: str, values: str, **more: str) -> Text:
    """The text of one cable type; `values` is "C, L, L/R, R" with R per core."""
    capacitance, inductance, ratio, resistance = (part.strip() for part in values.split(","))
    return {
        "name": name,
        "maker": MAKER,
        "description": description,
        "capacitance_f_per_m": capacitance,
        "inductance_h_per_m": inductance,
        "inductance_per_resistance_h_per_ohm": ratio,
        "resistance_ohm_per_m": resistance,
        "resistance_is": "per_core",
        "strand_m": "0.3 mm",
        "insulation_m": "0.44 mm",
        "test_v": "500 V",
    } | more


def screened(name: str, description: str, values: str, core_core: str, core_screen: str, screen: str) -> Text:
    """A cable whose capacitance follows from what its screen is connected to."""
    return cable(
        name,
        description,
        f",{values}",
        core_core_f_per_m=core_core,
        core_screen_f_per_m=core_screen,
        screen=screen,
    )


CABLES: tuple[Text, ...] = (
    cable(
        "KI-05 1x2x0.5",
        "Instrument pair, overall screen, light blue, 0.5 mm2",
        "95 nF/km, 0.7 mH/km, 11 uH/ohm, 36.0 ohm/km",
    ),
    cable(
        "KI-07 1x2x0.75",
        "Instrument pair, overall screen, light blue, 0.75 mm2",
        "100 nF/km, 0.68 mH/km, 15 uH/ohm, 24.5 ohm/km",
    ),
    cable(
        "KI-10 1x2x1.0",
        "Instrument pair, overall screen, light blue, 1 mm2",
        "105 nF/km, 0.66 mH/km, 19 uH/ohm, 18.1 ohm/km",
    ),
    cable(
        "KI-15 1x2x1.5",
        "Instrument pair, overall screen, light blue, 1.5 mm2",
        "110 nF/km, 0.65 mH/km, 27 uH/ohm, 12.1 ohm/km",
    ),
    cable(
        "KI-25 1x2x2.5",
        "Instrument pair, overall screen, light blue, 2.5 mm2",
        "120 nF/km, 0.62 mH/km, 42 uH/ohm, 7.41 ohm/km",
    ),
    cable(
        "KM-12 12x2x0.75",
        "Multi-pair, each pair screened, light blue",
        "115 nF/km, 0.7 mH/km, 15 uH/ohm, 24.5 ohm/km",
    ),
    cable(
        "KM-24 24x2x1.0",
        "Multi-pair, each pair screened, armoured",
        "115 nF/km, 0.68 mH/km, 19 uH/ohm, 18.1 ohm/km",
    ),
    cable(
        "KA-15 1x2x1.5 SWA",
        "Instrument pair, steel wire armoured, light blue",
        "115 nF/km, 0.65 mH/km, 27 uH/ohm, 12.1 ohm/km",
    ),
    cable(
        "KN-15 2x1.5 MI",
        "Mineral insulated, copper sheath",
        "190 nF/km, 0.53 mH/km, 22 uH/ohm, 12.1 ohm/km",
        strand_m="1.38 mm",
        insulation_m="0.65 mm",
    ),
    cable(
        "KF-A 1x2x0.8 fieldbus",
        "Fieldbus type A, screened pair, orange with light blue stripe",
        "80 nF/km, 0.65 mH/km, 15 uH/ohm, 22.0 ohm/km",
        inductance_is="loop",
    ),
    screened(
        "KS-10 1x2x1.0, screen isolated",
        "Screened pair, screen taken to the IS earth bar only",
        "0.66 mH/km, 19 uH/ohm, 18.1 ohm/km",
        "85 nF/km",
        "150 nF/km",
        "isolated",
    ),
    screened(
        "KS-10 1x2x1.0, screen on one core",
        "The same pair behind a barrier: one core and the screen are both earthed",
        "0.66 mH/km, 19 uH/ohm, 18.1 ohm/km",
        "85 nF/km",
        "150 nF/km",
        "on one core",
    ),
    cable(
        "KP-07 RTD 4x0.75",
        "Four-core sensor cable; inductance measured on one core",
        "110 nF/km, 0.36 mH/km,,",
        inductance_is="per_core",
    ),
    cable(
        "KX-01 appliance flex",
        "Found on a temporary job: strands of 0.07 mm",
        "120 nF/km, 0.7 mH/km, 12 uH/ohm, 26.0 ohm/km",
        strand_m="0.07 mm",
    ),
    cable(
        "KI-10 typed per metre",
        "The 1 mm2 pair with its capacitance typed per m instead of per km",
        "105 nF/m, 0.66 mH/km, 19 uH/ohm, 18.1 ohm/km",
    ),
)
