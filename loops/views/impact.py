"""What would a change do to all loops? The questions on one page, the answer as long work, nothing saved."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from loops.models import CurveTable, LoopState, LoopVerdict
from loops.selectors import with_units
from loops.services.impact import (
    IMPACT,
    QUESTIONS,
    TABLE,
    changed_record,
    changed_tables,
    loops_elsewhere,
    loops_for,
    records_for,
)
from loops.services.tables import TableError, read_bytes
from loops.views.overview import percent
from loops.views.requests import person, typed
from loops.views.suits import suits_crumbs
from registry import access
from registry.exchange.csv_xlsx import table, write_table
from registry.lengths import lengths_in
from registry.models import Work, WorkState
from registry.printing import PRINTERS, Printed, PrintRefused, require_short
from registry.querysets import search_text
from registry.selectors import record_text
from registry.services import works
from registry.services.records import EntryRefused
from registry.showing import name_of
from registry.stored import said
from registry.views.exchanging import TABLE_TYPES, TYPES, attached
from registry.views.forms import error_list, field_dict

PAGE_SIZE = 100
SHOWN = 60


@require_safe
def impact(request: HttpRequest) -> HttpResponse:
    """The questions, and for one that is chosen the records that it may be asked about."""
    user = person(request)
    kind, text = request.GET.get("what", ""), search_text(request.GET.get("q", ""))
    found = list(records_for(kind, user)) if kind in (*QUESTIONS, TABLE) else []
    found = [record for record in found if all(word in str(record).casefold() for word in text.casefold().split())]
    if kind in (*QUESTIONS, TABLE) and len(found) == 1 and not text:
        return redirect("impact_ask", kind=kind, pk=found[0].pk)
    context = {
        "section": "suits",
        "crumbs": suits_crumbs((_("What would a change do?"), "")),
        "kind": kind,
        "text": text,
        "questions": questions(),
        "records": [{"name": name_of(row), "site": site_of(row), "pk": row.pk} for row in found[:SHOWN]],
        "more": max(0, len(found) - SHOWN),
        "before": works.works_of(user).filter(kind=IMPACT).defer("result", "asked")[:10],
    }
    return render(request, "loops/suits/impact.html", context)


def site_of(record: Any) -> str:
    """The site of an area."""
    return record.site.code if hasattr(record, "site_id") else ""


def questions() -> list[dict[str, Any]]:
    """What may be asked here."""
    found = [{"kind": kind, "title": row.title, "hint": row.hint} for kind, row in QUESTIONS.items()]
    hint = _("A table of your own before it is loaded, or the built-in one again.")
    return [*found, {"kind": TABLE, "title": _("Ignition-curve tables of a site"), "hint": hint}]


@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """The values of one record as they are, to be changed; a POST has all loops that rest on it judged."""
    if kind not in (*QUESTIONS, TABLE):
        raise Http404
    user = person(request)
    access.require(user, "loop.view")
    record = get_object_or_404(records_for(kind, user), pk=pk)
    if request.method != "POST":
        return show(request, kind, record, {})
    values = {name: typed(request, name, 2000) for name in names_of(kind) if name in request.POST}
    try:
        asked, title = asked_table(request, record) if kind == TABLE else asked_record(kind, record, values)
        work = works.begin(user, IMPACT, title, {"kind": kind, "key": pk} | asked)
    except EntryRefused as refused:
        return show(request, kind, record, values, refused.errors, status=400)
    except TableError as refused:
        return show(request, kind, record, values, refusal=str(refused), status=400)
    except works.WorkRefused as refused:
        return show(request, kind, record, values, refusal=str(refused), status=409)
    return redirect("impact_answer", pk=work.pk)


def names_of(kind: str) -> tuple[str, ...]:
    return ("table",) if kind == TABLE else QUESTIONS[kind].names


def asked_record(kind: str, record: Any, values: Mapping[str, str]) -> tuple[dict[str, Any], str]:
    """What is asked about a record, read; and its title. Raises EntryRefused, too where nothing differs."""
    question = QUESTIONS[kind]
    changed = changed_record(kind, record, values)
    old, new = record_text(record), record_text(changed)
    differing = [name for name in question.names if old[name] != new[name]]
    if not differing:
        raise EntryRefused({question.names[0]: [_("Nothing differs from what is stored: change a value.")]})
    labels = {
        name: field_dict(question.entry, name, question.entry.base_fields[name], "", [], "", {})["label"]
        for name in differing
    }
    nothing = _("not known")
    words = [f"{labels[name]}: {old[name] or nothing} → {new[name] or nothing}" for name in differing]
    return {"values": {name: new[name] for name in question.names}, "words": words}, _("%s changed") % record


def asked_table(request: HttpRequest, site: Any) -> tuple[dict[str, Any], str]:
    """What is asked about the tables of a site, read; and its title. Raises TableError."""
    kind, file = request.POST.get("table", ""), request.FILES.get("file")
    content = read_bytes(file.read()) if file else ""
    if not content and not request.POST.get("built_in"):
        raise TableError(_("Choose the file of the table, or tick the built-in one."))
    name = str(file.name)[:120] if file else ""
    changed_tables(site, kind, name, content)
    words = [_("Table %(kind)s: %(name)s") % {"kind": kind, "name": name or _("built in")}]
    title = _("Tables of %s changed") % site.code
    return {"table": kind, "name": name, "content": content, "words": words}, title


def show(
    request: HttpRequest,
    kind: str,
    record: Any,
    values: Mapping[str, str],
    errors: Mapping[str, list[str]] | None = None,
    *,
    refusal: str = "",
    status: int = 200,
) -> HttpResponse:
    """The form of one question."""
    errors = errors or {}
    fields = []
    if kind != TABLE:
        question = QUESTIONS[kind]
        stored = record_text(record)
        for name in question.names:
            value = values.get(name, stored[name])
            shown = field_dict(
                question.entry, name, question.entry.base_fields[name], value, errors.get(name, []), "", {}
            )
            fields.append(shown)
    context = {
        "section": "suits",
        "crumbs": suits_crumbs((_("What would a change do?"), reverse("impact")), (name_of(record), "")),
        "kind": kind,
        "record": record,
        "fields": fields,
        "tables": CurveTable.Kind.choices,
        "chosen": values.get("table", ""),
        "errors": error_list(errors),
        "heading": _("Not judged: please mend the following"),
        "refusal": refusal,
        "count": loops_for(kind, record.pk, person(request)).count(),
        "elsewhere": loops_elsewhere(kind, record.pk, person(request)),
    }
    return render(request, "loops/suits/impact_ask.html", context, status=status)


def own_answer(request: HttpRequest, pk: int) -> Work:
    """An answer of the person; 404 where there is none."""
    found: Work = get_object_or_404(works.works_of(person(request)), pk=pk, kind=IMPACT)
    return found


@require_safe
@never_cache
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """How far it is, or the loops now and then."""
    work = own_answer(request, pk)
    context: dict[str, Any] = {
        "section": "suits",
        "crumbs": suits_crumbs((_("What would a change do?"), reverse("impact")), (work.title, "")),
        "work": work,
    }
    if work.state == WorkState.DONE:
        rows = with_units(work.result["rows"])
        changing = [row for row in rows if row["changes"]]
        stay = [row for row in rows if not row["changes"]]
        page = Paginator(changing, PAGE_SIZE).get_page(request.GET.get("page", "")[:6])
        context |= {"done": True, "page_obj": page, "rows": page.object_list, "what": _("loops")}
        context |= {"stay": stay[:PAGE_SIZE], "stay_count": len(stay), "stay_more": max(0, len(stay) - PAGE_SIZE)}
        context |= {"changes": work.result["changes"], "printed_as": list(PRINTERS)}
    return render(request, "loops/suits/impact_answer.html", context)


@require_safe
def export(request: HttpRequest, pk: int, suffix: str) -> HttpResponse:
    """The loops now and then as a table or on paper."""
    work = own_answer(request, pk)
    if suffix not in (*TABLE_TYPES, *PRINTERS) or work.state != WorkState.DONE:
        raise Http404
    names = {
        "site": _("site"),
        "tag": _("loop"),
        "service": _("service"),
        "state": _("state"),
        "before": _("verdict now"),
        "after": _("verdict then"),
        "function_before": _("function now"),
        "function_after": _("function then"),
        "margin_before": _("least margin now"),
        "margin_after": _("least margin then"),
        "limiting": _("what limits it then"),
    }
    if suffix in PRINTERS:
        return printed(request, work, suffix)
    content = table(list(names.values()), [[row[name] for name in names] for row in work.result["rows"]])
    data = write_table(content, suffix, _("impact"))
    return attached(data, f"impact-{work.pk}.{suffix}", TABLE_TYPES[suffix])


def printed(request: HttpRequest, work: Work, suffix: str) -> HttpResponse:
    """The loops now and then on paper, in words and by what changes; too many lead back with the reason."""
    rows = with_units(work.result["rows"])
    try:
        require_short(len(rows))
    except PrintRefused as refused:
        messages.error(request, str(refused))
        return redirect("impact_answer", pk=work.pk)
    headings = (
        _("Loop"),
        _("Service"),
        _("State"),
        _("Verdict now"),
        _("Verdict then"),
        _("Function now"),
        _("Function then"),
        _("Least margin now, then"),
        _("What decides then"),
    )
    content = table(headings, [printed_row(row) for row in rows])
    words = (work.words, *work.result["changes"], _("Nothing was saved."))
    data = PRINTERS[suffix](Printed(work.title, words, content, person(request), work.ended_at or timezone.now()))
    return attached(data, f"impact-{work.pk}.{suffix}", TYPES[suffix])


def printed_row(row: Mapping[str, Any]) -> tuple[str, ...]:
    """One loop in the words of the trade."""
    verdicts, states = dict(LoopVerdict.choices), dict(LoopState.choices)
    functions = {"": _("Not judged"), "pass": _("Pass"), "incomplete": _("Incomplete"), "fail": _("Fail")}
    margins = [percent(Decimal(text)) if text else "–" for text in (row["margin_before"], row["margin_after"])]
    return (
        f"{row['site']} {row['tag']}",
        row["service"],
        str(states.get(row["state"], row["state"])),
        str(verdicts[row["before"]]),
        str(verdicts[row["after"]]),
        functions[row["function_before"]],
        functions[row["function_after"]],
        " → ".join(margins),
        lengths_in(said(row["limiting"]), row["unit"]),
    )
