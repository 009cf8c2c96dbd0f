"""The ignition-curve chart: what it draws, who sees it, and that it can be kept by a browser."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from django.urls import reverse

from loops.engine.case import UNKNOWN, Area, Fieldbus, Group, Interconnection, Level
from loops.engine.tables import built_in_tables
from loops.services.curves import curves_of
from reports.curves import has_chart
from reports.diagrams.ignition import ignition_svg
from reports.diagrams.words import described_curves
from tests.loops.engine import make
from tests.loops.engine.book_systems import several

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: bytes) -> str:
    return " ".join(element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text"))


def test_the_working_point_and_the_limits_of_the_sample() -> None:
    """Cable 33 nF with Ci 2.2 nF on a source of 25.2 V and 95 mA that permits 107 nF."""
    curves = curves_of(make.CASE, built_in_tables())
    assert curves is not None
    assert (curves.voltage_v, curves.current_a) == (D("25.2"), D("0.095"))
    assert (curves.connected_f, curves.permitted_f) == (D("35.2e-9"), D("107e-9"))
    written = texts(ignition_svg(curves))
    for wanted in ("S1", "95 mA", "35.2 nF", "107 nF", "Uo of S1: 25.2 V", "permitted for IIC, safety factor 1.5"):
        assert wanted in written
    assert "25.2 V" in described_curves(curves)


def test_the_same_curves_give_the_same_bytes_and_nothing_from_outside() -> None:
    curves = curves_of(make.CASE, built_in_tables())
    assert curves is not None
    svg = ignition_svg(curves)
    assert svg == ignition_svg(curves)
    assert b"<script" not in svg
    assert not re.search(rb'(href|src)="(?!#)', svg)


@pytest.mark.parametrize(
    "case",
    [
        make.source(uo_v=UNKNOWN),
        make.source(io_a=D(0)),
        replace(make.CASE, area=Area()),
        replace(make.CASE, fieldbus=Fieldbus.FISCO),
    ],
)
def test_no_chart_of_what_is_not_known(case: Any) -> None:
    assert curves_of(case, built_in_tables()) is None


def test_dust_uses_iib_and_ic_the_factor_1() -> None:
    """IEC 60079-11:2011: dust by the figures of IIB; factor 1 for ic (from memory)."""
    case = make.source(make.row(make.area(zone="21", group=Group.IIIC), group=Group.IIB), level=Level.IC)
    curves = curves_of(case, built_in_tables())
    assert curves is not None
    assert curves.factor == "1"
    assert built_in_tables().current.column(Group.IIIC, "x1") == built_in_tables().current.column(Group.IIB, "x1")
    assert "permitted for IIIC, safety factor 1" in texts(ignition_svg(curves))


def test_several_sources_above_the_tables_are_drawn_too() -> None:
    curves = curves_of(several(Interconnection.SERIES, make.SOURCE, replace(make.SOURCE, name="S2")), built_in_tables())
    assert curves is not None
    assert curves.voltage_v == D("50.4")
    assert curves.permitted_f is None
    assert "S1 + S2" in texts(ignition_svg(curves))


@pytest.mark.parametrize("name", ["A$B$C", "<b>&\"'", "Ω µ 液位", "x" * 200, "\\frac{1}{2}$"])
def test_no_name_breaks_the_chart(name: str) -> None:
    curves = curves_of(make.source(name=name), built_in_tables())
    assert curves is not None
    assert ET.fromstring(ignition_svg(curves)).tag == f"{SVG}svg"


def test_has_chart_reads_the_document_alone() -> None:
    document: dict[str, Any] = {"sources": [{"Uo": "25 V", "Io": "95 mA"}], "area": {"group": "IIC"}}
    assert has_chart(document)
    assert not has_chart(document | {"fisco": True})
    assert not has_chart(document | {"area": {}})
    assert not has_chart(document | {"sources": [{"Uo": "25 V", "Io": "not stated"}]})
    assert not has_chart({})


@pytest.mark.django_db
def test_the_page_shows_the_chart_and_the_picture_is_kept(loop: Any, client_as: Any) -> None:
    client = client_as("reader")
    page = client.get(reverse("loop", args=[loop.pk])).content.decode()
    address = reverse("reports:ignition", args=[loop.pk, 1])
    assert f'<img src="{address}?v={loop.verification.digest[:12]}" alt="Ignition curves' in page
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/svg+xml")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    assert "script-src" not in answer["Content-Security-Policy"]
    assert client.get(address, headers={"if-none-match": answer["ETag"]}).status_code == 304
    for missing in (0, 2, 10**30):
        assert client.get(reverse("reports:ignition", args=[loop.pk, missing])).status_code == 404


@pytest.mark.django_db
def test_another_sites_chart_is_not_there(loop: Any, client_as: Any, client: Any) -> None:
    address = reverse("reports:ignition", args=[loop.pk, 1])
    assert client_as("outsider").get(address).status_code == 404
    assert client.get(address).status_code == 302
