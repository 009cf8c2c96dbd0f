"""The form of a record: add, edit, duplicate; archive and bring back.

Nothing typed is lost: a refusal shows the form with its text and status 400, a record that somebody else saved
meanwhile shows both versions with status 409 and the form below them.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from registry.differences import canonical, lay_over, snapshot_text
from registry.doubting import doubts
from registry.marked import take_marking
from registry.marking import MarkingError
from registry.models import Site, User
from registry.models.base import Record
from registry.plain import plain_text
from registry.plausibility import sentences
from registry.querysets import visible
from registry.reading import read_entry
from registry.selectors import loops_using, newest_number, record_text, revisions_of
from registry.services.proposals import effects_of
from registry.services.records import Author, EntryRefused, StaleRecord, save_text, set_archived
from registry.showing import name_of
from registry.stored import said
from registry.tasks import foretell_change
from registry.uses import Effects
from registry.views.comparing import compare_three, opened_revision
from registry.views.details import find
from registry.views.foreseeing import ALL_ASKED, BACK, CONFIRMED, JUDGE_ALL, effects_page
from registry.views.forms import (
    add_or_remove,
    closed_path,
    drop_blank_rows,
    error_list,
    form_tree,
    labels_of,
    nest,
    without_keys,
)
from registry.views.layout import STARTS, form_layout, preset
from registry.views.next_step import tell_next_step
from registry.views.pages import KindPage
from registry.words import lazily

COMMANDS = ("_add", "_remove", "_duplicate")
READ_MARKING = "_read_marking"
LONGEST_REASON = 400
DOUBTS_SHOWN = 10
SAVED = lazily("Saved as revision {number}.")


@dataclass
class Draft:
    """A form on its way: what is typed, what is wrong with it, and which version it was opened with."""

    kind: KindPage
    record: Record | None
    data: dict[str, Any]
    errors: dict[str, list[str]] = field(default_factory=dict)
    reason: str = ""
    version: str = ""
    revision: str = ""
    unsaved: bool = False
    focus: str = ""


@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest, kind: KindPage) -> HttpResponse:
    """The form of a new record."""
    user: User = request.user  # type: ignore[assignment]
    kind.require_edit(user)
    if request.method == "POST":
        return receive(request, kind, None)
    draft = Draft(kind, None, preset(kind, request.GET, user))
    chosen = draft.data.get("kind", "")
    starts = [
        {"text": text, "url": f"{kind.new_url}?kind={value}", "current": value == chosen} for value, text in STARTS
    ]
    return show(request, draft, starts=starts if kind.kind == "equipment" else [])


@require_http_methods(["GET", "HEAD"])
def duplicate(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """The form of a new record that begins with the text of another."""
    user: User = request.user  # type: ignore[assignment]
    original = find(request, kind, pk)
    kind.require_edit(user)
    data = without_keys(record_text(original))
    for name in kind.key_fields:
        longest = kind.model._meta.get_field(name).max_length or 0  # type: ignore[union-attr]
        data[name] = f"{str(data[name])[: longest - 7]} (copy)"
    return show(request, Draft(kind, None, data, unsaved=True, focus=kind.key_fields[0]), copy_of=original)


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """The form of a record."""
    user: User = request.user  # type: ignore[assignment]
    record = find(request, kind, pk)
    kind.require_edit(user, record)
    if request.method == "POST":
        return receive(request, kind, record)
    if record.is_archived:
        messages.info(request, _("This is archived: bring it back first, then edit it."))
        return HttpResponseRedirect(kind.url(record))
    draft = Draft(kind, record, record_text(record), version=str(record.version), revision=str(newest_number(record)))
    return show(request, draft)


def receive(request: HttpRequest, kind: KindPage, record: Record | None) -> HttpResponse:
    """What came from a form: a row button, or text to be saved."""
    posted = {name: values[-1] for name, values in request.POST.lists() if values}
    draft = Draft(
        kind,
        record,
        nest(posted),
        reason=posted.get("_reason", "").strip(),
        version=posted.get("_version", ""),
        revision=posted.get("_revision", ""),
        unsaved=True,
    )
    for command in COMMANDS:
        if command in posted:
            draft.focus = add_or_remove(draft.data, command, closed_path(posted, posted[command]), kind.entry)
            return show(request, draft)
    if READ_MARKING in posted and kind.kind == "equipment":
        return show_marking(request, draft)
    if BACK in posted:
        return show(request, draft)
    draft.data = drop_blank_rows(copy.deepcopy(draft.data), kind.entry)
    draft.errors = reason_errors(draft)
    if record is not None and record.is_archived:
        draft.errors[""] = [
            (_("This %(singular)s is archived: bring it back first, then save.") % {"singular": kind.singular})
        ]
    try:
        if record is not None and not draft.errors and CONFIRMED not in posted:
            effects = foreseen(request, draft, record)
            if effects.matter:
                if JUDGE_ALL in posted:
                    foretell_change.enqueue(
                        asker(request).pk, kind.kind, draft.data, record.pk, opened_version(draft), record.label()
                    )
                    messages.info(request, ALL_ASKED)
                return effects_page(request, kind, record, effects)
        saved = save(request, draft)
    except EntryRefused as refused:
        draft.errors = refused.errors | draft.errors
        return show(request, draft, status=400)
    except StaleRecord as stale:
        return show_stale(request, draft, stale.record)
    return HttpResponseRedirect(kind.url(saved))


def asker(request: HttpRequest) -> User:
    """Who asks."""
    user: User = request.user  # type: ignore[assignment]
    return user


def foreseen(request: HttpRequest, draft: Draft, record: Record) -> Effects:
    """What saving a draft would do to those who use the record."""
    author = Author(asker(request), reason=draft.reason)
    version = opened_version(draft)
    return effects_of(draft.kind.kind, draft.data, author, record_id=record.pk, opened_version=version)


def save(request: HttpRequest, draft: Draft) -> Record:
    """Save a draft and tell what was saved and what looks wrong in it."""
    author = Author(asker(request), reason=draft.reason)
    if draft.errors:
        # The reason is wanting: read the rest too, so that all faults are told at once.
        check_only(draft)
        raise EntryRefused({})
    before = newest_number(draft.record) if draft.record else 0
    saved = save_text(
        draft.kind.kind,
        draft.data,
        author,
        record_id=draft.record.pk if draft.record else None,
        opened_version=opened_version(draft) if draft.record else None,
    )
    number = newest_number(saved)
    if number == before:
        messages.info(
            request, _("Nothing differs from revision %(number)s: no new revision was made.") % {"number": number}
        )
    else:
        messages.success(request, SAVED.format(number=number))
        tell_next_step(request)
    for sentence in sentences(doubts(saved))[:DOUBTS_SHOWN]:
        messages.warning(request, _("Please check. %(sentence)s") % {"sentence": sentence})
    return saved


def check_only(draft: Draft) -> None:
    errors = read_entry(draft.kind.entry, draft.data)[1]
    if errors:
        raise EntryRefused(errors)


def opened_version(draft: Draft) -> int:
    """The version that the form was opened with; one that never was where the form does not say, which counts as
    changed meanwhile."""
    text = draft.version
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


def reason_errors(draft: Draft) -> dict[str, list[str]]:
    """What is wrong with the reason for a change."""
    if draft.record is not None and not draft.reason:
        return {"_reason": [_("Say why in a few words: the next reader of the history will ask.")]}
    if len(draft.reason) > LONGEST_REASON:
        return {
            "_reason": [
                (_("Shorten the reason to at most %(LONGEST_REASON)s characters.") % {"LONGEST_REASON": LONGEST_REASON})
            ]
        }
    try:
        plain_text(draft.reason)
    except ValidationError as error:
        return {"_reason": list(error.messages)}
    return {}


# --------------------------------------------------------------------------------------------------------------- show


def show(
    request: HttpRequest, draft: Draft, status: int = 200, copy_of: Record | None = None, **more: Any
) -> HttpResponse:
    """The form as it stands."""
    kind, record = draft.kind, draft.record
    user: User = request.user  # type: ignore[assignment]
    choices = site_choices(kind, user)
    tree = form_tree(kind.entry, draft.data, draft.errors, choices=choices, user=user)
    labels = labels_of(tree) | {"_reason": _("Why")}
    errors = [
        error | {"id": error["id"] if error["path"] in labels else "", "label": error["label"] or error["path"]}
        for error in error_list(draft.errors, labels)
    ]
    title = (_("Edit %(label)s") % {"label": name_of(record)}) if record else (_("Add %(noun)s") % {"noun": kind.noun})
    crumbs = [{"text": kind.title, "url": kind.list_url}]
    if record:
        crumbs.append({"text": name_of(record), "url": kind.url(record)})
    context = {
        "kind": kind,
        "section": kind.section,
        "record": record,
        "title": title,
        "copy_of": copy_of,
        "crumbs": [*crumbs, {"text": _("Edit") if record else _("New"), "url": ""}],
        "form": form_layout(kind, tree, draft.focus, user),
        "errors": errors,
        "reason": reason_field(draft),
        "version": draft.version,
        "revision": draft.revision,
        "unsaved": draft.unsaved,
        "form_action": kind.url(record, "edit") if record else kind.new_url,
        "cancel_url": kind.url(record) if record else kind.list_url,
    }
    return render(request, "registry/edit.html", context | more, status=status)


def show_marking(request: HttpRequest, draft: Draft) -> HttpResponse:
    """The form with what its Ex marking says laid into empty fields; nothing is saved."""
    draft.focus = "marking"
    try:
        taken = take_marking(draft.data)
    except MarkingError as error:
        draft.errors = {"marking": [said(str(error))]}
        return show(request, draft, status=400)
    return show(request, draft, marking_taken=taken)


def site_choices(kind: KindPage, user: User) -> dict[str, list[tuple[str, str]]]:
    """Where the record belongs to a site: only those at which the person may edit such records."""
    if kind.kind != "area":
        return {}
    sites = visible(Site, user).filter(archived_at=None).order_by("code")
    codes = [site.code for site in sites if kind.may_edit_at(user, site)]
    return {"AreaEntry.site": [(code, code) for code in codes]}


def reason_field(draft: Draft) -> dict[str, Any]:
    """The field that asks why."""
    return {
        "name": "_reason",
        "id": "f-_reason",
        "label": _("Why"),
        "kind": "text",
        "value": draft.reason,
        "required": draft.record is not None,
        "wide": True,
        "help": _("It stands in the history beside the change, for example “issue 2 of the certificate raises Ui”."),
        "errors": draft.errors.get("_reason", []),
        "attrs": {"maxlength": str(LONGEST_REASON)},
    }


def show_stale(request: HttpRequest, draft: Draft, record: Record) -> HttpResponse:
    """Both versions beside what was opened, and below the form with your edit laid over theirs."""
    kind = draft.kind
    entry = kind.entry
    theirs = record_text(record)
    opened = opened_revision(record, draft.revision)
    original = snapshot_text(opened.snapshot) if opened else None
    rows = compare_three(entry, original, theirs, draft.data)
    laid = lay_over(
        entry,
        canonical(entry, original) if original is not None else None,
        canonical(entry, theirs),
        canonical(entry, draft.data),
    )
    newest = revisions_of(record).first()
    draft = Draft(
        kind,
        record,
        laid,
        reason=draft.reason,
        version=str(record.version),
        revision=str(newest.number if newest else 0),
        unsaved=True,
    )
    return show(request, draft, status=409, stale=True, stale_rows=rows, newest=newest, laid=original is not None)


# ------------------------------------------------------------------------------------------------------------ archive


@require_http_methods(["GET", "HEAD", "POST"])
def archive(request: HttpRequest, kind: KindPage, pk: int, archived: bool) -> HttpResponse:
    """Ask, then archive a record or bring it back. Nothing is ever deleted."""
    user: User = request.user  # type: ignore[assignment]
    record = find(request, kind, pk)
    kind.require_edit(user, record)
    if record.is_archived == archived:
        messages.info(request, _("This is archived already.") if archived else _("This is in use already."))
        return HttpResponseRedirect(kind.url(record))
    draft = Draft(kind, record, {}, version=str(record.version))
    status = 200
    if request.method == "POST":
        draft.reason = request.POST.get("_reason", "").strip()
        draft.errors = reason_errors(draft)
        status = 400
        if not draft.errors:
            draft.version = request.POST.get("_version", "")
            try:
                set_archived(record, archived, Author(user, reason=draft.reason), opened_version=opened_version(draft))
            except StaleRecord as stale:
                draft.version, status = str(stale.record.version), 409
            else:
                messages.success(
                    request,
                    (_("Archived %(label)s.") % {"label": name_of(record)})
                    if archived
                    else (_("%(label)s is back.") % {"label": name_of(record)}),
                )
                return HttpResponseRedirect(kind.url(record))
    in_all = loops_using(record, user)[1]
    return render(
        request,
        "registry/archive.html",
        {
            "kind": kind,
            "section": kind.section,
            "record": record,
            "archived": archived,
            "stale": status == 409,
            "version": draft.version,
            "loop_count": in_all,
            "reason": reason_field(draft),
            "errors": error_list(draft.errors, {"_reason": _("Why")}),
            "record_url": kind.url(record),
            "crumbs": [
                {"text": kind.title, "url": kind.list_url},
                {"text": name_of(record), "url": kind.url(record)},
                {"text": _("Archive") if archived else _("Bring back"), "url": ""},
            ],
        },
        status=status,
    )
