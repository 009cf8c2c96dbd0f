"""The keys of a case document, and what each becomes in the engine.

One function for each object of the document. Missing keys are unknown; what cannot be true together is refused here.

Keys for function, all of which may be left out: ``devices[].needs`` with ``kind`` (``two_wire``, ``proximity_sensor``,
``solenoid``), ``hart``, ``pull_in_current``, ``coil_resistance`` and ``coil_temperature_max``;
``devices[].series_resistance`` and ``voltage_drop``; ``cables[].conductor`` (``1.5 mm2``, ``18 AWG``);
``sources[].supply.hart_resistance``. Further: ``accepted_schemes``, ``safe_area_ambient_min``, ``two_wise``,
``ambient_min`` and ``ambient_max`` of a source, ``Pi`` and ``Ii`` of a temperature row, ``epl`` of a source or device
where one is stated (``Ga Gb Gc Da Db Dc Ma Mb``; without it the level decides alone).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import TypeVar

from loops.casereader import LONGEST_NOTE, CaseError, Errors, Reader, shown
from loops.engine.case import (
    NOT_STATED,
    Area,
    Basis,
    Cable,
    CableRole,
    CableType,
    Case,
    Certificate,
    CertificateStatus,
    Device,
    DeviceKind,
    Epl,
    Fieldbus,
    Group,
    Interconnection,
    Level,
    Needs,
    NeedsKind,
    Output,
    Parameter,
    Permitted,
    Screen,
    Simple,
    SimpleKind,
    Source,
    Supply,
    TemperatureRow,
    Terminator,
)
from loops.engine.checks.temperature import CLASS_LIMIT_C
from loops.engine.conductors import LOOP_OHM_PER_M_BY_NAME
from registry.quantities import Kind, QuantityError, read

ZONES = ("0", "1", "2", "20", "21", "22")
DUST_CLASS = re.compile(r"T? ?(?P<temperature>[0-9].*)")
NEEDS_OF_KIND = {
    NeedsKind.TWO_WIRE: ("voltage_min", "current_max", "voltage_min_at_4mA", "hart"),
    NeedsKind.SOLENOID: ("pull_in_current", "coil_resistance", "coil_temperature_max"),
}
T = TypeVar("T")
Part = TypeVar("Part", Source, Device, Cable)


def read_case(document: object) -> Case:
    """The engine's input from a document; raises :class:`CaseError` that names every error."""
    if not isinstance(document, dict):
        raise CaseError({"": ["Write the case as one object in braces { }."]})
    errors = Errors()
    reader = Reader(document, "", errors)
    case = _case(reader)
    reader.finish()
    if errors.found:
        raise CaseError(errors.found)
    return case


def _case(reader: Reader) -> Case:
    basis = reader.choice("basis", Basis) or Basis.IEC
    sources = reader.many("sources", _source)
    if not sources and "sources" not in reader.errors.found:
        reader.error("sources", 'Name at least one source, for example [{"name": "S1", "Uo": "25.2 V"}].')
    devices = reader.many("devices", _device) or ()
    cables = reader.many("cables", _cable)
    if "cables" in reader.errors.found:
        cables = ()
    named_sources = _named(reader, "sources", sources or (), "source")
    named_devices = _named(reader, "devices", devices, "device")
    named_cables = None if cables is None else _named(reader, "cables", cables, "cable")
    area = reader.one("area", lambda inner: _area(inner, basis)) or Area()
    low = reader.quantity("safe_area_ambient_min", Kind.TEMPERATURE)
    high = reader.quantity("safe_area_ambient_max", Kind.TEMPERATURE)
    _refuse_reversed(reader, "safe_area_ambient_min", low, high)
    fisco, two_wise = reader.flag("fisco"), reader.flag("two_wise")
    if fisco and two_wise:
        reader.error("two_wise", "A circuit is FISCO or 2-WISE, not both: keep one of the two keys.")
    terminators = reader.many("terminators", _terminator) or ()
    if terminators and not (fisco or two_wise):
        reader.error(
            "terminators",
            'Terminators belong to a segment: write "fisco": true or "two_wise": true, or leave them out and give '
            "their capacitance as Ci of a device.",
        )
    return Case(
        sources=named_sources,
        devices=named_devices,
        cables=named_cables,
        name=reader.text("case", LONGEST_NOTE) or "",
        basis=basis,
        area=area,
        safe_area_ambient_min_c=low,
        safe_area_ambient_max_c=high,
        safe_area_voltage_max_v=reader.quantity("safe_area_voltage_max", Kind.VOLTAGE),
        interconnection=reader.choice("interconnection", Interconnection) or Interconnection.UNDEFINED,
        load_resistance_ohm=reader.quantity("load_resistance", Kind.RESISTANCE),
        judge_on=reader.day("judge_on"),
        fieldbus=Fieldbus.FISCO if fisco else Fieldbus.TWO_WISE if two_wise else None,
        terminators=terminators,
        accepted_schemes=reader.words("accepted_schemes"),
    )


