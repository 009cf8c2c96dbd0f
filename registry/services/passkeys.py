"""Passkeys (WebAuthn Level 2) as a signature under something: the challenge is made from what is signed.

The log-in itself uses the library's own challenges; here the caller decides what is signed.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from allauth.mfa.models import Authenticator
from fido2 import cbor
from fido2.cose import CoseKey
from fido2.server import Fido2Server
from fido2.utils import sha256, websafe_decode, websafe_encode
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    AuthenticatorData,
    CollectedClientData,
    PublicKeyCredentialRpEntity,
    UserVerificationRequirement,
)

from registry.models import User

LONGEST_ANSWER = 20_000
VERIFIED = UserVerificationRequirement.REQUIRED
"""A signature needs more than a touch: the device asks for a PIN, finger or face."""


class PasskeyRefused(Exception):
    """The answer is not that of a passkey of this person to this challenge."""


@dataclass(frozen=True)
class Answer:
    """What the browser answered: its JSON text, the host it was asked at, and the nonce of its challenge."""

    text: str
    host: str
    nonce: str


def passkeys_of(user: User) -> list[tuple[Authenticator, AttestedCredentialData]]:
    """The passkeys of a person with their public keys."""
    found = Authenticator.objects.filter(user=user, type=Authenticator.Type.WEBAUTHN).order_by("pk")
    return [(item, item.wrap().authenticator_data.credential_data) for item in found]


def challenge_of(nonce: str, signed: Mapping[str, Any]) -> bytes:
    """The challenge under which `signed` (plain data) is signed: SHA-256 of its JSON with sorted keys and the nonce."""
    text = json.dumps({"nonce": nonce, "signed": signed}, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return sha256(text.encode())


def options(user: User, host: str, challenge: bytes) -> dict[str, Any]:
    """What the browser is asked for, as plain data; an empty dict where the person has no passkey."""
    keys = [data for _, data in passkeys_of(user)]
    if not keys:
        return {}
    asked, _ = server_at(host).authenticate_begin(keys, user_verification=VERIFIED, challenge=challenge)
    return {"request_options": dict(asked)}


def verify(user: User, answer: Answer, challenge: bytes) -> dict[str, str]:
    """Check an answer and return the evidence, with which anybody can check it again (see :func:`holds`).

    Raises PasskeyRefused.
    """
    if not answer.nonce:
        raise PasskeyRefused  # no page is open for signing, so nothing was asked
    keys = passkeys_of(user)
    try:
        data = json.loads(answer.text[: LONGEST_ANSWER + 1])
        response = AuthenticationResponse.from_dict(data)
        state = {"challenge": websafe_encode(challenge), "user_verification": VERIFIED}
        used = server_at(answer.host).authenticate_complete(state, [key for _, key in keys], response)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise PasskeyRefused from error
    next(item for item, key in keys if key.credential_id == used.credential_id).record_usage()
    return {
        "nonce": answer.nonce,
        "host": answer.host,
        "credential": websafe_encode(used.credential_id),
        "public_key": websafe_encode(cbor.encode(dict(used.public_key))),
        "authenticator_data": websafe_encode(bytes(response.response.authenticator_data)),
        "client_data": websafe_encode(bytes(response.response.client_data)),
        "signature": websafe_encode(response.response.signature),
    }


def holds(evidence: Mapping[str, str], challenge: bytes) -> bool:
    """Whether stored evidence is a signature over this challenge by the key that it names."""
    try:
        client_data = CollectedClientData(websafe_decode(evidence["client_data"]))
        authenticator_data = AuthenticatorData(websafe_decode(evidence["authenticator_data"]))
        key = CoseKey.parse(cast(Mapping[int, Any], cbor.decode(websafe_decode(evidence["public_key"]))))
        key.verify(bytes(authenticator_data) + client_data.hash, websafe_decode(evidence["signature"]))
    except Exception:
        return False
    return client_data.challenge == challenge and authenticator_data.is_user_verified()


def server_at(host: str) -> Fido2Server:
    """Passkeys are bound to the name of the host; an address that is a number has none."""
    return Fido2Server(PublicKeyCredentialRpEntity(id=host, name="Unlit"))


__all__: Sequence[str] = [
    "Answer",
    "PasskeyRefused",
    "challenge_of",
    "holds",
    "options",
    "passkeys_of",
    "verify",
]
