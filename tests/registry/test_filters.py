"""The filters of lists: ranges in any unit, what holds on one row, and that nothing typed breaks or misleads one."""

from __future__ import annotations

import copy
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.asking import read_asked
from registry.filters import RANGES, share
from registry.views.kinds import KINDS
from registry.views.listing import asked_of, filters_of, shown_records

pytestmark = pytest.mark.django_db


def terminals(name: str, uo: str, *permitted: tuple[str, str, str], **more: Any) -> dict[str, Any]:
    """One set of terminals of a source with Uo and rows of (group, Co, Lo)."""
    rows = [{"group": group, "co_f": co, "lo_h": lo} for group, co, lo in permitted]
    return (
        {"name": name, "side": "source", "output": "linear", "level": "ia", "gas_group": "IIC"}
        | {"uo_v": uo, "permitted": rows}
        | more
    )


@pytest.fixture
def sources(save: Callable[..., Any], certificate: Any) -> None:
    """Four sources with invented values: only the first permits 80 nF in IIC at 28 V."""

    def item(name: str, *sets: dict[str, Any]) -> None:
        rows = [one | {"certificate": str(certificate.pk)} for one in sets]
        save("equipment", {"kind": "source", "maker": "Brindle", "type_name": name, "terminals": rows})

    item("A", terminals("1", "28 V", ("IIC", "83 nF", "4.2 mH"), ("IIB", "650 nF", "16 mH")))
    item("B", terminals("1", "28 V", ("IIC", "79.9 nF", "8 mH"), ("IIB", "650 nF", "16 mH")))
    item("C", terminals("1", "28 V", ("IIC", "50 nF", "1 mH")), terminals("2", "12 V", ("IIC", "1.4 uF", "2 mH")))
    item("D", terminals("1", "", ("IIC", "not stated", "")))


def found(client: Any, **query: str) -> list[str]:
    answer = client.get("/equipment/", {"sort": "type"} | query)
    assert answer.status_code == 200, answer.context["faults"]
    return [row[0]["text"] for row in answer.context["rows"]]


def faults(client: Any, address: str = "/equipment/", **query: str) -> dict[str, str]:
    """What is told beside the fields; the list is empty then."""
    answer = client.get(address, query)
    assert answer.status_code == 400
    assert answer.context["rows"] == []
    return {fault["id"].removeprefix("filter-"): fault["text"] for fault in answer.context["faults"]}


@pytest.mark.parametrize(
    "query, expected",
    [
        ({"quantity1": "uo_v", "from1": "28 V", "to1": "28 V"}, ["A", "B", "C"]),
        ({"quantity1": "uo_v", "from1": "28000 mV", "to1": "0.028 kV"}, ["A", "B", "C"]),
        ({"quantity1": "co_f.IIC", "from1": "80 nF"}, ["A", "C"]),
        ({"quantity1": "co_f.IIC", "from1": "0,08 µF"}, ["A", "C"]),
        ({"quantity1": "co_f.IIC", "from1": "83 nF", "to1": "0.083 uF"}, ["A"]),
        ({"quantity1": "co_f.IIC", "from1": "83.0000001 nF"}, ["C"]),
        ({"quantity1": "uo_v", "from1": "28 V", "to1": "28 V", "quantity2": "co_f.IIC", "from2": "80 nF"}, ["A"]),
        ({"quantity1": "co_f.IIC", "from1": "80 nF", "quantity2": "lo_h.IIC", "from2": "8 mH"}, []),
        ({"quantity1": "co_f.IIC", "from1": "79.9 nF", "quantity2": "lo_h.IIC", "from2": "4 mH"}, ["A", "B"]),
        ({"quantity1": "co_f", "from1": "600 nF"}, ["A", "B", "C"]),
        ({"quantity1": "co_f.IIC", "to1": "60 nF"}, ["C"]),
        ({"quantity1": "uo_v", "from1": "unknown"}, ["D"]),
        ({"quantity1": "co_f.IIC", "from1": "not stated"}, ["D"]),
        ({"quantity1": "ci_f", "from1": "unknown"}, []),
        ({"quantity6": "uo_v", "to6": "20 V"}, ["C"]),
        ({"quantity1": "uo_v", "to1": "20 V", "quantity2": "uo_v", "from2": "25 V"}, []),
        ({"use": "yes"}, []),
        ({"use": "no", "compared": "yes"}, ["A", "B", "C", "D"]),
        ({"certificate": "EXA"}, ["A", "B", "C", "D"]),
    ],
)
def test_ranges(query: dict[str, str], expected: list[str], sources: None, client_as: Callable[[str], Any]) -> None:
    assert found(client_as("reader"), **query) == expected


