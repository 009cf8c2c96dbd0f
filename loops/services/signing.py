"""The signature itself: a password, or a passkey whose challenge is made from what is signed."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.utils.translation import gettext as _

from loops.models import Approval, Loop, SignedWith, Verification
from loops.services.refusals import WorkflowRefused
from registry.login.limits import TooManyAttempts, attempt
from registry.models import Revision, User
from registry.services import passkeys

MEANING = "I have checked this revision and its verification and approve it for issue."


class SignatureRefused(WorkflowRefused):
    """The password or passkey is not right: an attempt that counts."""


class SignatureLimited(WorkflowRefused):
    """Too many signatures of this person failed: none is taken for a while."""


@contextmanager
def counted(user: User) -> Iterator[None]:
    """Count an attempt to sign, and take it back unless the password or passkey was not right.

    It stands around the transaction, not in it.
    """
    try:
        take_back = attempt("sign", f"sign-{user.pk}")
    except TooManyAttempts as error:
        raise SignatureLimited(
            _("Too many attempts to sign failed: wait five minutes, then sign. Nothing was signed.")
        ) from error
    try:
        yield
    except SignatureRefused:
        raise
    except BaseException:
        take_back()
        raise
    take_back()


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
) -> tuple[SignedWith, dict[str, str]]:
    """How the person proved that it is them, and the evidence of a passkey. Raises SignatureRefused."""
    if passkey is None:
        if not user.check_password(password):
            raise SignatureRefused("The password is not right: nothing was signed. Type it again.")
        return SignedWith.PASSWORD, {}
    signed = what_is_signed(loop.pk, loop.letter, revision.digest, verification.digest)
    try:
        return SignedWith.PASSKEY, passkeys.verify(user, passkey, passkeys.challenge_of(passkey.nonce, signed))
    except passkeys.PasskeyRefused as error:
        raise SignatureRefused(
            _("The passkey did not sign what stands here: nothing was signed. Read it again, then sign.")
        ) from error


def evidence_holds(approval: Approval) -> bool:
    """Whether the passkey's signature that an approval keeps is one under what the approval names."""
    if approval.signed_with != SignedWith.PASSKEY:
        return not approval.evidence
    signed = what_is_signed(
        approval.loop_id, approval.letter, approval.revision_digest, approval.verification_digest
    ) | {"meaning": approval.meaning}
    return passkeys.holds(approval.evidence, passkeys.challenge_of(approval.evidence.get("nonce", ""), signed))
