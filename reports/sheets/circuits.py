"""One circuit of a sheet, from its part of the snapshot, its case document, its result and the pinned revisions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from loops.casefile import CaseError
from loops.services.curves import Curves, curves_of_document
from loops.services.tables import Tables
from registry.conditions import numbered_conditions
from registry.models import Revision
from registry.quantities import Kind, QuantityError, read, write
from reports.diagrams import plan_of_circuit
from reports.sheets import words
from reports.sheets.content import (
    Cable,
    Cell,
    Check,
    Circuit,
    Confirmed,
    Device,
    Justification,
    Paper,
    Permitted,
    Place,
    Source,
)

Content = Mapping[str, Any]
Pinned = Mapping[int, Revision]
SOURCE_VALUES = ("Uo", "Io", "Po", "Uq", "Ro", "um")
DEVICE_VALUES = ("Ui", "Ii", "Pi", "Ci", "Li")
NEEDED_VALUES = {
    "voltage_min": "needs",
    "voltage_min_at_4mA": "needs at 4 mA",
    "current_max": "draws up to",
    "pull_in_current": "pulls in at",
    "coil_resistance": "coil",
    "coil_temperature_max": "coil up to",
}
SUPPLY_VALUES = {
    "voltage": "open-circuit",
    "voltage_at_20mA": "at 20 mA",
    "resistance": "end to end",
    "hart_resistance": "for HART",
}
CONSTRUCTION = {"strand_diameter": "strand", "insulation_thickness": "insulation", "test_voltage": "test"}
FROM_MEMORY = "\u2020"
"""Stands behind a clause that is given from memory; a line below the checks says so."""
PER_LENGTH = ("C", "L", "L_R", "R")


def circuit_content(
    circuit: Content,
    document: Content,
    result: Content,
    pinned: Pinned,
    drawings: Mapping[int, str],
    confirmations: tuple[Confirmed, ...] = (),
) -> Circuit:
    """All that the sheet says of one circuit."""
    checks = sorted(result.get("checks", []), key=lambda row: words.ORDER.index(row["verdict"]))
    function = result.get("function") or {}
    return Circuit(
        name=circuit["name"],
        verdict=result["verdict"],
        word=words.VERDICTS[result["verdict"]],
        system=system_words(result.get("system") or {}),
        plan=plan_of_circuit(circuit, document, result),
        places=places(circuit, document, result, pinned, drawings),
        sources=tuple(source(row) for row in document.get("sources", [])),
        devices=tuple(device(row, circuit) for row in document.get("devices", [])),
        papers=tuple(paper(row, pinned) for row in circuit["members"]),
        cables=tuple(
            cable(row, run, document) for row, run in zip(document.get("cables", []), circuit["cables"], strict=True)
        ),
        segment="FISCO segment" if document.get("fisco") else "2-WISE circuit" if document.get("two_wise") else "",
        terminators=tuple(
            f"{row['tag']}: {text_of(row['resistance_ohm']) or words.UNKNOWN}, "
            f"{text_of(row['capacitance_f']) or words.UNKNOWN}"
            for row in circuit.get("terminators", [])
        ),
        totals=totals(result),
        halved=bool(result.get("halved")),
        checks=tuple(check(row) for row in checks),
        longest=longest(result.get("max_length") or {}, document),
        function=function_rows(function, document),
        function_parts=tuple(function_part(row) for row in function.get("parts", [])),
        function_verdict=function.get("verdict", ""),
        function_word=words.FUNCTIONS.get(function.get("verdict", ""), "Not judged"),
        justifications=tuple(filter(None, (justification(row, pinned) for row in circuit["members"]))),
        confirmations=confirmations,
        wiring=wiring(document),
        earthing=earthing(document, result),
    )


def curves(document: Content, tables: Tables | None) -> Curves | None:
    """The ignition curves of the circuit with its working point; none for a segment or while a value is unknown."""
    try:
        return curves_of_document(document, tables)
    except CaseError:
        return None


def wiring(document: Content) -> tuple[str, ...]:
    """What the wiring has to be, beside the values of the checks (IEC 60079-14:2013, 16.2.2; from memory)."""
    if not document.get("cables"):
        return ()
    kinds = {words.SEPARATIONS.get(str(row.get("type", "")), "") for row in document["cables"]} - {""}
    european = "Strands at least 0.1 mm, insulation at least 0.2 mm, tested with 500 V a.c. to earth and screen."
    american = "Insulation as the control drawings ask for; cable without values has the defaults of ISA-RP12.06.01."
    return (
        american if document.get("basis") == "NEC" else european,
        f"Circuits in the cable: {', '.join(sorted(kinds))}." if kinds else "",
        "Kept apart from circuits that are not intrinsically safe: own cables or a partition, terminals at least 50 mm "
        "apart. Where a colour identifies the cable, it is light blue.",
    )


def earthing(document: Content, result: Content) -> tuple[str, ...]:
    """Where the circuit is earthed, as judged, and what the earth of a barrier has to be."""
    said = {True: "isolated from earth", False: "connected to earth", None: "not known whether isolated from earth"}
    places = [(row["name"], row.get("isolated")) for row in document.get("sources", [])]
    places += [(row["name"], row.get("isolated_from_earth")) for row in document.get("devices", [])]
    lines = [f"{tag}: {said[isolated]}." for tag, isolated in places]
    lines += [str(row["why"]) for row in result.get("checks", []) if row["id"] == "earthing" and row.get("why")]
    if any(row.get("isolated") is False for row in document.get("sources", [])):
        lines.append(
            "Earth of the source: one conductor of at least 4 mm2, or two of at least 1.5 mm2, less than 1 ohm to the "
            "earth point of the power system (IEC 60079-14:2013, 16.2.3, from memory)."
        )
    return tuple(dict.fromkeys(lines))


def class_words(row: Content) -> str:
    """A temperature class with what it holds up to: "T4 to 70 degC, Pi 0.5 W"."""
    reach = f"{row['class']} to {row['ambient_max']}" if row.get("ambient_max") else row["class"]
    return ", ".join([reach, *(f"{symbol} {row[symbol]}" for symbol in ("Pi", "Ii") if row.get(symbol))])


def system_words(system: Content) -> str:
    """`Ex ia IIC, EPL Ga`: what the circuit as a whole earns; empty while a part is unknown."""
    marks = " ".join(part for part in (system.get("level"), system.get("group")) if part)
    return ", ".join(part for part in (f"Ex {marks}" if marks else "", epl(system)) if part)


def epl(system: Content) -> str:
    return f"EPL {system['epl']}" if system.get("epl") else ""


def terminals_of(member: Content, pinned: Pinned) -> Content:
    """The pinned content of a member's terminals."""
    equipment = pinned[member["equipment_revision"]["id"]].snapshot
    found: Content = next(row for row in equipment["terminals"] if row["id"] == member["terminals"]["id"])
    return found