def _area(reader: Reader, basis: Basis) -> Area:
    zone = reader.word("zone", ZONES)
    division = reader.word("division", ("1", "2"))
    material_class = reader.word("class", ("I", "II", "III"))
    for key, value in (("division", division), ("class", material_class)):
        if value is not None and basis is not Basis.NEC:
            reader.error(key, f'The key {key} belongs to "basis": "NEC"; give the zone instead.')
    name, limit = _area_temperature(reader)
    low, high = reader.quantity("ambient_min", Kind.TEMPERATURE), reader.quantity("ambient_max", Kind.TEMPERATURE)
    _refuse_reversed(reader, "ambient_min", low, high)
    return Area(zone, division, material_class, reader.choice("group", Group), name, limit, low, high)


def _area_temperature(reader: Reader) -> tuple[str | None, Decimal | None]:
    """A class, or the surface temperature that a dust area permits."""
    text = reader.text("temperature_class")
    if text is None:
        return None, None
    name = text.strip()
    if name in CLASS_LIMIT_C:
        return name, CLASS_LIMIT_C[name]
    try:
        return name, read(_surface_text(name), Kind.TEMPERATURE)
    except QuantityError:
        reader.error(
            "temperature_class",
            f"{shown(text)} is neither a class T1 to T6 nor a surface temperature: write T4, or 135 degC for dust.",
        )
        return None, None


def _surface_text(name: str) -> str:
    match = DUST_CLASS.fullmatch(name)
    return match["temperature"] if match else name


def _source(reader: Reader) -> Source:
    low, high = reader.quantity("ambient_min", Kind.TEMPERATURE), reader.quantity("ambient_max", Kind.TEMPERATURE)
    _refuse_reversed(reader, "ambient_min", low, high)
    output = reader.choice("output", Output)
    uq = reader.quantity("Uq", Kind.VOLTAGE)
    if isinstance(uq, Decimal) and output is not Output.TRAPEZOIDAL:
        reader.error("Uq", 'Uq belongs to "output": "trapezoidal"; correct the output or leave Uq out.')
    return Source(
        name=_name(reader),
        terminals=reader.text("terminals") or "",
        level=reader.choice("level", Level),
        output=output,
        isolated=reader.flag("isolated"),
        um_v=reader.quantity("um", Kind.VOLTAGE),
        uo_v=reader.quantity("Uo", Kind.VOLTAGE),
        uq_v=uq,
        io_a=reader.quantity("Io", Kind.CURRENT),
        po_w=reader.quantity("Po", Kind.POWER),
        ro_ohm=reader.quantity("Ro", Kind.RESISTANCE),
        permitted=_without_none(reader.many("permitted", _permitted)),
        certificate=reader.one("certificate", _certificate),
        supply=reader.one("supply", _supply),
        ambient_min_c=low,
        ambient_max_c=high,
        epl=reader.choice("epl", Epl),
    )


def _permitted(reader: Reader) -> Permitted | None:
    group = reader.choice("group", Group)
    if not reader.has("group"):
        reader.error("group", "Name the group that these values are permitted for, for example IIC.")
    co = reader.quantity("Co", Kind.CAPACITANCE)
    lo = reader.quantity("Lo", Kind.INDUCTANCE)
    ratio = reader.quantity("Lo_Ro", Kind.INDUCTANCE_PER_RESISTANCE)
    together = reader.flag("together") or False
    return None if group is None else Permitted(group, co, lo, ratio, together)


