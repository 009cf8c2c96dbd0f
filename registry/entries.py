"""The readers of everything that the register takes in, from a page, the API or an import row."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import F, Q, Value
from django.db.models.functions import Concat
from django.utils.translation import gettext as _

from registry.models import (
    CableType,
    Certificate,
    Equipment,
    EquipmentKind,
    HazardousArea,
    PermittedRow,
    Scheme,
    Site,
    TemperatureRow,
    Terminals,
)
from registry.models.equipment import EPLS
from registry.models.schemes import read_lead_days
from registry.models.sites import USUAL_MONTHS
from registry.number_forms import NumberFormError, fits, read_form
from registry.quantities import Kind, QuantityError, read
from registry.reading import EntryForm, NamedField, ReadingField, RecordField, fields_of
from registry.stored import said
from registry.words import lazily

GAS_CLASSES = frozenset(
    {"T1", "T2", "T3", "T4", "T5", "T6"} | {f"T2{x}" for x in "ABCD"} | {f"T3{x}" for x in "ABC"} | {"T4A"}
)
Faults = Iterator[tuple[str, str]]


def read_temperature_class(text: str) -> str:
    """`T4`, `T2A`, or for dust `T135 degC` and `135 degC`; raises ValidationError."""
    compact = " ".join(text.split())
    if compact.upper() in GAS_CLASSES:
        return compact.upper()
    match = re.fullmatch(r"[Tt]?\s*([0-9]{1,3}(?:[.,][0-9]+)?)\s*(°\s?C|degC)", compact)
    if match:
        try:
            read(f"{match[1]} degC", Kind.TEMPERATURE)
        except QuantityError as error:
            raise ValidationError(said(str(error))) from error
        return f"{match[1]} degC"
    raise ValidationError(
        _("Give a temperature class, for example T4, or for dust the surface temperature, for example 135 degC.")
    )


def positive(cleaned: dict[str, Any], *names: str) -> Faults:
    """A value that cannot be zero in practice: a zero here would open every limit or close it without sense."""
    for name in names:
        reading = cleaned.get(name)
        if reading is not None and reading.value_si is not None and reading.value_si <= 0:
            yield name, _("This cannot be zero: give the value of the certificate, or leave it empty while unknown.")


def ordered(cleaned: dict[str, Any], low: str, high: str) -> Faults:
    """The lower end of a range may not lie above its upper end."""
    lower, upper = cleaned.get(low), cleaned.get(high)
    if (
        lower
        and upper
        and lower.value_si is not None
        and upper.value_si is not None
        and lower.value_si > upper.value_si
    ):
        yield (
            low,
            (
                _("The lowest ambient %(text)s is above the highest, %(text2)s: exchange or correct them.")
                % {"text": lower.text, "text2": upper.text}
            ),
        )


def foreign_needs(cleaned: dict[str, Any]) -> Faults:
    """What a device needs fits the way it works; where nothing is chosen it counts as a two-wire device."""
    chosen = cleaned["needs_kind"] or Terminals.NeedsKind.TWO_WIRE
    for kind, names in Terminals.NEEDS.items():
        for name in names:
            if kind != chosen and getattr(cleaned[name], "text", cleaned[name]):
                yield (
                    name,
                    (
                        _("This belongs to: %(label)s. Choose that under “works as”, or leave this empty.")
                        % {"label": kind.label}
                    ),
                )


def epl_too_high(cleaned: dict[str, Any]) -> Faults:
    """An EPL is at most what the level of protection earns: ia a, ib b, ic c (IEC 60079-0:2017, from memory)."""
    level, group = cleaned["level"], cleaned["gas_group"]
    for name in EPLS:
        epl = cleaned[name]
        if epl and cleaned["simple_kind"]:
            yield name, _("Simple apparatus has no EPL: leave this empty.")
        elif epl and level and epl[-1] < level[-1]:
            most = f"{epl[0]}{level[-1]}"
            yield (
                name,
                (
                    _(
                        "EPL %(epl)s is higher than %(most)s, the most that level %(level)s earns: correct one of "
                        "the two, or leave the EPL empty where two independent types of protection earn it "
                        "together."
                    )
                    % {"epl": epl, "most": most, "level": level}
                ),
            )
    mines = cleaned["gas_epl"][:1] == "M"
    if cleaned["gas_epl"] and group and mines != (group == "I"):
        yield (
            "gas_epl",
            (
                _(
                    "EPL %(cleaned)s does not go with group %(group)s: Ma and Mb are for group I, Ga to Gc "
                    "for the others."
                )
                % {"cleaned": cleaned["gas_epl"], "group": group}
            ),
        )


SCHEME = NamedField(
    lambda: Scheme.objects.all(),
    "name",
    offered=Q(archived_at=None),
    label="scheme",
    help_text=lazily("One that is missing is added under Certificates, Schemes."),
)
LEAD_DAYS_CURE = lazily(
    "Give at most eight whole numbers of days up to 3650, separated by commas, for example 180, 90, 30, 0."
)


class MonthsField(forms.IntegerField):
    """Months between two inspections; 0 where none of that grade is planned, the usual ones where nothing is said."""

    def __init__(self, label: str) -> None:
        super().__init__(required=False, min_value=0, max_value=120, label=label, help_text=MONTHS_HELP)
        self.error_messages["invalid"] = "Give a whole number of months, for example 36."

    def to_python(self, value: Any) -> int:
        found = super().to_python(value)
        return USUAL_MONTHS if found is None else found


MONTHS_HELP = lazily("0: none of this grade is planned. 36 is common practice.")
MONTHS = {
    "visual_months": lazily("months between visual inspections"),
    "close_months": lazily("months between close inspections"),
    "detailed_months": lazily("months between detailed inspections"),
}


class SiteEntry(EntryForm):
    """A site."""

    model = Site
    locals().update(fields_of(Site))
    locals().update({name: MonthsField(label) for name, label in MONTHS.items()})

    def clean_schemes(self) -> str:
        """The names as the table of schemes has them, each once."""
        names = [name for name in self.cleaned_data["schemes"].split(",") if name.strip()]
        return ", ".join(dict.fromkeys(SCHEME.to_python(name) for name in names))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        if not any(cleaned[name] for name in MONTHS):
            yield "detailed_months", _("Plan inspections of at least one grade: what is in use is inspected.")

    def clean_time_zone(self) -> str:
        name: str = self.cleaned_data["time_zone"]
        if name not in zoneinfo.available_timezones():
            raise ValidationError(_("Give a time zone by its name, for example Europe/Berlin or UTC."))
        return name


class SchemeEntry(EntryForm):
    """A scheme of certification."""

    model = Scheme
    locals().update(fields_of(Scheme))

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if "," in name:
            raise ValidationError(_("Leave out the comma: sites name their schemes with commas between them."))
        return name

    def clean_number_form(self) -> str:
        form: str = self.cleaned_data["number_form"]
        if form:
            try:
                read_form(form)
            except NumberFormError as error:
                raise ValidationError(said(str(error))) from error
        return form

    def clean_lead_days(self) -> str:
        try:
            days = read_lead_days(self.cleaned_data["lead_days"])
        except ValueError as error:
            raise ValidationError(LEAD_DAYS_CURE) from error
        if len(days) > 8 or any(not 0 <= number <= 3650 for number in days):
            raise ValidationError(LEAD_DAYS_CURE)
        return ", ".join(map(str, days))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        form, example = cleaned["number_form"], cleaned["number_example"]
        if form and not example:
            yield (
                "number_example",
                _("Give a number that has the form: it proves the form, and people see how it is meant."),
            )
        elif form and not fits(form, example):
            yield (
                "number_example",
                (
                    _("%(example)s does not have the form %(form)s: correct one of the two.")
                    % {"example": example, "form": form}
                ),
            )


class AreaEntry(EntryForm):
    """A hazardous area."""

    model = HazardousArea
    site = RecordField(lambda: Site.objects.filter(archived_at=None), "code", label="site")
    locals().update(fields_of(HazardousArea))

    def clean_temperature_class(self) -> str:
        return read_temperature_class(self.cleaned_data["temperature_class"])

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        zone, division = cleaned["zone"], cleaned["division"]
        if bool(zone) == bool(division):
            yield "zone", _("Give either a zone or a class with its division: exactly one of the two.")
        if bool(division) != bool(cleaned["nec_class"]):
            yield "nec_class", _("A division belongs to a class: give both, for example class I, division 1.")
        dust_place = zone in {"20", "21", "22"} or cleaned["nec_class"] in {"II", "III"}
        dust_group = cleaned["group"] in {"IIIA", "IIIB", "IIIC", "E", "F", "G"}
        if (zone or division) and dust_place != dust_group:
            fitting = _("IIIA, IIIB, IIIC or E, F, G") if dust_place else _("I, IIA, IIB, IIC or A, B, C, D")
            yield "group", (_("This place takes a group of %(fitting)s.") % {"fitting": fitting})
        by_code = cleaned["temperature_class"] in GAS_CLASSES
        # Under North American rules the T codes hold for dust too (NEC 500.8(C), from memory).
        if dust_place == by_code and (zone or division) and not (by_code and division):
            yield (
                "temperature_class",
                (
                    _("A dust area has a highest surface temperature, for example 135 degC.")
                    if dust_place
                    else _("A gas area has a temperature class, for example T4.")
                ),
            )
        yield from ordered(cleaned, "ambient_min_degc", "ambient_max_degc")


class CertificateEntry(EntryForm):
    """One issue of a certificate."""

    model = Certificate
    scheme = SCHEME
    locals().update({name: field for name, field in fields_of(Certificate).items() if name != "scheme"})

    def clean_number(self) -> str:
        number = " ".join(self.cleaned_data["number"].split())
        if not any(character.isdigit() for character in number):
            raise ValidationError(_("A certificate number has digits, for example EXA 21 ATEX 0101 X."))
        return number

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        if cleaned["issued_on"] and cleaned["valid_to"] and cleaned["valid_to"] < cleaned["issued_on"]:
            yield "valid_to", _("The certificate would end before it was issued: correct one of the two dates.")


class PermittedEntry(EntryForm):
    """Co, Lo, Lo/Ro permitted for one group."""

    model = PermittedRow
    locals().update(fields_of(PermittedRow))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        yield from positive(cleaned, "co_f", "lo_h", "lo_ro_h_per_ohm")


class TemperatureEntry(EntryForm):
    """One row of a device's temperature-class table."""

    model = TemperatureRow
    locals().update(fields_of(TemperatureRow))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        yield from positive(cleaned, "pi_w", "ii_a")

    def clean_temperature_class(self) -> str:
        return read_temperature_class(self.cleaned_data["temperature_class"])