@pytest.mark.parametrize(
    "query, name, words",
    [
        ({"quantity1": "co_f.IIC", "from1": "80"}, "from1", "Add the unit, for example 80 nF."),
        ({"quantity1": "co_f.IIC", "from1": "80 V"}, "from1", "give the"),
        ({"quantity1": "co_f.IIC", "from1": "1,500 nF"}, "from1", "two things"),
        ({"quantity1": "co_f.IIC", "from1": ">= 80 nF"}, "from1", "80 nF"),
        ({"quantity1": "co_f.IIC", "from1": "9**9**9 nF"}, "from1", "for example"),
        ({"quantity1": "co_f.IIC", "from1": "-80 nF"}, "from1", "cannot be negative"),
        ({"quantity1": "uo_v", "from1": "30 V", "to1": "20 V"}, "to1", "exchange"),
        ({"quantity1": "uo_v"}, "from1", "Say from, to or both"),
        ({"from1": "30 V"}, "quantity1", "Choose"),
        ({"quantity1": "pressure", "from1": "3 bar"}, "quantity1", "no quantity of this list"),
        ({"quantity1": "uo_v", "from1": "unknown", "to1": "20 V"}, "to1", "no upper end"),
        ({"quantity1": "uo_v", "from1": "20 V", "to1": "unknown"}, "to1", "unknown"),
        ({"level": "id"}, "level", "pick one"),
        ({"q": "x" * 101}, "q", "at most 100"),
        ({"q": "a b c d e f g"}, "q", "At most 6 words"),
        ({"function": "a\x00b"}, "function", "hidden character"),
        ({"quantity7": "uo_v"}, "", "quantity"),
        ({"levle": "ia"}, "", "Did you mean “level”?"),
    ],
)
def test_what_is_typed_wrong_is_told_with_its_cure(
    query: dict[str, str], name: str, words: str, sources: None, client_as: Callable[[str], Any]
) -> None:
    client = client_as("reader")
    told = faults(client, **query)
    assert list(told) == [name]
    assert words in told[name]
    page = client.get("/equipment/", query).content.decode()
    if name and query.get(name, "").isprintable() and len(query.get(name, "")) < 40:
        assert query.get(name, "").replace(">", "&gt;") in page, "what was typed stands beside its fault"


def test_what_is_asked_twice_is_told(sources: None, client_as: Callable[[str], Any]) -> None:
    answer = client_as("reader").get("/equipment/?level=ia&level=ib")
    assert answer.status_code == 400 and answer.context["rows"] == []
    assert client_as("reader").get("/equipment/?level=ia&level=ia&maker=").status_code == 200, "twice the same is once"


def test_days(save: Callable[..., Any], client_as: Callable[[str], Any]) -> None:
    for number, issued in (("N 1", "2020-02-29"), ("N 2", "2021-03-01"), ("N 3", "")):
        save("certificate", {"scheme": "NQ", "number": number, "issue": "0", "issued_on": issued})
    client = client_as("reader")

    def listed(**query: str) -> list[str]:
        return [row[0]["text"] for row in client.get("/certificates/", query).context["rows"]]

    assert listed(issued_from="2020-02-29", issued_to="2021-02-28") == ["N 1"]
    assert listed(issued_to="2021-03-01") == ["N 1", "N 2"]
    for text, words in (
        ("2021-02-29", "no day"),
        ("29.02.2020", "year, month, day"),
        ("٢٠٢١-٠٣-٠١", "year, month, day"),
    ):
        assert words in faults(client, "/certificates/", issued_from=text)["issued_from"]
    assert "exchange" in faults(client, "/certificates/", issued_from="2021-01-01", issued_to="2020-01-01")["issued_to"]


