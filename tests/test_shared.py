"""The shared fixtures are what their docstrings say, so that other tests may rest on them."""

from collections.abc import Callable
from typing import Any

from loops.models import LoopState
from registry import access
from registry.models import Role


def test_the_loop_complies_and_may_be_submitted(loop: Any) -> None:
    from loops.services.approvals import obstacles

    verification = loop.verification
    assert verification.verdict == "complies", verification.limiting
    assert verification.function_verdict == "pass"
    assert verification.results[0]["totals"]["C"] == "38 nF"
    assert verification.results[0]["totals"]["L"] == "205 uH"
    assert loop.state == LoopState.DRAFT
    assert obstacles(loop) == []


def test_the_failing_loop_fails_by_its_capacitance_alone(failing_loop: Any) -> None:
    verification = failing_loop.verification
    assert verification.verdict == "does_not_comply"
    failed = [check["id"] for check in verification.results[0]["checks"] if check["verdict"] == "fail"]
    assert failed == ["capacitance"]


def test_each_person_has_one_role_at_the_site(people: Any, site: Any, other_site: Any) -> None:
    for role in Role:
        assert access.roles_of(people[role.value], site) == {role}
        assert not access.roles_of(people[role.value], other_site)
    assert access.roles_of(people["neighbour"], other_site) == {Role.DESIGNER}
    assert not access.roles_of(people["neighbour"], site)
    assert not access.roles_of(people["outsider"])


def test_client_as_logs_in(client_as: Callable[[str], Any], people: Any) -> None:
    assert client_as("designer").session["_auth_user_id"] == str(people["designer"].pk)
    assert "_auth_user_id" not in client_as("").session
