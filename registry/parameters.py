"""Every parameter that the register holds: its symbol, its name in words and where on a certificate it stands.

Form labels, help texts, detail pages, differences between revisions and the glossary all read this one table. The
names are those of IEC 60079-11:2011 and IEC 60079-25:2020, clause 3 of each (terms, from memory); the North American
names beside them those of control drawings after ISA-RP12.06.01 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db import models

from registry.fields import QuantityField
from registry.models import CableType, HazardousArea, PermittedRow, Site, TemperatureRow, Terminals
from registry.quantities import Kind, write

TERMS = "IEC 60079-11:2011, clause 3"
SYSTEM = "IEC 60079-25:2020"


@dataclass(frozen=True)
class Parameter:
    """One parameter of one model.

    `symbol` is what the trade writes ("" where it has none), `words` the name, `where` what to look for and where,
    `also` other symbols for the same, `section` the part of the form it stands in.
    """

    model: type[models.Model]
    column: str
    symbol: str
    words: str
    where: str
    section: str
    also: str = ""
    example: str = ""
    reference: str = TERMS

    @property
    def kind(self) -> Kind:
        """The quantity that it is."""
        column = self.model._meta.get_field(self.column)
        assert isinstance(column, QuantityField)
        return column.kind

    @property
    def label(self) -> str:
        """Symbol and words: "Uo, maximum output voltage"."""
        return f"{self.symbol}, {self.words}" if self.symbol else self.words[:1].upper() + self.words[1:]

    @property
    def short(self) -> str:
        """The symbol, or the words where there is none."""
        return self.symbol or self.words

    @property
    def anchor(self) -> str:
        """Identifier within the glossary page."""
        return f"{self.model._meta.model_name}-{self.column}".replace("_", "-")


SECTIONS = {
    "source": "Source values",
    "permitted": "Permitted values",
    "device": "Device values",
    "supply": "What the source offers in normal operation",
    "needs": "What the device needs to work",
    "simple": "Simple apparatus",
    "ambient": "Ambient temperature",
    "classes": "Temperature classes",
    "cable": "Cable",
    "construction": "Cable construction",
    "area": "Hazardous area",
    "site": "Site",
}

_T = Terminals
PARAMETERS: tuple[Parameter, ...] = (
    Parameter(
        _T, "uo_v", "Uo", "maximum output voltage", "Schedule of the certificate, values of these terminals.", "source",
        "Voc; Vt for channels together", "25.2 V",
    ),
    Parameter(
        _T, "io_a", "Io", "maximum output current", "Schedule of the certificate, beside Uo.", "source",
        "Isc; It for channels together", "93 mA",
    ),
    Parameter(
        _T, "po_w", "Po", "maximum output power",
        "Schedule, beside Io. Type “not stated” where a linear source gives none: Uo·Io/4 then counts.",
        "source", "Pmax of the output", "0.65 W",
    ),
    Parameter(
        _T, "uq_v", "Uq", "open-circuit voltage of a trapezoidal output",
        "Only on certificates that draw a trapezoidal characteristic.", "source", "", "24 V",
    ),
    Parameter(
        _T, "ro_ohm", "Ro", "output resistance", "Schedule or data sheet; of a linear source it is Uo divided by Io.",
        "source", "Ri, Rmin", "300 ohm",
    ),
    Parameter(
        _T, "um_v", "Um", "highest voltage allowed on the safe-area side",
        "Schedule, values of the terminals that are not intrinsically safe.", "source", "Vm", "253 V",
    ),
    Parameter(
        PermittedRow, "co_f", "Co", "maximum external capacitance", "Schedule: one value for each group.", "permitted",
        "Ca", "83 nF",
    ),
    Parameter(
        PermittedRow, "lo_h", "Lo", "maximum external inductance", "Schedule: one value for each group.", "permitted",
        "La", "4.2 mH",
    ),
    Parameter(
        PermittedRow, "lo_ro_h_per_ohm", "Lo/Ro", "maximum external inductance to resistance ratio",
        "Schedule, beside Lo; many certificates leave it out.", "permitted", "La/Ra, L/R", "55 uH/ohm",
    ),
    Parameter(
        _T, "ui_v", "Ui", "maximum input voltage", "Schedule of the certificate, values of these terminals.", "device",
        "Vmax", "30 V",
    ),
    Parameter(
        _T, "ii_a", "Ii", "maximum input current",
        "Schedule, beside Ui. Type “not stated” where the certificate is silent.", "device", "Imax", "165 mA",
    ),
    Parameter(
        _T, "pi_w", "Pi", "maximum input power", "Schedule, beside Ii; it may depend on the temperature class.",
        "device", "Pmax", "1 W",
    ),
    Parameter(
        _T, "ci_f", "Ci", "maximum internal capacitance", "Schedule. Where it says negligible, type 0 F.", "device", "",
        "2.2 nF",
    ),
    Parameter(
        _T, "li_h", "Li", "maximum internal inductance", "Schedule. Where it says negligible, type 0 H.", "device", "",
        "100 uH",
    ),
    Parameter(
        _T, "supply_v", "", "voltage without load", "Data sheet, normal operation.", "supply", "", "24 V",
        "data sheet, not the certificate",
    ),
    Parameter(
        _T, "supply_at_20ma_v", "", "voltage at 20 mA", "Data sheet of an isolator: what is left for the field.",
        "supply", "", "16 V", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "supply_ohm", "", "end-to-end resistance",
        "Data sheet of a barrier; it is above the Ro of the certificate.", "supply", "", "340 ohm",
        "data sheet, not the certificate",
    ),
    Parameter(
        _T, "supply_hart_ohm", "", "resistance to HART",
        "Data sheet of an isolator that passes HART: what it presents to the signal.", "supply", "",
        "250 ohm", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "needs_v", "", "lowest voltage at its highest current", "Data sheet: lift-off or minimum supply voltage.",
        "needs", "", "10.5 V", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "needs_at_4ma_v", "", "lowest voltage at 4 mA", "Data sheet, where it differs at low current.", "needs", "",
        "16 V", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "needs_max_a", "", "highest current it draws", "Data sheet: alarm current included.", "needs", "", "22 mA",
        "data sheet, not the certificate",
    ),
    Parameter(
        _T, "pull_in_a", "", "pull-in current", "Data sheet of a solenoid: lowest current that moves it.", "needs", "",
        "37 mA", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "coil_ohm", "", "coil resistance at 20 °C", "Data sheet of a solenoid.", "needs", "", "270 ohm",
        "data sheet, not the certificate",
    ),
    Parameter(
        _T, "coil_max_degc", "", "highest temperature of the coil",
        "Data sheet of a solenoid: in the hottest place, after long service. Warm copper takes less current.", "needs",
        "", "80 degC", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "series_ohm", "", "series resistance", "Data sheet of an inline item: what it adds to the circuit.",
        "needs", "", "10 ohm", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "drop_v", "", "fixed voltage drop", "Data sheet of an inline item: what it takes at any current.",
        "needs", "", "1.3 V", "data sheet, not the certificate",
    ),
    Parameter(
        _T, "simple_v", "", "highest voltage it generates", "Data of the maker; up to 1.5 V counts as simple.",
        "simple", "U", "75 mV", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "simple_a", "", "highest current it generates", "Data of the maker; up to 100 mA counts as simple.",
        "simple", "I", "10 mA", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "simple_w", "", "highest power it generates or may dissipate",
        "Data of the maker; up to 25 mW may be generated.", "simple", "P", "25 mW", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "surface_m2", "", "surface area", "Total outside area of the part that warms up, leads left out.",
        "simple", "", "250 mm2", "IEC 60079-0:2017, 5.3.3",
    ),
    Parameter(
        _T, "thermal_k_per_w", "Rth", "thermal resistance", "Data of the maker: warming of the tip for each watt.",
        "simple", "", "37 K/W", "IEC 60079-0:2017, 26.5.1",
    ),
    Parameter(
        _T, "ambient_min_degc", "Ta min", "lowest ambient temperature",
        "Marking or schedule. The standard range begins at -20 degC.", "ambient", "", "-20 degC",
        "IEC 60079-0:2017, 5.1",
    ),
    Parameter(
        _T, "ambient_max_degc", "Ta max", "highest ambient temperature",
        "Marking or schedule. The standard range ends at +40 degC.", "ambient", "", "60 degC",
        "IEC 60079-0:2017, 5.1",
    ),
    Parameter(
        TemperatureRow, "ambient_max_degc", "Ta max", "highest ambient temperature of this class",
        "Table of the certificate: up to this ambient the class holds.", "classes", "", "60 degC",
        "IEC 60079-0:2017, 5.3",
    ),
    Parameter(
        TemperatureRow, "pi_w", "Pi", "power up to which the class holds",
        "Table of the certificate, where the class depends on the power of the source; else empty.", "classes", "",
        "0.5 W",
    ),
    Parameter(
        TemperatureRow, "ii_a", "Ii", "current up to which the class holds",
        "Table of the certificate, where the class depends on the current of the source; else empty.", "classes", "",
        "50 mA",
    ),
    Parameter(
        CableType, "capacitance_f_per_m", "Cc", "capacitance per length",
        "Data sheet: mutual capacitance of the pair, the screen included.", "cable", "", "110 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "core_core_f_per_m", "", "capacitance core to core",
        "Only where the data sheet gives core figures instead of one for the pair.", "cable", "", "90 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "core_screen_f_per_m", "", "capacitance core to screen", "Data sheet, beside core to core.", "cable",
        "", "160 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "inductance_h_per_m", "Lc", "inductance per length",
        "Data sheet: say below whether it is for the loop or for one core.", "cable", "", "0.65 mH/km", SYSTEM,
    ),
    Parameter(
        CableType, "inductance_per_resistance_h_per_ohm", "Lc/Rc", "inductance to resistance ratio", "Data sheet.",
        "cable", "L/R", "25 uH/ohm", SYSTEM,
    ),
    Parameter(
        CableType, "resistance_ohm_per_m", "Rc", "resistance per length",
        "Data sheet at 20 degC: say below whether it is for the loop or for one core.", "cable", "", "12.1 ohm/km",
        "IEC 60228",
    ),
    Parameter(
        CableType, "strand_m", "", "diameter of one strand", "Data sheet: at least 0.1 mm in a hazardous area.",
        "construction", "", "0.2 mm", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        CableType, "insulation_m", "", "radial thickness of the insulation", "Data sheet: at least 0.2 mm.",
        "construction", "", "0.4 mm", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        CableType, "test_v", "", "test voltage", "Data sheet: a.c. test of the cores to earth and screen.",
        "construction", "", "500 V", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        HazardousArea, "ambient_min_degc", "Ta min", "lowest ambient temperature of the place",
        "Area classification or site data.", "area", "", "-20 degC", "site data",
    ),
    Parameter(
        HazardousArea, "ambient_max_degc", "Ta max", "highest ambient temperature of the place",
        "Area classification or site data, sun and process heat included.", "area", "", "45 degC", "site data",
    ),
    Parameter(
        Site, "safe_ambient_max_degc", "", "highest ambient temperature of the safe area",
        "Of the rooms and cabinets in which sources stand.", "site", "", "40 degC", "site data",
    ),
    Parameter(
        Site, "safe_voltage_max_v", "", "highest voltage in the safe area",
        "Highest voltage of equipment that sources are connected to; compared with Um.", "site", "", "250 V",
        "site data",
    ),
)  # fmt: skip

_BY_COLUMN = {(parameter.model, parameter.column): parameter for parameter in PARAMETERS}

HELP: dict[tuple[str, str], str] = {
    ("equipment", "marking"): "As on the nameplate, for example II 1 G Ex ia IIC T4 Ga.",
    ("equipment", "maker"): "The maker named on the nameplate.",
    ("equipment", "kind"): "A source feeds the circuit from the safe area; a field device takes what it gives.",
    ("terminals", "side"): "An item with both sides gets two sets of terminals.",
    ("terminals", "certificate"): "Number and issue. Simple apparatus has none.",
    ("terminals", "level"): "The letters after Ex in the marking: ia for zone 0, ib for zone 1, ic for zone 2.",
    ("terminals", "gas_group"): "From the marking: IIC is the most severe.",
    ("terminals", "dust_group"): "From the marking: IIIC is the most severe.",
    ("terminals", "gas_epl"): "As marked: Ga for zone 0, Gb for 1, Gc for 2. Empty: the level decides.",
    ("terminals", "dust_epl"): "As marked: Da for zone 20, Db for 21, Dc for 22. Empty: the level decides.",
    ("terminals", "needs_kind"): "Decides what the function verdict compares: voltage, line resistance or current.",
    ("terminals", "hart"): "Tick where HART is to be used: its time constant and load are judged too.",
    ("terminals", "output"): "Linear where a resistor limits the current, as in barriers; the schedule says otherwise.",
    ("terminals", "isolation"): "Whether these terminals withstand 500 V to earth.",
    ("terminals", "justification"): "A sentence that an inspector can follow; it is printed in the loop document.",
    ("permittedrow", "together"): "Tick only where the certificate says that this Co and Lo hold at the same time.",
    ("permittedrow", "group"): "Group for which these values hold.",
    ("temperaturerow", "temperature_class"): "T1 to T6; for dust the surface temperature, for example 135 degC.",
    ("cabletype", "inductance_is"): "A value for one core counts twice, out and back.",
    ("cabletype", "resistance_is"): "A value for one core counts twice, out and back.",
    ("cabletype", "conductor"): "Stands in for the resistance where none is given, for the function verdict alone.",
    ("cabletype", "screen"): "Decides how core-to-screen capacitance counts.",
    ("hazardousarea", "nec_class"): "Only for areas classified by class and division.",
    ("site", "basis"): "The rules and default cable values that loops of this site are judged by.",
    ("site", "time_zone"): "By its name, for example Europe/Berlin or UTC.",
}  # fmt: skip


def parameter_of(model: type[models.Model], column: str) -> Parameter | None:
    """The parameter held in a column, or None."""
    return _BY_COLUMN.get((model, column))


def label_of(model: type[models.Model], column: str) -> str:
    """How pages call a column: the symbol of a parameter, else the name of the column in words."""
    parameter = parameter_of(model, column)
    if parameter:
        return parameter.short[:1].upper() + parameter.short[1:]
    stored = model._meta.get_field(column)
    name = str(getattr(stored, "verbose_name", column.replace("_", " ")))
    if isinstance(stored, QuantityField) and name == column.replace("_", " "):
        name = name.rpartition(" ")[0]  # the unit of the column stands with each value
    return name[:1].upper() + name[1:]


def help_of(model: type[models.Model], column: str) -> str:
    """The help text of a column; empty where there is none."""
    parameter = parameter_of(model, column)
    if parameter:
        return parameter.where
    return HELP.get((str(model._meta.model_name), column), "")


_SIGNS = (
    ("ohm", "Ω"),
    ("degC", "°C"),
    ("mm2", "mm²"),
    ("uF", "µF"),
    ("uH", "µH"),
    ("uV", "µV"),
    ("uA", "µA"),
    ("uW", "µW"),
)


def plain_signs(text: str) -> str:
    """A quantity's text with the signs of its unit spelled in ASCII."""
    for ascii_text, sign in _SIGNS:
        text = text.replace(sign, ascii_text)
    return text


def shown(value_si: Decimal, kind: Kind) -> str:
    """An SI value as pages show it: "83 nF", "55 µH/Ω", "40 °C". registry.quantities.read reads it back."""
    number, _, unit = write(value_si, kind).partition(" ")
    for ascii_text, sign in _SIGNS:
        unit = unit.replace(ascii_text, sign)
    return f"{number} {unit}"
