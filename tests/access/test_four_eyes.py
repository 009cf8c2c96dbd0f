"""Nobody signs their own work: nine doors, each refused with the sentence that says why, or proved not to be there; and
whatever changes between asking for approval and the signature makes the signature refuse with what changed.

Common practice, no source: who prepares a document does not approve it.
"""

from __future__ import annotations

import base64
import csv
import datetime as dt
import html
import io
import json
import re
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from django.apps import apps
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from loops.models import Approval, CableRun, Loop, LoopState
from loops.services import approvals, confirmations
from loops.services.loops import refresh, save_loop
from loops.services.refusals import WorkflowRefused
from registry.models import Membership, Role
from registry.selectors import record_text
from registry.services.records import Author, latest_revision, save_text
from reports.models import Sheet
from reports.services import issue
from tests.access.table import TABLE
from tests.architecture.addresses import addresses
from tests.architecture.files import PACKAGES, ROOT

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_paper")]


@pytest.fixture(autouse=True)
def many_roles(people: Any, site: Any) -> None:
    """The approver may also design loops and keep the register; so only what they did keeps them from signing."""
    for role in (Role.DESIGNER, Role.KEEPER):
        Membership.objects.create(user=people["approver"], site=site, role=role)
    Membership.objects.create(user=people["designer"], site=site, role=Role.APPROVER)


@pytest.fixture
def refused(client_as: Callable[[str], Any], password: str) -> Callable[..., str]:
    """`refused(loop, by="approver")`: the person posts the signature with the right password; gives what the page says,
    after seeing that nothing was signed."""

    def post(loop: Any, by: str = "approver") -> str:
        version = Loop.objects.get(pk=loop.pk).version
        answer = client_as(by).post(
            reverse("reports:approve", args=[loop.pk]), {"_version": version, "password": password}
        )
        assert answer.status_code in (403, 409)
        assert not Approval.objects.exists() and not Sheet.objects.exists()
        return re.sub(r"\s+", " ", html.unescape(answer.content.decode()))

    return post


def submit(loop: Any, person: Any) -> Loop:
    approvals.submit(loop.pk, person)
    return Loop.objects.get(pk=loop.pk)


# ---------------------------------------------------------------------------------------------------------- nine doors


def test_the_author(loop: Any, people: Any, refused: Callable[..., str]) -> None:
    """Submitted by somebody else, so that only the authorship counts."""
    Membership.objects.create(user=people["planner"], site=loop.site, role=Role.DESIGNER)
    submit(loop, people["planner"])
    assert "You changed it since its last approval: somebody else must approve it." in refused(loop, by="designer")


def test_a_co_editor(loop: Any, people: Any, loop_data: Any, refused: Callable[..., str]) -> None:
    save_loop(loop_data(length="301 m"), Author(people["approver"], reason="As tested"), loop_id=loop.pk)
    save_loop(loop_data(length="302 m"), Author(people["designer"], reason="As tested"), loop_id=loop.pk)
    submit(loop, people["designer"])
    assert "You changed it since its last approval: somebody else must approve it." in refused(loop)


def test_the_submitter(loop: Any, people: Any, refused: Callable[..., str]) -> None:
    submit(loop, people["approver"])
    assert "You submitted it since its last approval: somebody else must approve it." in refused(loop)


@pytest.mark.parametrize("kind", ["source", "device", "cable_type", "certificate", "area"])
def test_who_changed_what_it_rests_on(
    kind: str, request: pytest.FixtureRequest, loop: Any, people: Any, refused: Callable[..., str]
) -> None:
    record = request.getfixturevalue(kind)
    change(record, people["approver"])
    refresh(loop.pk, Author(people["designer"], reason="As tested"))
    submit(loop, people["designer"])
    assert f"You changed {record.label()}, which it rests on, since its last approval" in refused(loop)


def test_who_changed_the_values_of_its_site(loop: Any, people: Any, refused: Callable[..., str]) -> None:
    change_site(loop.site, people, safe_voltage_max_v="230 V")
    refresh(loop.pk, Author(people["designer"], reason="As tested"))
    submit(loop, people["designer"])
    assert "You changed NORTH – North works, which it rests on, since its last approval" in refused(loop)


def test_who_changed_what_no_proof_rests_on_of_its_site_signs(loop: Any, people: Any, password: str) -> None:
    change_site(loop.site, people, live_pages="on")
    submit(loop, people["designer"])
    assert sign(loop, people, password).number == "NORTH-PT-1101-A"


def change_site(site: Any, people: Any, **values: str) -> None:
    """The approver, who also administers the site, changes values of it."""
    Membership.objects.get_or_create(user=people["approver"], site=site, role=Role.ADMINISTRATOR)
    text = record_text(type(site).objects.get(pk=site.pk)) | values
    save_text("site", text, Author(type(people["approver"]).objects.get(pk=people["approver"].pk)), record_id=site.pk)


