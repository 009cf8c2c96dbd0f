"""How values of the register are put into words and cells for pages."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django.db import models
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.fields import QuantityField
from registry.lengths import in_feet, is_imperial
from registry.models import Certificate, CertificateStatus, HazardousArea, PermittedRow, TemperatureRow, Terminals
from registry.models.schemes import LEAD_DAYS
from registry.parameters import PARAMETERS, Parameter, shown
from registry.quantities import NOT_STATED, Kind, QuantityError, read
from registry.signs import plain_signs, with_signs

CERTIFICATE_NAME = re.compile(r"(?P<number>.+) issue (?P<issue>\d+)")


def name_of(record: Any) -> str:
    """A record by its name; a certificate, also by its stored name, says "issue" in the language of the page."""
    if isinstance(record, HazardousArea):
        return f"{record.name} ({with_signs(record.classification)})"
    found = CERTIFICATE_NAME.fullmatch(str(record)) if isinstance(record, Certificate | str) else None
    return _("%(number)s issue %(issue)s") % found.groupdict() if found else str(record)


def quantity(record: models.Model, parameter: Parameter) -> dict[str, Any]:
    """One parameter of a record for a page: symbol, words, state, value as read and text as typed.

    `value` is "unknown" or "not stated" in those two states, so that no state is told by an empty cell.
    """
    column = record._meta.get_field(parameter.column)
    assert isinstance(column, QuantityField)
    typed = getattr(record, column.text_name)
    value_si = getattr(record, parameter.column)
    if typed and typed != NOT_STATED:
        value_si = exact(typed, column, value_si)
    state = "value" if value_si is not None else NOT_STATED if typed == NOT_STATED else "unknown"
    text = shown(value_si, column.kind) if value_si is not None else _(state)
    return {
        "parameter": parameter,
        "symbol": parameter.symbol,
        "label": parameter.short,
        "words": parameter.words,
        "state": state,
        "value": text,
        "typed": "" if state != "value" or same_text(typed, text) else typed,
    }


def same_text(typed: str, text: str) -> bool:
    """Whether a typed quantity reads as it is shown: spaces and the spelling of the unit's signs aside.

    A point is one in every language; a comma is the decimal mark only where the language shows one.
    """
    one, other = ("".join(plain_signs(each).split()) for each in (typed, text))
    return one in (other, other.replace(",", "."))


def told(typed: str, value_si: Decimal, kind: Kind) -> str:
    """How a typed quantity was read, for an echo: a length that was typed in feet and the like in both.

    >>> told("100 ft", Decimal("30.48"), Kind.LENGTH), told("0.3 km", Decimal(300), Kind.LENGTH)
    ('100 ft = 30.48 m', '300 m')
    """
    words = shown(value_si, kind)
    return f"{in_feet(value_si)} = {words}" if is_imperial(typed, kind) else words


def exact(typed: str, column: QuantityField, stored: Any) -> Any:
    """The exact value of the typed text; a column on SQLite keeps 15 digits of it."""
    try:
        return read(typed, column.kind)
    except QuantityError:
        return stored


def quantities(record: models.Model, sections: Iterable[str], only_known: bool = False) -> list[dict[str, Any]]:
    """The parameters of a record in some sections, in the order of registry.parameters."""
    wanted = set(sections)
    found = [
        quantity(record, parameter)
        for parameter in PARAMETERS
        if parameter.model is type(record) and parameter.section in wanted
    ]
    return [item for item in found if item["state"] != "unknown"] if only_known else found


def first_looked_for(*columns: str) -> tuple[Parameter, ...]:
    return tuple(item for item in PARAMETERS if item.model is Terminals and item.column in columns)


GIVEN, TAKEN = first_looked_for("uo_v", "io_a", "po_w"), first_looked_for("ui_v", "ii_a", "pi_w")


def short_parameters(terminals: Terminals) -> str:
    """The values one looks for first, in one line: "Uo 28 V · Io 93 mA · Po 0.65 W"."""
    if terminals.simple_kind:
        known = [f"{item['label']} {item['value']}" for item in quantities(terminals, ["device"], only_known=True)]
        return " · ".join([terminals.get_simple_kind_display().lower(), *known])
    first = GIVEN if terminals.side == Terminals.Side.SOURCE else TAKEN
    return " · ".join(f"{item.symbol} {quantity(terminals, item)['value']}" for item in first)


def terminals_sections(terminals: Terminals) -> list[dict[str, Any]]:
    """What a detail page shows of one set of terminals: titled lists of parameters.

    The values of its own side are shown in all three states; others only where somebody typed something.
    """
    gives = terminals.side == Terminals.Side.SOURCE
    simple = bool(terminals.simple_kind)
    wanted = [
        ("source", _("Output values"), gives),
        ("device", _("Input values"), not gives),
        ("supply", _("In normal operation"), gives),
        ("needs", _("In normal operation"), not gives and not simple),
        ("simple", _("As simple apparatus"), simple),
        ("ambient", _("Ambient temperature"), True),
    ]
    found = []
    for section, title, own_side in wanted:
        items = quantities(terminals, [section], only_known=not own_side)
        if section == "source" and terminals.output != Terminals.Output.TRAPEZOIDAL:
            items = [item for item in items if item["parameter"].column != "uq_v" or item["state"] != "unknown"]
        if section == "needs":
            own = Terminals.NEEDS.get(Terminals.NeedsKind(terminals.needs_kind or "two_wire"), ())
            items = [item for item in items if item["parameter"].column in own or item["state"] != "unknown"]
        if items and (section in {"source", "device"} or any(item["state"] != "unknown" for item in items)):
            found.append({"title": title, "items": items})
    return found


def permitted_cells(row: PermittedRow) -> dict[str, Any]:
    """A row of permitted values for a page."""
    return {"row": row, "cells": quantities(row, ["permitted"])}


def temperature_cells(row: TemperatureRow) -> dict[str, Any]:
    """A row of the temperature-class table for a page."""
    ambient, *limits = quantities(row, ["classes"])
    return {"row": row, "ambient": ambient["value"], "limits": [item for item in limits if item["state"] != "unknown"]}


def span(days: int) -> str:
    """A number of days in words people use."""
    if days == 0:
        return _("today")
    if days < 60:
        return ngettext("%(days)s day", "%(days)s days", days) % {"days": days}
    if days < 730:
        return _("%(months)s months") % {"months": days // 30}
    return _("%(years)s years") % {"years": days // 365}


def day(value: dt.date) -> str:
    """A date as pages write it: 3 Mar 2027, or as the language has it."""
    return date_format(value, "DATE_FORMAT")


def end_words(certificate: Certificate, today: dt.date) -> str:
    """How the end date of a certificate stands on a day, in words. The last day itself is still valid."""
    end = certificate.valid_to
    if end is None:
        return _("No end date")
    days = (end - today).days
    if days < 0:
        return _("Ran out %(days)s ago, on %(end)s: no longer valid for new supply") % {
            "days": span(-days),
            "end": day(end),
        }
    if days == 0:
        return _("Ends today, %(end)s, the last day of validity for new supply") % {"end": day(end)}
    return _("Valid for new supply until %(end)s, %(days)s from now") % {"end": day(end), "days": span(days)}


def end_state(certificate: Certificate, today: dt.date, leads: Sequence[int] = LEAD_DAYS) -> str:
    """ "none", "run out", "soon" once the first lead time of its scheme is reached, or "later"."""
    if certificate.valid_to is None:
        return "none"
    if certificate.has_run_out(today):
        return "run out"
    return "soon" if (certificate.valid_to - today).days <= max(leads) else "later"


def status_state(certificate: Certificate) -> str:
    """The name under which components/state.html draws the status; "" for current."""
    return "" if certificate.status == CertificateStatus.CURRENT else certificate.status
