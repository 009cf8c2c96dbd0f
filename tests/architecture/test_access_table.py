"""Who may do what is asked of one table, and every action of the table is asked for."""

import re

from registry import access
from registry.models import Role
from tests.architecture.files import PACKAGES, ROOT

ACTION = re.compile(r"""["']((?:register|scheme|site|area|loop|sheet|inspection|defect)\.[a-z_]+)["']""")


def asked_for() -> dict[str, set[str]]:
    """Every action named in the product outside of the table itself, and where."""
    found: dict[str, set[str]] = {}
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            if path.name == "access.py" or "migrations" in path.parts:
                continue
            for action in ACTION.findall(path.read_text()):
                found.setdefault(action, set()).add(str(path.relative_to(ROOT)))
    return found


def test_every_action_of_the_table_is_asked_for() -> None:
    assert not set(access.TABLE) - set(asked_for())


def test_every_refusal_and_exception_names_an_action_of_the_table() -> None:
    assert set(access.SIDES) <= set(access.TABLE)
    assert set(access.SUPERUSER_MAY) <= set(access.TABLE)


def test_every_action_that_is_not_for_everybody_says_who_may() -> None:
    assert {action for action, roles in access.TABLE.items() if roles != access.EVERYBODY} == set(access.SIDES)


def test_a_superuser_signs_and_designs_nothing_by_virtue_of_that() -> None:
    assert not {"loop.edit", "loop.submit", "loop.take_back", "loop.return", "loop.approve"} & access.SUPERUSER_MAY


def test_only_approvers_approve() -> None:
    assert access.TABLE["loop.approve"] == {Role.APPROVER}
    assert access.TABLE["loop.return"] == {Role.APPROVER}
