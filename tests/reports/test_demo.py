"""The invented plant: what it must hold, that each loop shows what it says, and that a second run adds nothing."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io
import re
from collections import Counter
from decimal import Decimal
from pathlib import Path
from unittest import mock

import pypdf
import pytest
from django.conf import settings
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.test import TestCase, override_settings

import loops.engine
from loops.models import CableRun, Loop, LoopState, Member, Verification, WorkflowEvent
from loops.services.approvals import take_back
from loops.services.loops import changed_pins
from registry.models import (
    CableType,
    Certificate,
    Equipment,
    EquipmentKind,
    HazardousArea,
    Membership,
    Revision,
    Role,
    Site,
    Terminals,
    User,
)
from registry.quantities import Kind, read
from reports.demo import mistakes
from reports.demo.build import ITEMS, LOOPS, Demo, build_loops, build_register
from reports.demo.large import SECOND_SITE, build_large, loop_plan, variant
from reports.demo.loops import AI1, ORDINARY, PAIR_15, PT
from reports.demo.mistakes import STARVED
from reports.demo.people import PEOPLE
from reports.demo.plans import Story, single
from reports.models import Defect, Inspection, Sheet, SignedInspection
from reports.services import draft_pdf
from tests.reports.signs import as_typed

PASSWORD = "a-password-for-the-tests"
COUNTED = (Site, HazardousArea, Certificate, Equipment, Terminals, CableType, Loop, Member, Verification, Revision)
COUNTED += (Sheet, WorkflowEvent, User, Membership, Inspection, Defect)

FIGURE = re.compile(r"-?[0-9.,]+ [a-zA-Z/0-9]+")
NOT_PRINTED = {"safe_area_ambient_max", "judge_on"}
"""Of a case document: the figure stands in the reason of its check alone."""

MISTAKES = {
    "PT-1401": ("a segment of the cable forgotten", "capacitance", "fail"),
    "PT-1402": ("a length never measured", "capacitance", "incomplete"),
    "XV-1403": ("IIB source in a IIC area", "group", "fail"),
    "FT-1404": ("IIB device in a IIC area", "group", "fail"),
    "PDT-1405": ("1 % rule never applied", "lumped_rule", "pass"),
    "PT-1406": ("1 % rule always applied", "capacitance", "pass"),
    "PT-1407": ("core to core only, behind a barrier", "capacitance", "fail"),
    "ZS-1408": ("per core taken for the loop", "inductance", "fail"),
    "PT-1409": ("nF/m for nF/km", "capacitance", "fail"),
    "VT-1410": ("barrier swapped", "current", "fail"),
    "AT-1411": ("voltage above Ui", "voltage", "fail"),
    "AT-1501": ("a second source, not linear", "sources", "beyond_simple_rules"),
    "PT-1502": ("two channels 28 V 300 ohm in IIC", "sources", "fail"),
    "FB-1503": ("a device that is no FISCO device", "fisco", "fail"),
    "TE-2601": ("earthed thermocouple on a barrier", "earthing", "fail"),
    "TT-2602": ("transmitter without isolation on a barrier", "earthing", "fail"),
    "TE-2603": ("simple apparatus too warm", "simple_apparatus", "fail"),
    "XT-2604": ("not simple at all", "simple_apparatus", "fail"),
    "LT-3201": ("ib in zone 0", "level", "fail"),
    "VT-1602": ("T4 where T6 is needed", "temperature_class", "fail"),
    "LT-2605": ("warmer than its ambient", "ambient", "fail"),
    "PT-1603": ("above Um", "um", "fail"),
    "PT-1604": ("with other circuits in one cable", "cable_type", "fail"),
    "PT-1605": ("strands too thin", "cable_construction", "fail"),
    "LI-1701": ("U certificate", "certificate", "fail"),
    "PT-1702": ("no certificate", "certificate", "fail"),
    "PT-1703": ("withdrawn", "certificate", "fail"),
    "PT-1704": ("suspended", "certificate", "fail"),
    "LT-3202": ("X overlooked", "certificate", "confirm"),
    "PT-3104": ("ended, taken for illegal", "certificate", "confirm"),
}
COMPLY = {"PT-1406", "LT-3202", "PT-3104"}
REAL_BODIES = frozenset(
    {"PTB", "BVS", "KEMA", "DEKRA", "BAS", "BASEEFA", "CML", "FTZU", "INERIS", "LCIE", "SIRA", "TÜV", "TUV", "UL", "FM"}
    | {"CSA", "DMT", "EPS", "SEV", "ITS", "ZELM", "NEPSI", "EXV", "TPS", "TUR", "TUN", "DEK", "KEM", "NCC", "IBE"}
)


def checks(tag: str) -> list[tuple[str, str]]:
    verification = Loop.objects.get(tag=tag).verification
    return [(check["id"], check["verdict"]) for result in verification.results for check in result["checks"]]


def figures(value):
    """Every text of a nested value that holds a digit and a unit."""
    if isinstance(value, dict):
        parts = [part for name, part in value.items() if name not in NOT_PRINTED]
        return set().union(*map(figures, parts))
    if isinstance(value, list):
        return set().union(*map(figures, value))
    return {value} if isinstance(value, str) and FIGURE.fullmatch(value) else set()


class PlantTests(TestCase):
    """The small plant, built once for these tests; each takes back what it adds."""

    @classmethod
    def setUpTestData(cls):
        out = io.StringIO()
        call_command("demo", password=PASSWORD, stdout=out)
        cls.printed = out.getvalue()

    def test_the_register_is_as_wide_as_promised(self):
        certified = Equipment.objects.exclude(kind=EquipmentKind.SIMPLE_APPARATUS)
        assert certified.filter(terminals__certificate__isnull=False).distinct().count() >= 40
        assert CableType.objects.count() >= 12
        assert {"0", "1", "2", "21"} <= set(HazardousArea.objects.values_list("zone", flat=True))
        assert {"IIC", "IIB", "IIA", "IIIC"} <= set(HazardousArea.objects.values_list("group", flat=True))
        assert {"ATEX", "IECEx"} <= set(Certificate.objects.values_list("scheme", flat=True))
        assert set(Certificate.objects.values_list("status", flat=True)) == {
            "current",
            "superseded",
            "suspended",
            "withdrawn",
        }
        today = dt.datetime.now(dt.UTC).date()
        assert sum(row.has_run_out(today) for row in Certificate.objects.all()) >= 3
        suffixes = Counter(row.suffix for row in Certificate.objects.all())
        assert suffixes["X"] > 5 and suffixes["U"] == 1
        simple = Terminals.objects.filter(equipment__kind=EquipmentKind.SIMPLE_APPARATUS)
        assert all(len(text) > 20 for text in simple.values_list("justification", flat=True))

    def test_no_certificate_names_a_real_body(self):
        for number in Certificate.objects.values_list("number", flat=True):
            words = number.replace(".", " ").replace("-", " ").split()
            assert not set(words) & REAL_BODIES, number

    def test_the_loops_are_in_every_state(self):
        states = Counter(Loop.objects.values_list("state", flat=True))
        assert Loop.objects.count() == len(LOOPS) >= 60
        assert states[LoopState.ISSUED] >= 8 and states[LoopState.IN_REVIEW] >= 3 and states[LoopState.RETURNED] == 1
        assert Sheet.objects.count() == states[LoopState.ISSUED] + 1
        revised = Loop.objects.get(tag="FT-1107")
        assert (revised.state, revised.letter) == (LoopState.DRAFT, "B")
        assert revised.approvals.get().letter == "A"
        returned = WorkflowEvent.objects.get(verb="return")
        assert len(returned.text) > 20
        assert bytes(Sheet.objects.first().bytes).startswith(b"%PDF")

    def test_inspections_have_found_something(self):
        states = dict(Defect.objects.values_list("loop__tag", "state"))
        assert states == {"FT-1107": "done", "XV-1108": "assigned", "LT-3101": "open"}
        swapped = Defect.objects.get(loop__tag="XV-1108")
        assert swapped.verdict == "does_not_comply" and swapped.due_on < swapped.signed.inspected_on
        assert Defect.objects.get(loop__tag="LT-3101").verdict == "complies"
        assert SignedInspection.objects.filter(is_complete=True).count() == 3
        under_way = Inspection.objects.get(loop__tag="PT-1102")
        assert under_way.is_open and under_way.lines.exclude(result="").exists()

    def test_a_correction_in_the_register_outdates_an_issued_loop(self):
        assert changed_pins(Loop.objects.get(tag="VT-1111")) == ["Plimsond PV-3"]
        assert changed_pins(Loop.objects.get(tag="PT-1101")) == []

    def test_a_loop_meant_to_comply_complies_and_works(self):
        for plan in ORDINARY:
            with self.subTest(plan.tag):
                verification = Loop.objects.get(tag=plan.tag).verification
                assert (verification.verdict == "complies") == plan.complies, verification.limiting
                assert verification.function_verdict in {"pass", ""}
        assert all(plan.complies for plan in ORDINARY)
        for tag in ("FB-1301", "PT-1302"):
            assert {check for check in checks(tag) if check[0] == "fisco"} == {("fisco", "pass")}

    def test_a_mistake_is_found_where_it_shows(self):
        assert {plan.tag for plan in mistakes.MISTAKES} == {*MISTAKES, STARVED, "PT-1705"}
        for tag, (mistake, check, verdict) in MISTAKES.items():
            with self.subTest(mistake, tag=tag):
                loop = Loop.objects.get(tag=tag)
                assert (check, verdict) in checks(tag)
                assert (loop.verification.verdict == "complies") == (tag in COMPLY)
                assert loop.notes.startswith("Shows a mistake that practice reports.")

    def test_the_one_percent_rule_decides_where_it_was_never_applied(self):
        results = Loop.objects.get(tag="PDT-1405").verification.results
        assert results[0]["halved"] is True and ("capacitance", "fail") in checks("PDT-1405")
        assert Loop.objects.get(tag="PT-1406").verification.results[0]["halved"] is False

    def test_a_safe_loop_starves(self):
        verification = Loop.objects.get(tag=STARVED).verification
        assert (verification.verdict, verification.function_verdict) == ("complies", "fail")

    def test_every_log_in_works_and_has_its_role(self):
        for person in PEOPLE:
            user = authenticate(username=person.username, password=PASSWORD)
            assert user is not None and f"{person.username} " in self.printed and user.printed_name in self.printed
            roles = set(Membership.objects.filter(user=user).values_list("role", flat=True))
            assert roles == ({person.role} if person.role else set()) and user.is_superuser == (person.role is None)
        assert {person.role for person in PEOPLE} == {None, *Role}
        assert PASSWORD in self.printed

    def test_the_sheets_of_twelve_loops_hold_every_number_of_their_record(self):
        """Read back by another program: what was typed, what was computed, each reason and each digest."""
        tags = ["PT-1101", "PT-1102", "TT-1105", "TT-1106", "FT-1107", "XV-1108", "FB-1301", "PT-1402", "PT-2113"]
        tags += ["AT-2106", "PT-1407", "FB-1503"]
        for loop in Loop.objects.filter(tag__in=tags):
            pages = pypdf.PdfReader(io.BytesIO(draft_pdf(loop))).pages
            assert loop.tag != "PT-1101" or len(pages) == 2
            paper = as_typed("".join("".join(page.extract_text().split()) for page in pages))
            verification = loop.verification
            said = {verification.digest, verification.revision.digest, loop.tag, loop.service}
            for document, result in zip(verification.inputs, verification.results, strict=True):
                said |= figures(document) | figures(result.get("totals")) | figures(result.get("max_length"))
                for check in result["checks"]:
                    said |= {check[name] for name in ("value", "limit", "why") if check[name]}
            said -= set(CableRun.Separation.values)
            missing = {text for text in said if "".join(text.split()) not in paper}
            self.assertEqual(missing, set(), loop.tag)
        self.assertEqual(Loop.objects.filter(tag__in=tags).count(), 12)

    def test_a_second_run_adds_nothing_and_says_so(self):
        before = [model.objects.count() for model in COUNTED]
        out = io.StringIO()
        call_command("demo", password="another-password-is-not-set", stdout=out)
        assert [model.objects.count() for model in COUNTED] == before
        assert "Added: nothing." in out.getvalue()
        assert authenticate(username="designer", password=PASSWORD) is not None
        assert "another-password-is-not-set" not in out.getvalue()

    def test_an_interrupted_run_is_continued(self):
        def interrupted(*arguments):
            raise RuntimeError("the power failed")

        plan = single("PT-1990", "Late pressure", AI1, PT, "hydrogen", (PAIR_15, "100 m"), story=Story.ISSUED)
        demo = Demo(PASSWORD, dt.datetime.now(dt.UTC).date())
        build_register(demo)
        with mock.patch("reports.demo.build.issue", interrupted), pytest.raises(RuntimeError):
            build_loops(demo, (plan,))
        assert Loop.objects.get(tag="PT-1990").state == LoopState.IN_REVIEW
        build_loops(demo, (plan,))
        assert Loop.objects.get(tag="PT-1990").state == LoopState.ISSUED

    def test_what_somebody_did_to_a_loop_stays(self):
        loop = Loop.objects.get(tag="LT-2103")
        take_back(loop.pk, User.objects.get(username="designer2"))
        call_command("demo", password=PASSWORD, stdout=io.StringIO())
        loop.refresh_from_db()
        assert loop.state == LoopState.DRAFT

    def test_production_is_refused(self):
        production = dataclasses.replace(settings.ENVIRONMENT, mode="production")
        with override_settings(ENVIRONMENT=production):
            with pytest.raises(CommandError, match="production"):
                call_command("demo", stdout=io.StringIO())
            with pytest.raises(CommandError, match="--password"):
                call_command("demo", force=True, stdout=io.StringIO())
            call_command("demo", force=True, password=PASSWORD, stdout=io.StringIO())

    def test_the_large_plant_is_built_to_its_counts_once(self):
        demo = Demo(PASSWORD, dt.datetime.now(dt.UTC).date())
        build_register(demo)
        for seed in (7, 8):
            build_large(demo, seed, len(ITEMS) + 60, len(LOOPS) + 30)
            assert Equipment.objects.count() == len(ITEMS) + 60
            assert Loop.objects.count() == len(LOOPS) + 30
        assert demo.kept["loop"] == 30
        verdicts = Counter(
            Loop.objects.filter(site__code=SECOND_SITE["code"]).values_list("verification__verdict", flat=True)
        )
        assert verdicts["complies"] >= 20 and sum(verdicts.values()) == 30


# ------------------------------------------------------------------------------- values against the standard's tables

ENERGY_J = {"IIC": Decimal("40e-6"), "IIB": Decimal("160e-6"), "IIA": Decimal("320e-6")}
TABLE_A2 = Path(loops.engine.__file__).parent / "data" / "table_a2.csv"


def linear_sources() -> list[tuple[str, dict]]:
    return [
        (f"{item['type_name']} {row['name']}", row)
        for item in ITEMS
        for row in item["terminals"]
        if row["side"] == "source" and row["output"] == "linear"
    ]


@pytest.mark.parametrize(("name", "row"), linear_sources(), ids=[name for name, _ in linear_sources()])
def test_a_source_agrees_with_the_tables(name, row):
    """Po = Uo Io / 4; Io = Uo / Ro; Lo = 2e / (1.5 Io)^2; Co at most IEC 60079-11:2011, table A.2 (from memory)."""
    uo, io_a = read(row["uo_v"], Kind.VOLTAGE), read(row["io_a"], Kind.CURRENT)
    factor, column = (Decimal(1), "x1") if row["level"] == "ic" else (Decimal("1.5"), "x1.5")
    assert read(row["po_w"], Kind.POWER) == pytest.approx(uo * io_a / 4, rel=Decimal("0.03"))
    assert uo / read(row["ro_ohm"], Kind.RESISTANCE) == pytest.approx(io_a, rel=Decimal("0.01"))
    with TABLE_A2.open() as file:
        table = {Decimal(line["voltage_V"]): line for line in csv.DictReader(file)}
    line = table[min(voltage for voltage in table if voltage >= uo)]
    for permitted in row["permitted"]:
        group = permitted["group"]
        assert read(permitted["lo_h"], Kind.INDUCTANCE) <= min(1, 2 * ENERGY_J[group] / (factor * io_a) ** 2)
        if line[f"{group}_{column}_uF"]:
            limit = Decimal(line[f"{group}_{column}_uF"]) / 1_000_000
            assert read(permitted["co_f"], Kind.CAPACITANCE) <= limit


# -------------------------------------------------------------------------------------------------------------- large


def test_the_large_plant_follows_from_its_seed():
    items = {row.kind: [row.text] for row in (variant(7, number) for number in range(200))}
    assert [variant(7, number) for number in range(40)] == [variant(7, number) for number in range(40)]
    assert [loop_plan(7, number, items) for number in range(40)] == [
        loop_plan(7, number, items) for number in range(40)
    ]
    assert loop_plan(7, 1, items) != loop_plan(8, 1, items)
    assert [loop_plan(7, n, items).tag for n in range(40)] == [loop_plan(8, n, items).tag for n in range(40)]
