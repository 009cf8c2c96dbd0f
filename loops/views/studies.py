"""What if: the present loop and up to three others side by side, without saving; kept as a study, or made a draft."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from loops.models import Loop, Study
from loops.selectors import record_names
from loops.services import studies as service
from loops.services.loops import newest
from loops.services.refusals import WorkflowRefused
from loops.services.studies import COLUMNS, LONGEST, Change, Changes, Column
from loops.services.verification import margin_of, rank
from loops.telling import spoken
from loops.views.page import visible_loop
from loops.views.requests import opened_version, person, typed
from loops.views.shown import QUANTITIES, urgency
from loops.views.studies_form import data_lists, form_columns
from registry import access
from registry.lengths import typed_length
from registry.plain import harmless
from registry.services.records import Author, EntryRefused, StaleRecord
from registry.stored import measured

LETTERS = "BCD"
KEY = re.compile(r"([mc][0-9]{1,18}|loop|rules)\.[a-z_]{1,30}")


@require_http_methods(["GET", "HEAD", "POST"])
def studies(request: HttpRequest, pk: int, study_pk: int = 0) -> HttpResponse:
    """A study that is kept, or a new one. A POST judges what is typed, keeps it, deletes it or saves a column."""
    loop = visible_loop(request, pk)
    study = get_object_or_404(Study.objects.select_related("author"), loop=loop, pk=study_pk) if study_pk else None
    if request.method != "POST":
        return show(request, loop, study, study.columns if study else [])
    return receive(request, loop, study)


def receive(request: HttpRequest, loop: Loop, study: Study | None) -> HttpResponse:
    """Answer a POST."""
    user, columns = person(request), typed_columns(request, loop)
    command = request.POST.get("_do", "")
    try:
        if command == "keep":
            kept = service.keep(loop, user, typed(request, "name", 120), columns, study)
            messages.success(request, _("%s is kept. It is judged anew whenever it is opened.") % kept)
            return redirect("loop_study", pk=loop.pk, study_pk=kept.pk)
        if command == "delete" and study:
            service.delete(study, user)
            messages.success(request, _("%s was deleted.") % study)
            return redirect("loop_studies", pk=loop.pk)
        if command.startswith("draft-") and command[6:] in set(LETTERS):
            changes = columns[LETTERS.index(command[6:])]
            author = Author(user, reason=typed(request, "reason", 400))
            saved = service.turn_into_draft(loop, changes, author, opened_version=opened_version(request))
            verdict = saved.verification.get_verdict_display().lower() if saved.verification else ""
            messages.success(
                request, _("%(tag)s was saved and judged: %(verdict)s.") % {"tag": saved.tag, "verdict": verdict}
            )
            return redirect("loop", pk=saved.pk)
    except StaleRecord:
        text = _(
            "Somebody saved this loop since you opened it. Column A is the loop as it is now, with your changes "
            "beside it: look again, then save."
        )
        return show(request, visible_loop(request, loop.pk), study, columns, refusal=text, status=409, fresh=True)
    except WorkflowRefused as refused:
        return show(request, loop, study, columns, refusal=str(refused), status=409)
    except PermissionDenied as refused:
        return show(request, loop, study, columns, refusal=str(refused), status=403)
    except EntryRefused as refused:
        text = " ".join(refused.messages)
        return show(request, loop, study, columns, refusal=text, status=400)
    return show(request, loop, study, columns)


def typed_columns(request: HttpRequest, loop: Loop) -> list[dict[str, str]]:
    """What is typed in each column: the changes alone. One that says what the loop says anyway is none."""
    now = {one.key: one.now for one in service.fields_of(loop, record_names(loop))}
    found: list[dict[str, str]] = []
    for letter in LETTERS[:COLUMNS]:
        changes: dict[str, str] = {}
        for name in request.POST:
            start, _dot, key = name.partition(".")
            if start == letter and KEY.fullmatch(key) and len(changes) < LONGEST:
                value = harmless(str(request.POST[name])).strip()[:LONGEST]
                if value and value != now.get(key, ""):
                    changes[key] = value
        found.append(changes)
    return found


def show(
    request: HttpRequest,
    loop: Loop,
    study: Study | None,
    columns: Sequence[Changes],
    *,
    refusal: str = "",
    status: int = 200,
    fresh: bool = False,
) -> HttpResponse:
    """The page, with everything judged as it stands now."""
    user = person(request)
    filled = [dict(changes) for changes in columns] + [{}] * (COLUMNS - len(columns))
    judged = service.judge_all(loop, filled)
    data = record_names(loop)
    fields = service.fields_of(loop, data)
    posted = request.method == "POST" and not fresh
    form = form_columns(loop, user, fields, filled, [column.errors for column in judged[1:]])
    errors = [row for column in form for row in column["faults"]]
    crumbs = [
        {"text": _("Loops"), "url": reverse("loop_list")},
        {"text": loop.tag, "url": reverse("loop", args=[loop.pk])},
    ]
    crumbs.append({"text": _("What if"), "url": reverse("loop_studies", args=[loop.pk]) if study else ""})
    revision = newest(loop)
    context = {
        "section": "loops",
        "crumbs": [*crumbs, *([{"text": study.name, "url": ""}] if study else [])],
        "loop": loop,
        "study": study,
        "columns": [shown_column(judged[0], None, "A", loop)]
        + [
            shown_column(column, judged[0], letter, loop)
            for column, letter, changes in zip(judged[1:], LETTERS, filled, strict=True)
            if changes
        ],
        "form": form,
        "data_lists": data_lists(user),
        "errors": errors,
        "heading": _("Not judged: please mend the following"),
        "since": since(study, judged, revision.number, loop.site.length_unit) if study else [],
        "may_keep": access.may(user, "loop.remark", loop.site),
        "may_draft": access.may(user, "loop.edit", loop.site) and not loop.is_archived,
        "may_delete": study is not None and study.author_id == user.pk,
        "own": study is None or study.author_id == user.pk,
        "in_review": loop.state == "in_review",
        "name": typed(request, "name", 120) if request.method == "POST" else (study.name if study else ""),
        "reason": typed(request, "reason", 400),
        "version": request.POST.get("_version", "") if posted else loop.version,
        "refusal": refusal,
        "studies": list(Study.objects.filter(loop=loop).select_related("author").defer("columns", "heads")),
    }
    if errors and status == 200:
        status = 400
    return render(request, "loops/studies.html", context, status=status)


# ------------------------------------------------------------------------------------------------------------ columns


QUANTITY_FIELDS = frozenset({"load_ohm", "safe_voltage_max_v"})
WORDS = {
    "better": gettext_lazy("better"),
    "worse": gettext_lazy("worse"),
    "same": gettext_lazy("as now"),
    "other": gettext_lazy("differs"),
}


def mark(kind: str) -> dict[str, str]:
    """How something compares with the present loop, for a page: a word and the name of a shape."""
    return {"kind": kind, "word": str(WORDS[kind])}


def compared(new: Any, old: Any) -> dict[str, str]:
    """A figure of which more is better."""
    if new == old:
        return mark("same")
    if new is None or old is None:
        return mark("other")
    return mark("better" if new > old else "worse")


def shown_column(column: Column, now: Column | None, letter: str, loop: Loop) -> dict[str, Any]:
    """A column as the page shows it, compared with the present loop."""
    changes = [shown_change(one, loop.site.length_unit) for one in column.changes]
    if column.head is None:
        return {"letter": letter, "changes": changes, "head": None}
    head = column.head
    before = now.head if now else None
    return {
        "letter": letter,
        "changes": changes,
        "head": head,
        "verdict": str(head["verdict"].value),
        "verdict_mark": compared(rank(head)[0], rank(before)[0]) if before else None,
        "limiting": head["limiting"],
        "limiting_mark": mark("same" if head["limiting"] == before["limiting"] else "other") if before else None,
        "quantities": quantities(column, now if before else None),
        "lengths": lengths(column, now if before else None),
        "function": head["function_verdict"],
        "function_mark": compared(rank(head)[1], rank(before)[1]) if before else None,
        "function_why": function_why(column),
        "tables": tables_named(column),
    }


def shown_change(change: Change, unit: str) -> Change:
    """A change with the site's unit beside lengths that were typed in the other, and quantities with their signs."""
    if change.name == "length_m":
        return replace(change, old=typed_length(change.old, unit), new=typed_length(change.new, unit))
    if change.name in QUANTITY_FIELDS:
        return replace(change, old=measured(change.old), new=measured(change.new))
    return change