def text_of(reading: Content | None) -> str:
    """The typed text of a snapshot's quantity; empty where it is unknown."""
    return str(reading["text"]) if reading else ""


def verdict_of(result: Content, check_id: str, tag: str) -> str:
    """The worst verdict of the checks of one kind that name an item."""
    found = [
        row["verdict"]
        for row in result.get("checks", [])
        if row["id"] == check_id and tag in row["subject"].split(" -> ")
    ]
    return min(found, key=words.ORDER.index, default="")


def places(
    circuit: Content, document: Content, result: Content, pinned: Pinned, drawings: Mapping[int, str]
) -> tuple[Place, ...]:
    """First what the areas ask for, then what each item offers, with the verdict that compares the two."""
    area = document.get("area") or {}
    known = {row["name"]: row for rows in ("sources", "devices") for row in document.get(rows, [])}
    needed = [row["limit"] for row in result.get("checks", []) if row["id"] == "level" and row["limit"]]
    named = list(dict.fromkeys(drawings[key] for key in area_keys(circuit) if drawings.get(key)))
    zone = f"Zone {area['zone']}" if area.get("zone") else ""
    if area.get("division"):
        zone = f"Class {area.get('class', '')}, Division {area['division']}"
    where = ", ".join([zone, *(f"drawing {name}" for name in named)])
    rows = [
        Place(
            "Area",
            where,
            Cell(str(needed[0]) if needed else ""),
            Cell(area.get("group", "")),
            Cell(area.get("temperature_class", "")),
            Cell(span(area.get("ambient_min", ""), area.get("ambient_max", ""))),
        )
    ]
    for member in circuit["members"]:
        values, terminals = known.get(member["tag"], {}), terminals_of(member, pinned)

        def judged(text: str, check_id: str, tag: str = member["tag"]) -> Cell:
            return Cell(text or "–", verdict_of(result, check_id, tag))

        group = values.get("group") or "/".join(filter(None, (terminals["gas_group"], terminals["dust_group"])))
        classes = [class_words(row) for row in values.get("temperature_classes", [])]
        low, high = text_of(terminals["ambient_min_degc"]), text_of(terminals["ambient_max_degc"])
        rows.append(
            Place(
                member["tag"],
                member["area"]["name"] if member["area"] else "Safe area",
                judged(", EPL ".join(filter(None, (values.get("level"), values.get("epl")))), "level"),
                judged(group, "group"),
                judged("; ".join(classes), "temperature_class"),
                judged(span(low, high), "ambient"),
            )
        )
    return tuple(rows)


