"""What the engine judges: one intrinsically safe circuit as frozen data in SI units.

A certified value has three states: a :class:`~decimal.Decimal`, :data:`NOT_STATED` (the certificate does not state it)
or :data:`UNKNOWN` (nobody has looked). Zero is a value. Every other fact that may be missing is ``None``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import Enum, StrEnum


class Word(StrEnum):
    """A fixed word of the trade. Hashed as the text that it is: these words are looked up many times a circuit."""

    __hash__ = str.__hash__


class Missing(Enum):
    """Why a certified value is not there."""

    NOT_STATED = "not stated"
    UNKNOWN = "unknown"


NOT_STATED = Missing.NOT_STATED
UNKNOWN = Missing.UNKNOWN
Parameter = Decimal | Missing


class Basis(Word):
    """The body of rules: selects the default cable values and the clause references."""

    IEC = "IEC"
    NEC = "NEC"


class Level(Word):
    """Level of protection of intrinsic safety (IEC 60079-11:2011, clause 5)."""

    IA = "ia"
    IB = "ib"
    IC = "ic"


class Epl(Word):
    """Equipment protection level (IEC 60079-0:2017): gas, dust, mines; ``a`` is the highest, mines have no ``c``."""

    GA = "Ga"
    GB = "Gb"
    GC = "Gc"
    DA = "Da"
    DB = "Db"
    DC = "Dc"
    MA = "Ma"
    MB = "Mb"


class Group(Word):
    """Group of the atmosphere: gas II, dust III, mines I, and the North American letters."""

    I = "I"  # noqa: E741  the trade's name of the group
    IIA = "IIA"
    IIB = "IIB"
    IIC = "IIC"
    IIIA = "IIIA"
    IIIB = "IIIB"
    IIIC = "IIIC"
    A = "A"
    B = "B"
    C = "C"
    D = "D"
    E = "E"
    F = "F"
    G = "G"


class Output(Word):
    """Shape of the output characteristic of a source."""

    LINEAR = "linear"
    TRAPEZOIDAL = "trapezoidal"
    RECTANGULAR = "rectangular"


class DeviceKind(Word):
    """How a field device comes to be allowed on the circuit."""

    CERTIFIED = "certified"
    SIMPLE = "simple"
    UNCERTIFIED = "uncertified"
    COMPONENT = "component"


class SimpleKind(Word):
    """The three kinds of simple apparatus (IEC 60079-11:2011, 5.7)."""

    PASSIVE = "passive"
    STORED_ENERGY = "stored energy"
    GENERATING = "generating"


class CertificateStatus(Word):
    """What the issuer says of a certificate today."""

    CURRENT = "current"
    SUPERSEDED = "superseded"
    SUSPENDED = "suspended"
    WITHDRAWN = "withdrawn"


class CableType(Word):
    """Which circuits share the cable (IEC 60079-14:2013, 16.2.2; IEC 60079-25:2020, clause on cables)."""

    SINGLE_CIRCUIT = "single_circuit"
    A = "A"
    B = "B"
    C = "C"
    MIXED = "mixed"


class CableRole(Word):
    """Place of a run in a fieldbus segment."""

    TRUNK = "trunk"
    SPUR = "spur"


class Screen(Word):
    """What the screen of a cable is connected to."""

    ISOLATED = "isolated"
    ON_ONE_CORE = "on one core"


class Interconnection(Word):
    """How several sources are connected to one circuit."""

    SERIES = "series"
    PARALLEL = "parallel"
    UNDEFINED = "undefined"


class Fieldbus(Word):
    """System concepts with rules of their own."""

    FISCO = "FISCO"
    TWO_WISE = "2-WISE"


class NeedsKind(Word):
    """How a device comes to work: by which rules its function is judged."""

    TWO_WIRE = "two_wire"
    PROXIMITY_SENSOR = "proximity_sensor"
    SOLENOID = "solenoid"


@dataclass(frozen=True, slots=True)
class Certificate:
    """One certificate issue. ``valid_to``: last day on which new equipment may be supplied under it."""

    number: str | None = None
    scheme: str | None = None
    status: CertificateStatus | None = None
    valid_to: date | None = None
    made_on: date | None = None


@dataclass(frozen=True, slots=True)
class Permitted:
    """Permitted external values of a source for one group: F, H, H/ohm.

    ``together``: the certificate says that this Co and Lo hold at the same time.
    """

    group: Group
    co_f: Parameter = UNKNOWN
    lo_h: Parameter = UNKNOWN
    lo_ro_h_per_ohm: Parameter = UNKNOWN
    together: bool = False


@dataclass(frozen=True, slots=True)
class Supply:
    """What a source offers in normal operation (function, not safety): V at no load, V at 20 mA, ohm end to end.

    ``hart_resistance_ohm``: what an isolator presents to the HART signal in the field circuit.
    """

    voltage_v: Parameter = UNKNOWN
    voltage_at_20ma_v: Parameter = UNKNOWN
    resistance_ohm: Parameter = UNKNOWN
    hart_resistance_ohm: Parameter = UNKNOWN


@dataclass(frozen=True, slots=True)
class Source:
    """Output terminals of associated apparatus, or of a device that feeds a circuit of its own.

    ``epl``: the one stated for the circuits that it feeds; ``None`` where none is, and the level decides alone.
    """

    name: str
    terminals: str = ""
    level: Level | None = None
    output: Output | None = None
    isolated: bool | None = None
    um_v: Parameter = UNKNOWN
    uo_v: Parameter = UNKNOWN
    uq_v: Parameter = UNKNOWN
    io_a: Parameter = UNKNOWN
    po_w: Parameter = UNKNOWN
    ro_ohm: Parameter = UNKNOWN
    permitted: tuple[Permitted, ...] = ()
    certificate: Certificate | None = None
    supply: Supply | None = None
    ambient_min_c: Parameter = UNKNOWN
    ambient_max_c: Parameter = UNKNOWN
    epl: Epl | None = None


@dataclass(frozen=True, slots=True)
class TemperatureRow:
    """One row of a device's temperature-class table.

    ``limit_c``: highest surface temperature that the class allows. ``dust``: the row states a surface temperature for
    dust. The row holds up to ``ambient_max_c`` and, where given, up to the power ``pi_w`` and the current ``ii_a``.
    """

    name: str
    limit_c: Decimal
    dust: bool = False
    ambient_max_c: Parameter = UNKNOWN
    pi_w: Parameter = NOT_STATED
    ii_a: Parameter = NOT_STATED


@dataclass(frozen=True, slots=True)
class Simple:
    """Figures of simple apparatus: V, A, W (generated, or for passive kinds the most it may dissipate), m2, K/W."""

    kind: SimpleKind | None = None
    voltage_v: Parameter = UNKNOWN
    current_a: Parameter = UNKNOWN
    power_w: Parameter = UNKNOWN
    surface_area_m2: Parameter = UNKNOWN
    thermal_resistance_k_per_w: Parameter = UNKNOWN


@dataclass(frozen=True, slots=True)
class Needs:
    """What a device needs to work.

    Two-wire devices: V at the highest current, that current in A, V at 4 mA, and whether HART is to work. Solenoids:
    pull-in current in A, coil in ohm at 20 degC and its highest temperature. Proximity sensors need nothing more.
    """

    voltage_min_v: Parameter = UNKNOWN
    current_max_a: Parameter = UNKNOWN
    voltage_min_at_4ma_v: Parameter = UNKNOWN
    kind: NeedsKind = NeedsKind.TWO_WIRE
    hart: bool = False
    pull_in_current_a: Parameter = UNKNOWN
    coil_resistance_ohm: Parameter = UNKNOWN
    coil_temperature_max_c: Parameter = UNKNOWN


@dataclass(frozen=True, slots=True)
class Device:
    """Input terminals on the circuit: field device, inline item or simple apparatus.

    ``series_resistance_ohm`` and ``voltage_drop_v`` belong to inline items and matter for function alone; ``None``
    where nobody has said what the item takes from the loop. ``epl``: the one stated; ``None`` where none is, and the
    level decides alone.
    """

    name: str
    kind: DeviceKind = DeviceKind.CERTIFIED
    level: Level | None = None
    group: Group | None = None
    ui_v: Parameter = UNKNOWN
    ii_a: Parameter = UNKNOWN
    pi_w: Parameter = UNKNOWN
    ci_f: Parameter = UNKNOWN
    li_h: Parameter = UNKNOWN
    temperature_classes: tuple[TemperatureRow, ...] = ()
    ambient_min_c: Parameter = UNKNOWN
    isolated_from_earth: bool | None = None
    certificate: Certificate | None = None
    simple: Simple | None = None
    needs: Needs | None = None
    series_resistance_ohm: Decimal | None = None
    voltage_drop_v: Decimal | None = None
    epl: Epl | None = None


@dataclass(frozen=True, slots=True)
class Cable:
    """One run. Per-length values are for the loop unless ``per_core`` is set; without a value the default holds.

    ``conductor``: a name of :data:`loops.engine.conductors.LOOP_OHM_PER_M_BY_NAME`, for function alone.
    """

    name: str
    length_m: Parameter = UNKNOWN
    capacitance_f_per_m: Parameter = UNKNOWN
    core_core_f_per_m: Parameter = UNKNOWN
    core_screen_f_per_m: Parameter = UNKNOWN
    screen: Screen | None = None
    inductance_h_per_m: Parameter = UNKNOWN
    inductance_per_core: bool = False
    inductance_per_resistance_h_per_ohm: Parameter = UNKNOWN
    resistance_ohm_per_m: Parameter = UNKNOWN
    resistance_per_core: bool = False
    strand_diameter_m: Parameter = UNKNOWN
    insulation_thickness_m: Parameter = UNKNOWN
    test_voltage_v: Parameter = UNKNOWN
    type: CableType | None = None
    role: CableRole = CableRole.TRUNK
    conductor: str | None = None


@dataclass(frozen=True, slots=True)
class Area:
    """Where the devices stand. ``temperature_c``: the highest surface temperature that the area permits."""

    zone: str | None = None
    division: str | None = None
    material_class: str | None = None
    group: Group | None = None
    temperature_class: str | None = None
    temperature_c: Decimal | None = None
    ambient_min_c: Parameter = UNKNOWN
    ambient_max_c: Parameter = UNKNOWN


@dataclass(frozen=True, slots=True)
class Terminator:
    """A line terminator of a fieldbus segment: ohm and F."""

    resistance_ohm: Parameter = UNKNOWN
    capacitance_f: Parameter = UNKNOWN


@dataclass(frozen=True, slots=True)
class Case:
    """One circuit. ``cables`` is ``None`` when nobody has said which runs there are; ``()`` says that there is none."""

    sources: tuple[Source, ...]
    devices: tuple[Device, ...] = ()
    cables: tuple[Cable, ...] | None = None
    name: str = ""
    basis: Basis = Basis.IEC
    area: Area = field(default_factory=Area)
    safe_area_ambient_min_c: Parameter = UNKNOWN
    safe_area_ambient_max_c: Parameter = UNKNOWN
    safe_area_voltage_max_v: Parameter = UNKNOWN
    interconnection: Interconnection = Interconnection.UNDEFINED
    load_resistance_ohm: Parameter = UNKNOWN
    judge_on: date | None = None
    fieldbus: Fieldbus | None = None
    terminators: tuple[Terminator, ...] = ()
    accepted_schemes: tuple[str, ...] | None = None
