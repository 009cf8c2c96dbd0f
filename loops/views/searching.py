"""What the site's search finds among loops."""

from __future__ import annotations

from django.utils.translation import gettext as _

from loops.models import Loop
from loops.selectors import containing, visible_loops
from registry.models import User
from registry.views.searching import SHOWN, Finds, Hit, urlencode_search


def search_loops(user: User, text: str) -> Finds:
    """Loops of the person's sites by tag, service or the tag of anything in them; a whole tag is an exact find."""
    found = containing(visible_loops(user), text).select_related("site").order_by("tag", "site__code")
    hits = [hit(loop) for loop in found[:SHOWN]]
    exact = [hit(loop) for loop in found.filter(tag__iexact=text, archived_at=None)[:2]]
    count = len(hits) if len(hits) < SHOWN else found.count()
    return Finds(_("Loops"), hits, count, f"/loops/?{urlencode_search(text)}", exact)


def hit(loop: Loop) -> Hit:
    return Hit(
        loop.tag, f"{loop.site.code}, {loop.service or _('no service entered')}", f"/loops/{loop.pk}/", loop.is_archived
    )
