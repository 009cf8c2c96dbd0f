"""Tokens of the API: made for oneself, shown once, known again by the digest of their secret."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Mapping
from typing import Any

from django import forms
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry import access
from registry.models import ApiToken, Deed, Scope, Site, User
from registry.prepared import PreparedRead
from registry.reading import TextField
from registry.services.changes import Told, recorded, tell
from registry.services.log import PERSON_KIND
from registry.services.records import EntryRefused

PREFIX = "unlit_"
SECRET_BYTES = 32
SHOWN = 12
"""So much of the text of a token is kept, for its owner to know it by."""
DAYS = (30, 90, 180, 365)
MOST = 50
"""How many tokens of one person may be in force at a time."""
NOTED_EVERY = dt.timedelta(minutes=1)
"""The time of the last use is written so often at most: reading is not to write with every request."""


class TokenEntry(forms.Form):
    """What is asked for a new token."""

    name = TextField(max_length=80, label=gettext_lazy("Name"))
    scope = forms.ChoiceField(choices=Scope.choices, label=gettext_lazy("It may"))
    site = forms.ModelChoiceField(Site.objects.none(), required=False, label=gettext_lazy("Site"), to_field_name="code")
    days = forms.TypedChoiceField(
        choices=[(str(days), str(days)) for days in DAYS], coerce=int, label=gettext_lazy("Days until it ends")
    )

    def __init__(self, *arguments: Any, user: User, **options: Any) -> None:
        super().__init__(*arguments, **options)
        site: Any = self.fields["site"]
        site.queryset = sites_for(user)


def sites_for(user: User) -> Any:
    """The sites that a token of a person may be narrowed to."""
    return Site.objects.filter(pk__in=access.sites_of(user), archived_at=None).order_by("code")


def make_token(user: User, typed: Mapping[str, Any]) -> tuple[ApiToken, str]:
    """A new token and its text, which is kept nowhere. Raises EntryRefused."""
    form = TokenEntry(dict(typed), user=user)
    if not form.is_valid():
        raise EntryRefused({name: [str(text) for text in texts] for name, texts in form.errors.items()})
    now = timezone.now()
    with recorded():
        in_force = ApiToken.objects.filter(person=user, revoked_at=None, expires_at__gt=now)
        if in_force.count() >= MOST:
            raise EntryRefused({"name": [_("You have %d tokens: revoke one that is not used any more.") % MOST]})
        text = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
        token = ApiToken.objects.create(
            person=user,
            name=form.cleaned_data["name"],
            scope=form.cleaned_data["scope"],
            site=form.cleaned_data["site"],
            start=text[:SHOWN],
            digest=digest_of(text),
            expires_at=now + dt.timedelta(days=form.cleaned_data["days"]),
        )
        note(token, "API token made", user)
    return token, text


def revoke(token: ApiToken, user: User) -> None:
    """End a token at once; one that has ended stays as it is."""
    with recorded():
        if ApiToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=timezone.now()):
            note(token, "API token revoked", user)


def note(token: ApiToken, what: str, actor: User) -> None:
    """Tell the change log."""
    detail = {"what": what, "token": token.start, "name": token.name, "scope": str(token.scope)}
    detail |= {"site": token.site.code} if token.site else {}
    tell(Told(Deed.ACCESS, PERSON_KIND, token.person_id, token.person.printed_name, actor=actor, detail=detail))


def digest_of(text: str) -> str:
    """SHA-256 of a token. Its 256 random bits need no salt and no slow hash."""
    return hashlib.sha256(text.encode()).hexdigest()


WITH_DIGEST: PreparedRead[ApiToken] = PreparedRead(
    lambda digest: ApiToken.objects.filter(digest=digest).select_related("person", "site")[:1], models.CharField()
)


def token_in_force(text: str) -> ApiToken | None:
    """The token with this text where it is in force and its person may log in; its use is noted."""
    now = timezone.now()
    token = WITH_DIGEST.first(digest_of(text))
    if token is None or token.revoked_at is not None or token.expires_at <= now or not token.person.is_active:
        return None
    if token.last_used_at is None or now - token.last_used_at >= NOTED_EVERY:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
    access.narrow(token.person, access.Narrowing(token.site_id, token.scope == Scope.WRITE))
    return token


def tokens_of(user: User) -> list[ApiToken]:
    """The tokens of a person, the newest first; each with `state`: in force, ended or revoked."""
    now = timezone.now()
    found = list(ApiToken.objects.filter(person=user).select_related("site"))
    for token in found:
        ended = "expired" if token.expires_at <= now else ""
        token.state = "revoked" if token.revoked_at else ended  # type: ignore[attr-defined]
    return found
