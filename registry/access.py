"""Who may do what: one table.

The register (certificates, equipment, cable types) is shared by the whole installation: a role at any site counts.
Areas, loops and sheets belong to a site: a role at that site counts. A superuser may keep schemes, sites and people,
but signs nothing by virtue of that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from registry.models import Membership, Role, Site, User
from registry.prepared import PreparedRead
from registry.words import lazily

EVERYBODY = frozenset(Role)

TABLE: dict[str, frozenset[Role]] = {
    "register.view": EVERYBODY,
    "register.edit": frozenset({Role.KEEPER, Role.DESIGNER, Role.ADMINISTRATOR}),
    "scheme.edit": frozenset({Role.KEEPER, Role.ADMINISTRATOR}),
    "site.view": EVERYBODY,
    "site.add": frozenset(),
    "site.edit": frozenset({Role.ADMINISTRATOR}),
    "site.save_view": EVERYBODY,
    "site.keep_views": frozenset({Role.ADMINISTRATOR}),
    "site.people": frozenset({Role.ADMINISTRATOR}),
    "area.edit": frozenset({Role.DESIGNER, Role.ADMINISTRATOR}),
    "loop.view": EVERYBODY,
    "loop.edit": frozenset({Role.DESIGNER}),
    "loop.propose": frozenset({Role.DESIGNER, Role.PLANNER}),
    "loop.submit": frozenset({Role.DESIGNER}),
    "loop.take_back": frozenset({Role.DESIGNER}),
    "loop.return": frozenset({Role.APPROVER}),
    "loop.approve": frozenset({Role.APPROVER}),
    "loop.review": frozenset({Role.DESIGNER, Role.APPROVER}),
    "loop.confirm": frozenset({Role.DESIGNER, Role.APPROVER}),
    "loop.remark": EVERYBODY - {Role.READER},
    "loop.withdraw": frozenset({Role.APPROVER}),
    "sheet.view": EVERYBODY,
    "inspection.view": EVERYBODY,
    "inspection.make": frozenset({Role.PLANNER, Role.DESIGNER}),
    "defect.follow": frozenset({Role.PLANNER, Role.DESIGNER}),
    "defect.verify": frozenset({Role.APPROVER}),
}

SUPERUSER_MAY = frozenset(
    {"register.view", "scheme.edit", "site.view", "site.add", "site.edit", "site.people", "loop.view", "sheet.view"}
) | frozenset({"inspection.view"})
SIDES = {
    "register.edit": lazily("A register keeper, designer or site administrator may do this."),
    "scheme.edit": lazily("A register keeper or site administrator may do this."),
    "site.add": lazily("The administrator of the installation may do this."),
    "site.edit": lazily("A site administrator may do this."),
    "site.keep_views": lazily("Who saved the view or a site administrator may do this."),
    "site.people": lazily("A site administrator may do this."),
    "area.edit": lazily("A designer or site administrator of this site may do this."),
    "loop.edit": lazily("A designer of this site may do this."),
    "loop.propose": lazily("A designer or maintenance planner of this site may do this."),
    "loop.submit": lazily("A designer of this site may do this."),
    "loop.take_back": lazily("A designer of this site may do this."),
    "loop.return": lazily("An approver of this site may do this."),
    "loop.approve": lazily("An approver of this site may do this."),
    "loop.review": lazily("A designer or approver of this site may do this."),
    "loop.confirm": lazily("A designer or approver of this site may do this."),
    "loop.remark": lazily("Everybody with a role at this site other than reader may do this."),
    "loop.withdraw": lazily("An approver of this site may do this."),
    "inspection.make": lazily("A maintenance planner or designer of this site may do this."),
    "defect.follow": lazily("A maintenance planner or designer of this site may do this."),
    "defect.verify": lazily("An approver of this site may do this."),
}


BY_NO_TOKEN = frozenset(
    {"loop.approve", "loop.return", "loop.review", "loop.withdraw", "loop.confirm", "site.people"}
    | {"inspection.make", "defect.verify"}
)
"""What a person does in person: no token does it, whatever its person may."""
IN_PERSON = lazily("A token may not do this: do it on the pages.")


@dataclass(frozen=True)
class Narrowing:
    """What a token leaves of what its person may: one site where `site_id` is set, only looking without `writes`."""

    site_id: int | None
    writes: bool

    def leaves(self, action: str, site: Site | None) -> bool:
        """Whether an action is left, as far as the token goes."""
        if action in BY_NO_TOKEN or not (self.writes or action.endswith(".view")):
            return False
        return self.site_id is None or site is None or site.pk == self.site_id


def narrow(user: User, narrowing: Narrowing) -> None:
    """Let this object of a person do no more than a token may. To be called before anything is asked of it."""
    user._narrowing = narrowing  # type: ignore[attr-defined]
    user._roles_by_site = None  # type: ignore[attr-defined]


def narrowing_of(user: User) -> Narrowing | None:
    """What narrows a person; None for who came with a log-in of their own."""
    return getattr(user, "_narrowing", None)


def only_site(user: User) -> int | None:
    """Key of the one site that a person is narrowed to."""
    narrowing = narrowing_of(user)
    return narrowing.site_id if narrowing else None


HELD: PreparedRead[Membership] = PreparedRead(
    lambda user: Membership.objects.filter(user_id=user).select_related("site")
)


def roles_of(user: User, site: Site | None = None) -> frozenset[Role]:
    """The roles of a person at one site, or at any site when `site` is None. Read once per request and person."""
    cached: dict[int, set[Role]] | None = getattr(user, "_roles_by_site", None)
    if cached is None:
        cached = {}
        sites = {}
        only = only_site(user)
        for membership in HELD(user.pk):
            if only not in (None, membership.site_id):
                continue
            cached.setdefault(membership.site_id, set()).add(Role(membership.role))
            sites[membership.site_id] = membership.site
        user._roles_by_site = cached  # type: ignore[attr-defined]
        user._own_sites = sorted(sites.values(), key=lambda one: one.code)  # type: ignore[attr-defined]
    if site is not None:
        return frozenset(cached.get(site.pk, set()))
    return frozenset(role for roles in cached.values() for role in roles)


def may(user: User, action: str, site: Site | None = None) -> bool:
    """Whether `user` may do `action` (at `site`, where the action belongs to one)."""
    if not user.is_active:
        return False
    narrowing = narrowing_of(user)
    if narrowing is not None and not narrowing.leaves(action, site):
        return False
    if user.is_superuser and action in SUPERUSER_MAY:
        shared = site is None and not action.endswith(".view")
        if not (shared and only_site(user) is not None):
            return True
    return bool(TABLE[action] & roles_of(user, site))


def require(user: User, action: str, site: Site | None = None) -> None:
    """Raise PermissionDenied with a sentence that says who may."""
    if not may(user, action, site):
        narrowing = narrowing_of(user)
        if narrowing is not None and not narrowing.leaves(action, site):
            raise PermissionDenied(IN_PERSON if action in BY_NO_TOKEN else _("This token does not reach so far."))
        raise PermissionDenied(
            SIDES.get(action, _("You are not a member of this site: a site administrator can give you a role."))
        )


def people_who_may(action: str, sites: Iterable[int] | None = None) -> QuerySet[User]:
    """Everybody who may log in and has a role that may do `action`: at one of some sites, or at any when that is
    None."""
    found = Membership.objects.filter(role__in=TABLE[action])
    if sites is not None:
        found = found.filter(site__in=list(sites))
    return User.objects.filter(is_active=True, pk__in=found.values("user"))


def people_seen_by(user: User) -> QuerySet[User]:
    """People with a role at one of the user's sites, in the order of their log-ins; a superuser sees everybody."""
    everybody = User.objects.order_by("username")
    if user.is_superuser:
        return everybody
    return everybody.filter(pk__in=Membership.objects.filter(site_id__in=sites_of(user)).values("user_id"))


def sites_of(user: User) -> list[int]:
    """Keys of the sites whose loops a person may see."""
    if user.is_superuser:
        return list(every_site(user).values_list("pk", flat=True))
    roles_of(user)
    return list(user._roles_by_site)  # type: ignore[attr-defined]


def own_sites(user: User) -> list[Site]:
    """The same sites by their codes, read together with the roles."""
    if user.is_superuser:
        return list(every_site(user).order_by("code"))
    roles_of(user)
    return list(user._own_sites)  # type: ignore[attr-defined]


def every_site(user: User) -> QuerySet[Site]:
    """All sites, as far as a token of a superuser reaches."""
    return Site.objects.all() if (only := only_site(user)) is None else Site.objects.filter(pk=only)