def test_values_of_cables_and_areas(cable_type: Any, area: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("reader")

    def count(address: str, **query: str) -> int:
        return len(client.get(address, query).context["rows"])

    # 110 nF/km is 33.528 pF/ft (one foot is 0.3048 m, exactly)
    assert count("/cable-types/", quantity1="capacitance_f_per_m", from1="33.528 pF/ft", to1="0.11 uF/km") == 1
    assert count("/cable-types/", quantity1="capacitance_f_per_m", from1="33.53 pF/ft") == 0
    # -20 degC is -4 degF
    assert count("/areas/", quantity1="ambient_min_degc", from1="-4 degF", to1="-20 degC") == 1


def test_links_keep_what_is_asked_and_drop_one_at_a_time(sources: None, client_as: Callable[[str], Any]) -> None:
    client = client_as("reader")
    query = {"quantity2": "co_f.IIC", "from2": "80 nF", "level": "ia", "sort": "-type", "size": "25"}
    context = client.get("/equipment/", query).context
    chips = {chip["text"]: chip["url"] for chip in context["chips"]}
    assert set(chips) == {"Level: ia", "Co for IIC from 80 nF"}
    without = client.get(chips["Co for IIC from 80 nF"]).context
    assert [row[0]["text"] for row in without["rows"]] == ["D", "C", "B", "A"]
    assert "size=25" in chips["Level: ia"] and "sort=-type" in chips["Level: ia"]
    again = asked_of(KINDS["equipment"], context["query_string"], context["user"])
    assert again.parameters() == query


def test_a_share_is_read_strictly() -> None:
    assert share("12,5 %") == Decimal("0.125") and share("-3") == Decimal("-0.03")
    for text in ("", "%", "1e3", "12.345", "ten", "1 000", "--1", "٣"):
        with pytest.raises(ValueError, match="for example 10 %"):
            share(text)


NAMES = sorted(
    {name for kind in KINDS.values() for item in filters_of(kind) for name in item.names()}
    | {"q", "sort", "page", "size", "columns", "view", "apples", ""}
)
VALUES = [
    "", " ", "80 nF", "28 V", "80", "unknown", "not stated", "uo_v", "co_f.IIC", "lo_h.", "co_f", "\x00", "\ud800",
    "\u202e", "²", "٣", "9" * 5000, "1e999 V", "9**9**9 V", "-1", "1e15 V", "1e-24 F", "2026-02-30", "0001-01-01",
    "9999-12-31", "ia", "IIC", "only", "all", "me", "source", "'; DROP TABLE", "%", "_", "\\", "<script>", "-type",
    "1", "0", "NORTH", "-273.15 degC", "-999 degC", "a b c d e f g h", "🜚", "None", "[]", "1 mm2", "T4",
]  # fmt: skip


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    query=st.dictionaries(
        st.one_of(st.sampled_from(NAMES), st.text(max_size=12)),
        st.one_of(st.sampled_from(VALUES), st.text(max_size=40)),
        max_size=8,
    ),
    kind=st.sampled_from(sorted(KINDS)),
)
def test_nothing_in_an_address_breaks_a_list(query: dict[str, str], kind: str, sources: None, people: Any) -> None:
    page = KINDS[kind]
    before = copy.copy(query)
    asked = asked_of(page, {name: [value] for name, value in query.items()}, people["administrator"])
    records = list(shown_records(page, people["administrator"], asked))
    assert query == before
    if asked.is_faulty:
        assert records == []
    else:
        again = read_asked(asked.query(), filters_of(page), people["administrator"], {asked.sort.lstrip("-")})
        assert not again.is_faulty
        assert set(asked.typed) <= {name for name, value in query.items() if value.strip()}


def test_there_are_as_many_ranges_as_the_page_says(sources: None, client_as: Callable[[str], Any]) -> None:
    query = {}
    for number in range(1, RANGES + 1):
        query |= {f"quantity{number}": "uo_v", f"from{number}": f"{number} V"}
    assert found(client_as("reader"), **query) == ["A", "B", "C"]
