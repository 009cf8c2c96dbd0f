"""Certificates: is there one, does it hold, and what does it leave to a person?

Sources: IEC 60079-14:2013, 4.4 (documents), from memory; IEC 60079-0:2017, clause 29 (suffix X: specific conditions of
use; suffix U: a component that is not usable on its own).
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from loops.engine.case import Case, Certificate, CertificateStatus, Device, DeviceKind
from loops.engine.findings import CONFIRM, FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, Remark, Verdict

_SUFFIX = re.compile(r"\d[ \-/(]*([XU])(?![A-Z0-9])", re.IGNORECASE)
_ENDING = re.compile(
    r"[ \-/.(]([XU])\)?(?:[ ,;(/\-]{1,3}(?:issue|iss|rev|revision|supplement|suppl|amendment|variation)\b.*)?$",
    re.IGNORECASE,
)
_LONGEST_NUMBER = 200
_ENDED = frozenset({CertificateStatus.WITHDRAWN, CertificateStatus.SUSPENDED})


class _Finding(NamedTuple):
    verdict: Verdict
    why: Remark


@lru_cache(maxsize=4096)
def suffix(number: str) -> str:
    """The suffix letter of a certificate number: "X", "U" or "". An issue or supplement may be named behind it.

    >>> suffix("EXB 00 ATEX 2048 X"), suffix("IECEx EXB 11.0091X"), suffix("EXB 19 ATEX 2U"), suffix("EXB 19 ATEX 2")
    ('X', 'X', 'U', '')
    >>> suffix("EXB 19 ATEX 0202 U issue 2"), suffix("NQ 4417-A (U), Supplement 1"), suffix("UXB 19 ATEX 0202")
    ('U', 'U', '')
    """
    plain = " ".join(number.split())[:_LONGEST_NUMBER]
    found = [match.upper() for match in (*_SUFFIX.findall(plain), *_ENDING.findall(plain))]
    return "U" if "U" in found else "X" if found else ""


def check_certificate(
    name: str,
    certificate: Certificate | None,
    case: Case,
    remarks: list[Remark],
    kind: DeviceKind = DeviceKind.CERTIFIED,
) -> Check:
    """One part's certificate.

    No certificate fails for everything but simple apparatus: a certified source cannot make an uncertified device safe
    (common practice). A U certificate fails on its own. Withdrawn or suspended fails. X, superseded, ended, a scheme or
    status that nobody has given: a person confirms. The last day of validity is still valid.
    """
    subject = (name,)
    if kind is DeviceKind.SIMPLE:
        why = Remark("{0} is simple apparatus and needs no certificate.", subject)
        return Check(CheckId.CERTIFICATE, NOT_APPLICABLE, subject, why, "certificate")
    if kind is DeviceKind.UNCERTIFIED:
        why = Remark("{0} has no certificate; a certified source does not make it safe.", subject)
        cure = Remark("A certified device would pass.")
        return Check(CheckId.CERTIFICATE, FAIL, subject, why, "certificate", cure=cure)
    if kind is DeviceKind.COMPONENT:
        why = Remark("{0} is a component (U certificate), which is not usable on its own.", subject)
        cure = Remark("A certified device that contains the component would pass.")
        return Check(CheckId.CERTIFICATE, FAIL, subject, why, "certificate", cure=cure)
    if certificate is None or not certificate.number:
        why = Remark("The certificate number of {0} is not known.", subject)
        if certificate is None or certificate.status not in _ENDED:
            return Check(CheckId.CERTIFICATE, INCOMPLETE, subject, why, "certificate")
    found = _findings(name, certificate, case)
    shown = certificate.number
    failed = next((finding for finding in found if finding.verdict is FAIL), None)
    if failed is not None:
        cure = Remark("A part with a current certificate of its own, under a scheme that the site accepts, would pass.")
        return Check(CheckId.CERTIFICATE, FAIL, subject, failed.why, "certificate", shown, cure=cure)
    if not found:
        why = Remark("Certificate {1} of {0} is current.", (name, shown or ""))
        return Check(CheckId.CERTIFICATE, PASS, subject, why, "certificate", shown)
    remarks.extend(finding.why for finding in found)
    return Check(
        CheckId.CERTIFICATE, CONFIRM, subject, _joined([finding.why for finding in found]), "certificate", shown
    )


def _joined(parts: list[Remark]) -> Remark:
    """Several sentences as one remark: the operands of each follow on."""
    if len(parts) == 1:
        return parts[0]
    template, operands = "", ()
    for part in parts:
        shift = len(operands)
        text = re.sub(r"\{(\d+)", lambda match, shift=shift: f"{{{int(match[1]) + shift}", part.template)  # type: ignore[misc]
        template = f"{template} {text}" if template else text
        operands += part.operands  # type: ignore[assignment]
    return Remark(template, operands)


def _findings(name: str, certificate: Certificate, case: Case) -> list[_Finding]:
    number = certificate.number or "without number"
    found = []
    letter = suffix(number)
    if letter == "U":
        found.append(
            _Finding(FAIL, Remark("{1} of {0} is a component certificate (U), not usable on its own.", (name, number)))
        )
    if certificate.status in _ENDED:
        words = certificate.status.value if certificate.status is not None else ""
        found.append(_Finding(FAIL, Remark("Certificate {1} of {0} is {2}.", (name, number, words))))
    if letter == "X":
        found.append(_Finding(CONFIRM, conditions_remark(name, number)))
    if certificate.status is None:
        found.append(
            _Finding(
                CONFIRM,
                Remark(
                    "The status of certificate {1} of {0} is not known: confirm that it is current.", (name, number)
                ),
            )
        )
    elif certificate.status is CertificateStatus.SUPERSEDED:
        why = Remark(
            "Certificate {1} of {0} is superseded: confirm that the installed part was made under it.", (name, number)
        )
        found.append(_Finding(CONFIRM, why))
    if certificate.scheme is None:
        why = Remark(
            "The scheme of certificate {1} of {0} is not known: confirm that the site accepts it.", (name, number)
        )
        found.append(_Finding(CONFIRM, why))
    elif case.accepted_schemes is not None and not _accepted(certificate.scheme, case.accepted_schemes):
        why = Remark(
            "{0} is certified under {1}; the site accepts {2}.",
            (name, certificate.scheme, ", ".join(case.accepted_schemes) or "no scheme yet"),
        )
        found.append(_Finding(FAIL, why))
    ended = _ended(name, number, certificate, case.judge_on)
    if ended is not None:
        found.append(_Finding(CONFIRM, ended))
    return found


def conditions_remark(name: str, number: str) -> Remark:
    """What is asked of an X certificate as a whole. Whoever lists its conditions one by one asks for those instead."""
    return Remark(
        "Certificate {1} of {0} ends in X: confirm that every specific condition of use is met.", (name, number)
    )


def _accepted(scheme: str, accepted: tuple[str, ...]) -> bool:
    return scheme.casefold() in {name.casefold() for name in accepted}


def _ended(name: str, number: str, certificate: Certificate, today: date | None) -> Remark | None:
    """The certificate's last day against the day of judgement, with the day the part was made kept apart."""
    if certificate.valid_to is None:
        return None
    last = certificate.valid_to.isoformat()
    if today is None:
        return Remark(
            "Certificate {1} of {0} is valid to {2}, and no day of judgement is given: confirm that it holds.",
            (name, number, last),
        )
    if certificate.valid_to >= today:
        return None
    if certificate.made_on is None:
        return Remark(
            "Certificate {1} of {0} ended for new supply on {2}: confirm that the part was made before.",
            (name, number, last),
        )
    made = certificate.made_on.isoformat()
    if certificate.made_on <= certificate.valid_to:
        return Remark(
            "Certificate {1} of {0} ended for new supply on {2}; the part was made on {3}, while it was valid: confirm "
            "that it may stay in use.",
            (name, number, last, made),
        )
    return Remark(
        "Certificate {1} of {0} ended on {2} and the part was made later, on {3}: confirm which certificate covers it.",
        (name, number, last, made),
    )


def check_device_certificate(case: Case, device: Device, remarks: list[Remark]) -> Check:
    """:func:`check_certificate` for a device of any kind."""
    return check_certificate(device.name, device.certificate, case, remarks, device.kind)
