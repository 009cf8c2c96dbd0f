"""What the approver is shown of the way from the issued revision to the one that is to be signed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from loops.models import Loop
from loops.services import approvals
from loops.services.loops import refresh, save_loop
from registry.models import User
from registry.selectors import record_text
from registry.services.records import Author, save_text
from reports.services import issue

pytestmark = pytest.mark.django_db


def test_the_approver_sees_what_changed_in_the_loop_its_equipment_and_its_verdicts(
    loop: Loop, device: Any, people: dict[str, User], password: str, client_as: Callable[[str], Client]
) -> None:
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    data = record_text(device)
    before = data["terminals"][0]["ci_f"]
    data["terminals"][0]["ci_f"] = "3.3 nF"
    save_text("equipment", data, Author(people["keeper"], reason="New issue"), record_id=device.pk)
    refresh(loop.pk, Author(people["designer"], reason="New values"))
    loop = Loop.objects.get(pk=loop.pk)
    content = record_text(loop)
    content["circuits"][0]["cables"][0]["length_m"] = "123 m"
    save_loop(content, Author(people["designer"], reason="Longer"), loop_id=loop.pk)
    approvals.submit(loop.pk, people["designer"])
    page = client_as("approver").get(f"/loops/{loop.pk}/approve/").content.decode()
    assert "<ins>123 m</ins>" in page
    assert f"<del>{before}</del>" in page and "<ins>3.3 nF</ins>" in page
    assert "<h3>Verdicts</h3>" in page
    assert "revision 1 to 2" in page


def test_a_first_issue_shows_the_whole_content(
    loop: Loop, people: dict[str, User], client_as: Callable[[str], Client]
) -> None:
    approvals.submit(loop.pk, people["designer"])
    page = client_as("approver").get(f"/loops/{loop.pk}/approve/").content.decode()
    assert "everything below is new" in page
    assert loop.service in page