def worst_checks(column: Column) -> dict[str, Mapping[str, Any]]:
    """The worst check of each quantity over all circuits."""
    found: dict[str, Mapping[str, Any]] = {}
    for check in (check for result in column.results for check in result["checks"]):
        if check["id"] not in found or urgency(check) < urgency(found[check["id"]]):
            found[check["id"]] = check
    return found


def quantities(column: Column, now: Column | None) -> list[dict[str, Any]]:
    """U, I, P, C and L: the worst check of each, beside that of the present loop."""
    mine, theirs = worst_checks(column), worst_checks(now) if now else {}
    rows = []
    for name, label, _meaning in QUANTITIES:
        check = mine.get(name)
        if check is None and name not in theirs:
            continue
        old = theirs.get(name)
        row: dict[str, Any] = {"label": label, "check": check, "mark": None}
        if now:
            row["mark"] = against(check, old)
        rows.append(row)
    return rows


def against(check: Mapping[str, Any] | None, old: Mapping[str, Any] | None) -> dict[str, str]:
    """A check compared with that of the present loop: by its margin where both have one."""
    if check is None or old is None:
        return mark("other")
    margins = margin_of(check), margin_of(old)
    if None not in margins:
        return compared(*margins)
    return mark("same" if (check["verdict"], check["value"]) == (old["verdict"], old["value"]) else "other")


