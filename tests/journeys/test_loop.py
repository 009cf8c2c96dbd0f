"""From the certificates to an issued loop through the pages, as the people of a site go about it."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from django.core.exceptions import PermissionDenied
from pypdf import PdfReader

from loops.models import Loop, LoopState
from loops.services.approvals import prove
from loops.services.confirmations import matters
from registry.models import Certificate
from registry.views.forms import flatten

pytestmark = pytest.mark.django_db


def post(client: Any, address: str, data: dict[str, Any]) -> Any:
    """Send a form as a browser does and expect that it is taken."""
    response = client.post(address, flatten(data))
    assert response.status_code == 302, re.sub(r"<[^>]+>|\s+", " ", response.content.decode())[:3000]
    return response


class Issued(NamedTuple):
    """The bytes of a sheet as downloaded and the text in them, spaces folded."""

    data: bytes
    text: str


def sheet_of(client: Any, loop: Loop) -> Issued:
    """Download the sheet of the only approval of a loop."""
    response = client.get(f"/sheets/{loop.approvals.get().sheet.pk}/")
    assert response.status_code == 200 and response["Content-Type"] == "application/pdf"
    assert f"{loop.tag}_A.pdf" in response["Content-Disposition"]
    data = b"".join(response.streaming_content) if response.streaming else response.content
    assert hashlib.sha256(data).hexdigest() == loop.approvals.get().sheet.sha256
    return Issued(
        data, re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages))
    )


def words(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", response.content.decode()))


@pytest.fixture
def overfill(client_as: Callable[[str], Any], site: Any) -> Callable[..., dict[str, str]]:
    """The register of the published overfill loop, made through its pages, and the text of the loop's form.

    Values: P & I Design Ltd, "Tank 24 Road Loading Overspill System - I.S. Calculation", 16115CAL001 issue A with
    sheets 16115CAL002 and 003 (02.02.2017). Makers and certificate numbers are invented; the area's ambient, the
    temperature rows and what cannot be read from the sheets are common practice, no source.
    """
    keeper, designer = client_as("keeper"), client_as("designer")
    for number in ("EXA 06 ATEX 0092", "EXB 00 ATEX 2048"):
        post(keeper, "/certificates/new/", {"scheme": "ATEX", "number": number, "issue": "0", "status": "current"})
    source = {
        "kind": "source",
        "maker": "Northlight Barriers",
        "type_name": "NS-10",
        "terminals": [
            {
                "name": "1-3",
                "side": "source",
                "level": "ia",
                "gas_group": "IIC",
                "output": "linear",
                "isolation": "isolated",
                "certificate": "EXA 06 ATEX 0092 issue 0",
                "ambient_max_degc": "60 degC",
                "uo_v": "10.5 V",
                "io_a": "17.1 mA",
                "po_w": "45 mW",
                "um_v": "250 V",
                "permitted": [{"group": "IIC", "co_f": "2.41 uF", "lo_h": "121.5 mH"}],
            }
        ],
    }
    device = {
        "kind": "field_device",
        "maker": "Sandpiper Instruments",
        "type_name": "LS-3",
        "terminals": [
            {
                "name": "+/-",
                "side": "device",
                "level": "ia",
                "gas_group": "IIC",
                "isolation": "isolated",
                "certificate": "EXB 00 ATEX 2048 issue 0",
                "ambient_min_degc": "-25 degC",
                "ui_v": "16 V",
                "ii_a": "25 mA",
                "pi_w": "60 mW",
                "ci_f": "0.09 uF",
                "li_h": "0.1 mH",
                "temperature_classes": [{"temperature_class": "T6", "ambient_max_degc": "50 degC"}],
            }
        ],
    }
    for data in (source, device):
        post(keeper, "/equipment/new/", data)
    cable = {
        "name": "Pair 1.5 mm2, armoured",
        "capacitance_f_per_m": "0.120 uF/km",
        "inductance_h_per_m": "0.492 mH/km",
        "inductance_is": "per_core",
        "resistance_ohm_per_m": "12.3 ohm/km",
        "resistance_is": "per_core",
        "inductance_per_resistance_h_per_ohm": "40 uH/ohm",
    }
    post(keeper, "/cable-types/new/", cable)
    area = {
        "site": "NORTH",
        "name": "Road loading",
        "zone": "1",
        "group": "IIB",
        "temperature_class": "T4",
        "ambient_min_degc": "-20 degC",
        "ambient_max_degc": "40 degC",
    }
    post(designer, "/areas/new/", area)

    def build(tag: str = "LS-2400", source: str = "Northlight Barriers NS-10, 1-3") -> dict[str, str]:
        runs = [
            {"tag": "W-1", "from_point": "Isolator", "to_point": "JB-24", "length_m": "5000 m"},
            {"tag": "W-2", "from_point": "JB-24", "to_point": tag, "length_m": "1000 m"},
        ]
        members = [
            {"role": "source", "tag": f"{tag}-B", "terminals": source, "area": ""},
            {
                "role": "device",
                "tag": tag,
                "terminals": "Sandpiper Instruments LS-3, +/-",
                "area": "NORTH: Road loading",
            },
        ]
        circuit = {
            "name": "Circuit 1",
            "interconnection": "undefined",
            "members": members,
            "cables": [run | {"cable_type": "Pair 1.5 mm2, armoured"} for run in runs],
        }
        return flatten({"site": "NORTH", "tag": tag, "service": "Tank overfill", "circuits": [circuit]})

    return build


def test_the_published_overfill_loop_from_certificate_to_issue(
    client_as: Callable[[str], Any], people: Any, password: str, overfill: Callable[..., dict[str, str]]
) -> None:
    """Published: Cc 0.720 uF, Ceq 0.810 uF of 2.41 uF; Lc 5.904 mH, Leq 6.004 mH of 121.5 mH; all three of U, I, P;
    verdict VERIFIED."""
    designer, approver = client_as("designer"), client_as("approver")
    seen = designer.post("/loops/new/", overfill() | {"_preview": "1"})
    assert "NOT SAVED" in words(seen) and not Loop.objects.exists()
    assert designer.post("/loops/new/", overfill()).status_code == 302
    loop = Loop.objects.get(tag="LS-2400")
    page = words(designer.get(f"/loops/{loop.pk}/"))
    for figures in (
        "10.5 V of 16 V permitted",
        "17.1 mA of 25 mA permitted",
        "45 mW of 60 mW permitted",
        "810 nF of 2.41 µF permitted",
        "6.004 mH of 121.5 mH permitted",
    ):
        assert figures in page, figures
    assert loop.verification is not None
    assert loop.verification.verdict == "complies"
    assert loop.verification.results[0]["totals"]["C"] == "810 nF"
    assert loop.verification.results[0]["halved"] is False
    for number in Certificate.objects.values_list("number", flat=True):
        assert number in page

    assert designer.post(f"/loops/{loop.pk}/submit/", {"_version": loop.version}).status_code == 302
    assert "LS-2400" in words(approver.get("/"))
    loop.refresh_from_db()
    with pytest.raises(PermissionDenied):
        prove(loop.pk, people["designer"], password=password)
    sign = {"_version": loop.version, "password": password, "text": "Checked against the certificates."}
    assert designer.post(f"/loops/{loop.pk}/approve/", sign).status_code == 403
    refused = approver.post(f"/loops/{loop.pk}/approve/", sign)
    assert refused.status_code == 409 and "Nobody has confirmed it yet" in words(refused)
    asked = [matter.mark for matter in matters(loop)]
    ticks = {"_version": loop.version, "mark": asked} | {f"how-{mark}": "Seen in the cabinet." for mark in asked}
    assert designer.post(f"/loops/{loop.pk}/confirm/", ticks).status_code == 302
    assert approver.post(f"/loops/{loop.pk}/approve/", sign | {"password": "wrong"}).status_code == 400
    assert not loop.approvals.exists()
    assert "810 nF" in words(approver.get(f"/loops/{loop.pk}/approve/"))
    assert approver.post(f"/loops/{loop.pk}/approve/", sign).status_code == 302
    issued = sheet_of(designer, loop)
    for figures in ("10.5 V", "17.1 mA", "45 mW", "2.41 µF", "121.5 mH", "810 nF", "6.004 mH", "5000 m", "1000 m"):
        assert figures in issued.text, figures
    page = words(designer.get(f"/loops/{loop.pk}/"))
    loop.refresh_from_db()
    assert loop.state == LoopState.ISSUED
    assert "The approver" in page and "Approved and issued" in page
    assert "was approved and issued" in words(approver.get("/"))
    assert loop.tag not in words(approver.get("/")).partition("All loops by verdict")[0]

    # a change after the issue begins the next letter and needs a new signature
    response = designer.post(
        f"/loops/{loop.pk}/edit/",
        overfill() | {"_version": loop.version, "service": "Tank 24 overfill", "_reason": "The tank was renamed"},
    )
    assert response.status_code == 302
    loop.refresh_from_db()
    assert (loop.state, loop.letter) == (LoopState.DRAFT, "B")
    assert loop.approvals.get().letter == "A"
    assert sheet_of(designer, loop).data == issued.data


def test_a_loop_that_fails_is_cured_by_another_source(
    client_as: Callable[[str], Any], overfill: Callable[..., dict[str, str]]
) -> None:
    designer, keeper = client_as("designer"), client_as("keeper")
    strong = {
        "kind": "source",
        "maker": "Northlight Barriers",
        "type_name": "NS-30",
        "terminals": [
            {
                "name": "1-3",
                "side": "source",
                "level": "ia",
                "gas_group": "IIC",
                "output": "linear",
                "isolation": "isolated",
                "certificate": "EXA 06 ATEX 0092 issue 0",
                "ambient_max_degc": "60 degC",
                "uo_v": "10.5 V",
                "io_a": "30 mA",
                "po_w": "58 mW",
                "um_v": "250 V",
                "permitted": [{"group": "IIC", "co_f": "2.41 uF", "lo_h": "30 mH"}],
            }
        ],
    }
    post(keeper, "/equipment/new/", strong)
    designer.post("/loops/new/", overfill(source="Northlight Barriers NS-30, 1-3"))
    loop = Loop.objects.get()
    page = words(designer.get(f"/loops/{loop.pk}/"))
    # 30 mA of the source against 25 mA of the device
    assert "Does not comply" in page and "30 mA of 25 mA permitted; 20 % over the limit" in page
    assert designer.post(f"/loops/{loop.pk}/submit/", {"_version": loop.version}).status_code == 409
    assert "1 failing" in words(designer.get("/"))
    fields = overfill() | {"_version": loop.version, "_reason": "Weaker source"}
    assert designer.post(f"/loops/{loop.pk}/edit/", fields).status_code == 302
    difference = words(designer.get(f"/loops/{loop.pk}/revisions/2/"))
    assert "NS-30" in difference and "NS-10" in difference and "Weaker source" in difference
    loop.refresh_from_db()
    assert designer.post(f"/loops/{loop.pk}/submit/", {"_version": loop.version}).status_code == 302
    loop.refresh_from_db()
    assert loop.state == LoopState.IN_REVIEW
