"""Values from a certificate's text or a nameplate file into the form of an item of equipment. Nothing is saved here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.conditions import numbered_conditions
from registry.exchange import aas_files, pdf
from registry.exchange.aas_files import AasError
from registry.exchange.aas_writing import as_json
from registry.exchange.nameplate import Nameplate, read_nameplates
from registry.exchange.nameplate_export import nameplate_environment
from registry.exchange.pasted_text import Found, Pasted, PastedTextError, read_pasted_text
from registry.exchange.pdf import PdfError, pdf_text
from registry.exchange.taking import laid_into, offered, without_bare_rows
from registry.marked import take_marking
from registry.marking import MarkingError
from registry.models import Certificate, Equipment, Scheme, User
from registry.models.base import Record
from registry.number_forms import fits
from registry.parameters import PARAMETERS
from registry.selectors import certificates_numbered, newest_number, record_text
from registry.services.records import Author, StaleRecord, save_text
from registry.showing import name_of
from registry.stored import said
from registry.views.details import find
from registry.views.editing import Draft, opened_version, show
from registry.views.exchanging import attached
from registry.views.forms import flatten, nest
from registry.views.kinds import CERTIFICATE, EQUIPMENT

PLACE, SET, OF = "place.", "set.", "certificate."
OF_CERTIFICATE = ("holder", "specific_conditions")
FOR_NEW = ("scheme", "number", "issue", *OF_CERTIFICATE)
TOP = ("kind", "maker", "type_name", "function", "marking", "description", "notes")
SHORT = {item.column: item.short for item in PARAMETERS}
WORDS = {
    "marking": gettext_lazy("Ex marking"),
    "output": gettext_lazy("Output characteristic"),
    "maker": gettext_lazy("Maker"),
    "type_name": gettext_lazy("Type"),
    "holder": gettext_lazy("Holder of the certificate"),
    "specific_conditions": gettext_lazy("Specific conditions of use"),
    "number": gettext_lazy("Certificate"),
    "issue": gettext_lazy("Certificate issue"),
    "certificate": gettext_lazy("Certificate"),
    "temperature_class": gettext_lazy("Temperature class"),
    "gas_group": gettext_lazy("Gas group"),
    "dust_group": gettext_lazy("Dust group"),
    "level": gettext_lazy("Level of protection"),
    "gas_epl": gettext_lazy("EPL for gas"),
    "dust_epl": gettext_lazy("EPL for dust"),
}


def into(request: HttpRequest, user: User) -> Record | None:
    """The stored item whose form takes the values; None for a new one. Raises Http404, PermissionDenied."""
    key = (request.POST.get("into") or request.GET.get("into") or "").strip()
    record = find(request, EQUIPMENT, int(key)) if key.isascii() and key.isdigit() and len(key) < 10 else None
    EQUIPMENT.require_edit(user, record)
    return record


def called(path: str) -> str:
    """What people call the value at a path."""
    column = path.rpartition(".")[2]
    return SHORT.get(column) or str(WORDS.get(column) or column.replace("_", " "))


def certificate_of(number: str, issue: str = "") -> dict[str, Any]:
    """What the register has of a certificate that a text names: its name as lists call it, or how to add it."""
    found = certificates_numbered(number, issue) if number else []
    asked = schemes_of(number) | {"number": number, "issue": issue or "0"}
    return {
        "number": number,
        "issue": issue,
        "name": str(found[0]) if len(found) == 1 else "",
        "record": found[0] if len(found) == 1 else None,
        "issues": [item.issue for item in found] if len(found) > 1 else [],
        "asked": asked,
        "add_url": f"{reverse('certificate_new')}?{urlencode(asked)}",
    }


def schemes_of(number: str) -> dict[str, str]:
    """The one scheme whose numbers look like this one, as what an address asks of a form; nothing where none or several
    do."""
    forms = Scheme.objects.filter(archived_at=None).exclude(number_form="").values_list("name", "number_form")
    alike = [name for name, form in forms if fits(form, number)]
    return {"scheme": alike[0]} if len(alike) == 1 else {}


@require_http_methods(["GET", "HEAD", "POST"])
def paste(request: HttpRequest) -> HttpResponse:
    """Text of a certificate, pasted or from a PDF: what was found in which line, and what was not understood."""
    user: User = request.user  # type: ignore[assignment]
    record = into(request, user)
    context: dict[str, Any] = {"record": record}
    text, status = request.POST.get("text", ""), 200
    if request.method == "POST":
        try:
            if upload := request.FILES.get("file"):
                if (upload.size or 0) > pdf.MAX_BYTES:
                    raise PdfError(pdf.FAULTS["large"])
                text = pdf_text(upload.read())
            if not text.strip():
                raise PastedTextError(_("Paste the text of a certificate, or choose its PDF."))
            context |= shown_paste(text)
        except (PdfError, PastedTextError) as error:
            status = 400
            context["errors"] = [{"id": "f-text", "text": said(str(error)), "message": said(str(error))}]
    context["fields"] = [
        {"name": "text", "id": "f-text", "label": _("Text of the certificate"), "kind": "textarea", "rows": 10,
         "value": text, "wide": True, "either": True},
        {"name": "file", "id": "f-file", "label": _("Or its PDF"), "kind": "file",
         "either": True, "attrs": {"accept": ".pdf,application/pdf"},
         "help": _("Only the text in it is read, never a picture.")},
    ]  # fmt: skip
    return render(
        request, "registry/paste.html", context | framed(record, _("Paste from a certificate")), status=status
    )


def shown_paste(text: str) -> dict[str, Any]:
    pasted = read_pasted_text(text)
    values, structure = offered(pasted)
    used = {id(item.found) for item in values}
    numbers = [found for found in pasted.certificates if found.column == "number"]
    issues = [found for found in pasted.certificates if found.column == "issue"]
    one = len(numbers) == 1 and len(issues) <= 1
    certificate = certificate_of(numbers[0].text, issues[0].text if issues else "") if one else None
    if one:
        used |= {id(found) for found in (*numbers, *issues)}
    says = said_of_certificate(pasted, certificate) if one or not numbers else {}
    used |= {id(found) for found in says.get("proposed", ())}
    return {
        "values": [
            {"path": item.path, "label": called(item.path), "place": item.place, "found": item.found,
             "certain": item.certain}
            for item in values
        ],
        "structure": structure,
        "certificate": certificate,
        "says": says,
        "certificate_found": numbers[0] if one else None,
        "others": [
            {"label": called(found.column), "found": found} for found in pasted.all_found() if id(found) not in used
        ],
        "doubted": [line for line in pasted.unread if line.reason],
        "unread": [line for line in pasted.unread if not line.reason],
        "was_read": True,
    }  # fmt: skip


def said_of_certificate(pasted: Pasted, certificate: Mapping[str, Any] | None) -> dict[str, Any]:
    """What a text says of its one certificate, or of one whose number it does not tell: what the form of a new one can
    take over, or whether the register says the same of it."""
    found = [item for item in (*pasted.names, *pasted.conditions) if item.column in OF_CERTIFICATE]
    proposed = [item for item in found if not item.contradictory]
    record = certificate["record"] if certificate else None
    if record is None:
        number = str(certificate["number"]) if certificate else ""
        return {
            "proposed": proposed,
            "rows": [{"label": called(item.column), "found": item} for item in proposed],
            "lacks_conditions": number.endswith("X") and not pasted.conditions,
            "issues": bool(certificate and certificate["issues"]),
        }
    return {
        "proposed": proposed,
        "url": CERTIFICATE.url(record),
        "differs": [item for item in proposed if differs(item, getattr(record, item.column))],
    }


def differs(found: Found, stored: str) -> bool:
    """Whether what was read is not what is stored; conditions are laid beside each other one by one."""
    if found.column != "specific_conditions":
        return bool(stored) and found.text.casefold() != stored.casefold()
    return [text.casefold() for _number, text in numbered_conditions(found.text)] != [
        text.casefold() for _number, text in numbered_conditions(stored)
    ]


@require_POST
def new_certificate(request: HttpRequest) -> HttpResponse:
    """The form of a new certificate with what was chosen from its text, for a person to look through and save."""
    CERTIFICATE.require_edit(request.user)  # type: ignore[arg-type]
    chosen = {name: request.POST.get(OF + name, "").replace("\r\n", "\n") for name in FOR_NEW}
    data = {name: value for name, value in chosen.items() if value}
    taken = [
        {"label": called(name), "text": data[name], "place": request.POST[f"{PLACE}{OF}{name}"], "set": ""}
        for name in OF_CERTIFICATE
        if name in data and f"{PLACE}{OF}{name}" in request.POST
    ]
    return show(request, Draft(CERTIFICATE, None, data, unsaved=True), taken=taken)


@require_http_methods(["GET", "HEAD", "POST"])
def nameplate(request: HttpRequest) -> HttpResponse:
    """A digital nameplate: the raw text of each value beside what it becomes."""
    user: User = request.user  # type: ignore[assignment]
    record = into(request, user)
    context: dict[str, Any] = {"record": record}
    status = 200
    if request.method == "POST":
        upload = request.FILES.get("file")
        try:
            if upload is None:
                raise AasError(_("Choose an AAS JSON or AASX file."))
            if (upload.size or 0) > aas_files.MAX_BYTES:
                raise AasError(_("This file is too large: export the nameplate alone."))
            context["plates"] = [shown_nameplate(item) for item in read_nameplates(upload.read())]
        except AasError as error:
            status = 400
            context["errors"] = [{"id": "f-file", "text": said(str(error)), "message": said(str(error))}]
    context["fields"] = [
        {"name": "file", "id": "f-file", "label": _("Nameplate file"), "kind": "file", "required": True,
         "attrs": {"accept": ".json,.aasx,.xml"}, "help": _("AAS JSON, XML or AASX.")},
    ]  # fmt: skip
    return render(request, "registry/nameplate.html", context | framed(record, _("Nameplate file")), status=status)


def shown_nameplate(item: Nameplate) -> dict[str, Any]:
    """One nameplate; its sets of terminals are unconfirmed, a certificate that is not in the register is left out."""
    data = dict(item.equipment)
    named = {row["certificate"]: certificate_of(row["certificate"]) for row in data["terminals"]}
    data["terminals"] = [
        row | {"unconfirmed": "on", "certificate": named[row["certificate"]]["name"]} for row in data["terminals"]
    ]
    fields = {path: text for path, text in flatten(data).items() if text}
    known = Equipment.objects.filter(maker__iexact=data["maker"], type_name__iexact=data["type_name"]).first()
    return {
        "item": item,
        "values": [{"label": called(value.column), "value": value} for value in item.values],
        "further": [
            {"place": row["name"], "label": called(column), "text": row[column], "becomes": shown[column]}
            for row, shown in zip(item.equipment["terminals"], data["terminals"], strict=True)
            for column in ("certificate", "level", "gas_group", "dust_group", "gas_epl", "dust_epl", "output")
            if row.get(column)
        ],
        "fields": fields,
        "certificates": [found for number, found in named.items() if number and not found["name"]],
        "known": known,
        "known_url": EQUIPMENT.url(known) if known else "",
    }


def framed(record: Record | None, title: str) -> dict[str, Any]:
    crumbs = [{"text": EQUIPMENT.title, "url": EQUIPMENT.list_url}]
    if record:
        crumbs.append({"text": name_of(record), "url": EQUIPMENT.url(record)})
    return {"section": EQUIPMENT.section, "title": title, "crumbs": [*crumbs, {"text": title, "url": ""}]}


@require_POST
def take_over(request: HttpRequest) -> HttpResponse:
    """The form of an item with the chosen values in it, for a person to look through and save."""
    user: User = request.user  # type: ignore[assignment]
    record = into(request, user)
    posted = {name: values[-1] for name, values in request.POST.lists() if values}
    chosen = {name: text for name, text in posted.items() if name in TOP or name.startswith("terminals.")}
    data = without_bare_rows(nest(chosen))
    if not isinstance(data.get("terminals", []), list):
        data["terminals"] = []
    for row in data.get("terminals", []) if posted.get("certificate") else ():
        row.setdefault("certificate", posted["certificate"])
    if record is not None and record.is_archived:
        messages.info(request, _("This is archived: bring it back first, then edit it."))
        return HttpResponseRedirect(EQUIPMENT.url(record))
    draft = Draft(EQUIPMENT, record, data, unsaved=True, reason=posted.get("reason", "")[:400])
    if record is not None:
        draft.data = laid_into(record_text(record), data)
        draft.version, draft.revision = str(record.version), str(newest_number(record))
    taken = [
        {"label": called(name), "text": text, "place": posted[PLACE + name], "set": posted.get(SET + name, "")}
        for name, text in posted.items()
        if PLACE + name in posted and (name in chosen or name == "certificate")
    ]
    return show(request, draft, taken=taken, **read_marking(draft, chosen))


def read_marking(draft: Draft, chosen: dict[str, str]) -> dict[str, Any]:
    """What a marking that is taken over says of the terminals, laid into what is empty in the form."""
    if not chosen.get("marking", "").strip():
        return {}
    try:
        return {"marking_taken": take_marking(draft.data)}
    except MarkingError as error:
        draft.errors = {"marking": [said(str(error))]}
        return {}


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """A person says that the values were compared with the certificate; the revision holds who and when."""
    user: User = request.user  # type: ignore[assignment]
    record = find(request, EQUIPMENT, pk)
    EQUIPMENT.require_edit(user, record)
    draft = Draft(EQUIPMENT, record, record_text(record), version=request.POST.get("_version", ""))
    for row in draft.data["terminals"]:
        row["unconfirmed"] = ""
    if record.is_archived:
        messages.error(request, _("This is archived: bring it back first."))
        return HttpResponseRedirect(EQUIPMENT.url(record))
    author = Author(user, reason=_("Values compared with the certificate by %(name)s") % {"name": user.printed_name})
    try:
        save_text("equipment", draft.data, author, record_id=record.pk, opened_version=opened_version(draft))
    except StaleRecord:
        messages.error(request, _("Somebody else saved this meanwhile: compare the values below again."))
    else:
        messages.success(request, _("Confirmed: the values now count in verification."))
    return HttpResponseRedirect(EQUIPMENT.url(record))


@require_safe
def nameplate_file(request: HttpRequest, pk: int) -> HttpResponse:
    """A record as a digital nameplate, AAS JSON; values that nobody has compared with the certificate stay out."""
    record = find(request, EQUIPMENT, pk)
    assert isinstance(record, Equipment)
    text = record_text(record)
    text["terminals"] = [row for row in text["terminals"] if not row.get("unconfirmed")]
    keys = {row["certificate"] for row in text["terminals"] if row.get("certificate")}
    certificates = {item.pk: record_text(item) for item in Certificate.objects.filter(pk__in=keys)}
    return attached(
        as_json(nameplate_environment(text, certificates)),
        f"nameplate-{pk}.json",
        "application/json",
    )
