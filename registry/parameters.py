"""Every parameter that the register holds: its symbol, its name in words and where on a certificate it stands.

Form labels, help texts, detail pages, differences between revisions and the glossary all read this one table. The
names are those of IEC 60079-11:2011 and IEC 60079-25:2020, clause 3 of each (terms, from memory); the North American
names beside them those of control drawings after ISA-RP12.06.01 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db import models
from django.utils.translation import gettext

from registry.fields import QuantityField
from registry.models import CableType, HazardousArea, PermittedRow, Site, TemperatureRow, Terminals
from registry.quantities import Kind, write
from registry.signs import signed
from registry.stored import figure
from registry.words import lazily as _

TERMS = _("IEC 60079-11:2011, clause 3")
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
    "source": _("Source values"),
    "permitted": _("Permitted values"),
    "device": _("Device values"),
    "supply": _("What the source offers in normal operation"),
    "needs": _("What the device needs to work"),
    "simple": _("Simple apparatus"),
    "ambient": _("Ambient temperature"),
    "classes": _("Temperature classes"),
    "cable": _("Cable"),
    "construction": _("Cable construction"),
    "area": _("Hazardous area"),
    "site": _("Site"),
}

_T = Terminals
PARAMETERS: tuple[Parameter, ...] = (
    Parameter(
        _T, "uo_v", "Uo",
        _("maximum output voltage"), _("Schedule of the certificate, values of these terminals."), "source",
        _("Voc; Vt for channels together"), "25.2 V",
    ),
    Parameter(
        _T, "io_a", "Io", _("maximum output current"), _("Schedule of the certificate, beside Uo."), "source",
        _("Isc; It for channels together"), "93 mA",
    ),
    Parameter(
        _T, "po_w", "Po", _("maximum output power"),
        _("Schedule, beside Io. Type “not stated” where a linear source gives none: Uo·Io/4 then counts."),
        "source", _("Pmax of the output"), "0.65 W",
    ),
    Parameter(
        _T, "uq_v", "Uq", _("open-circuit voltage of a trapezoidal output"),
        _("Only on certificates that draw a trapezoidal characteristic."), "source", "", "24 V",
    ),
    Parameter(
        _T, "ro_ohm", "Ro", _("output resistance"),
        _("Schedule or data sheet; of a linear source it is Uo divided by Io."),
        "source", _("Ri, Rmin"), "300 ohm",
    ),
    Parameter(
        _T, "um_v", "Um", _("highest voltage allowed on the safe-area side"),
        _("Schedule, values of the terminals that are not intrinsically safe."), "source", "Vm", "253 V",
    ),
    Parameter(
        PermittedRow, "co_f", "Co",
        _("maximum external capacitance"), _("Schedule: one value for each group."), "permitted",
        "Ca", "83 nF",
    ),
    Parameter(
        PermittedRow, "lo_h", "Lo",
        _("maximum external inductance"), _("Schedule: one value for each group."), "permitted",
        "La", "4.2 mH",
    ),
    Parameter(
        PermittedRow, "lo_ro_h_per_ohm", "Lo/Ro", _("maximum external inductance to resistance ratio"),
        _("Schedule, beside Lo; many certificates leave it out."), "permitted", "La/Ra, L/R", "55 uH/ohm",
    ),
    Parameter(
        _T, "ui_v", "Ui",
        _("maximum input voltage"), _("Schedule of the certificate, values of these terminals."), "device",
        _("Vmax"), "30 V",
    ),
    Parameter(
        _T, "ii_a", "Ii", _("maximum input current"),
        _("Schedule, beside Ui. Type “not stated” where the certificate is silent."), "device", _("Imax"), "165 mA",
    ),
    Parameter(
        _T, "pi_w", "Pi", _("maximum input power"), _("Schedule, beside Ii; it may depend on the temperature class."),
        "device", _("Pmax"), "1 W",
    ),
    Parameter(
        _T, "ci_f", "Ci",
        _("maximum internal capacitance"),
        _("Schedule. Negligible, or simple apparatus that stores nothing: type 0 F."),
        "device", "", "2.2 nF",
    ),
    Parameter(
        _T, "li_h", "Li",
        _("maximum internal inductance"),
        _("Schedule. Negligible, or simple apparatus that stores nothing: type 0 H."),
        "device", "", "100 uH",
    ),
    Parameter(
        _T, "supply_v", "", _("voltage without load"), _("Data sheet, normal operation."), "supply", "", "24 V",
        _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "supply_at_20ma_v", "", _("voltage at 20 mA"), _("Data sheet of an isolator: what is left for the field."),
        "supply", "", "16 V", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "supply_ohm", "", _("end-to-end resistance"),
        _("Data sheet of a barrier; it is above the Ro of the certificate."), "supply", "", "340 ohm",
        _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "supply_hart_ohm", "", _("resistance to HART"),
        _("Data sheet of an isolator that passes HART: what it presents to the signal."), "supply", "",
        "250 ohm", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "needs_v", "",
        _("lowest voltage at its highest current"), _("Data sheet: lift-off or minimum supply voltage."),
        "needs", "", "10.5 V", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "needs_at_4ma_v", "",
        _("lowest voltage at 4 mA"), _("Data sheet, where it differs at low current."), "needs", "",
        "16 V", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "needs_max_a", "",
        _("highest current it draws"), _("Data sheet: alarm current included."), "needs", "", "22 mA",
        _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "pull_in_a", "", _("pull-in current"),
        _("Data sheet of a solenoid: lowest current that moves it."), "needs", "",
        "37 mA", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "coil_ohm", "", _("coil resistance at 20 °C"), _("Data sheet of a solenoid."), "needs", "", "270 ohm",
        _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "coil_max_degc", "", _("highest temperature of the coil"),
        _("Data sheet of a solenoid: in the hottest place, after long service. Warm copper takes less current."),
        "needs",
        "", "80 degC", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "series_ohm", "", _("series resistance"), _("Data sheet of an inline item: what it adds to the circuit."),
        "needs", "", "10 ohm", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "drop_v", "", _("fixed voltage drop"), _("Data sheet of an inline item: what it takes at any current."),
        "needs", "", "1.3 V", _("data sheet, not the certificate"),
    ),
    Parameter(
        _T, "simple_v", "", _("highest voltage it generates"), _("Data of the maker; up to 1.5 V counts as simple."),
        "simple", "U", "75 mV", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "simple_a", "", _("highest current it generates"), _("Data of the maker; up to 100 mA counts as simple."),
        "simple", "I", "10 mA", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "simple_w", "", _("highest power it generates or may dissipate"),
        _("Data of the maker; up to 25 mW may be generated."), "simple", "P", "25 mW", "IEC 60079-11:2011, 5.7",
    ),
    Parameter(
        _T, "surface_m2", "", _("surface area"), _("Total outside area of the part that warms up, leads left out."),
        "simple", "", "250 mm2", "IEC 60079-0:2017, 5.3.3",
    ),
    Parameter(
        _T, "thermal_k_per_w", _("Rth"), _("thermal resistance"),
        _("Data of the maker: warming of the tip for each watt."),
        "simple", "", "37 K/W", "IEC 60079-0:2017, 26.5.1",
    ),
    Parameter(
        _T, "ambient_min_degc", _("Ta min"), _("lowest ambient temperature"),
        _("Marking or schedule. The standard range begins at -20 degC."), "ambient", "", "-20 degC",
        "IEC 60079-0:2017, 5.1",
    ),
    Parameter(
        _T, "ambient_max_degc", _("Ta max"), _("highest ambient temperature"),
        _("Marking or schedule. The standard range ends at +40 degC."), "ambient", "", "60 degC",
        "IEC 60079-0:2017, 5.1",
    ),
    Parameter(
        TemperatureRow, "ambient_max_degc", _("Ta max"), _("highest ambient temperature of this class"),
        _("Table of the certificate: up to this ambient the class holds."), "classes", "", "60 degC",
        "IEC 60079-0:2017, 5.3",
    ),
    Parameter(
        TemperatureRow, "pi_w", "Pi", _("power up to which the class holds"),
        _("Table of the certificate, where the class depends on the power of the source; else empty."), "classes", "",
        "0.5 W",
    ),
    Parameter(
        TemperatureRow, "ii_a", "Ii", _("current up to which the class holds"),
        _("Table of the certificate, where the class depends on the current of the source; else empty."), "classes", "",
        "50 mA",
    ),
    Parameter(
        CableType, "capacitance_f_per_m", "Cc", _("capacitance per length"),
        _("Data sheet: mutual capacitance of the pair, the screen included."), "cable", "", "110 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "core_core_f_per_m", "", _("capacitance core to core"),
        _("Only where the data sheet gives core figures instead of one for the pair."), "cable", "", "90 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "core_screen_f_per_m", "",
        _("capacitance core to screen"), _("Data sheet, beside core to core."), "cable",
        "", "160 nF/km", SYSTEM,
    ),
    Parameter(
        CableType, "inductance_h_per_m", "Lc", _("inductance per length"),
        _("Data sheet: say below whether it is for the loop or for one core."), "cable", "", "0.65 mH/km", SYSTEM,
    ),
    Parameter(
        CableType, "inductance_per_resistance_h_per_ohm", "Lc/Rc",
        _("inductance to resistance ratio"), _("Data sheet."),
        "cable", "L/R", "25 uH/ohm", SYSTEM,
    ),
    Parameter(
        CableType, "resistance_ohm_per_m", "Rc", _("resistance per length"),
        _("Data sheet at 20 degC: say below whether it is for the loop or for one core."), "cable", "", "12.1 ohm/km",
        "IEC 60228",
    ),
    Parameter(
        CableType, "strand_m", "", _("diameter of one strand"), _("Data sheet: at least 0.1 mm in a hazardous area."),
        "construction", "", "0.2 mm", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        CableType, "insulation_m", "", _("radial thickness of the insulation"), _("Data sheet: at least 0.2 mm."),
        "construction", "", "0.4 mm", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        CableType, "test_v", "", _("test voltage"), _("Data sheet: a.c. test of the cores to earth and screen."),
        "construction", "", "500 V", "IEC 60079-14:2013, 16.2.2",
    ),
    Parameter(
        HazardousArea, "ambient_min_degc", _("Ta min"), _("lowest ambient temperature of the place"),
        _("Area classification or site data."), "area", "", "-20 degC", _("site data"),
    ),
    Parameter(
        HazardousArea, "ambient_max_degc", _("Ta max"), _("highest ambient temperature of the place"),
        _("Area classification or site data, sun and process heat included."), "area", "", "45 degC", _("site data"),
    ),
    Parameter(
        Site, "safe_ambient_max_degc", "", _("highest ambient temperature of the safe area"),
        _("Of the rooms and cabinets in which sources stand."), "site", "", "40 degC", _("site data"),
    ),
    Parameter(
        Site, "safe_voltage_max_v", "", _("highest voltage in the safe area"),
        _("Highest voltage of equipment that sources are connected to; compared with Um, and needed by every loop."),
        "site", "", "250 V", _("site data"),
    ),
)  # fmt: skip

_BY_COLUMN = {(parameter.model, parameter.column): parameter for parameter in PARAMETERS}

HELP: dict[tuple[str, str], str] = {
    ("equipment", "marking"): _("As on the nameplate, for example II 1 G Ex ia IIC T4 Ga."),
    ("equipment", "maker"): _("The maker named on the nameplate."),
    ("equipment", "kind"): _("A source feeds the circuit from the safe area; a field device takes what it gives."),
    ("terminals", "side"): _("An item with both sides gets two sets of terminals."),
    ("terminals", "certificate"): _("Number and issue. Simple apparatus has none."),
    ("terminals", "level"): _("The letters after Ex in the marking: ia for zone 0, ib for zone 1, ic for zone 2."),
    ("terminals", "gas_group"): _("From the marking: IIC is the most severe."),
    ("terminals", "dust_group"): _("From the marking: IIIC is the most severe."),
    ("terminals", "gas_epl"): _("As marked: Ga for zone 0, Gb for 1, Gc for 2. Empty: the level decides."),
    ("terminals", "dust_epl"): _("As marked: Da for zone 20, Db for 21, Dc for 22. Empty: the level decides."),
    ("terminals", "needs_kind"): _("Decides what the function verdict compares: voltage, line resistance or current."),
    ("terminals", "hart"): _("Tick where HART is to be used: its time constant and load are judged too."),
    ("terminals", "output"): _("Linear where a resistor limits the current, "
    "as in barriers; the schedule says otherwise."),
    ("terminals", "isolation"): _("Whether these terminals withstand 500 V to earth."),
    ("terminals", "justification"): _("A sentence that an inspector can follow; it is printed in the loop document."),
    ("permittedrow", "together"): _("Tick only where the certificate says that this Co and Lo hold at the same time."),
    ("permittedrow", "group"): _("Group for which these values hold."),
    ("temperaturerow", "temperature_class"): _("T1 to T6; for dust the surface temperature, for example 135 degC."),
    ("cabletype", "inductance_is"): _("A value for one core counts twice, out and back."),
    ("cabletype", "resistance_is"): _("A value for one core counts twice, out and back."),
    ("cabletype", "conductor"): _("Stands in for the resistance where none is given, for the function verdict alone."),
    ("cabletype", "screen"): _("Decides how core-to-screen capacitance counts."),
    ("hazardousarea", "nec_class"): _("Only for areas classified by class and division."),
    ("site", "basis"): _("The rules and default cable values that loops of this site are judged by."),
    ("site", "time_zone"): _("By its name, for example Europe/Berlin or UTC."),
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
    return gettext(name[:1].upper() + name[1:])  # the words of a name that no model gives stand in the catalogue


def help_of(model: type[models.Model], column: str) -> str:
    """The help text of a column; empty where there is none."""
    parameter = parameter_of(model, column)
    if parameter:
        return parameter.where
    return HELP.get((str(model._meta.model_name), column), "")


def shown(value_si: Decimal, kind: Kind) -> str:
    """An SI value as pages show it, with the decimal mark of the language: "83 nF", "0.65 mH/km", "40 °C".

    It is not put into forms or files: registry.quantities.write writes what is read back.
    """
    number, _space, unit = write(value_si, kind).partition(" ")
    return figure(f"{number} {signed(unit)}")
