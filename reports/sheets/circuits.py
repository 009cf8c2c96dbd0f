"""One circuit of a sheet, from its part of the snapshot, its case document, its result and the pinned revisions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from loops.casefile import CaseError
from loops.services.curves import Curves, curves_of_document
from loops.services.runs import RunShare, shares_of
from loops.services.tables import Tables
from registry.conditions import numbered_conditions
from registry.models import CertificateStatus, Revision
from registry.quantities import Kind, write
from registry.stored import figures, said
from registry.words import lazily
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
    "voltage_min": lazily("needs"),
    "voltage_min_at_4mA": lazily("needs at 4 mA"),
    "current_max": lazily("draws up to"),
    "pull_in_current": lazily("pulls in at"),
    "coil_resistance": lazily("coil"),
    "coil_temperature_max": lazily("coil up to"),
}
SUPPLY_VALUES = {
    "voltage": lazily("open-circuit"),
    "voltage_at_20mA": lazily("at 20 mA"),
    "resistance": lazily("end to end"),
    "hart_resistance": lazily("for HART"),
}
CONSTRUCTION = {
    "strand_diameter": lazily("strand"),
    "insulation_thickness": lazily("insulation"),
    "test_voltage": lazily("test"),
}
FROM_MEMORY = "\u2020"
"""Stands behind a clause that is given from memory; a line below the checks says so."""
PER_LENGTH = ("C", "L", "L_R", "R")
DEFAULT = lazily("default")
"""Stands beside a value that nobody gave, so that the one of the basis counts."""


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
    shares = shares_of(document)
    return Circuit(
        name=circuit["name"],
        verdict=result["verdict"],
        word=words.VERDICTS[result["verdict"]],
        system=words.system_words(result.get("system") or {}),
        plan=plan_of_circuit(circuit, document, result),
        places=places(circuit, document, result, pinned, drawings),
        sources=tuple(source(row) for row in document.get("sources", [])),
        devices=tuple(device(row, circuit) for row in document.get("devices", [])),
        papers=tuple(paper(row, pinned) for row in circuit["members"]),
        cables=tuple(
            cable(row, run, shares.get(row["name"]))
            for row, run in zip(document.get("cables", []), circuit["cables"], strict=True)
        ),
        is_fisco=bool(document.get("fisco")),
        segment=_("FISCO segment")
        if document.get("fisco")
        else _("2-WISE circuit")
        if document.get("two_wise")
        else "",
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
        function_word=words.FUNCTIONS.get(function.get("verdict", ""), _("Not judged")),
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
    kinds = {str(words.SEPARATIONS.get(str(row.get("type", "")), "")) for row in document["cables"]} - {""}
    european = _("Strands at least 0.1 mm, insulation at least 0.2 mm, tested with 500 V a.c. to earth and screen.")
    american = _("Insulation as the control drawings ask for; cable without values has the defaults of ISA-RP12.06.01.")
    return (
        american if document.get("basis") == "NEC" else european,
        (_("Circuits in the cable: %(kinds)s.") % {"kinds": ", ".join(sorted(map(str, kinds)))}) if kinds else "",
        _(
            "Kept apart from circuits that are not intrinsically safe: own cables or a partition, terminals at least "
            "50 mm apart. Where a colour identifies the cable, it is light blue."
        ),
    )


def earthing(document: Content, result: Content) -> tuple[str, ...]:
    """Where the circuit is earthed, as judged, and what the earth of a barrier has to be."""
    known = {
        True: _("isolated from earth"),
        False: _("connected to earth"),
        None: _("not known whether isolated from earth"),
    }
    places = [(row["name"], row.get("isolated")) for row in document.get("sources", [])]
    places += [(row["name"], row.get("isolated_from_earth")) for row in document.get("devices", [])]
    lines = [f"{tag}: {known[isolated]}." for tag, isolated in places]
    lines += [said(str(row["why"])) for row in result.get("checks", []) if row["id"] == "earthing" and row.get("why")]
    if any(row.get("isolated") is False for row in document.get("sources", [])):
        lines.append(
            _(
                "Earth of the source: one conductor of at least 4 mm2, or two of at least 1.5 mm2, less than 1 ohm to "
                "the earth point of the power system (IEC 60079-14:2013, 16.2.3, from memory)."
            )
        )
    return tuple(dict.fromkeys(lines))


def terminals_of(member: Content, pinned: Pinned) -> Content:
    """The pinned content of a member's terminals."""
    equipment = pinned[member["equipment_revision"]["id"]].snapshot
    found: Content = next(row for row in equipment["terminals"] if row["id"] == member["terminals"]["id"])
    return found


