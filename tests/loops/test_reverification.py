"""Judging again by other rules: what is said now stands beside what was said, and an interrupted run goes on."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from loops.models import Loop, Verification
from loops.services import reverification
from loops.services.approvals import approve, prove, submit
from loops.services.refusals import WorkflowRefused
from loops.services.reverification import reverify, to_judge
from registry.digests import digest
from registry.models import Change, Deed, Notice
from registry.services.proofs import prove as prove_store
from registry.services.records import StaleRecord

pytestmark = pytest.mark.django_db


def step(count: int) -> None:
    """Nobody watches."""


@pytest.fixture
def newer_rules(monkeypatch: pytest.MonkeyPatch) -> str:
    """The same rules under the next number, as after an upgrade."""
    return rules(monkeypatch, "99")


def rules(monkeypatch: pytest.MonkeyPatch, number: str) -> str:
    for place in ("loops.casefile", "loops.services.reverification"):
        monkeypatch.setattr(f"{place}.RULES_VERSION", number)
    return number


@pytest.fixture
def stricter_rules(newer_rules: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rules that let no loop of less than 60 nF of reserve pass: stands for any rule that became stricter."""
    judge = reverification.judge_by

    def stricter(inputs: Any, tables: Any) -> Any:
        results = judge(inputs, tables)
        for result in results:
            for check in result["checks"]:
                if check["id"] == "capacitance" and check["verdict"] == "pass":
                    check["verdict"], check["why"] = "fail", "Less reserve than the newer rule wants."
                    result["verdict"] = "does_not_comply"
        return results

    monkeypatch.setattr(reverification, "judge_by", stricter)


def test_loops_of_these_rules_are_left_alone(loop: Any) -> None:
    assert not to_judge().exists()
    run = reverify(to_judge(everything=True), store=True, step=step)
    assert (run.judged, run.stored) == (1, 0)
    assert Verification.objects.count() == 1


def test_what_is_stored_proves_itself_whether_it_was_compared_or_not(loop: Any, newer_rules: str) -> None:
    (again,) = reverify(to_judge(), store=True, step=step, told=lambda again: again).told
    stored = Loop.objects.get(pk=loop.pk).verification
    assert stored is not None
    assert (stored.inputs, stored.results) == (again.inputs, again.results)
    assert stored.digest == digest({"inputs": stored.inputs, "results": stored.results}) == again.digest
    assert not again.check_changes  # the same rules under another number


def test_a_new_verdict_stands_beside_the_old(loop: Any, failing_loop: Any, newer_rules: str) -> None:
    before = {row.pk: (row.digest, row.engine) for row in Verification.objects.all()}
    version = loop.version
    run = reverify(to_judge(), store=True, step=step)
    assert (run.judged, run.stored, run.changed, run.worse) == (2, 2, 0, 0)
    assert {pk: (row.digest, row.engine) for pk, row in Verification.objects.in_bulk(before).items()} == before
    fresh = Loop.objects.get(pk=loop.pk)
    assert fresh.verification is not None
    assert (fresh.verification.engine, fresh.verification.revision_id) == ("99", loop.verification.revision_id)
    assert fresh.version == version + 1
    assert not to_judge().exists()
    (line,) = Change.objects.filter(verb=Deed.REVERIFY)
    assert sorted(line.detail["loops"]) == sorted([loop.pk, failing_loop.pk])
    assert not prove_store().broken


def test_an_interrupted_run_goes_on(make_loop: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reverification, "PORTION", 2)
    for number in range(5):
        make_loop(tag=f"PT-{number}")
    rules(monkeypatch, "99")

    def stop_after_two(count: int) -> None:
        if to_judge().count() <= 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        reverify(to_judge(), store=True, step=stop_after_two)
    assert to_judge().count() == 3
    seen: list[int] = []
    run = reverify(to_judge(), store=True, step=seen.append)
    assert (run.judged, seen) == (3, [2, 1])
    assert Verification.objects.count() == 10