class TerminalsEntry(EntryForm):
    """The parameters of one set of terminals."""

    model = Terminals
    children = {"permitted": PermittedEntry, "temperature_classes": TemperatureEntry}
    certificate = RecordField(
        lambda: Certificate.objects.filter(archived_at=None),
        Concat(F("number"), Value(" issue "), F("issue")),
        required=False,
        label="certificate",
    )
    locals().update(fields_of(Terminals))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        yield from positive(
            cleaned, "uo_v", "io_a", "po_w", "uq_v", "ui_v", "ii_a", "pi_w", "um_v", "pull_in_a", "coil_ohm"
        )
        yield from foreign_needs(cleaned)
        if cleaned["supply_hart_ohm"].text and not cleaned["supply_at_20ma_v"].text:
            yield (
                "supply_hart_ohm",
                _("An isolator that gives this states its voltage at 20 mA too: give both or neither."),
            )
        for name in ("series_ohm", "drop_v"):
            if cleaned[name].text and cleaned[name].value_si is None:
                yield (
                    name,
                    _("Give the value of the data sheet, or leave this empty: there is none to be stated or not."),
                )
        yield from ordered(cleaned, "ambient_min_degc", "ambient_max_degc")
        yield from epl_too_high(cleaned)
        if cleaned["side"] == Terminals.Side.SOURCE:
            if not cleaned["output"]:
                yield (
                    "output",
                    _("A source has an output characteristic: choose linear where the certificate says resistive."),
                )
            for name in ("ui_v", "ii_a", "pi_w"):
                if cleaned[name].text:
                    yield name, _("These terminals give energy: input values belong to a second set of terminals.")
        else:
            for name in ("uo_v", "io_a", "po_w"):
                if cleaned[name].text:
                    yield name, _("These terminals take energy: output values belong to a second set of terminals.")
            if children.get("permitted"):
                yield "permitted", _("Permitted values belong to terminals that give energy: remove these rows.")
        uo, uq = cleaned["uo_v"].value_si, cleaned["uq_v"].value_si
        if uo is not None and uq is not None and uq < uo:
            yield "uq_v", _("Uq of a trapezoidal output is at least Uo: correct one of the two.")


