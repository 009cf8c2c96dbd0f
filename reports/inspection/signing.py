"""The signature under an inspection: a password, or a passkey whose challenge is made from what is signed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from loops.models import SignedWith
from loops.services.signing import SignatureRefused, signature_of
from registry.digests import digest
from registry.models import User
from registry.services import passkeys
from reports.inspection.models import SignedInspection

MEANING = "I have looked at what is listed here in the plant and recorded what I found."
LATER = frozenset({"remark", "inspector", "meaning", "signed_at", "inspected_on", "next_due_on", "complete"})
"""What is added to the record with the signature, and is no part of what was shown and is signed."""


@dataclass(frozen=True)
class Proof:
    """That somebody proved who they are, and what they signed; `evidence` is empty unless a passkey signed."""

    signed_with: SignedWith
    evidence: Mapping[str, str]
    signed: Mapping[str, Any]


def what_is_signed(record: Mapping[str, Any]) -> dict[str, Any]:
    """What is signed of an inspection, from its record before or after the signature."""
    body = {name: value for name, value in record.items() if name not in LATER}
    return {"inspection": record["number"], "content": digest(body), "meaning": MEANING}


def mark_of(record: Mapping[str, Any]) -> str:
    """What tells the content of an inspection from any other: it travels with the page on which it is signed."""
    return str(what_is_signed(record)["content"])


def passkey_options(record: Mapping[str, Any], user: User, host: str, nonce: str) -> Any:
    """What the browser is asked for to sign this record; empty where the person has no passkey."""
    return passkeys.options(user, host, passkeys.challenge_of(nonce, what_is_signed(record)))


def proven(record: Mapping[str, Any], user: User, password: str, passkey: passkeys.Answer | None) -> Proof:
    """That it is the person who signs this record. A failure is counted, in a transaction that commits before anything
    is signed. Raises SignatureRefused, SignatureLimited.
    """
    with transaction.atomic():
        signed = what_is_signed(record)
        found = signature_of(signed, user, password, passkey)
    if isinstance(found, str):
        raise SignatureRefused(found)
    return Proof(*found, signed)


def evidence_holds(row: SignedInspection) -> bool:
    """Whether the passkey's signature that a record keeps is one under what it holds."""
    if row.signed_with != SignedWith.PASSKEY:
        return not row.evidence
    nonce = row.evidence.get("nonce", "")
    return passkeys.holds(row.evidence, passkeys.challenge_of(nonce, what_is_signed(row.content)))
