"""The signature itself: a password, or a passkey whose challenge is made from what is signed."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Approval, Loop, SignedWith, Verification
from loops.services.refusals import WorkflowRefused
from registry.login.limits import TooManyAttempts, note_failure, refuse_further
from registry.models import Revision, User
from registry.services import passkeys

MEANING = "I have checked this revision and its verification and approve it for issue."
SHORT_ID_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
SHORT_ID_LENGTH = 10
ACTION = "sign"
"""Whose limit in the settings counts."""


class SignatureRefused(WorkflowRefused):
    """The password or passkey is not right: an attempt that counts."""


class SignatureLimited(WorkflowRefused):
    """Too many signatures of this person failed: none is taken for a while."""


def new_short_id() -> str:
    """A name for the live address of an issue that nobody guesses: ten letters and digits, about 50 bits."""
    return "".join(secrets.choice(SHORT_ID_LETTERS) for _ in range(SHORT_ID_LENGTH))


@dataclass(frozen=True)
class Proof:
    """That somebody proved who they are, to sign one revision and its verification, when, and under which name."""

    user_id: int
    revision_id: int
    verification_id: int
    signed_with: SignedWith
    evidence: dict[str, str]
    signed_at: dt.datetime = field(default_factory=timezone.now)
    short_id: str = field(default_factory=new_short_id)


def limited(user: User) -> str:
    """Under which name the failures of a person are counted. Holds the row of the person, so that their attempts come
    one after the other; raises SignatureLimited after too many failures."""
    User.objects.select_for_update(no_key=True).get(pk=user.pk)
    key = f"sign-{user.pk}"
    try:
        refuse_further(ACTION, key)
    except TooManyAttempts as error:
        raise SignatureLimited(
            _("Too many attempts to sign failed: wait five minutes, then sign. Nothing was signed.")
        ) from error
    return key


def what_is_signed(loop_id: int, letter: str, revision_digest: str, verification_digest: str) -> dict[str, Any]:
    """What a passkey signs, as plain data."""
    return {
        "loop": loop_id,
        "letter": letter,
        "revision": revision_digest,
        "verification": verification_digest,
        "meaning": MEANING,
    }


def new_nonce() -> str:
    """What makes every challenge another, although the same may be signed."""
    return secrets.token_urlsafe(24)


def passkey_options(
    loop: Loop, revision: Revision, verification: Verification, user: User, host: str, nonce: str
) -> Any:
    """What the browser is asked for to sign these; empty where the person has no passkey."""
    signed = what_is_signed(loop.pk, loop.letter, revision.digest, verification.digest)
    return passkeys.options(user, host, passkeys.challenge_of(nonce, signed))


def proven(
    loop: Loop,
    revision: Revision,
    verification: Verification,
    user: User,
    password: str,
    passkey: passkeys.Answer | None,
) -> Proof | str:
    """That the person proved that it is them, or why the password or passkey is not right: that is counted.

    Belongs into a transaction of its own that commits in either case. Raises SignatureLimited.
    """
    signed = what_is_signed(loop.pk, loop.letter, revision.digest, verification.digest)
    found = signature_of(signed, user, password, passkey)
    return found if isinstance(found, str) else Proof(user.pk, revision.pk, verification.pk, *found)


def signature_of(
    signed: Mapping[str, Any], user: User, password: str, passkey: passkeys.Answer | None
) -> tuple[SignedWith, dict[str, str]] | str:
    """With what the person signs this plain data, with the evidence of a passkey; or why that is not right: it is
    counted. Belongs into a transaction that commits in either case. Raises SignatureLimited.
    """
    if passkey is None and not user.has_usable_password():
        # Nothing was guessed, so nothing is counted.
        return _(
            "You have no password here, so nothing was signed: add a passkey (menu, How I log in) and sign with it, or "
            "ask an administrator of your site to set a password for you."
        )
    key = limited(user)
    if passkey is None:
        if not user.check_password(password):
            note_failure(ACTION, key)
            return _("The password is not right: nothing was signed. Type it again.")
        return SignedWith.PASSWORD, {}
    try:
        evidence = passkeys.verify(user, passkey, passkeys.challenge_of(passkey.nonce, signed))
    except passkeys.PasskeyRefused:
        note_failure(ACTION, key)
        return _("The passkey did not sign what stands here: nothing was signed. Read it again, then sign.")
    return SignedWith.PASSKEY, evidence


def evidence_holds(approval: Approval) -> bool:
    """Whether the passkey's signature that an approval keeps is one under what the approval names."""
    if approval.signed_with != SignedWith.PASSKEY:
        return not approval.evidence
    signed = what_is_signed(
        approval.loop_id, approval.letter, approval.revision_digest, approval.verification_digest
    ) | {"meaning": approval.meaning}
    return passkeys.holds(approval.evidence, passkeys.challenge_of(approval.evidence.get("nonce", ""), signed))
