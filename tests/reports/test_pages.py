"""The pages of signing and of sheets: who sees them, what they answer, and that nothing typed is lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from django.urls import reverse

from loops.models import Approval, Loop, LoopState
from reports.models import Sheet

pytestmark = pytest.mark.django_db
REMARK = 'Checked <b>"twice"</b> & again'


def approve_url(loop: Any) -> str:
    return reverse("reports:approve", args=[loop.pk])


def signature(loop: Any, password: str, **values: Any) -> dict[str, Any]:
    return {"_version": loop.version, "password": password, "text": REMARK} | values


def test_addresses() -> None:
    assert reverse("reports:approve", args=[7]) == "/loops/7/approve/"
    assert reverse("reports:draft", args=[7]) == "/loops/7/draft.pdf"
    assert reverse("reports:sheet", args=[7]) == "/sheets/7/"


def test_the_page_shows_everything_that_is_signed(submitted: Any, client_as: Any) -> None:
    answer = client_as("approver").get(approve_url(submitted))
    text = answer.content.decode()
    verification = submitted.verification
    assert answer.status_code == 200
    for check in verification.results[0]["checks"]:
        assert check["reference"] in text
    for wanted in (
        verification.limiting,
        verification.digest,
        verification.revision.digest,
        "The designer",
        "Block diagram of Circuit 1",
        "licensed practice decide",
        "I have checked this revision",
        *verification.results[0]["confirmations"],
    ):
        assert wanted in text
    assert text.count('type="password"') == 1


def test_signing_issues_and_leads_to_the_loop(submitted: Any, client_as: Any, password: str) -> None:
    client = client_as("approver")
    answer = client.post(approve_url(submitted), signature(submitted, password))
    assert (answer.status_code, answer["Location"]) == (302, f"/loops/{submitted.pk}/")
    assert Sheet.objects.get().approval.approved_by.username == "approver"
    assert "NORTH-PT-1101-A" in client.get(answer["Location"]).content.decode()


@pytest.mark.parametrize("password", ["", "wrong"])
def test_a_wrong_password_keeps_the_remark_and_forgets_the_password(
    password: str, submitted: Any, client_as: Any
) -> None:
    answer = client_as("approver").post(approve_url(submitted), signature(submitted, password))
    text = answer.content.decode()
    assert answer.status_code == 400
    assert "Checked &lt;b&gt;&quot;twice&quot;&lt;/b&gt; &amp; again</textarea>" in text
    assert re.search(r'<input type="password"[^>]*aria-invalid="true"', text)
    assert not re.search(r'<input type="password"[^>]*value=', text)
    assert 'href="#id-password"' in text
    assert not Approval.objects.exists()


@pytest.mark.parametrize("version", ["0", "", "x", "-1", "99999999999999999999", "\u0663"])
def test_a_stale_page_is_refused_and_keeps_the_remark(
    version: str, submitted: Any, client_as: Any, password: str
) -> None:
    answer = client_as("approver").post(approve_url(submitted), signature(submitted, password, _version=version))
    assert answer.status_code == 409
    assert "Checked &lt;b&gt;" in answer.content.decode()
    assert not Approval.objects.exists()


@pytest.mark.parametrize("role", ["designer", "reader", "planner", "keeper", "administrator", "superuser"])
def test_others_at_the_site_see_why_they_may_not_sign(role: str, submitted: Any, client_as: Any, password: str) -> None:
    client = client_as(role)
    page = client.get(approve_url(submitted))
    assert page.status_code == 200
    assert "An approver of this site may do this." in page.content.decode()
    assert 'type="password"' not in page.content.decode()
    answer = client.post(approve_url(submitted), signature(submitted, password))
    assert answer.status_code == 403
    assert "Checked &lt;b&gt;" in answer.content.decode()
    assert not Approval.objects.exists()


def test_an_approver_who_took_part_sees_why(people: Any, site: Any, loop: Any, client_as: Any, password: str) -> None:
    from loops.services import approvals
    from registry.models import Membership, Role

    Membership.objects.create(user=people["approver"], site=site, role=Role.DESIGNER)
    loop = approvals.submit(loop.pk, people["approver"])
    client = client_as("approver")
    assert "You submitted it since its last approval" in client.get(approve_url(loop)).content.decode()
    assert client.post(approve_url(loop), signature(loop, password)).status_code == 403


def test_a_loop_that_is_not_in_review_cannot_be_signed(loop: Any, client_as: Any, password: str) -> None:
    client = client_as("approver")
    assert "not in review" in client.get(approve_url(loop)).content.decode()
    assert client.post(approve_url(loop), signature(loop, password)).status_code == 409


def test_what_stands_in_the_way_is_told(submitted: Any, area: Any, save: Any, client_as: Any, password: str) -> None:
    text = {"site": str(area.site_id), "name": area.name, "zone": "0", "group": "IIC", "temperature_class": "T4"}
    save(
        "area", text | {"ambient_min_degc": "-20 degC", "ambient_max_degc": "40 degC"}, by="designer", record_id=area.pk
    )
    client = client_as("approver")
    page = client.get(approve_url(submitted)).content.decode()
    assert "It cannot be approved now" in page and 'type="password"' not in page
    assert client.post(approve_url(submitted), signature(submitted, password)).status_code == 409


def test_what_changed_since_the_last_issue_is_shown(
    sheet: Any, loop_data: Any, author_as: Any, submit: Any, client_as: Any
) -> None:
    from loops.services.loops import save_loop

    loop = submit(save_loop(loop_data(length="310 m"), author_as("designer"), loop_id=sheet.approval.loop_id))
    page = client_as("approver").get(approve_url(loop)).content.decode()
    assert "What changed since revision A" in page
    assert "<del>300 m</del>" in page and "<ins>310 m</ins>" in page


def test_a_fault_of_the_renderer_is_told_and_keeps_the_remark(submitted: Any, client_as: Any, password: str) -> None:
    with mock.patch("reports.services.sheet_pdf", side_effect=RuntimeError("broken")):
        answer = client_as("approver").post(approve_url(submitted), signature(submitted, password))
    assert answer.status_code == 500
    assert "nothing was signed" in answer.content.decode() and "Checked &lt;b&gt;" in answer.content.decode()
    assert Loop.objects.get(pk=submitted.pk).state == LoopState.IN_REVIEW


@pytest.mark.parametrize("role", ["neighbour", "outsider"])
def test_other_sites_find_nothing(role: str, sheet: Any, client_as: Any, password: str) -> None:
    client = client_as(role)
    loop = sheet.approval.loop
    assert client.get(approve_url(loop)).status_code == 404
    assert client.post(approve_url(loop), signature(loop, password)).status_code == 404
    assert client.get(reverse("reports:draft", args=[loop.pk])).status_code == 404
    assert client.get(reverse("reports:sheet", args=[sheet.pk])).status_code == 404


def test_the_stored_bytes_are_answered_as_they_are(sheet: Any, client_as: Any) -> None:
    client = client_as("reader")
    answer = client.get(reverse("reports:sheet", args=[sheet.pk]))
    assert answer.content == bytes(Sheet.objects.get(pk=sheet.pk).bytes)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'attachment; filename="PT-1101_A.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    shown = client.get(reverse("reports:sheet", args=[sheet.pk]), {"view": "1"})
    assert shown["Content-Disposition"] == 'inline; filename="PT-1101_A.pdf"'
    assert shown.content == answer.content


def test_a_damaged_sheet_is_not_answered(damaged: Any, client_as: Any) -> None:
    answer = client_as("reader").get(reverse("reports:sheet", args=[damaged.pk]))
    assert answer.status_code == 500
    assert "do not match their digest" in answer.content.decode()


def test_a_draft_is_made_and_stored_nowhere(loop: Any, client_as: Any, words_of: Callable[[bytes], str]) -> None:
    answer = client_as("reader").get(reverse("reports:draft", args=[loop.pk]))
    assert answer["Content-Disposition"] == 'attachment; filename="PT-1101_A_draft.pdf"'
    assert "DRAFT – NOT ISSUED" in words_of(answer.content)
    assert not Sheet.objects.exists()
    letter = client_as("reader").get(reverse("reports:draft", args=[loop.pk]), {"paper": "letter", "view": "1"})
    assert letter["Content-Disposition"].startswith("inline") and letter.content != answer.content


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_other_methods_are_refused(method: str, sheet: Any, client_as: Any) -> None:
    client = client_as("approver")
    for name, key in (("approve", sheet.approval.loop_id), ("draft", sheet.approval.loop_id), ("sheet", sheet.pk)):
        assert getattr(client, method)(reverse(f"reports:{name}", args=[key])).status_code == 405


def test_sheets_and_drafts_take_no_post(sheet: Any, client_as: Any) -> None:
    client = client_as("approver")
    assert client.post(reverse("reports:sheet", args=[sheet.pk])).status_code == 405
    assert client.post(reverse("reports:draft", args=[sheet.approval.loop_id])).status_code == 405


def test_signing_needs_the_token_of_the_form(submitted: Any, people: Any, password: str) -> None:
    from django.test import Client

    client = Client(enforce_csrf_checks=True)
    client.force_login(people["approver"])
    assert client.post(approve_url(submitted), signature(submitted, password)).status_code == 403
    assert not Approval.objects.exists()


def test_the_figures_draw_every_circuit_with_ids_of_their_own(loop: Any, rf: Any) -> None:
    from django.template import Context, Template

    source = (
        "{% load figures %}{% loop_diagram verification %}{% circuit_diagram input result %}{% loop_diagram none %}"
    )
    text = Template(source).render(
        Context(
            {
                "verification": loop.verification,
                "input": loop.verification.inputs[0],
                "result": loop.verification.results[0],
                "none": None,
            }
        )
    )
    identities = re.findall(r'\sid="([^"]+)"', text)
    assert text.count("<svg") == 2
    assert len(identities) == len(set(identities)) == 4
    assert "style=" not in text


def test_an_issued_loop_offers_its_sheet_and_no_draft_of_it(sheet: Any, client_as: Callable[[str], Any]) -> None:
    page = client_as("reader").get(f"/loops/{sheet.approval.loop_id}/").content.decode()
    actions = page.partition('<div class="actions">')[2].partition("</div>")[0]
    assert f'href="/sheets/{sheet.pk}/"' in actions and "Issued sheet (PDF)" in actions
    assert "Draft sheet" not in actions
