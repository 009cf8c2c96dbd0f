"""The signature under an inspection: a password, or a passkey whose challenge is made from what is signed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from loops.models import SignedWith
from loops.services.signing import ACTION, SignatureRefused, limited
from registry.digests import digest
from registry.login.limits import note_failure
from registry.models import User
from registry.services import passkeys
from reports.inspection.models import SignedInspection

MEANING = "I have looked at what is listed here in the plant and recorded what I found."
LATER = frozenset({"remark", "inspector", "meaning", "signed_at", "inspected_on", "next_due_on", "complete"})
"""What is added to the record with the signature, and is no part of what a passkey signs."""


@dataclass(frozen=True)
class Proof:
    """That somebody proved who they are; `signed` is what a passkey signed."""

    signed_with: SignedWith
    evidence: dict[str, str] = field(default_factory=dict)
    signed: Mapping[str, Any] = field(default_factory=dict)


def what_is_signed(record: Mapping[str, Any]) -> dict[str, Any]:
    """What a passkey signs of an inspection, from its record before or after the signature."""
    body = {name: value for name, value in record.items() if name not in LATER}
    return {"inspection": record["number"], "content": digest(body), "meaning": MEANING}


def passkey_options(record: Mapping[str, Any], user: User, host: str, nonce: str) -> Any:
    """What the browser is asked for to sign this record; empty where the person has no passkey."""
    return passkeys.options(user, host, passkeys.challenge_of(nonce, what_is_signed(record)))


def proven(record: Mapping[str, Any], user: User, password: str, passkey: passkeys.Answer | None) -> Proof:
    """That it is the person who signs this record. A failure is counted, in a transaction that commits before anything
    is signed. Raises SignatureRefused, SignatureLimited.
    """
    with transaction.atomic():
        key = limited(user)
        signed = what_is_signed(record)
        if passkey is None:
            found = Proof(SignedWith.PASSWORD) if user.check_password(password) else None
        else:
            try:
                evidence = passkeys.verify(user, passkey, passkeys.challenge_of(passkey.nonce, signed))
                found = Proof(SignedWith.PASSKEY, evidence, signed)
            except passkeys.PasskeyRefused:
                found = None
        if found is None:
            note_failure(ACTION, key)
    if found is None and passkey is None:
        raise SignatureRefused(_("The password is not right: nothing was signed. Type it again."))
    if found is None:
        raise SignatureRefused(
            _("The passkey did not sign what stands here: nothing was signed. Read it again, then sign.")
        )
    return found


def evidence_holds(row: SignedInspection) -> bool:
    """Whether the passkey's signature that a record keeps is one under what it holds."""
    if row.signed_with != SignedWith.PASSKEY:
        return not row.evidence
    nonce = row.evidence.get("nonce", "")
    return passkeys.holds(row.evidence, passkeys.challenge_of(nonce, what_is_signed(row.content)))
