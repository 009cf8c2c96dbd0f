"""The secrets of second factors as they are stored: sealed, and sealed anew once the key of the site has changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.models import Authenticator
from django.db import transaction

from registry.models import Webhook
from registry.sealing import Unreadable, is_fresh, seal, unseal

SECRETS = ("secret", "seed")
"""Keys of what an authenticator app and recovery codes keep; a passkey keeps no secret."""


def seal_anew() -> str:
    """Seal under the present key what an older one sealed, so that the older one can be forgotten."""
    anew = unreadable = 0
    for key in Authenticator.objects.exclude(type=Authenticator.Type.WEBAUTHN).values_list("pk", flat=True):
        with transaction.atomic():
            factor = Authenticator.objects.select_for_update().filter(pk=key).first()
            if factor is None or all(is_fresh(factor.data[name]) for name in SECRETS if name in factor.data):
                continue
            try:
                factor.data = changed(factor.data, lambda sealed: seal(unseal(sealed)))
            except Unreadable:
                unreadable += 1
                continue
            factor.save(update_fields=["data"])
            anew += 1
    told = f"Second factors: {anew} sealed under the present key."
    if unreadable:
        told += (
            f" {unreadable} cannot be read: give the key that was in use before as SECRET_KEY_FALLBACKS, or let their "
            "owners in with manage.py reset_mfa USER."
        )
    return told


def unreadable() -> int:
    """How many secrets, of second factors and of webhooks, no key of this site can read."""
    factors = Authenticator.objects.exclude(type=Authenticator.Type.WEBAUTHN).values_list("data", flat=True)
    sealed = [data[name] for data in factors for name in SECRETS if name in data]
    sealed += Webhook.objects.filter(ended_at=None).values_list("sealed_secret", flat=True)
    return sum(not is_readable(text) for text in sealed)


def is_readable(sealed: str) -> bool:
    try:
        unseal(sealed)
    except Unreadable:
        return False
    return True


def changed(data: dict[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    """The data of a factor with its secrets changed."""
    return data | {name: change(data[name]) for name in SECRETS if name in data}
