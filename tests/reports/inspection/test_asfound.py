"""What an inspection found in place of the record is judged by the engine, and nothing of the record is changed."""

from __future__ import annotations

from typing import Any

import pytest

from loops.models import Loop, Verification
from registry.models import Revision
from reports.inspection import services
from reports.inspection.asfound import differs, fault_of
from reports.inspection.models import Line
from reports.inspection.services import LineFault, LineText
from tests.reports.inspection.conftest import seen

pytestmark = pytest.mark.django_db


@pytest.fixture
def found(loop: Any, begin: Any, people: Any) -> Any:
    """`found("nameplate", "PT-1101", ui_v="24 V")`: the verdict with what was found there in place."""
    inspection = begin(loop)

    def judged(item: str, subject: str, /, **values: str) -> dict[str, Any]:
        line = inspection.lines.get(item=item, subject=subject)
        text = LineText("defect", "Differs.", "1", values)
        services.save_line(inspection.pk, line.pk, people["planner"], text)
        line.refresh_from_db()
        judgement: dict[str, Any] = line.judgement
        return judgement

    judged.inspection = inspection  # type: ignore[attr-defined]
    return judged


# The loop complies with 38 nF of 83 nF and 0.205 mH of 4.2 mH at Uo 28 V, Io 93 mA, Po 0.65 W (tests/conftest.py).
@pytest.mark.parametrize(
    ("item", "subject", "values", "verdict", "limiting"),
    [
        ("nameplate", "PT-1101", {"ui_v": "24 V"}, "does_not_comply", "24 V"),
        ("nameplate", "PT-1101", {"ui_v": "28 V"}, "complies", ""),
        ("nameplate", "PT-1101", {"ii_a": "90 mA"}, "does_not_comply", "90 mA"),
        ("nameplate", "PT-1101", {"ci_f": "51 nF"}, "does_not_comply", "84 nF"),
        ("nameplate", "PT-1101", {"ci_f": "50 nF"}, "complies", ""),
        ("nameplate", "PT-1101", {"ui_v": "unknown"}, "incomplete", ""),
        ("nameplate", "PT-1101-B", {"permitted.0.co_f": "37 nF"}, "does_not_comply", "37 nF"),
        ("cable", "W-PT-1101", {"length_m": "710 m"}, "does_not_comply", "83.1 nF"),
        ("cable", "W-PT-1101", {"length_m": "709 m"}, "complies", ""),
        ("cable", "W-PT-1101", {"length_m": "unknown"}, "incomplete", ""),
        ("ambient", "PT-1101", {"ambient_max_degc": "75 degC"}, "does_not_comply", "75"),
        ("um", "PT-1101", {"safe_voltage_max_v": "400 V"}, "does_not_comply", "400 V"),
        ("rating", "PT-1101", {"marking": "II 2 G Ex ib IIB T4 Gb"}, "does_not_comply", "IIB"),
        ("rating", "PT-1101", {"marking": "II 1 G Ex ia IIC T3 Ga"}, "does_not_comply", "T3"),
        ("rating", "PT-1101", {"marking": "scratched"}, "incomplete", "cannot be read"),
        ("item", "PT-1101", {"item": "Whoever X-1, +/-"}, "incomplete", "not in the register"),
        ("cable", "W-PT-1101", {"cable_type": "Old pair"}, "incomplete", "not in the register"),
        # One more item on the circuit adds what nobody knows: what passes without it cannot be said any more.
        (
            "extra",
            "PT-1101",
            {"extra": "A lamp  in JB-4"},
            "incomplete",
            "A lamp in JB-4 is connected and not on record",
        ),
    ],
)
def test_the_verdict_with_what_was_found(
    item: str, subject: str, values: dict[str, str], verdict: str, limiting: str, found: Any
) -> None:
    """Worked out by hand from 83 nF: 33 nF of cable leave 50 nF; 5 nF of device leave 78 nF, 709 m at 110 nF/km."""
    judgement = found(item, subject, **values)
    assert judgement["verdict"] == verdict
    assert limiting in judgement["limiting"]
    assert judgement["results"] and judgement["inputs"]


def test_another_item_of_the_register_stands_in_its_place(found: Any, save: Any, device_data: Any) -> None:
    other = device_data | {"type_name": "SP-50"}
    other["terminals"][0] |= {"ui_v": "20 V"}
    save("equipment", other)
    judgement = found("item", "PT-1101", item="Sandpiper Instruments SP-50, +/-")
    assert (judgement["verdict"], "20 V" in judgement["limiting"]) == ("does_not_comply", True)


def test_terminals_of_the_wrong_side_are_no_item(found: Any) -> None:
    judgement = found("item", "PT-1101", item="Northlight Barriers NB-28, 1-2")
    assert judgement["verdict"] == "incomplete"


def test_the_record_stays_as_it_was(found: Any, loop: Any) -> None:
    before = (Revision.objects.count(), Verification.objects.count(), Loop.objects.get(pk=loop.pk).version)
    found("nameplate", "PT-1101", ui_v="24 V")
    assert (Revision.objects.count(), Verification.objects.count(), Loop.objects.get(pk=loop.pk).version) == before
    assert Loop.objects.get(pk=loop.pk).verification.verdict == "complies"


def test_the_same_value_in_another_unit_does_not_differ(found: Any) -> None:
    assert found("nameplate", "PT-1101", ci_f="0.005 uF") is None
    assert not differs("ci_f", "5 nF", "0,005 µF") and differs("ci_f", "5 nF", "5.1 nF")
    assert not differs("marking", "Ex ia IIC  T4", "ex IA iic t4")


@pytest.mark.parametrize("text", ["24", "24 A", "soon", "-1 V"])
def test_what_cannot_be_read_is_refused_with_its_cure(text: str, loop: Any, begin: Any, people: Any) -> None:
    inspection = begin(loop)
    line = inspection.lines.get(item="nameplate", subject="PT-1101")
    with pytest.raises(LineFault) as refused:
        services.save_line(inspection.pk, line.pk, people["planner"], LineText("defect", "x", "1", {"ui_v": text}))
    assert "unknown" in refused.value.faults["ui_v"]
    assert fault_of("ui_v", "unknown") == ""


def test_what_differs_is_a_defect_and_nothing_else(loop: Any, begin: Any, people: Any) -> None:
    inspection = begin(loop)
    line = inspection.lines.get(item="nameplate", subject="PT-1101")
    with pytest.raises(LineFault, match="that is a defect"):
        services.save_line(inspection.pk, line.pk, people["planner"], LineText("ok", found={"ui_v": "24 V"}))


def test_two_findings_that_pass_alone_may_fail_together(
    loop: Any, begin: Any, fill: Any, people: Any, password: str
) -> None:
    """600 m make 66 nF and pass with 5 nF; 40 nF pass with 33 nF; together 106 nF exceed 83 nF."""
    inspection = fill(begin(loop))
    texts = {"cable": {"length_m": "600 m"}, "nameplate": {"ci_f": "40 nF"}}
    for item, values in texts.items():
        line = inspection.lines.filter(item=item).exclude(subject="PT-1101-B").get()
        services.save_line(inspection.pk, line.pk, people["planner"], LineText("defect", "Differs.", "2", values))
        assert Line.objects.get(pk=line.pk).judgement["verdict"] == "complies"
    record = services.sign(inspection.pk, people["planner"], password, shown=seen(inspection))
    assert record.verdict == "does_not_comply"
    assert (
        record.content["as_found"]["verdict"] == "does_not_comply"
        and "106 nF" in record.content["as_found"]["limiting"]
    )
    assert {defect.verdict for defect in record.defects.all()} == {"complies"}
