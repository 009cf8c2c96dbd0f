"""Roles by the groups that a log-in service tells: given and taken at each log-in, and recorded."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from registry.models import Origin, Role, Site, User
from registry.services.changes import recorded
from registry.services.people import give_roles, last_at, portrait, record, taken
from registry.services.records import Author

logger = logging.getLogger(__name__)


def roles_by_groups(person: User, roles: Mapping[str, Sequence[str]], groups: Iterable[str], service: str) -> None:
    """Make the roles that `roles` names ({group: ["SITE:role"]}) be those of the groups; other roles stay.

    Whoever is the last administrator of a site stays that, whatever the service says: else a wrong group there would
    lock everybody out.
    """
    named = {pair for pairs in roles.values() for pair in pairs}
    sites = {site.code: site for site in Site.objects.filter(archived_at=None, code__in=[code(pair) for pair in named])}
    for pair in sorted(named):
        if code(pair) not in sites:
            logger.warning("OIDC_PROVIDERS gives the role %s, but there is no such site.", pair)
    governed = {pair for pair in named if code(pair) in sites}
    wanted = {pair for group in set(groups) for pair in roles.get(group, ())} & governed
    with recorded():
        person = taken(person.pk)
        before = portrait(person)
        own = {site.pk: site for site in sites.values()}
        standing = {
            f"{row.site.code}:{row.role}" for row in person.memberships.filter(site__in=own).select_related("site")
        }
        rows = [row_of(pair, sites) for pair in sorted((standing - governed) | wanted)]
        kept = {row["site"].pk for row in rows if row["role"] == Role.ADMINISTRATOR}
        for site in last_at(person, kept, own, stays=True):
            logger.warning("%s stays administrator of %s, being the last one.", person.username, site.code)
            rows.append({"site": site, "role": Role.ADMINISTRATOR})
        give_roles(person, rows, own)
        record(person, Author(person, Origin.LOG_IN, (_("Groups told by %(service)s") % {"service": service})), before)


def code(pair: str) -> str:
    """The site of "SITE:role"."""
    return pair.rpartition(":")[0]


def row_of(pair: str, sites: Mapping[str, Site]) -> dict[str, Any]:
    return {"site": sites[code(pair)], "role": Role(pair.rpartition(":")[2])}