class EquipmentEntry(EntryForm):
    """An item of the register with all its sets of terminals."""

    model = Equipment
    children = {"terminals": TerminalsEntry}
    locals().update(fields_of(Equipment))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        rows = children.get("terminals", [])
        if not rows:
            yield "terminals", _("Give at least one set of terminals.")
        names = [row.get("name", "").casefold() for row in rows]
        for index, name in enumerate(names):
            if name and name in names[:index]:
                yield (
                    f"terminals.{index}.name",
                    _("Two sets of terminals have this name: name each as it is marked."),
                )
        simple = cleaned["kind"] == EquipmentKind.SIMPLE_APPARATUS
        for index, row in enumerate(rows):
            if simple and not row.get("simple_kind"):
                yield (
                    f"terminals.{index}.simple_kind",
                    _("Simple apparatus is passive, stores energy or generates it: choose one."),
                )
            if simple and not row.get("justification"):
                yield (
                    f"terminals.{index}.justification",
                    _("Simple apparatus needs a written justification: say in a sentence why it is simple."),
                )
            if not simple and row.get("simple_kind"):
                yield (
                    f"terminals.{index}.simple_kind",
                    _("Only simple apparatus has this: leave it empty or change the kind of the item."),
                )
        # A side that could not be read has its own message: it may be the one that is looked for.
        if cleaned["kind"] == EquipmentKind.SOURCE and rows and all(row.get("side") == "device" for row in rows):
            yield "terminals", _("A source has at least one set of terminals that gives energy.")