def text_of(reading: Content | None) -> str:
    """The typed text of a snapshot's quantity; empty where it is unknown."""
    return said(str(reading["text"])) if reading else ""


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
        zone = _("Class %(area)s, Division %(area2)s") % {"area": area.get("class", ""), "area2": area["division"]}
    where = ", ".join([zone, *(_("drawing %(name)s") % {"name": name} for name in named)])
    rows = [
        Place(
            _("Area"),
            where,
            Cell(str(needed[0]) if needed else ""),
            Cell(area.get("group", "")),
            Cell(area.get("temperature_class", "")),
            Cell(words.span(area.get("ambient_min", ""), area.get("ambient_max", ""))),
        )
    ]
    for member in circuit["members"]:
        values, terminals = known.get(member["tag"], {}), terminals_of(member, pinned)

        def judged(text: str, check_id: str, tag: str = member["tag"]) -> Cell:
            return Cell(text or "–", verdict_of(result, check_id, tag))

        group = values.get("group") or "/".join(filter(None, (terminals["gas_group"], terminals["dust_group"])))
        classes = [words.class_words(row) for row in values.get("temperature_classes", [])]
        low, high = text_of(terminals["ambient_min_degc"]), text_of(terminals["ambient_max_degc"])
        rows.append(
            Place(
                member["tag"],
                member["area"]["name"] if member["area"] else _("Safe area"),
                judged(", EPL ".join(filter(None, (values.get("level"), values.get("epl")))), "level"),
                judged(group, "group"),
                judged("; ".join(classes), "temperature_class"),
                judged(words.span(low, high), "ambient"),
            )
        )
    return tuple(rows)


def area_keys(circuit: Content) -> list[int]:
    return [member["area"]["id"] for member in circuit["members"] if member["area"]]


