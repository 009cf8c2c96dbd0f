"""The views of lists that a team shares, and the columns that each person chose."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from registry import access
from registry.models import ListLayout, SavedView, Site, User
from registry.plain import plain_text
from registry.prepared import KEY, PreparedAmong, PreparedRead
from registry.services.records import EntryRefused

LONGEST_QUERY = 4_000
MOST_VIEWS = 100
"""How many views of one list a site may have."""


def layout_of(user: User, kind: str) -> ListLayout | None:
    """What a person chose for the list of a kind."""
    return LAYOUT.first(user.pk, kind)


LAYOUT: PreparedRead[ListLayout] = PreparedRead(
    lambda person, kind: ListLayout.objects.filter(person_id=person, kind=kind)[:1], KEY, models.CharField()
)


def keep_layout(user: User, kind: str, columns: Sequence[str], page_size: int | None) -> None:
    """Remember the columns and the page size that a person chose."""
    ListLayout.objects.update_or_create(
        person=user, kind=kind, defaults={"columns": ",".join(columns), "page_size": page_size}
    )


def views_of(user: User) -> models.QuerySet[SavedView]:
    """The views that a person sees: those of their sites."""
    return SavedView.objects.filter(site_id__in=access.sites_of(user)).select_related("site", "owner")


def views_beside(user: User, kind: str) -> list[SavedView]:
    """Those of one list, in the order of their names."""
    return read_of(kind)(access.sites_of(user))


@cache
def read_of(kind: str) -> PreparedAmong[SavedView]:
    """The read of the views of one list, of which the program has few."""
    return PreparedAmong(
        lambda sites: SavedView.objects.filter(site__pk__in=sites, kind=kind).select_related("site", "owner")
    )


def may_keep(user: User, view: SavedView) -> bool:
    """Whether a person may rename, change or delete a view: its owner and the administrators of its site."""
    if view.owner_id == user.pk:
        return access.may(user, "site.save_view", view.site)
    return access.may(user, "site.keep_views", view.site)


def save_view(user: User, kind: str, site: Site, name: str, query: str) -> SavedView:
    """Share a view with a site. Raises EntryRefused, PermissionDenied."""
    access.require(user, "site.save_view", site)
    if SavedView.objects.filter(site=site, kind=kind).count() >= MOST_VIEWS:
        raise EntryRefused(
            {
                "name": [
                    (
                        _("This list has %(MOST_VIEWS)s views at %(code)s: delete one first.")
                        % {"MOST_VIEWS": MOST_VIEWS, "code": site.code}
                    )
                ]
            }
        )
    return _stored(SavedView(site=site, kind=kind, owner=user), name, query)


def change_view(user: User, view: SavedView, *, name: str | None = None, query: str | None = None) -> SavedView:
    """Give a view another name or let it show something else. Raises EntryRefused, PermissionDenied."""
    _require(user, view)
    return _stored(view, view.name if name is None else name, view.query if query is None else query)


def delete_view(user: User, view: SavedView) -> None:
    """Delete a view; what it showed stays. Raises PermissionDenied."""
    _require(user, view)
    view.delete()


def _require(user: User, view: SavedView) -> None:
    if not may_keep(user, view):
        access.require(user, "site.keep_views", view.site)


def _stored(view: SavedView, name: str, query: str) -> SavedView:
    view.name, view.query = " ".join(name.split()), query
    longest = SavedView._meta.get_field("name").max_length or 0
    if not view.name:
        raise EntryRefused({"name": [_("Give the view a name, for example Failing loops of unit 10.")]})
    if len(view.name) > longest:
        raise EntryRefused(
            {"name": [(_("Shorten the name to at most %(longest)s characters.") % {"longest": longest})]}
        )
    try:
        plain_text(view.name)
    except ValidationError as error:
        raise EntryRefused({"name": list(error.messages)}) from error
    if len(query) > LONGEST_QUERY:
        raise EntryRefused({"": [_("This view asks for too much to be kept: drop some filters.")]})
    try:
        with transaction.atomic():
            view.save()
    except IntegrityError as error:
        taken = _("There is a view named “%(name)s” at this site: choose another name.") % {"name": view.name}
        raise EntryRefused({"name": [taken]}) from error
    return view
