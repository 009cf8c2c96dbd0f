"""Certificate numbers of the three schemes whose numbers have a common form: ATEX, UKEX and IECEx.

A number of ATEX or UKEX is the notified (approved) body, two digits of the year, the scheme and a serial; one of IECEx
is the scheme, the body, two digits of the year, a point and a serial. ``X`` at the end stands for specific conditions
of use, ``U`` for a component that must not be used on its own; the first issue is issue 0 (IEC 60079-0:2017, clause 29,
and the rules of the schemes, from memory). Certificates of national schemes have numbers of many forms, not read here.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from registry.marking_parts import MarkingError

LONGEST = 80
EXAMPLE = "EXA 21 ATEX 0101 X"
EXAMPLE_IECEX = "IECEx EXA 21.0101X"

_LETTER = "[A-Za-z\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u017e]"
_BODY = rf"(?P<body>{_LETTER}(?:{_LETTER}|[ .&-](?={_LETTER})){{0,23}})"
_SERIAL = r"(?P<serial>[A-Z]? ?[0-9]{1,8}(?:[./-][0-9]{1,4})*)"
_WORD_ISSUE = r"(?:issue|iss\.?|rev(?:ision)?\.?)(?: ?(?:no\.?|number))?:?"
_END = rf" ?(?P<suffix>[XU])?(?:[ ,/(-]*{_WORD_ISSUE} ?(?P<issue>[0-9]{{1,3}})\)?)?"
_EUROPEAN = re.compile(
    rf"{_BODY}[ -]?(?P<year>[0-9]{{2}})[ -]?(?P<scheme>ATEX|UKEX)[ -]?{_SERIAL}{_END}", re.ASCII | re.IGNORECASE
)
_IECEX = re.compile(
    rf"(?P<scheme>IECEx)[ -]?{_BODY}[ -]?(?P<year>[0-9]{{2}})\.(?P<serial>[0-9]{{4,6}}){_END}", re.ASCII | re.IGNORECASE
)
_SUFFIX = re.compile(r"\d[ \-/(]*([XU])(?![A-Z0-9])", re.IGNORECASE)
_ENDING = re.compile(
    r"[ \-/.(]([XU])\)?(?:[ ,;(/\-]{1,3}(?:issue|iss|rev|revision|supplement|suppl|amendment|variation)\b.*)?$",
    re.IGNORECASE,
)
_SCHEMES = {"ATEX": "ATEX", "UKEX": "UKEX", "IECEX": "IECEx"}


@dataclass(frozen=True, slots=True)
class CertificateNumber:
    """One number taken apart; ``str()`` puts it together in the one spelling by which numbers can be compared."""

    scheme: str
    """``ATEX``, ``UKEX`` or ``IECEx``."""
    body: str
    """Who issued it, in its own letters."""
    year: int
    """Four digits."""
    serial: str
    suffix: str = ""
    """``X``: specific conditions of use; ``U``: a component; or empty."""
    issue: int | None = None
    """0 for the first issue; None if the text names none."""

    def __str__(self) -> str:
        issue = f" issue {self.issue}" if self.issue is not None else ""
        if self.scheme == "IECEx":
            return f"IECEx {self.body} {self.year % 100:02}.{self.serial}{self.suffix}{issue}"
        return f"{self.body} {self.year % 100:02} {self.scheme} {self.serial} {self.suffix}".rstrip() + issue

    @property
    def has_conditions(self) -> bool:
        return self.suffix == "X"

    @property
    def is_component(self) -> bool:
        return self.suffix == "U"


def parse_certificate_number(text: str) -> CertificateNumber:
    """The certificate number in ``text``.

    >>> number = parse_certificate_number("EXA21ATEX0101X")
    >>> number.scheme, number.body, number.year, number.serial, number.suffix
    ('ATEX', 'EXA', 2021, '0101', 'X')
    >>> str(number), str(parse_certificate_number("iecex EXB 19.0202 U, Issue No: 2"))
    ('EXA 21 ATEX 0101 X', 'IECEx EXB 19.0202U issue 2')

    Raises :class:`~registry.marking_parts.MarkingError`.
    """
    if not isinstance(text, str) or len(text) > LONGEST:
        raise MarkingError(f"Write one certificate number of at most {LONGEST} characters", EXAMPLE)
    for character in text:
        if unicodedata.category(character) in ("Cf", "Cs", "Co", "Cn"):
            raise MarkingError(f"There is a hidden character (U+{ord(character):04X}) in this text", EXAMPLE)
    plain = re.sub(r"[\u2010-\u2013\u2212]", "-", " ".join(text.split()))
    match = _IECEX.fullmatch(plain) or _EUROPEAN.fullmatch(plain)
    if match is None:
        raise _explain(plain)
    scheme = _SCHEMES[match["scheme"].upper()]
    year = int(match["year"])
    body = " ".join(match["body"].split())
    return CertificateNumber(
        scheme=scheme,
        body=body.upper() if body.islower() else body,
        # The first directive with such numbers is of 1994.
        year=1900 + year if year >= 94 else 2000 + year,
        serial=match["serial"].replace(" ", "").upper(),
        suffix=(match["suffix"] or "").upper(),
        issue=int(match["issue"]) if match["issue"] else None,
    )


def suffix_of(number: str) -> str:
    """ "X", "U" or nothing: what a number of any scheme ends in. An issue or supplement may be named behind it.

    The engine has the same rule for case documents (loops.engine.checks.certificates.suffix), which know no register.

    >>> suffix_of("EXB 19 ATEX 0202 U issue 2"), suffix_of("IECEx EXB 11.0091X"), suffix_of("UXB 19 ATEX 0202")
    ('U', 'X', '')
    """
    plain = " ".join(number.split())[:LONGEST]
    found = {match.upper() for match in (*_SUFFIX.findall(plain), *_ENDING.findall(plain))}
    return "U" if "U" in found else "X" if found else ""


def stem_of(number: str) -> str:
    """A number in one spelling without its X or U: what all issues of a certificate share.

    >>> stem_of("EXB 19 ATEX 0202 X") == stem_of("exb 19 atex 0202")
    True
    """
    plain = " ".join(number.split()).upper()
    return re.sub(r"[ \-/(]*[XU]\)?$", "", plain) if suffix_of(plain) and plain[-1] in "XU)" else plain


def _explain(plain: str) -> MarkingError:
    if not plain:
        return MarkingError("Write the certificate number", EXAMPLE)
    if re.match("iecex", plain, re.IGNORECASE):
        return MarkingError(
            "A number of IECEx goes on with the body, two digits of the year, a point and the serial", EXAMPLE_IECEX
        )
    if re.search("atex|ukex", plain, re.IGNORECASE):
        return MarkingError(
            "A number of ATEX or UKEX has body and two digits of the year before the scheme and a serial behind it",
            EXAMPLE,
        )
    return MarkingError("This is not a certificate number of ATEX, UKEX or IECEx", EXAMPLE)