def test_who_confirmed_a_condition_of_it(x_loop: Any, people: Any, refused: Callable[..., str]) -> None:
    for matter in conditions(x_loop):
        confirmations.confirm(x_loop.pk, people["approver"], mark=matter.mark, how="A lock.")
    submit(x_loop, people["designer"])
    assert "You confirmed a matter of it since its last approval: somebody else must approve it." in refused(x_loop)


def test_a_superuser(loop: Any, people: Any, refused: Callable[..., str]) -> None:
    submit(loop, people["designer"])
    assert "An approver of this site may do this." in refused(loop, by="superuser")
    Membership.objects.create(user=people["superuser"], site=loop.site, role=Role.APPROVER)
    Membership.objects.create(user=people["superuser"], site=loop.site, role=Role.DESIGNER)
    approvals.take_back(loop.pk, people["designer"])
    submit(loop, people["superuser"])
    assert "You submitted it since its last approval" in refused(loop, by="superuser")


def test_a_program_with_credentials(loop: Any, people: Any, password: str, loop_data: Any) -> None:
    """No address of the API signs; the page of signing takes no credentials of a program; a state sent is refused."""
    loop = submit(loop, people["designer"])
    names = [address.name for address in addresses() if address.route.startswith("api/")]
    about = {name for name in names if re.search(r"approv|sign|issue|submit|withdraw", name)}
    assert about == {"api_approvals", "api_approval"} and not any(
        TABLE[name].post or TABLE[name].put or TABLE[name].delete for name in about
    )
    credentials = base64.b64encode(f"planner:{password}".encode()).decode()
    Membership.objects.create(user=people["planner"], site=loop.site, role=Role.APPROVER)
    headers = {"Authorization": f"Basic {credentials}"}
    api = Client(headers=headers)
    assert api.get(reverse("api_loop", args=[loop.pk])).status_code == 200
    page = api.post(reverse("reports:approve", args=[loop.pk]), {"_version": loop.version, "password": password})
    assert page.status_code == 302 and page.headers["Location"].startswith(reverse(settings.LOGIN_URL))
    text = loop_data() | {"state": "issued"}
    answer = Client(
        headers={"Authorization": f"Basic {base64.b64encode(f'designer:{password}'.encode()).decode()}"}
    ).put(
        reverse("api_loop", args=[loop.pk]),
        json.dumps(text),
        content_type="application/json",
        headers={"If-Match": f'"{loop.version}"'},
    )
    assert answer.status_code == 400 and "state" in answer.json()["errors"]
    assert (Loop.objects.get(pk=loop.pk).state, Approval.objects.count()) == (LoopState.IN_REVIEW, 0)


def test_many_loops_at_once(loop: Any, client_as: Callable[[str], Any]) -> None:
    """There is no such door: one address signs, it names one loop, and one function alone makes an approval."""
    signing = [address for address in addresses() if re.search(r"approve|sign", address.route)]
    assert [(address.name, sorted(address.samples)) for address in signing] == [("reports:approve", ["pk"])]
    made = [
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        if re.search(r"Approval(\.objects\.(bulk_)?create)?\(|approvals\.(bulk_)?create", path.read_text())
        and "models" not in path.parts
    ]
    assert made == ["loops/services/approvals.py"]
    assert client_as("approver").post(reverse("loop_list"), {"loops": [loop.pk]}).status_code == 405


def test_the_admin_site() -> None:
    """There is no such door."""
    assert not apps.is_installed("django.contrib.admin")
    assert not [address for address in addresses() if "admin" in address.route]
    with pytest.raises(NoReverseMatch):
        reverse("admin:index")


def test_an_import(loop: Any, people: Any, client_as: Callable[[str], Any]) -> None:
    """A table has no column for state or approval, and changes no loop in review."""
    submit(loop, people["designer"])
    table = client_as("designer").get(reverse("loop_export", args=["csv"])).content.decode("utf-8-sig")
    heads, *rows = list(csv.reader(io.StringIO(table)))
    assert not {"state", "approved by", "letter"} & {str(head).casefold() for head in heads}
    lines = [[*heads, "state"], *([*row, "issued"] for row in rows)]
    answer = imported(lines, client_as("approver"))
    assert "state" in answer and "column" in answer.casefold()
    service = heads.index("service")
    answer = imported(
        [heads, *([*row[:service], "Approved", *row[service + 1 :]] for row in rows)], client_as("approver")
    )
    assert "This loop is in review: take it back to draft first" in answer
    assert (Loop.objects.get(pk=loop.pk).state, Approval.objects.count()) == (LoopState.IN_REVIEW, 0)


