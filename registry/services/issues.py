"""A certificate is re-issued: issue n + 1 begins from issue n, which is then superseded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from registry import access
from registry.certificate_numbers import stem_of
from registry.entries import CertificateEntry
from registry.models import Certificate, CertificateStatus, Deed
from registry.reading import read_entry
from registry.selectors import record_text
from registry.services.changes import Told, recorded, tell
from registry.services.records import REASON, Author, EntryRefused, latest_revision, lock, save_text


def issues_of(certificate: Certificate) -> list[Certificate]:
    """All issues of a certificate that the register holds, the first one first: 0, 1, 2 … 10; others by their words.

    An issue may gain or lose the X or U of its number.
    """
    stem = stem_of(certificate.number)
    found = [
        row
        for row in Certificate.objects.select_related("follows").filter(number__istartswith=stem)
        if stem_of(row.number) == stem
    ]
    return sorted(found, key=lambda row: (0, int(row.issue), "") if row.issue.isdecimal() else (1, 0, row.issue))


def next_issue(certificate: Certificate) -> str:
    """The number of the issue after the last one; empty where issues are not numbered."""
    numbers = [int(row.issue) for row in issues_of(certificate) if row.issue.isdecimal()]
    return str(max(numbers) + 1) if numbers and certificate.issue.isdecimal() else ""


def refusal_to_supersede(certificate: Certificate) -> str:
    """Why a certificate cannot be superseded as it stands; empty where it can."""
    if certificate.is_archived:
        return _("This certificate is archived: bring it back first.")
    if certificate.status in {CertificateStatus.SUPERSEDED, CertificateStatus.WITHDRAWN}:
        return _("This issue is %(lower)s: begin from the issue in force.") % {
            "lower": certificate.get_status_display().lower()
        }
    return ""


def supersede(
    certificate_id: int, data: Mapping[str, Any], author: Author, *, opened_version: int | None = None
) -> Certificate:
    """Save the next issue of a certificate from nested text, and mark the one it follows as superseded.

    Those whose loops rest on the old issue are told as of any change. Raises EntryRefused, StaleRecord,
    PermissionDenied; then nothing is saved.
    """
    access.require(author.user, "register.edit")
    with recorded():
        old = lock(Certificate, certificate_id, opened_version)
        if refusal := refusal_to_supersede(old):
            raise EntryRefused({"issue": [refusal]})
        check(old, data, author)
        new = save_text("certificate", data, author)
        assert isinstance(new, Certificate)
        new.follows = old
        new.save(update_fields=["follows"])
        save_text("certificate", superseded_text(old), author, record_id=old.pk)
        last = latest_revision(old)
        tell(
            Told(
                Deed.SUPERSEDE,
                old.record_kind,
                old.pk,
                old.label(),
                author.user,
                digest=last.digest if last else "",
                detail={"by": new.label(), "reason": author.reason},
            )
        )
    return new


def superseded_text(certificate: Certificate) -> dict[str, Any]:
    """A certificate's text with the status that the next issue gives it."""
    return record_text(certificate) | {"status": CertificateStatus.SUPERSEDED.value}


def check(old: Certificate, data: Mapping[str, Any], author: Author) -> None:
    """Refuse what is no issue after `old`; all faults at once."""
    cleaned, errors = read_entry(CertificateEntry, data)
    if not author.reason.strip():
        errors.setdefault(REASON, []).append(_("Say why in a few words: whoever relies on the old issue will ask."))
    number, issue = cleaned.get("number", old.number), cleaned.get("issue", "")
    if stem_of(number) != stem_of(old.number):
        errors.setdefault("number", []).append(
            _(
                "An issue of this certificate has its number, %(number)s; only an X or U at the end may "
                "differ. Add another certificate as a new one."
            )
            % {"number": old.number}
        )
    if issue.isdecimal() and old.issue.isdecimal() and int(issue) <= int(old.issue):
        errors.setdefault("issue", []).append(
            _("The issue after issue %(issue)s has a higher number.") % {"issue": old.issue}
        )
    elif issue and issue == old.issue:
        errors.setdefault("issue", []).append(
            _("This is issue %(issue)s already: name the new one.") % {"issue": old.issue}
        )
    issued_on = cleaned.get("issued_on")
    if issued_on and old.issued_on and issued_on < old.issued_on:
        errors.setdefault("issued_on", []).append(_("The new issue would be older than the one that it follows."))
    if errors:
        raise EntryRefused(errors)
