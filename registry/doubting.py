"""The plausibility rules, applied to records of the register."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

from django.db import models
from django.utils.translation import gettext as _

from registry import plausibility
from registry.certificate_numbers import CertificateNumber, parse_certificate_number
from registry.fields import reading
from registry.marked import epls_of, lower_epl
from registry.marking import Marking, MarkingError, parse_markings
from registry.models import CableType, Certificate, Equipment, EquipmentKind, Scheme, Terminals
from registry.models.base import Record
from registry.models.equipment import EPLS
from registry.number_forms import fits
from registry.parameters import PARAMETERS
from registry.plausibility import Doubt, Number
from registry.standards import read_standards


def doubts(record: Record) -> list[Doubt]:
    """What looks wrong in a record, each with the place it is about; nothing for kinds without rules."""
    if isinstance(record, Equipment):
        found = list(doubts_of_marking(record))
        for terminals in record.terminals.all():
            found += [replace(doubt, place=f"Terminals {terminals.name}") for doubt in doubts_of_terminals(terminals)]
        return found
    if isinstance(record, Certificate):
        return list(doubts_of_number(record))
    if isinstance(record, CableType):
        return list(plausibility.doubts_of_cable(values(record)))
    return []


def doubts_of_terminals(terminals: Terminals) -> Iterator[Doubt]:
    """What looks wrong in one set of terminals and its permitted values."""
    rows = list(terminals.permitted.all())
    if terminals.side == Terminals.Side.SOURCE:
        permitted = tuple(plausibility.Permitted(row.group, si(row, "co_f"), si(row, "lo_h")) for row in rows)
        yield from plausibility.doubts_of_output(
            plausibility.Output(
                uo_v=si(terminals, "uo_v"),
                io_a=si(terminals, "io_a"),
                po_w=si(terminals, "po_w"),
                ro_ohm=si(terminals, "ro_ohm"),
                characteristic=terminals.output,
                level=terminals.level,
                permitted=permitted,
            )
        )
    open_rows = [row for row in terminals.temperature_classes.all() if not row.ambient_max_degc_text]
    if open_rows and terminals.ambient_max_degc_text:
        yield Doubt(
            "temperature_classes",
            _("The class %(name)s has no Ta max in its row: loops with it stay incomplete until it is typed there.")
            % {"name": open_rows[0].temperature_class},
        )
    if terminals.certificate and terminals.certificate.suffix == "U":
        yield Doubt(
            "certificate",
            (
                _("%(number)s is a component certificate (U): every loop refuses it for use on its own.")
                % {"number": terminals.certificate.number}
            ),
        )
    sizes = values(terminals)
    sizes.pop("um_v")  # of the safe area: 250 V and more is common there
    yield from plausibility.doubts_of_size(sizes)
    for row in rows:
        by_table = plausibility.table_capacitance(row.group, si(terminals, "uo_v"), terminals.level) is not None
        for doubt in plausibility.doubts_of_size(values(row)):
            # At a few volts 1000 µF are permitted: where the table says, it has judged Co already.
            if doubt.column != "co_f" or not by_table:
                yield replace(doubt, text=f"For {row.group}, {doubt.text}")


def doubts_of_marking(equipment: Equipment) -> Iterator[Doubt]:
    """Where the marking says otherwise than level and group of the terminals."""
    if not equipment.marking.strip() or equipment.kind == EquipmentKind.SIMPLE_APPARATUS:
        return
    try:
        markings = parse_markings(equipment.marking)
    except MarkingError as error:
        yield Doubt(
            "marking", (_("The Ex marking is not understood and was not compared. %(error)s") % {"error": error})
        )
        return
    for terminals in equipment.terminals.all():
        gives = terminals.side == Terminals.Side.SOURCE
        levels = {marking.source_level if gives else marking.device_level for marking in markings} - {""}
        place = _("Terminals %(name)s") % {"name": terminals.name}
        if terminals.level and levels and terminals.level not in levels:
            named = " and ".join(sorted(levels))
            yield Doubt(
                "level",
                (
                    _("The level %(level)s is not that of the marking, %(named)s.")
                    % {"level": terminals.level, "named": named}
                ),
                place,
            )
        for column, names in EPLS.items():
            typed = getattr(terminals, column)
            stated = {epl for marking in markings for epl in epls_of(marking, gives) if epl in names}
            if typed and stated and typed not in stated:
                yield Doubt(
                    column,
                    (
                        _("The EPL %(typed)s is not that of the marking, %(stated)s.")
                        % {"typed": typed, "stated": " and ".join(sorted(stated))}
                    ),
                    place,
                )
            epl = lower_epl(equipment.marking, gives, terminals.level, "".join({name[0] for name in names}))
            if epl and not typed:
                yield Doubt(
                    column,
                    (
                        _(
                            "The EPL of the marking is %(epl)s, lower than the level %(level)s earns, and none is "
                            "typed here: loops are judged by %(epl)s. Type the one that holds."
                        )
                        % {"epl": epl, "level": terminals.level}
                    ),
                    place,
                )
        groups = groups_of(markings, gives)
        for column in ("gas_group", "dust_group"):
            group = getattr(terminals, column)
            alike = {name for name in groups if name.startswith("III") == (column == "dust_group")}
            if group and alike and group not in alike:
                named = " and ".join(sorted(alike))
                yield Doubt(
                    column,
                    (
                        _("The group %(group)s is not that of the marking, %(named)s.")
                        % {"group": group, "named": named}
                    ),
                    place,
                )


def groups_of(markings: tuple[Marking, ...], gives: bool) -> set[str]:
    """The groups that markings name for one side of an intrinsically safe circuit."""
    found: set[str] = set()
    for marking in markings:
        found |= set(marking.hazard_groups)
        own = [set(part.groups) for part in marking.associated if part.groups]
        found |= set().union(*own) if gives and own else set(marking.groups)
    return found


def doubts_of_number(certificate: Certificate) -> Iterator[Doubt]:
    """Where the number of a certificate names another scheme, or does not have the form of its scheme; what the scheme
    or the number asks for and nobody gave."""
    scheme = Scheme.objects.filter(name=certificate.scheme).first()
    number: CertificateNumber | None = None
    with suppress(MarkingError):
        number = parse_certificate_number(certificate.number)
    if number and number.scheme.casefold() != certificate.scheme.strip().casefold():
        yield Doubt(
            "scheme",
            (
                _("The number is one of %(scheme)s, the scheme says %(scheme2)s.")
                % {"scheme": number.scheme, "scheme2": certificate.scheme}
            ),
        )
    elif scheme and scheme.number_form and not fits(scheme.number_form, certificate.number):
        yield Doubt(
            "number",
            (
                _(
                    "The number does not have the form of %(name)s, for example %(number_example)s: compare "
                    "it with the paper."
                )
                % {"name": scheme.name, "number_example": scheme.number_example}
            ),
        )
    if scheme and scheme.needs_control_drawing and not certificate.control_drawing.strip():
        yield Doubt(
            "control_drawing",
            (_("%(name)s works by control drawings: give its number and revision.") % {"name": scheme.name}),
        )
    for standard in read_standards(certificate.standards):
        if not standard.edition:
            yield Doubt(
                "standards",
                (
                    _("%(name)s is named without its edition: add the year, for example :2011.")
                    % {"name": standard.name}
                ),
            )
    if certificate.suffix == "X" and not certificate.specific_conditions.strip():
        yield Doubt(
            "specific_conditions",
            _("The number ends in X: copy the specific conditions of use from the certificate, one a line."),
        )


def values(record: models.Model) -> dict[str, tuple[Number, plausibility.Kind, str]]:
    """All quantities of a record: column -> (SI value, kind, symbol or words)."""
    return {
        parameter.column: (si(record, parameter.column), parameter.kind, parameter.short)
        for parameter in PARAMETERS
        if parameter.model is type(record)
    }


def si(record: models.Model, column: str) -> Number:
    """The exact SI value of a quantity, None where it is unknown or not stated."""
    return reading(record, column).value_si