def _supply(reader: Reader) -> Supply:
    if reader.has("hart_resistance") and not reader.has("voltage_at_20mA"):
        reader.error(
            "hart_resistance", "An isolator that gives this states voltage_at_20mA too: add it, or leave this out."
        )
    return Supply(
        reader.quantity("voltage", Kind.VOLTAGE),
        reader.quantity("voltage_at_20mA", Kind.VOLTAGE),
        reader.quantity("resistance", Kind.RESISTANCE),
        reader.quantity("hart_resistance", Kind.RESISTANCE),
    )


def _certificate(reader: Reader) -> Certificate:
    number, scheme = reader.text("number"), reader.text("scheme")
    return Certificate(
        number.strip() if number else None,
        scheme.strip() or None if scheme else None,
        reader.choice("status", CertificateStatus),
        reader.day("valid_to"),
        reader.day("made_on"),
    )


def _device(reader: Reader) -> Device:
    kind = reader.choice("kind", DeviceKind) or DeviceKind.CERTIFIED
    simple = reader.one("simple", _simple)
    if simple is not None and kind is not DeviceKind.SIMPLE:
        reader.error("simple", 'Only a device of "kind": "simple" has this; correct the kind or leave it out.')
    return Device(
        name=_name(reader),
        kind=kind,
        level=reader.choice("level", Level),
        group=reader.choice("group", Group),
        ui_v=reader.quantity("Ui", Kind.VOLTAGE),
        ii_a=reader.quantity("Ii", Kind.CURRENT),
        pi_w=reader.quantity("Pi", Kind.POWER),
        ci_f=reader.quantity("Ci", Kind.CAPACITANCE),
        li_h=reader.quantity("Li", Kind.INDUCTANCE),
        temperature_classes=_without_none(reader.many("temperature_classes", _temperature_row)),
        ambient_min_c=reader.quantity("ambient_min", Kind.TEMPERATURE),
        isolated_from_earth=reader.flag("isolated_from_earth"),
        certificate=reader.one("certificate", _certificate),
        simple=simple,
        needs=reader.one("needs", _needs),
        series_resistance_ohm=reader.number("series_resistance", Kind.RESISTANCE),
        voltage_drop_v=reader.number("voltage_drop", Kind.VOLTAGE),
        epl=reader.choice("epl", Epl),
    )


def _temperature_row(reader: Reader) -> TemperatureRow | None:
    text = reader.text("class")
    reach = reader.quantity("ambient_max", Kind.TEMPERATURE)
    power = reader.quantity("Pi", Kind.POWER) if reader.has("Pi") else NOT_STATED
    current = reader.quantity("Ii", Kind.CURRENT) if reader.has("Ii") else NOT_STATED
    reader.asked |= {"Pi", "Ii"}
    if text is None:
        if not reader.has("class"):
            reader.error("class", "Name the class of this row, for example T4, or T135 degC for dust.")
        return None
    name = text.strip()
    if name in CLASS_LIMIT_C:
        return TemperatureRow(name, CLASS_LIMIT_C[name], False, reach, power, current)
    try:
        limit = read(_surface_text(name), Kind.TEMPERATURE)
    except QuantityError:
        reader.error("class", f"{shown(text)} is no class: write T1 to T6, or T135 degC for dust.")
        return None
    return TemperatureRow(name, limit, True, reach, power, current)


def _simple(reader: Reader) -> Simple:
    return Simple(
        reader.choice("kind", SimpleKind),
        reader.quantity("voltage", Kind.VOLTAGE),
        reader.quantity("current", Kind.CURRENT),
        reader.quantity("power", Kind.POWER),
        reader.quantity("surface_area", Kind.AREA),
        reader.quantity("thermal_resistance", Kind.THERMAL_RESISTANCE),
    )


def _needs(reader: Reader) -> Needs:
    kind = reader.choice("kind", NeedsKind) or NeedsKind.TWO_WIRE
    for owner, keys in NEEDS_OF_KIND.items():
        for key in keys:
            if owner is not kind and reader.has(key):
                reader.error(key, f'{key} belongs to "kind": "{owner.value}"; correct the kind or leave it out.')
    return Needs(
        reader.quantity("voltage_min", Kind.VOLTAGE),
        reader.quantity("current_max", Kind.CURRENT),
        reader.quantity("voltage_min_at_4mA", Kind.VOLTAGE),
        kind,
        reader.flag("hart") or False,
        reader.quantity("pull_in_current", Kind.CURRENT),
        reader.quantity("coil_resistance", Kind.RESISTANCE),
        reader.quantity("coil_temperature_max", Kind.TEMPERATURE),
    )