class CableTypeEntry(EntryForm):
    """A type of cable."""

    model = CableType
    locals().update(fields_of(CableType))

    def cross_check(self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]) -> Faults:
        yield from positive(
            cleaned, "capacitance_f_per_m", "inductance_h_per_m", "resistance_ohm_per_m", "strand_m", "insulation_m"
        )
        pair = [bool(cleaned[name].text) for name in ("core_core_f_per_m", "core_screen_f_per_m")]
        if any(pair) and not all(pair):
            yield (
                "core_core_f_per_m",
                _("Core-to-core and core-to-screen capacitance belong together: give both or neither."),
            )
        if all(pair) and not cleaned["screen"]:
            yield "screen", _("Say how the screen is connected: the capacitance that counts depends on it.")


ENTRY_CLASSES: tuple[type[EntryForm], ...] = (
    SiteEntry,
    AreaEntry,
    SchemeEntry,
    CertificateEntry,
    EquipmentEntry,
    CableTypeEntry,
)
ENTRIES: dict[str, type[EntryForm]] = {
    entry.model.record_kind: entry  # type: ignore[attr-defined]
    for entry in ENTRY_CLASSES
}
__all__ = [
    "ENTRIES",
    "AreaEntry",
    "CableTypeEntry",
    "CertificateEntry",
    "EquipmentEntry",
    "ReadingField",
    "SchemeEntry",
    "SiteEntry",
    "forms",
]
