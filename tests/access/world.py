"""What the addresses are asked for: a record in each state, and a body for each form that would be taken from whoever
may send it."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from registry.selectors import record_text
from registry.views.forms import flatten

NEW_PASSWORD = "Amber-flint-37-harbour"


@dataclass
class World:
    """Keys of the address of each record, and what is sent, made anew for each request."""

    keys: dict[str, dict[str, Any]] = field(default_factory=dict)
    bodies: dict[str, Callable[[Mapping[str, Any]], dict[str, Any]]] = field(default_factory=dict)


def place_of(loop: Any) -> dict[str, Any]:
    """The device of a loop as a place in it, and its own terminals as what may stand there."""
    member = loop.circuits.get().members.get(role="device")
    return {"member_pk": member.pk, "way": str(member.terminals_id)}


def matrix_of(person: Any, loop: Any) -> Any:
    """A matrix of candidates for the device of a loop, as long work leaves it: the device itself, which suits."""
    from registry.models import Work, WorkState

    place = place_of(loop)
    item = loop.circuits.get().members.get(role="device").terminals.equipment
    candidate = {
        "key": item.pk,
        "name": str(item),
        "serves": 1,
        "unsure": 0,
        "family": 2,
        "doubt": "",
        "description": "",
    }
    row = {"loop": loop.pk, "version": loop.version, "site": "NORTH", "tag": loop.tag, "item": loop.tag}
    row |= {"member": place["member_pk"], "state": loop.state, "words": "s", "margins": [10], "ways": [place["way"]]}
    result = {"equipment": item.pk, "name": str(item), "candidates": [candidate], "rows": [row]}
    values = {"kind": "substitution", "title": "In place of SP-100", "state": WorkState.DONE, "result": result}
    return Work.objects.create(person=person, **values)


def kept_study(person: Any, loop: Any) -> Any:
    """A study of a loop."""
    from loops.services.studies import keep

    return keep(loop, person, "With a load", [{"loop.load_ohm": "120 ohm"}])


def impact_of(person: Any, area: Any) -> Any:
    """An answer to what a change of an area would do, as long work leaves it."""
    from registry.models import Work, WorkState

    values = {"kind": "impact", "title": f"{area} changed", "state": WorkState.DONE}
    return Work.objects.create(person=person, result={"rows": [], "judged": 0, "changes": []}, **values)


def webhook_of(person: Any, site: Any) -> Any:
    """A webhook of a site, with a delivery that was not taken."""
    from django.utils import timezone

    from registry.models import Delivery, Webhook

    webhook = Webhook.objects.create(
        name="Maintenance planning", url="https://hooks.example.org/unlit", site=site, sealed_secret="x", made_by=person
    )
    told = {"first": 1, "last": 2, "count": 2, "status": 503, "taken": False, "fault": "It answered 503.", "took_ms": 9}
    Delivery.objects.create(webhook=webhook, at=timezone.now(), **told)
    return webhook


def picture() -> bytes:
    """A picture of one point."""
    from PIL import Image

    output = io.BytesIO()
    Image.new("RGB", (1, 1)).save(output, "PNG")
    return output.getvalue()


def form(text: Mapping[str, Any], **more: str) -> dict[str, str]:
    """Nested text as a form sends it."""
    return {name: value for name, value in flatten(text).items() if value} | more


def api(content: Any, **headers: str) -> dict[str, Any]:
    return {"data": json.dumps(content), "content_type": "application/json", "headers": headers}


def build(get: Callable[[str], Any]) -> World:
    """The records, made through the services, and the bodies; `get` gives what tests/conftest.py makes, by its name."""
    from loops.models import Approval, Loop
    from loops.services import approvals, confirmations, reviews
    from registry.models import Certificate, Membership, NoticeKind, Role, Scheme, Work
    from registry.services import attachments, notices
    from registry.services.records import Author, set_archived
    from registry.services.views import save_view
    from reports.services import issue

    people, password, save, make_loop, loop_data = map(get, ("people", "password", "save", "make_loop", "loop_data"))
    site, area, source, device = map(get, ("site", "area", "source", "device"))
    world = World()
    certificate = Certificate.objects.get(number="EXB 19 ATEX 0202")
    conditions = {"number": "EXB 19 ATEX 0202 X", "specific_conditions": "1. Keep the lid closed.\n2. Shield it."}
    scheme = Scheme.objects.get(name="ATEX")
    register: dict[str, Any] = {
        "certificate": save("certificate", record_text(certificate) | conditions, record_id=certificate.pk),
        "equipment": source,
        "cable_type": None,
        "scheme": save("scheme", record_text(scheme) | {"description": "Europe"}, record_id=scheme.pk),
        "site": site,
        "area": area,
    }
    draft = make_loop(tag="PT-1")
    register["cable_type"] = draft.circuits.get().cables.get().cable_type
    matters = [matter for matter in confirmations.matters(draft) if matter.kind == "condition"]
    given = confirmations.confirm(draft.pk, people["designer"], mark=matters[0].mark, how="A lock.")
    thread = reviews.remark(draft.pk, people["planner"], text="Is the route new?")

    def submitted(tag: str, *reviewers: Any) -> Loop:
        loop = make_loop(tag=tag)
        for matter in confirmations.matters(loop):
            if matter.given is None:
                confirmations.confirm(loop.pk, people["designer"], mark=matter.mark, how="A lock.")
        return approvals.submit(loop.pk, people["designer"], reviewers=[person.pk for person in reviewers])

    review, asked = submitted("PT-2"), submitted("PT-3", people["approver"])
    sheet = issue(submitted("PT-4").pk, people["approver"], password, None)
    issued = Loop.objects.get(pk=sheet.approval.loop_id)
    request = reviews.requests_now(asked).get()
    second = people["second approver"]

    def loop_keys(loop: Loop, **more: int) -> dict[str, Any]:
        return {"pk": loop.pk, "number": 1, "version": loop.version, **more}

    world.keys = {
        "draft": loop_keys(draft, thread_pk=thread.pk, confirmation_pk=given.pk) | place_of(draft),
        "review": loop_keys(review),
        "asked": loop_keys(asked, request_pk=request.pk),
        "issued": loop_keys(issued, approval_pk=Approval.objects.get(loop=issued).pk),
        "sheet": {"pk": sheet.pk, "sha256": sheet.sha256},
        "signed": {"pk": sheet.approval_id},
        "verification": {"pk": draft.verification_id},
        "person": {"pk": people["reader"].pk},
        "asked_area": {"kind": "area", "pk": area.pk},
        "answer": {"pk": impact_of(people["designer"], area).pk, "suffix": "csv"},
        "study": {"pk": draft.pk, "study_pk": kept_study(people["designer"], draft).pk},
        "view": {"pk": save_view(people["designer"], "equipment", site, "Sources", "kind=source").pk},
    }
    for kind, record in register.items():
        world.keys[kind] = {"pk": record.pk, "version": record.version, "number": 1}
        spare = save(kind, SPARES[kind](site), by={"site": "superuser", "area": "designer"}.get(kind, "keeper"))
        author = Author(people["superuser" if kind in {"site", "scheme"} else "designer"])
        archived = set_archived(spare, True, author)
        if kind == "site":
            for role in Role:
                Membership.objects.create(user=people[role.value], site=spare, role=role)
        world.keys[f"archived_{kind}"] = {"pk": archived.pk, "version": archived.version}
        changed = record_text(record) | {RENAMED[kind]: "Another name"}
        world.bodies[f"{kind}_change"] = lambda keys, text=changed: form(
            text, _version=str(keys["version"]), _reason="A better name"
        )
        world.bodies[f"{kind}_many"] = lambda keys, place=RENAMED[kind]: {
            "record": keys["pk"],
            "place": place,
            "value": "Another name",
            "reason": "A better name",
        }
        new = SPARES[kind](site) | NEW_KEYS[kind]
        world.bodies[f"{kind}_new"] = lambda _, text=new: form(text)
        world.bodies[f"{kind}_json"] = lambda _, text=new: api(text)
        world.bodies[f"{kind}_bulk"] = lambda _, text=new: api(
            {"records": [text | ({"site": site.code} if "site" in text else {})]}
        )
        world.bodies[f"{kind}_json_change"] = lambda keys, text=changed: api(
            text | {"reason": "A better name"}, **{"If-Match": f'"{keys["version"]}"'}
        )
    attached = attachments.attach("certificate", certificate.pk, people["keeper"], name="a.png", content=picture())
    world.keys["file"] = {"pk": attached.pk, "version": 0}
    line = notices.send([notices.tell(people["reader"], NoticeKind.APPROVED, "PT-4 was approved.", "/loops/")])[0]
    world.keys["notice"] = {"pk": line.pk}
    world.keys["work"] = {"pk": Work.objects.create(person=people["designer"], kind="pack", title="Pack of sheets").pk}
    world.keys["matrix"] = {"pk": matrix_of(people["designer"], draft).pk}
    world.keys["webhook"] = {"pk": webhook_of(people["administrator"], site).pk}
    world.keys |= inspected(people, password, draft)
    line_pk = world.keys["inspection"]["line_pk"]
    text, longer = loop_data(tag="PT-9"), loop_data(tag="PT-1", length="301 m")
    world.bodies |= {
        "loop_many": lambda keys: {"record": keys["pk"], "place": "service", "value": "Level", "reason": "As agreed"},
        "impact": lambda keys: {"temperature_class": "T6"},
        "study": lambda keys: {"_do": "judge", "B.loop.load_ohm": "120 ohm"},
        "kept_study": lambda keys: {"_do": "keep", "name": "With a load", "B.loop.load_ohm": "120 ohm"},
        "obsolete": lambda keys: {"equipment": keys["pk"]},
        "bulk_drafts": lambda keys: {"loop": draft.pk, "reason": "No longer made"},
        "step": lambda keys: {"_version": keys["version"], "text": "As agreed", "reason": "As agreed"},
        "archive": lambda keys: {"_version": keys["version"], "archived": "1", "text": "Gone"},
        "next_issue": lambda keys: form(
            record_text(certificate) | {"issue": "9"},
            _version=str(keys["version"]),
            _reason="Issue 9 arrived",
            _confirmed="1",
        ),
        "reason": lambda keys: {"_version": keys["version"], "_reason": "As agreed"},
        "series": lambda keys: {"lines": "PT-77; 20 m", "_save": "1"},
        "pack": lambda keys: {"title": "Sheets"},
        "reviewers": lambda keys: {"reviewers": second.pk},
        "agreed": lambda keys: {"word": "agreed"},
        "answer": lambda keys: {"kind": "answer", "text": "It is."},
        "condition": lambda keys: {
            "_version": keys["version"],
            "mark": matters[1].mark,
            f"how-{matters[1].mark}": "A guard.",
        },
        "signature": lambda keys: {"_version": keys["version"], "password": password, "shown": keys.get("shown", "")},
        "round": lambda keys: {"loop": draft.pk, "grade": "visual"},
        "begin": lambda keys: {"grade": "visual", "occasion": "periodic"},
        "line": lambda keys: {f"result-{line_pk}": "ok", f"opened-{line_pk}": keys["mark"]},
        "remedied": lambda keys: {"_version": keys["version"], "verb": "done", "text": "Remedied."},
        "loop_new": lambda keys: form(text),
        "loop_change": lambda keys: form(longer, _version=str(keys["version"])),
        "loop_json": lambda keys: api(text),
        "loop_json_change": lambda keys: api(longer, **{"If-Match": f'"{keys["version"]}"'}),
        "question_json": lambda keys: api(
            {"devices": ["Sandpiper Instruments SP-100, +/-"], "area": f"{site.code}: {area.name}", "length_m": "9 m"}
        ),
        "pause": lambda keys: {"_do": "pause"},
        "loop_bulk": lambda keys: api({"records": [text | {"site": site.code}]}),
        "reason_alone_json": lambda keys: api({"reason": "As agreed"}),
        "archive_json": lambda keys: api(
            {"archived": True, "reason": "As agreed"}, **{"If-Match": f'"{keys["version"]}"'}
        ),
        "study_json": lambda keys: api({"name": "With a load", "columns": [{"loop.load_ohm": "120 ohm"}]}),
        "columns_json": lambda keys: api({"columns": [{"loop.load_ohm": "120 ohm"}]}),
        "impact_json": lambda keys: api({"kind": "area", "key": keys["pk"], "values": {"temperature_class": "T6"}}),
        "obsolete_json": lambda keys: api({"equipment": keys["pk"]}),
        "typed_json": lambda keys: api({"maker": "Sandpiper", "type_name": "SP-1", "terminals": [{"name": "+/-"}]}),
        "reason_json": lambda keys: api({"reason": "As agreed"}, **{"If-Match": f'"{keys["version"]}"'}),
        "case": lambda keys: api(review.verification.inputs[0]),
        "upload": lambda keys: {"file": SimpleUploadedFile("b.png", picture() + b"b", "image/png")},
        "table": lambda keys: {
            "kind": "cable_type",
            "file": SimpleUploadedFile("cables.csv", b"name,maker\nPair 9,Larkfield Cables\n", "text/csv"),
        },
        "text": lambda keys: {"text": "Ui = 30 V", "maker": "Sandpiper Instruments"},
        "nameplate": lambda keys: {"file": SimpleUploadedFile("plate.json", plate(device), "application/json")},
        "person_new": lambda keys: {
            "username": "newcomer",
            "is_active": "on",
            "password": NEW_PASSWORD,
            "again": NEW_PASSWORD,
        },
        "person_change": lambda keys: {
            "username": "reader",
            "is_active": "on",
            "full_name": "Another name",
            f"role.{site.pk}.reader": "on",
        },
        "password": lambda keys: {"password": NEW_PASSWORD, "again": NEW_PASSWORD},
        "view_new": lambda keys: {"name": "Sources of 28 V", "site": site.pk, "query": "kind=source"},
        "view_change": lambda keys: {"name": "Sources at hand"},
        "typed_item": lambda keys: {"maker": "Sandpiper Instruments", "type_name": "SP-1", "terminals.0.name": "+/-"},
        "own_password": lambda keys: {
            "old_password": password,
            "new_password1": NEW_PASSWORD,
            "new_password2": NEW_PASSWORD,
        },
    }
    return world


def inspected(people: Any, password: str, loop: Any) -> dict[str, dict[str, Any]]:
    """Inspections of a loop: one under way with a photo, one filled in, one signed with a defect."""
    from reports.inspection import services
    from reports.inspection.models import Defect
    from reports.inspection.services import LineText
    from reports.inspection.signing import mark_of

    def begun() -> Any:
        return services.begin(loop.pk, people["planner"], grade="visual", occasion="periodic")

    def filled(text: LineText) -> Any:
        inspection = begun()
        for line in inspection.lines.all():
            services.save_line(inspection.pk, line.pk, people["planner"], text)
        return inspection

    bad = filled(LineText("defect", "Rust.", "3"))
    services.sign(bad.pk, people["planner"], password, shown=mark_of(services.record_now(bad)))
    inspection = begun()
    line = inspection.lines.first()
    photo = services.add_photo(inspection.pk, line.pk, people["planner"], name="a.png", content=picture() + b"i")
    defect = Defect.objects.first()
    assert defect is not None
    keys = {"pk": inspection.pk, "number": 1, "version": 0, "mark": services.state_of(line).mark}
    good = filled(LineText("ok"))
    return {
        "inspection": keys | {"line_pk": line.pk, "photo_pk": photo.pk},
        "filled": {"pk": good.pk, "version": 0, "shown": mark_of(services.record_now(good))},
        "defect": {"pk": defect.pk, "version": defect.version},
    }


def plate(device: Any) -> bytes:
    """A device as a digital nameplate."""
    from registry.exchange.aas_writing import as_json
    from registry.exchange.nameplate_export import nameplate_environment

    certificate = device.terminals.get().certificate
    return as_json(nameplate_environment(record_text(device), {certificate.pk: record_text(certificate)}))


RENAMED = {
    "certificate": "holder",
    "equipment": "description",
    "cable_type": "maker",
    "scheme": "description",
    "site": "name",
    "area": "drawing",
}
NEW_KEYS = {
    "certificate": {"number": "EXA 22 ATEX 0777"},
    "equipment": {"type_name": "NB-77"},
    "cable_type": {"name": "Pair 7"},
    "scheme": {"name": "NX"},
    "site": {"code": "WEST"},
    "area": {"name": "Boiler house"},
}
SPARES: dict[str, Callable[[Any], dict[str, Any]]] = {
    "certificate": lambda site: {
        "scheme": "ATEX",
        "number": "EXA 20 ATEX 0999",
        "issue": "0",
        "holder": "Northlight Barriers",
        "issued_on": "2020-03-01",
        "status": "current",
    },
    "equipment": lambda site: {
        "kind": "simple_apparatus",
        "maker": "Northlight Barriers",
        "type_name": "NB-0",
        "terminals": [
            {
                "name": "1",
                "side": "device",
                "simple_kind": "passive",
                "justification": "Contacts alone.",
                "ci_f": "0 nF",
                "li_h": "0 mH",
            }
        ],
    },
    "cable_type": lambda site: {"name": "Spare pair", "maker": "Larkfield Cables"},
    "scheme": lambda site: {"name": "NY", "lead_days": "90"},
    "site": lambda site: record_text(site) | {"code": "OLD", "name": "Old works"},
    "area": lambda site: {
        "site": site.code,
        "name": "Old bay",
        "zone": "1",
        "group": "IIC",
        "temperature_class": "T4",
        "ambient_min_degc": "-20 degC",
        "ambient_max_degc": "40 degC",
    },
}