def area_keys(circuit: Content) -> list[int]:
    return [member["area"]["id"] for member in circuit["members"] if member["area"]]


def span(low: str, high: str) -> str:
    """`-20 degC to 40 degC`, or the end that is known."""
    if low and high:
        return f"{low} to {high}"
    return f"from {low}" if low else f"to {high}" if high else ""


def source(row: Content) -> Source:
    values = [("Um" if name == "um" else name, row.get(name, words.UNKNOWN)) for name in SOURCE_VALUES]
    values = [(name, text) for name, text in values if name != "Uq" or "Uq" in row]
    if supply := row.get("supply"):
        values += [(label, supply[key]) for key, label in SUPPLY_VALUES.items() if key in supply]
    isolated = row.get("isolated")
    values.append(("earth", words.UNKNOWN if isolated is None else "isolated" if isolated else "earthed"))
    return Source(
        tag=row["name"],
        terminals=row.get("terminals", ""),
        output=words.OUTPUTS.get(row.get("output", ""), words.UNKNOWN),
        values=tuple(values),
        permitted=tuple(
            Permitted(
                group=item["group"],
                co=item.get("Co", words.UNKNOWN),
                lo=item.get("Lo", words.UNKNOWN),
                lo_ro=item.get("Lo_Ro", words.UNKNOWN),
                together=bool(item.get("together")),
            )
            for item in row.get("permitted", [])
        ),
    )


def device(row: Content, circuit: Content) -> Device:
    member = next((item for item in circuit["members"] if item["tag"] == row["name"]), None)
    simple = row.get("kind") == "simple"  # which has no certified input values
    values = [
        (name, row.get(name, words.UNKNOWN)) for name in DEVICE_VALUES if name in row or not simple or name[0] in "CL"
    ]
    if needs := row.get("needs"):
        values += [(label, needs[key]) for key, label in NEEDED_VALUES.items() if key in needs]
    isolated = row.get("isolated_from_earth")
    values.append(("earth", words.UNKNOWN if isolated is None else "isolated" if isolated else "earthed"))
    role = {"simple": "simple apparatus", "uncertified": "no certificate", "component": "component certificate"}.get(
        row.get("kind", ""), "inline item" if member and member["role"] == "inline" else "field device"
    )
    return Device(row["name"], terminals_name(member), role, tuple(values))


def terminals_name(member: Content | None) -> str:
    """The marking of the terminals: what follows the equipment in the stored name."""
    return str(member["terminals"]["name"]).rpartition(", ")[2] if member else ""


def paper(member: Content, pinned: Pinned) -> Paper:
    equipment = pinned[member["equipment_revision"]["id"]]
    content = equipment.snapshot
    shared = {
        "tag": member["tag"],
        "equipment": f"{content['maker']} {content['type_name']}",
        "marking": content["marking"],
        "made_on": member["made_on"] or "",
    }
    pin = member["certificate_revision"]
    if not pin:
        return Paper(**shared, register_revision=str(equipment.number))
    row = pinned[pin["id"]].snapshot
    return Paper(
        **shared,
        register_revision=f"{equipment.number} / {pinned[pin['id']].number}",
        number=row["number"],
        issue=row["issue"],
        scheme=row["scheme"],
        status=row["status"],
        valid_to=row["valid_to"] or "",
        conditions=tuple(text for _, text in numbered_conditions(row["specific_conditions"])),
    )


