"""Secrets that have to be read again, for instance of an authenticator app, are kept sealed in the database.

Sealed with Fernet (AES-128-CBC with HMAC-SHA256) under a key that HKDF (RFC 5869, SHA-256) derives from ``SECRET_KEY``;
what was sealed under one of ``SECRET_KEY_FALLBACKS`` is read too. A copy of the database alone tells nobody a secret.
"""

from __future__ import annotations

import base64
from functools import lru_cache

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

PURPOSE = b"unlit: secrets of second factors"


class Unreadable(Exception):
    """What is stored was sealed under another key, altered, or never sealed: there is no secret to go on with."""


def seal(text: str) -> str:
    """The text, sealed under the present key."""
    return _all()[0].encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """The text that was sealed; raises Unreadable, and never answers anything that was not sealed here."""
    try:
        text = MultiFernet(_all()).decrypt(sealed.encode()).decode()
    except (InvalidToken, UnicodeError) as error:
        raise Unreadable from error
    if not text:
        raise Unreadable
    return text


def is_fresh(sealed: str) -> bool:
    """Whether a text is sealed under the present key, so that older ones are not needed to read it."""
    try:
        _all()[0].decrypt(sealed.encode())
    except InvalidToken:
        return False
    return True


def _all() -> list[Fernet]:
    """The present key first."""
    return [_fernet(key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]


@lru_cache(maxsize=16)
def _fernet(key: str) -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=PURPOSE).derive(key.encode())
    return Fernet(base64.urlsafe_b64encode(derived))
