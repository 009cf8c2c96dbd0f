"""Second factors of log-ins: who has one, who needs one, and how one that was lost is undone."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.utils.translation import gettext as _

from registry import access
from registry.models import Deed, Site, User
from registry.services.changes import Told, recorded, tell
from registry.services.sessions import end_sessions

FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
"""Recovery codes are no factor of their own: they stand in for one that was lost."""


def has_factor(user: User) -> bool:
    """Whether a person logs in with something beside the password."""
    return Authenticator.objects.filter(user=user, type__in=FACTORS).exists()


def sites_that_require(user: User) -> list[Site]:
    """The sites of a person that let nobody in without a second factor; a superuser is of all sites."""
    if user.is_superuser:
        return list(Site.objects.filter(archived_at=None, second_factor=True).only("code", "name"))
    return [site for site in access.own_sites(user) if site.second_factor and not site.is_archived]


def needs_factor(user: User) -> list[Site]:
    """The sites that a person may not enter before setting up a second factor; none where there is one."""
    sites = sites_that_require(user)
    return sites if sites and not has_factor(user) else []


def refusal_to_require(site: Site, wanted: bool, actor: User) -> str:
    """Why a site may not begin to require second factors now, or an empty text: nobody locks themselves out."""
    if not wanted or site.second_factor or has_factor(actor):
        return ""
    return str(_("You have no second factor yet: set up an app or a passkey (menu, How I log in), then require it."))


def reset_factors(person: User, actor: User | None = None) -> int:
    """Take away all second factors of a person and end their sessions; returns how many there were.

    `actor` is None where it was done on the server itself.
    """
    with recorded():
        person = User.objects.select_for_update().get(pk=person.pk)
        standing = Authenticator.objects.filter(user=person)
        count = standing.count()
        standing.delete()
        end_sessions(person)
        note_factor(person, "all second factors reset", actor=actor)
    return count


def note_factor(person: User, what: str, *, actor: User | None) -> None:
    """Tell the change log what was changed in how somebody logs in."""
    tell(Told(Deed.FACTOR, "person", person.pk, person.printed_name, actor=actor, detail={"what": what}))
