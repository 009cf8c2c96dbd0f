"""The standards of a certificate with their editions (spellings as certificates have them, common practice)."""

from collections.abc import Callable
from typing import Any

import pytest

from registry.standards import Standard, read_standards


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        ("IEC 60079-0:2017, IEC 60079-11:2011", [("IEC 60079-0", "2017"), ("IEC 60079-11", "2011")]),
        ("EN IEC 60079-0:2018; EN 60079-11:2012", [("EN IEC 60079-0", "2018"), ("EN 60079-11", "2012")]),
        ("IEC 60079-0: 2017 Ed. 7.0", [("IEC 60079-0", "2017 Ed. 7.0")]),
        ("EN 60079-0:2012+A11:2013", [("EN 60079-0", "2012+A11:2013")]),
        (
            "EN 60079-0:2018, -11:2012, -26:2015",
            [("EN 60079-0", "2018"), ("EN 60079-11", "2012"), ("EN 60079-26", "2015")],
        ),
        ("EN 50014:1997 and EN 50020:2002", [("EN 50014", "1997"), ("EN 50020", "2002")]),
        ("IEC 60079-11 Ed. 6", [("IEC 60079-11", "Ed. 6")]),
        ("UL 913, 8th Ed., UL 60079-0", [("UL 913", "8th Ed."), ("UL 60079-0", "")]),
        ("CSA C22.2 No. 60079-11:14", [("CSA C22.2 No. 60079-11", "14")]),
        ("FM 3610-2018", [("FM 3610", "2018")]),
        ("IEC 60079-11", [("IEC 60079-11", "")]),
        ("IEC 60079-0:2017\nIEC 60079-11:2023", [("IEC 60079-0", "2017"), ("IEC 60079-11", "2023")]),
    ],
)
def test_standards_are_read_with_their_editions(text: str, expected: list[tuple[str, str]]) -> None:
    assert read_standards(text) == [Standard(*pair) for pair in expected]


def test_a_long_text_takes_no_longer_than_it_is() -> None:
    """Patterns that could try every division of these would not come back."""
    for text in ("IEC 60079-" * 60, "ed " * 200, "- " * 300, "1" * 600, "(" * 600):
        assert isinstance(read_standards(text[:600]), list)


@pytest.mark.django_db
def test_the_page_lists_them_and_doubts_one_without_edition(
    save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    text = {"scheme": "ATEX", "number": "EXA 21 ATEX 0101", "issue": "0", "holder": "Northlight Barriers"}
    record = save("certificate", text | {"standards": "EN IEC 60079-0:2018, EN 60079-11"})
    page = client_as("reader").get(f"/certificates/{record.pk}/").content.decode()
    assert "edition 2018" in page and "EN 60079-11 is named without its edition" in page
    assert "Northlight Barriers" in page
