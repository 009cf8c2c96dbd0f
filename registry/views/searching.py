"""One search over everything that has a name; an exact match is opened at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.models import User
from registry.querysets import containing, search_text, visible
from registry.showing import name_of
from registry.views.kinds import AREA, CABLE_TYPE, CERTIFICATE, EQUIPMENT
from registry.views.pages import KindPage

SHOWN = 20


@dataclass(frozen=True)
class Hit:
    """One find: its name, a note beside it, its address, whether it is archived."""

    text: str
    note: str
    url: str
    archived: bool = False


@dataclass(frozen=True)
class Finds:
    """What one searcher found: a title, the first hits, how many there are, and where all of them are listed.

    `exact` holds the hits whose name is the text itself.
    """

    title: str
    hits: list[Hit] = field(default_factory=list)
    count: int = 0
    list_url: str = ""
    exact: list[Hit] = field(default_factory=list)


Searcher = Callable[[User, str], Finds]


def searcher(kind: KindPage, names: tuple[str, ...], note: Callable[[Any], str]) -> Searcher:
    """A searcher over one kind of record; `names` are the columns whose equality is an exact match."""

    def search(user: User, text: str) -> Finds:
        found = containing(visible(kind.model, user), text, kind.searched).order_by(*(kind.model._meta.ordering or ()))
        hits = [hit(kind, record, note) for record in found[:SHOWN]]
        exact: list[Hit] = []
        for name in names:
            exact += [
                hit(kind, record, note)
                # Of what holds the text, which an index finds.
                for record in found.filter(**{f"{name}__iexact": text}, archived_at=None)[:2]
            ]
        url = f"{kind.list_url}?{urlencode_search(text)}"
        return Finds(kind.title, hits, len(hits) if len(hits) < SHOWN else found.count(), url, exact)

    return search


def urlencode_search(text: str) -> str:
    return urlencode({"q": text, "archived": "all"})


def hit(kind: KindPage, record: Any, note: Callable[[Any], str]) -> Hit:
    return Hit(name_of(record), note(record), kind.url(record), record.is_archived)


def search_people(user: User, text: str) -> Finds:
    """People with a role at one of the searcher's sites, by name or log-in; a whole one of either is an exact find."""
    people = access.people_seen_by(user)
    found = containing(people, text, ("username", "full_name"))
    hits = [person_hit(user, person) for person in found[:SHOWN]]
    same = people.filter(Q(username__iexact=text) | Q(full_name__iexact=text), is_active=True)[:2]
    count = len(hits) if len(hits) < SHOWN else found.count()
    url = f"{reverse('people')}?{urlencode({'q': text})}"
    return Finds("People", hits, count, url, [person_hit(user, person) for person in same])


def person_hit(user: User, person: User) -> Hit:
    """A person: the page of one whose roles the searcher keeps, else the list of people with them alone."""
    keeps = access.may(user, "site.people")
    url = reverse("person", args=[person.pk]) if keeps else f"{reverse('people')}?{urlencode({'q': person.username})}"
    note = (
        person.username
        if person.is_active
        else (_("%(username)s, cannot log in any more") % {"username": person.username})
    )
    return Hit(person.printed_name, note, url)


SEARCHERS: list[Searcher] = [
    searcher(EQUIPMENT, ("type_name",), lambda item: item.function or item.get_kind_display()),
    searcher(CERTIFICATE, ("number",), lambda item: f"{item.scheme}, {item.get_status_display().lower()}"),
    searcher(CABLE_TYPE, ("name",), lambda item: item.maker),
    searcher(AREA, ("name",), lambda item: _("Site %(code)s") % {"code": item.site.code}),
    search_people,
]
"""Asked in this order; a package above the register adds its own when it is ready (loops come first)."""


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """All finds by kind; where exactly one thing has this name, its page."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    text = search_text(request.GET.get("q", ""))
    finds = [ask(user, text) for ask in SEARCHERS] if text else []
    exact = {item.url: item for found in finds for item in found.exact}
    if len(exact) == 1:
        return HttpResponseRedirect(next(iter(exact)))
    return render(
        request,
        "registry/search.html",
        {
            "query": text,
            "finds": [found for found in finds if found.count],
            "count": sum(found.count for found in finds),
            "section": "",
        },
    )