def imported(lines: Any, client: Any) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(lines)
    upload = SimpleUploadedFile("loops.csv", text.getvalue().encode(), "text/csv")
    answer = client.post(reverse("import"), {"kind": "loop", "file": upload, "save": "1"})
    assert answer.status_code == 400
    return html.unescape(answer.content.decode())


# ----------------------------------------------------------------------------------------- the database refuses as well


@pytest.fixture
def x_loop(device_certificate: Any, save: Any, make_loop: Any) -> Any:
    """A loop whose device has a certificate with a condition of use."""
    text = {"number": "EXB 19 ATEX 0202 X", "specific_conditions": "1. Keep the lid closed."}
    save("certificate", record_text(device_certificate) | text, record_id=device_certificate.pk)
    return make_loop()


def conditions(loop: Any) -> list[Any]:
    return [matter for matter in confirmations.matters(loop) if matter.given is None]


def change(record: Any, person: Any) -> None:
    """Save a record of the register with another word that no proof rests on."""
    column = {"equipment": "notes", "certificate": "holder", "area": "drawing", "cable_type": "description"}[
        record.record_kind
    ]
    text = record_text(record) | {column: f"Seen by {person}"}
    save_text(record.record_kind, text, Author(person, reason="Seen"), record_id=record.pk)


def insert(loop: Any, submitted_by: Any, approved_by: Any) -> Approval:
    """A signature written past all services."""
    from django.utils import timezone

    loop = Loop.objects.get(pk=loop.pk)
    revision = latest_revision(loop)
    return Approval.objects.create(
        loop=loop,
        letter=loop.letter,
        revision=revision,
        verification=loop.verification,
        revision_digest="0" * 64,
        verification_digest="0" * 64,
        approved_at=timezone.now(),
        prepared_name="x",
        printed_name="x",
        meaning="x",
        submitted_by=submitted_by,
        approved_by=approved_by,
    )


def confirmed(loop: Any, people: Any, get: Callable[[str], Any]) -> None:
    for matter in conditions(loop):
        confirmations.confirm(loop.pk, people["approver"], mark=matter.mark, how="A lock.")


def submitted_earlier(loop: Any, people: Any, get: Callable[[str], Any]) -> None:
    submit(loop, people["approver"])
    approvals.take_back(loop.pk, people["designer"])


def changed(name: str) -> Callable[..., None]:
    def deed(loop: Any, people: Any, get: Callable[[str], Any]) -> None:
        change(get(name), people["approver"])
        refresh(loop.pk, Author(people["designer"], reason="As tested"))

    return deed


DEEDS = {
    "confirmed a condition": confirmed,
    "submitted it earlier": submitted_earlier,
    **{f"changed the {name}": changed(name) for name in ("source", "device", "cable_type", "certificate", "area")},
}


@pytest.mark.parametrize("deed", DEEDS)
def test_the_database_refuses_who_had_a_hand_in_the_loop(
    deed: str, x_loop: Any, people: Any, request: pytest.FixtureRequest
) -> None:
    """And takes the same signature of somebody who had none: else the refusal would prove nothing."""
    DEEDS[deed](x_loop, people, request.getfixturevalue)
    with pytest.raises(IntegrityError, match="had a hand in this loop"), transaction.atomic():
        insert(x_loop, people["designer"], people["approver"])
    assert insert(x_loop, people["designer"], people["reader"]).pk


@pytest.mark.parametrize("deed", DEEDS)
def test_the_database_takes_who_had_a_hand_before_the_last_approval(
    deed: str, x_loop: Any, people: Any, request: pytest.FixtureRequest, loop_data: Any
) -> None:
    DEEDS[deed](x_loop, people, request.getfixturevalue)
    insert(x_loop, people["designer"], people["reader"])
    text = record_text(Loop.objects.get(pk=x_loop.pk)) | {"notes": "Mended"}
    Loop.objects.filter(pk=x_loop.pk).update(state=LoopState.ISSUED)
    save_loop(text, Author(people["designer"], reason="As tested"), loop_id=x_loop.pk)
    assert insert(x_loop, people["designer"], people["approver"]).letter == "B"


# ------------------------------------------------------------------------------ what changed after asking for approval


def sign(loop: Any, people: Any, password: str) -> Any:
    return issue(loop.pk, people["approver"], password, None)


@pytest.mark.parametrize("kind", ["source", "device", "cable_type"])
def test_a_change_of_what_it_rests_on_is_named(
    kind: str, request: pytest.FixtureRequest, loop: Any, people: Any, password: str
) -> None:
    record = request.getfixturevalue(kind)
    submit(loop, people["designer"])
    change(record, people["keeper"])
    with pytest.raises(WorkflowRefused, match=f"Changed in the register since .* {re.escape(str(record))}"):
        sign(loop, people, password)