def longest(result: Mapping[str, Any]) -> tuple[Decimal | None, str]:
    """The longest last run of a circuit: metres (None where it cannot be said), and what limits it."""
    found = result.get("max_length")
    if not found:
        return None, ""
    metres = Decimal(found["length"].removesuffix(" m")) if found["length"] else None
    if found["limited_by"] != "none":
        return metres, found["limited_by"]
    return (Decimal("Infinity"), "none") if metres is None else (metres, _("the rules of a segment"))


def lengths(column: Column, now: Column | None) -> list[dict[str, Any]]:
    """The longest last run of each circuit."""
    rows = []
    for number, result in enumerate(column.results):
        metres, by = longest(result)
        old = now.results[number] if now and number < len(now.results) else None
        rows.append(
            {
                "circuit": str(result["case"]).rpartition(" / ")[2] if len(column.results) > 1 else "",
                "length": (result.get("max_length") or {}).get("length") or "",
                "limited_by": by,
                "mark": compared(metres, longest(old)[0]) if old else None,
            }
        )
    return rows


def function_why(column: Column) -> str:
    """Why it works or does not, of the circuit that decides."""
    word = column.head["function_verdict"] if column.head else ""
    found = [row["function"] for row in column.results if row.get("function")]
    return next((str(row["why"]) for row in found if row["verdict"] == word), "")


def tables_named(column: Column) -> str:
    """The tables that are not the built-in ones."""
    return ", ".join(dict.fromkeys(name for result in column.results for name in result.get("tables") or ()))


def since(study: Study, judged: Sequence[Column], revision: int, unit: str) -> list[str]:
    """What is different now from when the study was kept, in sentences."""
    found = []
    then = study.started_from.number
    if then != revision:
        found.append(
            _("The loop was saved since: this study began at revision %(then)d, column A is revision %(now)d.")
            % {"then": then, "now": revision}
        )
    for letter, old, column in zip("A" + LETTERS, study.heads, judged, strict=False):
        new = service.head_of(column)
        why = spoken(new["limiting"], unit)
        if (old["verdict"], old["function_verdict"]) != (new["verdict"], new["function_verdict"]):
            found.append(
                _("Column %(letter)s: %(old)s when it was kept, now %(new)s. %(why)s")
                % {"letter": letter, "old": told(old), "new": told(new), "why": why}
            )
        elif old["limiting"] != new["limiting"]:
            found.append(
                _("Column %(letter)s: the verdict stays, what limits it is another: %(why)s")
                % {"letter": letter, "why": why}
            )
    return found


def told(head: Mapping[str, str]) -> str:
    """A kept head in words."""
    verdict = {
        "complies": _("complies"),
        "does_not_comply": _("does not comply"),
        "incomplete": _("incomplete"),
        "beyond_simple_rules": _("beyond simple rules"),
    }.get(head["verdict"], _("not judged"))
    function = {"pass": _("works"), "fail": _("does not work"), "incomplete": _("function not known")}
    return ", ".join([verdict, *([function[head["function_verdict"]]] if head["function_verdict"] in function else [])])
