"""Certificates: suffix, status, two dates, and what a person confirms (-0:2017, clause 29; facts of the trade)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from loops.engine.case import (
    Case,
    Certificate,
    CertificateStatus,
)
from loops.engine.checks.certificates import suffix
from loops.engine.findings import (
    CONFIRM,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    PASS,
    Check,
    Verdict,
)

from . import make

TODAY = date(2026, 11, 25)


def text(check: Check) -> str:
    """Template and operands, to look for words in."""
    return f"{check.why.template} {check.why.operands}"


def certificate(case: Case = make.CASE, **changes: object) -> Check:
    changed = replace(make.CERTIFICATE, **changes)  # type: ignore[arg-type]
    return make.of(make.device(case, certificate=changed), "certificate", "D1")


@pytest.mark.parametrize(
    "number, letter",
    [
        ("EXB 19 ATEX 0202", ""),
        ("EXB 19 ATEX 0202X", "X"),
        ("EXB 19 ATEX 0202 X issue 3", "X"),
        ("IECEx EXB 19.0202X/2", "X"),
        ("EXB19ATEX0202-U", "U"),
        ("EXB 19 ATEX 0202 XU", ""),
        ("3 X and 0202 U", "U"),
        ("UL 19 ATEX 0202", ""),
        ("EXB 19 UKEX 0202", ""),
        ("CSA 19 XP 0202", ""),
    ],
)
def test_suffix(number: str, letter: str) -> None:
    assert suffix(number) == letter


def test_certificate_verdicts() -> None:
    assert certificate().verdict is PASS
    assert certificate(number=None).verdict is INCOMPLETE
    assert certificate(number="").verdict is INCOMPLETE
    assert make.verdict(make.device(certificate=None), "certificate", "D1") is INCOMPLETE
    assert make.verdict(make.source(certificate=None), "certificate", "S1") is INCOMPLETE
    assert certificate(status=None).verdict is CONFIRM
    assert certificate(scheme=None).verdict is CONFIRM
    assert certificate(status=CertificateStatus.SUPERSEDED).verdict is CONFIRM
    assert certificate(status=CertificateStatus.WITHDRAWN).verdict is FAIL
    assert certificate(status=CertificateStatus.SUSPENDED).verdict is FAIL
    assert certificate(status=CertificateStatus.WITHDRAWN, number=None).verdict is FAIL
    assert make.verdict(make.simple(), "certificate", "RTD") is NOT_APPLICABLE


def test_scheme_accepted_at_the_site() -> None:
    case = replace(make.CASE, accepted_schemes=("IECEx", "atex"))
    assert certificate(case).verdict is PASS
    check = certificate(case, scheme="national")
    assert check.verdict is FAIL
    assert check.why.operands == ("D1", "national", "IECEx, atex")


@pytest.mark.parametrize(
    "valid_to, made_on, judge_on, verdict, words",
    [
        (date(2026, 11, 25), None, TODAY, PASS, ""),
        (date(2026, 11, 24), None, TODAY, CONFIRM, "made before"),
        (date(2026, 11, 24), date(2026, 11, 24), TODAY, CONFIRM, "while it was valid"),
        (date(2026, 11, 24), date(2026, 11, 25), TODAY, CONFIRM, "made later"),
        (date(2026, 11, 24), None, None, CONFIRM, "no day of judgement"),
        (None, None, TODAY, PASS, ""),
    ],
)
def test_the_last_day_is_valid_and_two_dates_are_kept_apart(
    valid_to: date | None, made_on: date | None, judge_on: date | None, verdict: Verdict, words: str
) -> None:
    check = certificate(replace(make.CASE, judge_on=judge_on), valid_to=valid_to, made_on=made_on)
    assert check.verdict is verdict
    assert words in check.why.template


def test_several_findings_keep_their_operands() -> None:
    check = certificate(number="EXB 1 X", scheme=None)
    sentence = check.why.template.format(*check.why.operands)
    assert sentence.count("EXB 1 X") == 2 and sentence.count("D1") == 2
    assert Certificate() == Certificate(None)


# Spellings as certificates, lists and data sheets have them (common practice, no source).
SUFFIXES = {
    "EXB 19 ATEX 0202": "",
    "EXB 19 ATEX 0202 X": "X",
    "EXB19ATEX0202X": "X",
    "EXB 19 ATEX 0202 U": "U",
    "EXB 19 ATEX 0202U": "U",
    "EXB 19 ATEX 0202 U issue 2": "U",
    "EXB 19 ATEX 0202 U, Issue No. 2": "U",
    "EXB 19 ATEX 0202U/Issue 1": "U",
    "EXB 19 ATEX 0202 (U)": "U",
    "EXB 19 ATEX 0202 U Rev. 3": "U",
    "EXB 19 ATEX 0202 X, Supplement 1": "X",
    "IECEx EXB 11.0091U issue 0": "U",
    "IECEx EXB 11.0091  X": "X",
    "NQ 4417-A X": "X",
    "NQ 4417-A (U), Supplement 1": "U",
    "UXB 19 ATEX 0202": "",
    "EXU 19 ATEX 0202": "",
    "NQ 4417-AX": "",
    "EXB 19 UKEX 0202 issue 2": "",
}


@pytest.mark.parametrize("number", SUFFIXES)
def test_the_suffix_is_found_whatever_is_named_behind_it(number: str) -> None:
    assert suffix(number) == SUFFIXES[number]