def cable(row: Content, run: Content, document: Content) -> Cable:
    per_length = [(row.get(name, ""), "per core" if row.get(f"{name}_is") == "per_core" else "") for name in PER_LENGTH]
    if not per_length[0][0] and row.get("C_core_core"):
        per_length[0] = (row["C_core_core"], f"to core; {row.get('C_core_screen', '?')} to screen")
    length = row.get("length", "")
    return Cable(
        tag=row["name"],
        start=run["from_point"],
        end=run["to_point"],
        type_name=run["cable_type"]["name"] if run["cable_type"] else "",
        length=length or words.UNKNOWN,
        per_length=tuple(per_length),
        capacitance=over_length(length, row.get("C", ""), Kind.CAPACITANCE_PER_LENGTH, Kind.CAPACITANCE),
        inductance=over_length(
            length,
            row.get("L", ""),
            Kind.INDUCTANCE_PER_LENGTH,
            Kind.INDUCTANCE,
            2 if row.get("L_is") == "per_core" else 1,
        ),
        separation=words.SEPARATIONS.get(str(row.get("type", "")), ""),
        construction=", ".join(f"{label} {row[key]}" for key, label in CONSTRUCTION.items() if row.get(key)),
    )


def over_length(length: str, per_length: str, kind: Kind, total: Kind, cores: int = 1) -> str:
    """What a value per length comes to over a length, exact; empty where one of the two is not given."""
    try:
        value = read(length, Kind.LENGTH) * read(per_length, kind) * Decimal(cores)
        return write(value, total)
    except QuantityError:
        return ""


def totals(result: Content) -> tuple[tuple[str, str, str], ...]:
    """(quantity, on the circuit, permitted) for capacitance and inductance."""
    found = result.get("totals") or {}
    return tuple(
        (name, str(found.get(key) or words.UNKNOWN), str(found.get(f"{key}_permitted") or words.UNKNOWN))
        for name, key in (("Capacitance", "C"), ("Inductance", "L"))
        if found
    )


def check(row: Content) -> Check:
    relation = (row.get("relation") or "") if row.get("value") and row.get("limit") else ""
    value, cure = str(row.get("value") or ""), str(row.get("cure") or "")
    return Check(
        id=row["id"],
        name=(words.CHECKS | words.FUNCTION_PARTS).get(str(row["id"]), str(row["id"])),
        verdict=row["verdict"],
        word=words.VERDICTS[row["verdict"]],
        subject=row["subject"].replace(" -> ", " → "),
        value=words.SEPARATIONS.get(value, value) if row["id"] == "cable_type" else value,
        relation=words.RELATIONS.get(relation, relation),
        limit=str(row.get("limit") or ""),
        margin=words.percent(row.get("margin") or ""),
        reference=(row.get("reference") or "").replace(" (from memory)", FROM_MEMORY),
        why=str(row.get("why") or "").removesuffix(cure).rstrip(),
        cure=cure,
    )


def function_part(row: Content) -> Check:
    """One comparison of the function verdict as a row; what is not known says so."""
    value, limit = (row.get(key) or words.UNKNOWN for key in ("value", "limit"))
    return check({**row, "id": row["name"], "subject": "", "value": value, "limit": limit})


def longest(found: Content, document: Content) -> str:
    """How long the last run may become, in a sentence."""
    runs = document.get("cables") or []
    if not found or not runs:
        return ""
    name = runs[-1]["name"]
    if not found.get("length"):
        return f"Neither capacitance nor inductance limits the length of {name}."
    if found.get("limited_by") == "none":
        return f"{name} may be at most {found['length']} long by the rules of a segment."
    return f"{name} may be at most {found['length']} long, limited by {found['limited_by']}; all else as given here."


def function_rows(function: Content, document: Content) -> tuple[tuple[str, str], ...]:
    """The voltage budget: what there is, what is needed, and what it was reckoned with."""
    whole = not function.get("parts")  # verdicts from before the parts were stored
    rows = [
        ("Voltage at the device", whole and function.get("voltage_at_device")),
        ("Voltage needed", whole and function.get("voltage_needed")),
        ("Load and series resistance", document.get("load_resistance")),
        ("Reason", whole and function.get("why")),
    ]
    return tuple((label, str(text)) for label, text in rows if text)


def justification(member: Content, pinned: Pinned) -> Justification | None:
    terminals = terminals_of(member, pinned)
    if not terminals["simple_kind"]:
        return None
    figures = {
        "voltage": "simple_v",
        "current": "simple_a",
        "power": "simple_w",
        "surface": "surface_m2",
        "thermal resistance": "thermal_k_per_w",
    }
    return Justification(
        tag=member["tag"],
        kind=words.SIMPLE[terminals["simple_kind"]],
        figures=", ".join(
            f"{label} {text_of(terminals[column])}" for label, column in figures.items() if terminals[column]
        ),
        text=terminals["justification"],
    )
