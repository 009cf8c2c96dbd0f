"""People and their roles: made, changed and deactivated, never deleted. Every save leaves a revision.

A site administrator gives and takes roles at their own sites. Name, e-mail, password and access of a person are theirs
to change only where all roles of that person lie at their sites: else whoever administers one site could become
somebody of another.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.utils.translation import gettext as _

from registry import access
from registry.digests import digest
from registry.language import in_fixed_language
from registry.models import Deed, Membership, Revision, Role, Site, User
from registry.plain import plain_text
from registry.reading import EntryForm, RecordField, TextField, fields_of, read_entry
from registry.services.changes import recorded, tell
from registry.services.records import Author, EntryRefused, told
from registry.services.sessions import end_sessions
from registry.words import lazily

KIND = "person"
LONGEST_PASSWORD = 200
NOT_YOURS = lazily("Only whoever administers all sites of this person may do this.")


class MembershipEntry(EntryForm):
    """One role at one site."""

    model = Membership
    site = RecordField(lambda: Site.objects.filter(archived_at=None), "code", label="site")
    locals().update(fields_of(Membership, "role"))


class PersonEntry(EntryForm):
    """A person and their roles."""

    model = User
    children = {"memberships": MembershipEntry}
    username = TextField(
        label=lazily("user name"),
        max_length=150,
        validators=[User.username_validator],
        help_text=lazily("What they log in with."),
    )
    full_name = TextField(
        label=lazily("printed name"),
        max_length=120,
        required=False,
        help_text=lazily("Printed beside their signature."),
    )
    email = forms.EmailField(label="e-mail", max_length=254, required=False)
    is_active = forms.BooleanField(label=lazily("May log in"), required=False)

    def clean_email(self) -> str:
        return plain_text(self.cleaned_data["email"])


class PasswordEntry(forms.Form):
    """A password, typed twice."""

    password = forms.CharField(strip=False, max_length=LONGEST_PASSWORD)
    again = forms.CharField(strip=False, max_length=LONGEST_PASSWORD)

    def __init__(self, data: Mapping[str, Any], person: User) -> None:
        self.person = person
        super().__init__(data)

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password, self.person)
        return password

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if found.get("password") and found.get("again") is not None and found["password"] != found["again"]:
            self.add_error("again", _("The two passwords differ: type the same one twice."))
        return found


def kept_sites(actor: User) -> list[Site]:
    """The sites at which `actor` may give and take roles."""
    sites = Site.objects.filter(archived_at=None).order_by("code")
    return [site for site in sites if access.may(actor, "site.people", site)]


def may_keep(actor: User, person: User) -> bool:
    """Whether `actor` may change the name, password and access of `person`."""
    if actor.is_superuser:
        return actor.is_active
    if person.is_superuser or not access.may(actor, "site.people"):
        return False
    return all(
        access.may(actor, "site.people", membership.site) for membership in person.memberships.select_related("site")
    )


def read_password(data: Mapping[str, Any], person: User) -> str:
    """A password that passes the rules of the installation; raises EntryRefused."""
    entry = PasswordEntry({name: data.get(name, "") for name in ("password", "again")}, person)
    if not entry.is_valid():
        raise EntryRefused({name: [str(text) for text in texts] for name, texts in entry.errors.items()})
    return str(entry.cleaned_data["password"])


def save_person(
    data: Mapping[str, Any], author: Author, *, person_id: int | None = None, password: Mapping[str, Any] | None = None
) -> User:
    """Read nested text and save it as a person with their roles at the sites that the author keeps.

    `password` holds `password` and `again` for a new person. Roles at other sites stay as they are. Raises
    EntryRefused, PermissionDenied; then nothing is saved.
    """
    actor = author.user
    sites = {site.pk: site for site in kept_sites(actor)}
    if not sites and not actor.is_superuser:
        access.require(actor, "site.people")
    cleaned, errors = read_entry(PersonEntry, data)
    with recorded():
        person = User() if person_id is None else taken(person_id)
        if person.pk and not may_keep(actor, person) and not shared_site(sites, person):
            raise PermissionDenied(NOT_YOURS)
        before = portrait(person) if person.pk else {}
        errors |= {} if errors else faults(cleaned, person, sites, actor)
        secret = ""
        if person_id is None:
            try:
                secret = read_password(password or {}, User(**names(cleaned)))
            except EntryRefused as refused:
                errors |= refused.errors
        if errors:
            raise EntryRefused(errors)
        if not person.pk or may_keep(actor, person):
            for name, value in names(cleaned).items():
                setattr(person, name, value)
            leaves = person.pk and person.is_active and not cleaned["is_active"]
            person.is_active = cleaned["is_active"]
            if secret:
                person.set_password(secret)
            person.save()
            if leaves:
                end_sessions(person)
        give_roles(person, cleaned["memberships"], sites)
        record(person, author, before)
    return person


def taken(person_id: int) -> User:
    """The person for writing. Superusers are locked with them, in one order, to see who is the last."""
    locked = User.objects.select_for_update().filter(Q(pk=person_id) | Q(is_superuser=True)).order_by("pk")
    return {user.pk: user for user in locked}[person_id]


def names(cleaned: Mapping[str, Any]) -> dict[str, str]:
    return {name: cleaned.get(name) or "" for name in ("username", "full_name", "email")}


def shared_site(sites: Mapping[int, Site], person: User) -> bool:
    """Whether the person has a role at one of the sites."""
    return person.memberships.filter(site_id__in=sites).exists()


def faults(cleaned: Mapping[str, Any], person: User, sites: Mapping[int, Site], actor: User) -> dict[str, list[str]]:
    """What cannot be true of a person, by dotted path."""
    found: dict[str, list[str]] = {}
    taken = User.objects.filter(username__iexact=cleaned["username"]).exclude(pk=person.pk)
    if taken.exists():
        found["username"] = [_("Somebody has this user name already: choose another.")]
    for index, row in enumerate(cleaned["memberships"]):
        if row["site"].pk not in sites:
            found[f"memberships.{index}.site"] = [
                (_("You do not administer %(code)s: leave its roles.") % {"code": row["site"].code})
            ]
    if person.pk and person.pk == actor.pk:
        if not cleaned["is_active"]:
            found["is_active"] = [_("You cannot take away your own access: ask another administrator.")]
        kept = {row["site"].pk for row in cleaned["memberships"] if row["role"] == Role.ADMINISTRATOR}
        if not actor.is_superuser and set(sites) - kept:
            found["memberships"] = [_("You cannot take away your own role of site administrator: ask another one.")]
    return last_ones(person, cleaned, sites) | found


def last_ones(person: User, cleaned: Mapping[str, Any], sites: Mapping[int, Site]) -> dict[str, list[str]]:
    """What would leave the installation or a site without anybody who administers it, by dotted path."""
    if not person.pk or not person.is_active:
        return {}
    found: dict[str, list[str]] = {}
    stays = cleaned["is_active"]
    others = User.objects.filter(is_active=True).exclude(pk=person.pk)
    if person.is_superuser and not stays and not others.filter(is_superuser=True).exists():
        found["is_active"] = [
            (
                _(
                    "%(printed_name)s is the last administrator of the installation: make another one first "
                    "(manage.py createsuperuser)."
                )
                % {"printed_name": person.printed_name}
            )
        ]
    kept = {row["site"].pk for row in cleaned["memberships"] if row["role"] == Role.ADMINISTRATOR}
    for site in last_at(person, kept, sites, stays):
        found.setdefault("memberships" if stays else "is_active", []).append(
            _(
                "%(printed_name)s is the last administrator of %(code)s who may log in: give that role to "
                "somebody else first."
            )
            % {"printed_name": person.printed_name, "code": site.code}
        )
    return found


def last_at(person: User, kept: Container[int], sites: Container[int], stays: bool) -> list[Site]:
    """The sites that would lose their last active administrator if `person` kept that role only at `kept` of `sites`.

    The sites are locked, so that two administrators who take away each other's role at once do not both succeed.
    """
    if not person.is_active:
        return []
    administered = Site.objects.filter(
        archived_at=None, pk__in=person.memberships.filter(role=Role.ADMINISTRATOR).values("site_id")
    )
    others = Membership.objects.filter(role=Role.ADMINISTRATOR, user__is_active=True).exclude(user=person)
    return [
        site
        for site in administered.select_for_update().order_by("pk")
        if not (stays and (site.pk in kept or site.pk not in sites)) and not others.filter(site=site).exists()
    ]


def give_roles(person: User, rows: list[dict[str, Any]], sites: Mapping[int, Site]) -> None:
    """Make the roles at these sites be exactly the rows; roles elsewhere stay."""
    wanted = {(row["site"].pk, row["role"]) for row in rows}
    for membership in person.memberships.filter(site_id__in=sites):
        if (membership.site_id, membership.role) in wanted:
            wanted.discard((membership.site_id, membership.role))
        else:
            membership.delete()
    Membership.objects.bulk_create(
        Membership(user=person, site_id=site_id, role=role) for site_id, role in sorted(wanted)
    )


def set_person_password(person: User, data: Mapping[str, Any], author: Author) -> User:
    """Give a person a new password; all their sessions end. Raises EntryRefused, PermissionDenied."""
    if not may_keep(author.user, person):
        raise PermissionDenied(NOT_YOURS)
    secret = read_password(data, person)
    with recorded():
        person = User.objects.select_for_update().get(pk=person.pk)
        person.set_password(secret)
        person.save()
        record(person, author, {}, password_set=True)
    return person


def note_own_password(person: User, reason: str = "") -> None:
    """Record that a person gave themselves a new password."""
    record(person, Author(person, reason=reason), {}, password_set=True)


def portrait(person: User) -> dict[str, Any]:
    """What a revision holds of a person: never the password."""
    roles = person.memberships.select_related("site").order_by("site__code", "role")
    with in_fixed_language():
        named = [f"{membership.site.code}: {membership.get_role_display()}" for membership in roles]
    return {
        "id": person.pk,
        "username": person.username,
        "full_name": person.full_name,
        "email": person.email,
        "is_active": person.is_active,
        "roles": named,
    }


def record(person: User, author: Author, before: Mapping[str, Any], password_set: bool = False) -> None:
    """Write the revision of a person, unless nothing changed."""
    content = portrait(person)
    if content == before and not password_set:
        return
    content |= {"password_set": True} if password_set else {}
    last = Revision.objects.filter(kind=KIND, record_id=person.pk).order_by("-number").first()
    revision = Revision.objects.create(
        kind=KIND,
        record_id=person.pk,
        number=last.number + 1 if last else 1,
        label=person.printed_name[:240],
        snapshot=content,
        digest=digest(content),
        author=author.user,
        origin=author.origin,
        reason=author.reason[:400],
    )
    verb = Deed.PASSWORD if password_set else Deed.CHANGE if last or before else Deed.ADD
    if before and any(content[name] != before[name] for name in ("roles", "is_active")):
        verb = Deed.ACCESS
    tell(told(revision, verb, author, None))