def test_a_change_of_the_area_is_named(loop: Any, area: Any, people: Any, password: str) -> None:
    submit(loop, people["designer"])
    text = record_text(area) | {"ambient_max_degc": "39 degC", "drawing": "HAC-002"}
    save_text("area", text, Author(people["administrator"], reason="Measured"), record_id=area.pk)
    with pytest.raises(WorkflowRefused) as refusal:
        sign(loop, people, password)
    assert str(refusal.value) == (
        "Changed since the loop was judged: area Reactor bay (Zone 1, IIC, T4): Ta max 40 degC → 39 degC. "
        "Judge the loop again."
    )


SITE_CHANGES = {
    "safe_voltage_max_v": ("253 V", "250 V → 253 V"),
    "safe_ambient_max_degc": ("45 degC", "40 degC → 45 degC"),
    "schemes": ("IECEx, ATEX, NQ", "ATEX, IECEx → IECEx, ATEX, NQ"),
    "basis": ("NEC", "IEC 60079-11 / -14 / -25 → NEC 504, ISA-RP12.06.01"),
}


@pytest.mark.parametrize("name", SITE_CHANGES)
def test_a_change_of_the_site_is_named(name: str, loop: Any, people: Any, password: str) -> None:
    submit(loop, people["designer"])
    value, told = SITE_CHANGES[name]
    text = record_text(type(loop.site).objects.get(pk=loop.site_id)) | {name: value}
    save_text("site", text, Author(people["administrator"], reason="Looked up"), record_id=loop.site_id)
    with pytest.raises(WorkflowRefused) as refusal:
        sign(loop, people, password)
    sentence = str(refusal.value)
    assert sentence.startswith("Changed since the loop was judged: site NORTH – North works: ") and told in sentence
    assert sentence.endswith(". Judge the loop again.")


def test_a_date_that_passed_is_named(loop: Any, device_certificate: Any, people: Any, password: str, save: Any) -> None:
    """The certificate ends, by the calendar alone, between asking for approval and the signature."""
    today = timezone.localdate()
    text = record_text(device_certificate) | {"valid_to": today.isoformat()}
    save("certificate", text, record_id=device_certificate.pk)
    refresh(loop.pk, Author(people["designer"], reason="As tested"))
    submit(loop, people["designer"])
    with (
        mock.patch("loops.services.verification.today_at", lambda _: today + dt.timedelta(days=1)),
        pytest.raises(WorkflowRefused, match=r"A date has passed since .* ended for new supply on .* Judge the loop"),
    ):
        sign(loop, people, password)


def test_a_change_of_the_loop_is_named(loop: Any, people: Any, password: str, loop_data: Any, refused: Any) -> None:
    """In review it cannot be saved; taken back and changed, it is a draft, and who opened it before signs nothing."""
    from registry.services.records import EntryRefused, StaleRecord

    opened = submit(loop, people["designer"]).version
    with pytest.raises(EntryRefused, match="take it back to draft first"):
        save_loop(loop_data(length="301 m"), Author(people["designer"], reason="As tested"), loop_id=loop.pk)
    approvals.take_back(loop.pk, people["designer"])
    save_loop(loop_data(length="301 m"), Author(people["designer"], reason="As tested"), loop_id=loop.pk)
    with pytest.raises(WorkflowRefused, match=r"Only a loop in review can be approved. This one is draft"):
        sign(loop, people, password)
    submit(loop, people["designer"])
    with pytest.raises(StaleRecord, match="changed by somebody else since you opened it"):
        issue(loop.pk, people["approver"], password, opened)


def test_a_row_changed_behind_the_back_of_the_site_is_named(loop: Any, people: Any, password: str) -> None:
    submit(loop, people["designer"])
    CableRun.objects.filter(circuit__loop=loop).update(length_m="30", length_m_text="30 m")
    with pytest.raises(WorkflowRefused, match="The stored rows differ from their revision"):
        sign(loop, people, password)


def test_a_change_of_the_rules_is_named(loop: Any, people: Any, password: str) -> None:
    submit(loop, people["designer"])
    with (
        mock.patch("loops.casefile.RULES_VERSION", "another"),
        pytest.raises(WorkflowRefused, match="The rules were changed since the loop was judged"),
    ):
        sign(loop, people, password)


def test_nothing_changed_is_signed(loop: Any, people: Any, password: str) -> None:
    """Otherwise the refusals above would prove nothing."""
    submit(loop, people["designer"])
    assert sign(loop, people, password).number == "NORTH-PT-1101-A"
    with pytest.raises((WorkflowRefused, PermissionDenied)):
        sign(loop, people, password)