def test_what_differs_is_told_to_its_people_and_in_the_report(
    loop: Any, stricter_rules: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = tmp_path / "report.csv"
    call_command("reverify", report=report)
    told = capsys.readouterr().out
    assert "1 loops judged by rules 99; 1 differ" in told
    assert "1 have another verdict, 1 of them a worse one." in told
    rows = list(csv.DictReader(io.StringIO(report.read_text("utf-8-sig"))))
    (row,) = [row for row in rows if row["check"] == "capacitance"]
    assert (row["tag"], row["verdict before"], row["verdict now"]) == ("PT-1101", "complies", "does_not_comply")
    assert (row["word before"], row["word now"], row["worse"]) == ("pass", "fail", "yes")
    assert row["why"] == "Less reserve than the newer rule wants."
    assert Notice.objects.filter(person=loop.owner, subject__contains="Judged again by rules 99").count() == 1
    report_json = tmp_path / "report.json"
    call_command("reverify", report=report_json)
    assert json.loads(report_json.read_text()) == []


def test_a_dry_run_stores_nothing(loop: Any, stricter_rules: None, capsys: pytest.CaptureFixture[str]) -> None:
    lines, notices = Change.objects.count(), Notice.objects.count()
    call_command("reverify", dry_run=True)
    out = capsys.readouterr().out
    assert "1 of them a worse one" in out
    assert "Nothing was stored." in out
    assert Verification.objects.count() == 1
    assert (Change.objects.count(), Notice.objects.count()) == (lines, notices)
    assert Loop.objects.get(pk=loop.pk).verification_id == loop.verification_id


def test_nobody_signs_what_they_did_not_see(
    loop: Any, people: Any, password: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    submitted = submit(loop.pk, people["designer"])
    rules(monkeypatch, "99")
    proof = prove(loop.pk, people["approver"], password=password, opened_version=submitted.version)
    with pytest.raises(WorkflowRefused, match="rules were changed"):
        approve(loop.pk, people["approver"], proof, opened_version=submitted.version)
    call_command("reverify")
    with pytest.raises(StaleRecord):
        prove(loop.pk, people["approver"], password=password, opened_version=submitted.version)
    fresh = Loop.objects.get(pk=loop.pk)
    prove(loop.pk, people["approver"], password=password, opened_version=fresh.version)


def test_what_somebody_saved_meanwhile_is_left(loop: Any, newer_rules: str, people: Any) -> None:
    from loops.services.loops import save_loop
    from registry.selectors import record_text
    from registry.services.records import Author

    (again,) = reverification.judged([loop.pk], reverification.Basis.now(), compared=False)
    data = record_text(Loop.objects.get(pk=loop.pk)) | {"service": "Another"}
    save_loop(data, Author(people["designer"]), loop_id=loop.pk)
    saved = Loop.objects.get(pk=loop.pk).verification_id
    assert reverification.stored([again]) == []
    assert Loop.objects.get(pk=loop.pk).verification_id == saved


def test_the_number_of_queries_does_not_grow_with_the_loops(
    make_loop: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            reverify(to_judge(), store=True, step=step)
        return len(found)

    make_loop(tag="PT-0")
    rules(monkeypatch, "99")
    few = queries()
    for number in range(1, 9):
        make_loop(tag=f"PT-{number}")
    rules(monkeypatch, "100")
    assert queries() == few


def test_parts_are_all_loops_once(make_loop: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    keys = {make_loop(tag=f"PT-{number}").pk for number in range(7)}
    rules(monkeypatch, "99")
    parts = [set(to_judge(part=(number, 3)).values_list("pk", flat=True)) for number in (1, 2, 3)]
    assert set().union(*parts) == keys
    assert sum(map(len, parts)) == 7
    call_command("reverify", "--part", "2/3")
    assert set(to_judge().values_list("pk", flat=True)) == keys - parts[1]
    with pytest.raises(CommandError, match="K/N"):
        call_command("reverify", "--part", "4/3")


def test_faults_of_the_command_are_told(loop: Any, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="no site NOWHERE: there are NORTH"):
        call_command("reverify", site=["NOWHERE"])
    with pytest.raises(CommandError, match=r"ends in \.csv, \.xlsx or \.json"):
        call_command("reverify", report=tmp_path / "report.txt")


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_processes_beside_each_other_judge_each_loop_once(
    make_loop: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("A database in memory is not shared by processes.")
    keys = {make_loop(tag=f"PT-{number}").pk for number in range(7)}
    monkeypatch.setattr(reverification, "PORTION", 2)
    request.getfixturevalue("stricter_rules")
    before = Verification.objects.count()
    report = tmp_path / "report.json"
    call_command("reverify", "--processes", "3", report=report)
    assert not to_judge().exists()
    assert Verification.objects.count() == before + 7
    lines = Change.objects.filter(verb=Deed.REVERIFY)
    assert sorted(key for line in lines for key in line.detail["loops"]) == sorted(keys)
    assert lines.count() == 4
    rows = json.loads(report.read_text())
    assert {row["tag"] for row in rows if row["check"] == "capacitance"} == {f"PT-{number}" for number in range(7)}
    assert not prove_store().broken
