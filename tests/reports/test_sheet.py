"""The sheet says everything that was judged and signed, from what is stored, and hostile text stays text."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
import io
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pypdf
import pytest

from loops.models import Loop
from registry.services.records import latest_revision
from registry.stored import together
from reports import services
from reports.pdf import PageSize
from reports.sheets.build import moment_at, sheet_content
from reports.sheets.paper import sheet_pdf
from reports.sheets.words import percent, shape
from tests.conftest import CABLE_TYPE
from tests.reports.signs import as_typed

pytestmark = pytest.mark.django_db
DAY = dt.datetime(2026, 11, 25, 23, 30, tzinfo=dt.UTC)
PLAIN = re.compile(r"\s+")


def flat(text: str) -> str:
    """A text without any white space: cells break lines where they like."""
    return PLAIN.sub("", as_typed(text))


def texts(value: Any) -> set[str]:
    """Every text of a nested value, its keys left out."""
    if isinstance(value, dict):
        return set().union(*(texts(item) for item in value.values())) if value else set()
    if isinstance(value, list):
        return set().union(*(texts(item) for item in value)) if value else set()
    return {value} if isinstance(value, str) else set()


def draft(loop: Loop, **values: Any) -> bytes:
    return services.draft_pdf(Loop.objects.get(pk=loop.pk), made_at=DAY, **values)


def test_every_quantity_of_inputs_and_results_is_on_the_paper(loop: Any, words_of: Callable[[bytes], str]) -> None:
    """Read back by another program: each typed value, each computed value, each reason and each reference."""
    paper = flat(words_of(draft(loop)))
    verification = loop.verification
    assert verification is not None
    for document in verification.inputs:
        for part in ("sources", "devices", "cables", "area"):
            wanted = texts(document[part])
            wanted -= {"single_circuit", "trunk", "certified", "loop", "per_core", "isolated", "linear"}
            for text in wanted:
                assert flat(text) in paper, text
    for result in verification.results:
        for check in result["checks"]:
            for key in ("value", "limit", "reference", "why"):
                if check[key] and check[key] != "single_circuit":
                    assert flat(check[key].replace(" (from memory)", "†")) in paper, (check["id"], key, check[key])
            if check["margin"]:
                assert flat(percent(check["margin"])) in paper
        for text in texts(result["totals"]) | texts(result["max_length"]) | set(result["confirmations"]):
            assert flat(text) in paper, text
        assert flat(result["function"]["voltage_at_device"]) in paper
        assert flat(result["function"]["voltage_needed"]) in paper
        assert result["function"]["parts"]
        for part in result["function"]["parts"]:
            for key in ("value", "limit", "reference", "why"):
                assert flat(part[key].replace(" (from memory)", "†")) in paper, (part["name"], key)


def test_title_block_signatures_digests_and_caution_are_on_the_paper(
    sheet: Any, people: Any, words_of: Callable[[bytes], str]
) -> None:
    paper = flat(words_of(services.sheet_bytes(sheet)))
    approval = sheet.approval
    for text in (
        "NORTH – North works",
        "PT-1101",
        "Reactor pressure",
        "LD-1101",
        sheet.number,
        people["designer"].printed_name,
        people["approver"].printed_name,
        approval.meaning,
        f"{approval.approved_at:%Y-%m-%d %H:%M} UTC",
        approval.revision_digest,
        approval.verification_digest,
        "Complies",
        "EXA 21 ATEX 0101",
        "II (1) G [Ex ia Ga] IIC",
        "HAC-001",
        "Local codes, the certificates themselves and licensed practice decide",
        f"/s/{approval.short_id}/",
    ):
        assert flat(text) in paper, text


def test_every_page_carries_number_revision_digest_and_count(
    sheet: Any, pages_of: Callable[[bytes], list[str]]
) -> None:
    pages = pages_of(services.sheet_bytes(sheet))
    for number, page in enumerate(pages, 1):
        assert f"Sheet {sheet.number}" in page
        assert "Revision A" in page
        assert f"Digest {sheet.approval.revision_digest[:16]}" in page
        assert f"Page {number} of {len(pages)}" in page
        assert "licensed practice decide" in page
        assert "DRAFT" not in page


def test_an_ordinary_loop_fits_two_pages_of_either_paper(loop: Any, pages_of: Callable[[bytes], list[str]]) -> None:
    for paper in (PageSize.A4, PageSize.LETTER):
        assert len(pages_of(draft(loop, paper=paper))) == 2


def test_an_unissued_print_says_so_on_every_page(
    loop: Any, failing_loop: Any, submitted: Any, pages_of: Callable[[bytes], list[str]]
) -> None:
    for one in (submitted, failing_loop):
        pages = pages_of(draft(one))
        assert all("DRAFT – NOT ISSUED" in page for page in pages)
        assert "not signed" in pages[0]


def test_a_failing_loop_says_so_with_its_reason(failing_loop: Any, words_of: Callable[[bytes], str]) -> None:
    paper = words_of(draft(failing_loop))
    assert "Does not comply" in paper
    assert flat(failing_loop.verification.limiting) in flat(paper)
    assert "115 nF" in paper and "83 nF" in paper


def test_the_same_content_gives_the_same_bytes(loop: Any) -> None:
    assert draft(loop) == draft(loop)


def test_the_register_as_it_stands_now_is_not_on_the_paper(
    loop: Any, save: Any, source: Any, source_data: Any, certificate: Any, area: Any, words_of: Callable[[bytes], str]
) -> None:
    """Everything that the loop uses is renamed and changed afterwards; the print stays as it was judged."""
    before = words_of(draft(loop))
    changed = copy.deepcopy(source_data) | {"maker": "Renamed Works", "marking": "[Ex ib] IIB"}
    changed["terminals"][0] |= {"uo_v": "12.34 V", "id": source.terminals.get().pk}
    save("equipment", changed, record_id=source.pk)
    text = {"scheme": "IECEx", "number": "EXZ 99 ATEX 0999 X", "issue": "7", "status": "withdrawn"}
    save("certificate", text, record_id=certificate.pk)
    text = {"site": str(area.site_id), "name": "Moved bay", "zone": "2", "group": "IIA", "temperature_class": "T1"}
    save("area", text | {"drawing": "HAC-999"}, by="designer", record_id=area.pk)
    assert words_of(draft(loop)) == before


def test_a_certificate_with_conditions_shows_each(
    make_loop: Any, save: Any, certificate: Any, words_of: Callable[[bytes], str]
) -> None:
    text = {
        "scheme": "ATEX",
        "number": "EXA 21 ATEX 0101 X",
        "issue": "0",
        "status": "current",
        "valid_to": "2031-05-01",
    }
    save("certificate", text | {"specific_conditions": "Keep dry.\nShield from impact."}, record_id=certificate.pk)
    paper = words_of(draft(make_loop()))
    for part in ("EXA 21 ATEX 0101 X", "Keep dry.", "Shield from impact.", "2031-05-01"):
        assert part in paper


def test_simple_apparatus_prints_its_justification(
    save: Any, loop_data: Any, author_as: Any, words_of: Callable[[bytes], str]
) -> None:
    from loops.services.loops import save_loop

    terminals = {"name": "1-2", "side": "device", "simple_kind": "passive", "justification": "A bare contact."}
    switch = save(
        "equipment",
        {
            "kind": "simple_apparatus",
            "maker": "Plain Contacts",
            "type_name": "PC-1",
            "terminals": [terminals | {"isolation": "isolated", "ci_f": "0 F", "li_h": "0 H"}],
        },
    )
    data = loop_data(tag="LS-1")
    data["circuits"][0]["members"][1]["terminals"] = str(switch.terminals.get().pk)
    paper = words_of(draft(save_loop(data, author_as("designer"))))
    assert "A bare contact." in paper and "Passive" in paper


def test_a_run_over_its_length_is_exact(loop: Any) -> None:
    """110 nF/km and 0.65 mH/km over 300 m, by hand: 33 nF, 0.195 mH."""
    content = sheet_content(loop, latest_revision(loop), loop.verification, None)
    cable = content.circuits[0].cables[0]
    assert (cable.capacitance, cable.inductance) == ("33 nF", "195 uH")


def test_a_cable_without_a_type_shows_the_defaults_that_it_counts_with(
    loop_data: Any, author_as: Any, words_of: Callable[[bytes], str]
) -> None:
    from loops.services.loops import save_loop

    data = loop_data(tag="PT-3", length="100 m")
    data["circuits"][0]["cables"][0] |= {"cable_type": ""}
    loop = save_loop(data, author_as("designer"))
    cable = sheet_content(loop, latest_revision(loop), loop.verification, None).circuits[0].cables[0]
    # 200 pF/m and 1 uH/m for two- and three-core cable of which nothing is known (IEC 60079-14:2013, 16.2.2.2).
    assert cable.per_length == (("200 nF/km", "default"), ("1 mH/km", "default"), ("", ""), ("", ""))
    assert (cable.capacitance, cable.inductance) == ("20 nF (default)", "100 uH (default)")
    assert "200 nF/km default 1 mH/km default – – 20 nF (default) 100 µH (default)" in words_of(draft(loop))


def test_a_cable_of_core_figures_shows_what_they_come_to(loop_data: Any, save: Any, author_as: Any) -> None:
    """Screen on one core: core to core and core to screen add, 100 + 160 = 260 nF/km, 26 nF over 100 m."""
    from loops.services.loops import save_loop

    figures = CABLE_TYPE | {"name": "By cores", "capacitance_f_per_m": "", "screen": "on one core"}
    used = save("cable_type", figures | {"core_core_f_per_m": "100 nF/km", "core_screen_f_per_m": "160 nF/km"})
    data = loop_data(tag="PT-4", length="100 m")
    data["circuits"][0]["cables"][0]["cable_type"] = str(used.pk)
    loop = save_loop(data, author_as("designer"))
    cable = sheet_content(loop, latest_revision(loop), loop.verification, None).circuits[0].cables[0]
    assert cable.per_length[0] == ("100 nF/km", "to core; 160 nF/km to screen")
    assert cable.capacitance == "26 nF"


def test_a_german_sheet_says_what_is_unknown_and_breaks_no_quantity(
    save: Any, source_data: Any, loop_data: Any, author_as: Any
) -> None:
    """A source without Lo/Ro, which German papers once could not say; a number holds on to its unit."""
    from django.utils import translation

    from loops.services.loops import save_loop

    source_data["terminals"][0]["permitted"][0]["lo_ro_h_per_ohm"] = ""
    source_data["terminals"][0]["um_v"] = "not stated"
    used = save("equipment", source_data | {"type_name": "Without Lo/Ro"})
    data = loop_data(tag="PT-5")
    data["circuits"][0]["members"][0]["terminals"] = str(used.terminals.get().pk)
    loop = save_loop(data, author_as("designer"))
    with translation.override("de"):
        circuit = sheet_content(loop, latest_revision(loop), loop.verification, None).circuits[0]
    assert circuit.sources[0].permitted[0].lo_ro == "unbekannt"
    assert "nicht angegeben" in repr(circuit.sources) and "not stated" not in repr(circuit.sources)
    assert together("innerhalb von 28 V und 0,5 W, 88 mm2") == "innerhalb von 28\xa0V und 0,5\xa0W, 88\xa0mm2"


MARKUP = '<b>&amp;</b>"\'<img src="file:///etc/hostname">'


def test_hostile_text_in_every_field_stays_text(
    save: Any, loop_data: Any, author_as: Any, source_data: Any, device_data: Any, words_of: Callable[[bytes], str]
) -> None:
    """Each field gets a marked text of its own; another program finds it whole and no picture was fetched."""
    from loops.services.loops import save_loop

    number = 0

    def marked(length: int) -> str:
        nonlocal number
        number += 1
        return f"{number}{MARKUP}"[:length]

    expected = []

    def put(row: dict[str, Any], **lengths: int) -> None:
        for name, length in lengths.items():
            row[name] = marked(length)
            expected.append(row[name])

    put(source_data, maker=60, type_name=60, marking=60)
    put(source_data["terminals"][0], name=60)
    used = save("equipment", source_data)
    data = loop_data()
    put(data, tag=40, service=60, drawing=60, notes=60)
    put(data["circuits"][0], name=60)
    put(data["circuits"][0]["members"][0], tag=40)
    put(data["circuits"][0]["members"][1], tag=40)
    put(data["circuits"][0]["cables"][0], tag=40, from_point=60, to_point=60)
    data["circuits"][0]["members"][0]["terminals"] = str(used.terminals.get().pk)
    loop = save_loop(data, author_as("designer", reason=MARKUP))
    paper = flat(words_of(draft(loop)))
    for text in expected:
        assert flat(text) in paper, text


@pytest.mark.parametrize("text", ["x" * 160, "Ж 圧力 ضغط ‰ Ω", "a-" * 80, "𝔘𝔫𝔩𝔦𝔱"])
def test_odd_texts_do_not_stop_a_sheet(text: str, make_loop: Any, pages_of: Callable[[bytes], list[str]]) -> None:
    assert pages_of(draft(make_loop(service=text, notes=text * 20)))


def test_several_circuits_and_sixteen_devices(
    loop_data: Any, author_as: Any, words_of: Callable[[bytes], str], pages_of: Callable[[bytes], list[str]]
) -> None:
    from loops.services.loops import save_loop

    data = loop_data(tag="FT-16")
    circuit = data["circuits"][0]
    pattern = circuit["members"][1]
    circuit["members"] = [circuit["members"][0]] + [pattern | {"tag": f"FT-16-{n}"} for n in range(16)]
    second = copy.deepcopy(circuit) | {"name": "Circuit 2"}
    second["members"] = [second["members"][0], pattern | {"tag": "FE-17"}]
    second["cables"] = []
    data["circuits"].append(second)
    loop = save_loop(data, author_as("designer"))
    paper = words_of(draft(loop))
    for tag in ["Circuit 2", "FE-17", *(f"FT-16-{n}" for n in range(16))]:
        assert tag in paper
    assert len(pages_of(draft(loop))) <= 9


def elements(element: Any) -> Iterator[Any]:
    """A structure element of a tagged PDF and all below it (ISO 32000-1:2008, 14.7.2)."""
    yield element
    below = element.get("/K", [])
    for child in below if isinstance(below, list) else [below]:
        child = child.get_object()
        if isinstance(child, dict) and "/S" in child:
            yield from elements(child)


def test_the_drawing_has_its_words_as_alternate_text(loop: Any) -> None:
    root = pypdf.PdfReader(io.BytesIO(draft(loop))).trailer["/Root"]["/StructTreeRoot"]
    found = [str(element["/Alt"]) for element in elements(root) if element.get("/S") == "/Figure" and "/Alt" in element]
    assert any("Source PT-1101-B" in text and "Cable W-PT-1101" in text for text in found)
    assert any("/loops/" in text for text in found)


def test_times_are_in_the_zone_of_the_site_and_in_utc(loop: Any) -> None:
    """23:30 UTC is 00:30 of the next day in Berlin in winter (CET, UTC+1)."""
    loop.site.time_zone = "Europe/Berlin"
    moment = moment_at(DAY, loop.site)
    assert (moment.local, moment.utc) == ("2026-11-26 00:30 Europe/Berlin", "2026-11-25 23:30 UTC")


def test_content_is_frozen(loop: Any) -> None:
    content = sheet_content(loop, latest_revision(loop), loop.verification, None, made_at=DAY)
    with pytest.raises(dataclasses.FrozenInstanceError):
        content.verdict = "complies"  # type: ignore[misc]
    assert sheet_pdf(content) == sheet_pdf(content)


@pytest.mark.parametrize("margin", [Decimal("0.00009"), Decimal("0.9999999"), Decimal("-0.00001")])
def test_a_margin_is_never_shown_larger_than_it_is(margin: Decimal) -> None:
    assert Decimal(percent(margin).removesuffix(" %")) <= margin * 100


def test_only_a_pass_has_the_mark_of_a_pass() -> None:
    verdicts = ["fail", "does_not_comply", "incomplete", "beyond_simple_rules", "confirm", "not_applicable", "", "odd"]
    assert "pass" not in {shape(verdict) for verdict in verdicts}


def test_a_segment_shows_its_terminators(loop_data: Any, make_loop: Any, words_of: Callable[[bytes], str]) -> None:
    circuit = loop_data()["circuits"][0]
    end = {"tag": "JB-9", "resistance_ohm": "100 ohm", "capacitance_f": "1 uF"}
    circuit |= {"fisco": True, "terminators": [end, {"tag": "cabinet", "resistance_ohm": "", "capacitance_f": "0 F"}]}
    segment = make_loop(circuits=[circuit])
    content = sheet_content(segment, latest_revision(segment), segment.verification, None).circuits[0]
    assert content.segment == "FISCO segment"
    assert content.terminators == ("JB-9: 100 ohm, 1 uF", "cabinet: unknown, 0 F")
    assert flat("FISCO segment. Terminators: JB-9: 100 Ω, 1 µF; cabinet: unknown, 0 F.") in flat(
        words_of(draft(segment))
    )