def _conductor(reader: Reader) -> str | None:
    """The name of a conductor as the engine knows it."""
    text = reader.text("conductor")
    if text is None:
        return None
    for name in LOOP_OHM_PER_M_BY_NAME:
        size, unit = name.split()
        if _same_conductor(text, size, unit):
            return name
    reader.error("conductor", f"{shown(text)} is no conductor known here: {', '.join(LOOP_OHM_PER_M_BY_NAME)}.")
    return None


def _same_conductor(text: str, size: str, unit: str) -> bool:
    if unit == "AWG":
        return re.fullmatch(rf"{size} ?AWG|AWG ?{size}", text.strip(), re.IGNORECASE) is not None
    try:
        return read(text, Kind.AREA) == read(f"{size} {unit}", Kind.AREA)
    except QuantityError:
        return False


def _cable(reader: Reader) -> Cable:
    capacitance = reader.quantity("C", Kind.CAPACITANCE_PER_LENGTH)
    core = reader.quantity("C_core_core", Kind.CAPACITANCE_PER_LENGTH)
    core_screen = reader.quantity("C_core_screen", Kind.CAPACITANCE_PER_LENGTH)
    screen = reader.choice("screen", Screen)
    if isinstance(core, Decimal) or isinstance(core_screen, Decimal):
        if isinstance(capacitance, Decimal):
            reader.error("C", "Give either C, or C_core_core with C_core_screen and screen, not both.")
        elif not (isinstance(core, Decimal) and isinstance(core_screen, Decimal) and screen is not None):
            reader.error(
                "C_core_core",
                'Give C_core_core, C_core_screen and screen ("isolated" or "on one core") together, or C alone.',
            )
    words = ("loop", "per_core")
    return Cable(
        name=_name(reader),
        length_m=reader.quantity("length", Kind.LENGTH),
        capacitance_f_per_m=capacitance,
        core_core_f_per_m=core,
        core_screen_f_per_m=core_screen,
        screen=screen,
        inductance_h_per_m=reader.quantity("L", Kind.INDUCTANCE_PER_LENGTH),
        inductance_per_core=reader.word("L_is", words) == "per_core",
        inductance_per_resistance_h_per_ohm=reader.quantity("L_R", Kind.INDUCTANCE_PER_RESISTANCE),
        resistance_ohm_per_m=reader.quantity("R", Kind.RESISTANCE_PER_LENGTH),
        resistance_per_core=reader.word("R_is", words) == "per_core",
        strand_diameter_m=reader.quantity("strand_diameter", Kind.LENGTH),
        insulation_thickness_m=reader.quantity("insulation_thickness", Kind.LENGTH),
        test_voltage_v=reader.quantity("test_voltage", Kind.VOLTAGE),
        type=reader.choice("type", CableType),
        role=reader.choice("role", CableRole) or CableRole.TRUNK,
        conductor=_conductor(reader),
    )


def _terminator(reader: Reader) -> Terminator:
    return Terminator(reader.quantity("R", Kind.RESISTANCE), reader.quantity("C", Kind.CAPACITANCE))


def _name(reader: Reader) -> str:
    name = (reader.text("name") or "").strip()
    if reader.has("name") and not name and reader.at("name") not in reader.errors.found:
        reader.error("name", "Write a name, or leave the key out.")
    return name


def _named(reader: Reader, key: str, parts: Iterable[Part], word: str) -> tuple[Part, ...]:
    """Parts of one list with a name each: a part without one is called by its place ("device 2").

    Every finding names its part, so two parts of one name would be mixed up: they are refused.
    """
    named = tuple(part if part.name else replace(part, name=f"{word} {n}") for n, part in enumerate(parts, 1))
    seen: set[str] = set()
    for index, part in enumerate(named):
        if part.name in seen:
            reader.errors.add(f"{key}.{index}.name", f"The name {shown(part.name)} is taken: give each part its own.")
        seen.add(part.name)
    return named


def _refuse_reversed(reader: Reader, key: str, low: Parameter, high: Parameter) -> None:
    if isinstance(low, Decimal) and isinstance(high, Decimal) and low > high:
        reader.error(key, "The lowest ambient is above the highest: swap the two.")


def _without_none(rows: tuple[T | None, ...] | None) -> tuple[T, ...]:
    return tuple(row for row in rows or () if row is not None)