def source(row: Content) -> Source:
    values = [("Um" if name == "um" else name, row.get(name, words.UNKNOWN)) for name in SOURCE_VALUES]
    values = [(name, text) for name, text in values if name != "Uq" or "Uq" in row]
    if supply := row.get("supply"):
        values += [(label, supply[key]) for key, label in SUPPLY_VALUES.items() if key in supply]
    isolated = row.get("isolated")
    values.append((_("earth"), words.UNKNOWN if isolated is None else _("isolated") if isolated else _("earthed")))
    return Source(
        tag=row["name"],
        terminals=row.get("terminals", ""),
        output=words.OUTPUTS.get(row.get("output", ""), words.UNKNOWN),
        values=tuple((name, figures(said(text))) for name, text in values),
        permitted=tuple(
            Permitted(
                group=item["group"],
                co=figures(said(item.get("Co", words.UNKNOWN))),
                lo=figures(said(item.get("Lo", words.UNKNOWN))),
                lo_ro=figures(said(item.get("Lo_Ro", words.UNKNOWN))),
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
    values.append((_("earth"), words.UNKNOWN if isolated is None else _("isolated") if isolated else _("earthed")))
    role = {
        "simple": _("simple apparatus"),
        "uncertified": _("no certificate"),
        "component": _("component certificate"),
    }.get(row.get("kind", ""), _("inline item") if member and member["role"] == "inline" else _("field device"))
    return Device(
        row["name"], terminals_name(member), role, tuple((name, figures(said(text))) for name, text in values)
    )


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
        status=str(CertificateStatus(row["status"]).label).lower(),
        valid_to=row["valid_to"] or "",
        conditions=tuple(text for _, text in numbered_conditions(row["specific_conditions"])),
    )


def cable(row: Content, run: Content, share: RunShare | None) -> Cable:
    per_core = {name for name in PER_LENGTH if row.get(name) and row.get(f"{name}_is") == "per_core"}
    per_length = [(row.get(name, ""), _("per core") if name in per_core else "") for name in PER_LENGTH]
    if not per_length[0][0] and row.get("C_core_core"):
        per_length[0] = (row["C_core_core"], (_("to core; %(row)s to screen") % {"row": row.get("C_core_screen", "?")}))
    if share and share.default_capacitance:
        per_length[0] = (write(share.capacitance_f_per_m, Kind.CAPACITANCE_PER_LENGTH), str(DEFAULT))
    if share and share.default_inductance:
        per_length[1] = (write(share.inductance_h_per_m, Kind.INDUCTANCE_PER_LENGTH), str(DEFAULT))
    return Cable(
        tag=row["name"],
        start=run["from_point"],
        end=run["to_point"],
        type_name=run["cable_type"]["name"] if run["cable_type"] else "",
        length=figures(row.get("length", "")) or words.UNKNOWN,
        per_length=tuple((figures(text), note) for text, note in per_length),
        capacitance=counted(share.capacitance_f, Kind.CAPACITANCE, share.default_capacitance) if share else "",
        inductance=counted(share.inductance_h, Kind.INDUCTANCE, share.default_inductance) if share else "",
        separation=words.SEPARATIONS.get(str(row.get("type", "")), ""),
        construction=", ".join(f"{label} {figures(row[key])}" for key, label in CONSTRUCTION.items() if row.get(key)),
    )


def counted(value: Decimal | None, kind: Kind, default: bool) -> str:
    """What a run counts with over its length; empty while its length is unknown."""
    if value is None:
        return ""
    shown = figures(write(value, kind))
    return f"{shown} ({DEFAULT})" if default else shown


def totals(result: Content) -> tuple[tuple[str, str, str], ...]:
    """(quantity, on the circuit, permitted) for capacitance and inductance; "" where the sum is not what is limited."""
    found = result.get("totals") or {}
    free = {row["id"] for row in result.get("checks", []) if row["verdict"] == "not_applicable"}
    return tuple(
        (
            name,
            figures(str(found.get(key) or words.UNKNOWN)),
            "" if check in free else figures(str(found.get(f"{key}_permitted") or words.UNKNOWN)),
        )
        for name, key, check in ((_("Capacitance"), "C", "capacitance"), (_("Inductance"), "L", "inductance"))
        if found
    )


def check(row: Content) -> Check:
    relation = (row.get("relation") or "") if row.get("limit") else ""
    open_value = words.UNKNOWN if row.get("limit") and row["verdict"] == "incomplete" else ""
    value, cure = str(row.get("value") or open_value), str(row.get("cure") or "")
    reference, memory = row.get("reference") or "", " (from memory)"
    return Check(
        id=row["id"],
        name=(words.CHECKS | words.FUNCTION_PARTS).get(str(row["id"]), str(row["id"])),
        verdict=row["verdict"],
        word=words.VERDICTS[row["verdict"]],
        of_circuit=row["subject"] == "circuit",
        subject=said(row["subject"].replace(" -> ", " → ")),
        value=str(words.SEPARATIONS.get(value) or said(value)) if row["id"] == "cable_type" else figures(said(value)),
        relation=words.RELATIONS.get(relation) or said(relation),
        limit=figures(said(str(row.get("limit") or ""))),
        margin=words.percent(row.get("margin") or ""),
        reference=said(reference.removesuffix(memory)) + (FROM_MEMORY if reference.endswith(memory) else ""),
        why=said(str(row.get("why") or "").removesuffix(cure).rstrip()),
        cure=said(cure),
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
        return _("Neither capacitance nor inductance limits the length of %(name)s.") % {"name": name}
    if found.get("limited_by") == "none":
        return _("%(name)s may be at most %(found)s long by the rules of a segment.") % {
            "name": name,
            "found": figures(found["length"]),
        }
    return _("%(name)s may be at most %(found)s long, limited by %(found2)s; all else as given here.") % {
        "name": name,
        "found": figures(found["length"]),
        "found2": said(found["limited_by"]),
    }


def function_rows(function: Content, document: Content) -> tuple[tuple[str, str], ...]:
    """The voltage budget: what there is, what is needed, and what it was reckoned with."""
    whole = not function.get("parts")  # verdicts from before the parts were stored
    rows = [
        (_("Voltage at the device"), whole and function.get("voltage_at_device")),
        (_("Voltage needed"), whole and function.get("voltage_needed")),
        (_("Load and series resistance"), document.get("load_resistance")),
        (_("Reason"), whole and said(function.get("why") or "")),
    ]
    return tuple((label, figures(str(text))) for label, text in rows if text)


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
            f"{said(label)} {text_of(terminals[column])}" for label, column in figures.items() if terminals[column]
        ),
        text=terminals["justification"],
    )
