"""Building the invented plant through the ordinary services, as people would; what is there already is left alone."""

from __future__ import annotations

import datetime as dt
import io
from collections import Counter
from collections.abc import Mapping
from typing import Any

from PIL import Image, ImageDraw

from loops.models import Loop, LoopState, WorkflowEvent
from loops.services import approvals, confirmations
from loops.services.loops import save_loop
from registry.models import (
    Attachment,
    CableType,
    Certificate,
    Equipment,
    HazardousArea,
    Origin,
    Revision,
    Scheme,
    Site,
    Terminals,
    User,
)
from registry.selectors import record_text
from registry.services.attachments import attach
from registry.services.records import Author, save_text
from reports.demo.cables import CABLES
from reports.demo.certificates import MET, certificates, years_from
from reports.demo.devices import DEVICES
from reports.demo.inspections import build_inspections
from reports.demo.loops import ORDINARY
from reports.demo.mistakes import MISTAKES
from reports.demo.people import build_memberships, build_people
from reports.demo.places import AREAS, SCHEME, SITE
from reports.demo.plans import CircuitPlan, LoopPlan, Part
from reports.demo.sources import SOURCES
from reports.services import issue

ITEMS = SOURCES + DEVICES
LOOPS = ORDINARY + MISTAKES
CHANGED_ITEM = "PV-3"
REASON = "Demo data"


class Demo:
    """One run of the demo: who acts, what the register holds by the names that the plans use, and what was added."""

    def __init__(self, password: str, today: dt.date) -> None:
        self.password = password
        self.today = today
        self.people: dict[str, User] = {}
        self.added_people: set[str] = set()
        self.added: Counter[str] = Counter()
        self.kept: Counter[str] = Counter()
        self.certificates: dict[tuple[str, str], int] = {}
        self.terminals: dict[str, int] = {}
        self.areas: dict[str, int] = {}

    def author(self, username: str, reason: str = REASON) -> Author:
        """The person of that log-in, through the demo's door."""
        return Author(self.people[username], Origin.DEMO, reason)

    def once(self, kind: str, data: Mapping[str, Any], username: str, standing: int | None) -> int:
        """Save a record of the register unless it is there; returns its key."""
        if standing is not None:
            self.kept[kind] += 1
            return standing
        self.added[kind] += 1
        return save_text(kind, data, self.author(username)).pk


def build_register(demo: Demo) -> None:
    """People, certificates, items and cable types."""
    demo.people, demo.added_people = build_people(demo.password)
    demo.added["user"] += len(demo.added_people)
    demo.kept["user"] += len(demo.people) - len(demo.added_people)
    scheme = Scheme.objects.filter(name=SCHEME["name"]).values_list("pk", flat=True).first()
    demo.once("scheme", SCHEME, "admin", scheme)
    site = build_site(demo, SITE)
    build_areas(demo, site)
    found = {(number, issue): pk for number, issue, pk in Certificate.objects.values_list("number", "issue", "pk")}
    for text in certificates(demo.today):
        key = (text["number"], text["issue"])
        demo.certificates[key] = demo.once("certificate", text, "keeper", found.get(key))
    cable_types = dict(CableType.objects.values_list("name", "pk"))
    for text in CABLES:
        demo.once("cable_type", text, "keeper", cable_types.get(text["name"]))
    build_items(demo, ITEMS)


def build_site(demo: Demo, text: Mapping[str, str]) -> Site:
    """A site with everybody's role there."""
    standing = Site.objects.filter(code=text["code"]).values_list("pk", flat=True).first()
    site = Site.objects.get(pk=demo.once("site", text, "admin", standing))
    build_memberships(demo.people, site)
    return site


def build_areas(demo: Demo, site: Site) -> None:
    """The areas of a site; the plans name them by their short key."""
    standing = dict(HazardousArea.objects.filter(site=site).values_list("name", "pk"))
    for text in AREAS:
        data = {name: value for name, value in text.items() if name != "key"} | {"site": site.code}
        demo.areas[text["key"]] = demo.once("area", data, "administrator", standing.get(text["name"]))


def build_items(demo: Demo, items: tuple[dict[str, Any], ...]) -> None:
    """Items of the register with their terminals."""
    standing = {(maker, name): pk for maker, name, pk in Equipment.objects.values_list("maker", "type_name", "pk")}
    for item in items:
        demo.once("equipment", item_text(demo, item), "keeper", standing.get((item["maker"], item["type_name"])))
    know_terminals(demo)


def item_text(demo: Demo, item: dict[str, Any]) -> dict[str, Any]:
    """An item as typed, with the keys of its certificates."""
    terminals = [
        row | {"certificate": demo.certificates[row["certificate"]] if row["certificate"] else ""}
        for row in item["terminals"]
    ]
    return item | {"terminals": terminals}


def know_terminals(demo: Demo) -> None:
    """The keys of all terminals by "type: terminals", as the plans call them."""
    rows = Terminals.objects.values_list("equipment__type_name", "name", "pk")
    demo.terminals = {f"{type_name}: {name}": pk for type_name, name, pk in rows}


# ------------------------------------------------------------------------------------------------------------- loops


def member_text(demo: Demo, part: Part) -> dict[str, Any]:
    """A member of a circuit as typed."""
    return {
        "role": part.role,
        "tag": part.tag,
        "terminals": demo.terminals[part.item],
        "area": demo.areas[part.area] if part.area else "",
        "made_on": "" if part.made_years_ago is None else years_from(demo.today, -part.made_years_ago),
    }


def circuit_text(demo: Demo, plan: CircuitPlan, tag: str, first_run: int) -> dict[str, Any]:
    """A circuit as typed; runs are numbered through the loop."""
    return {
        "name": plan.name,
        "interconnection": plan.interconnection,
        "fisco": plan.fisco,
        "two_wise": plan.two_wise,
        "no_cable": not plan.runs,
        "terminators": [
            {"tag": place, "resistance_ohm": "100 ohm", "capacitance_f": value} for place, value in plan.terminators
        ],
        "members": [member_text(demo, part) for part in plan.parts],
        "cables": [
            {
                "tag": f"{tag}-W{first_run + index}",
                "from_point": run.start,
                "to_point": run.end,
                "cable_type": run.cable,
                "length_m": run.length,
                "separation": run.separation,
                "role": run.role,
            }
            for index, run in enumerate(plan.runs)
        ],
    }


def loop_text(demo: Demo, plan: LoopPlan, site_code: str) -> dict[str, Any]:
    """A loop as typed."""
    circuits, count = [], 1
    for circuit in plan.circuits:
        circuits.append(circuit_text(demo, circuit, plan.tag, count))
        count += len(circuit.runs)
    return {
        "site": site_code,
        "tag": plan.tag,
        "service": plan.service,
        "drawing": plan.drawing or f"LD-{plan.tag.split('-')[1]}",
        "load_ohm": plan.load,
        "safe_voltage_max_v": plan.safe_voltage,
        "notes": plan.notes,
        "circuits": circuits,
    }


def build_loops(demo: Demo, plans: tuple[LoopPlan, ...]) -> None:
    """Save the loops of the plant and take each through its story."""
    standing = dict(Loop.objects.filter(site__code=SITE["code"]).values_list("tag", "pk"))
    for plan in plans:
        loop_id = standing.get(plan.tag)
        if loop_id is None:
            loop_id = save_loop(loop_text(demo, plan, SITE["code"]), demo.author(plan.owner)).pk
            demo.added["loop"] += 1
        else:
            demo.kept["loop"] += 1
        tell(demo, plan, loop_id)


def tell(demo: Demo, plan: LoopPlan, loop_id: int) -> None:
    """Take the steps of the story that are not taken yet; a loop that somebody worked on is left alone."""
    wanted = plan.story.steps
    taken = tuple(WorkflowEvent.objects.filter(loop_id=loop_id).order_by("pk").values_list("verb", flat=True))
    strangers = Revision.objects.filter(kind="loop", record_id=loop_id).exclude(origin=Origin.DEMO)
    if len(taken) >= len(wanted) or taken != wanted[: len(taken)] or strangers.exists():
        return
    for verb in wanted[len(taken) :]:
        take(demo, plan, verb, Loop.objects.get(pk=loop_id))
        demo.added[verb] += 1


def take(demo: Demo, plan: LoopPlan, verb: str, loop: Loop) -> None:
    """One step of a story, by the person whose step it is."""
    approver = demo.people["approver"]
    if verb == "submit":
        approvals.submit(loop.pk, demo.people[plan.owner], text="Ready for checking.", opened_version=loop.version)
        confirm_conditions(demo, plan, loop)
    elif verb == "return":
        approvals.return_loop(loop.pk, approver, text=plan.word, opened_version=loop.version)
    elif verb == "approve":
        issue(loop.pk, approver, demo.password, loop.version, "Checked against the certificates.")
    elif verb == "reopen":
        text = record_text(loop)
        text["circuits"][0]["cables"][0]["length_m"] = "310 m"
        text["notes"] = plan.word
        save_loop(text, demo.author(plan.owner, plan.word), loop_id=loop.pk, opened_version=loop.version)


def confirm_conditions(demo: Demo, plan: LoopPlan, loop: Loop) -> None:
    """The owner confirms what is asked: conditions of use in words of the plant."""
    for matter in confirmations.matters(loop):
        if matter.given is None:
            how = MET.get(matter.text, "As the installation record of this loop shows.")
            confirmations.confirm(loop.pk, demo.people[plan.owner], mark=matter.mark, how=how)


def attach_nameplate(demo: Demo) -> None:
    """A drawn nameplate as the file of one item."""
    item = Equipment.objects.get(maker="Plimsond", type_name=CHANGED_ITEM)
    if Attachment.objects.filter(kind="equipment", record_id=item.pk).exists():
        return
    plate, data = Image.new("RGB", (420, 120), "white"), io.BytesIO()
    pen = ImageDraw.Draw(plate)
    pen.rectangle((4, 4, 415, 115), outline="black", width=2)
    pen.multiline_text((20, 24), f"{item.maker}\n{item.type_name}\n{item.marking}", fill="black", spacing=10)
    plate.save(data, "PNG")
    attach("equipment", item.pk, demo.people["keeper"], name="Nameplate.png", content=data.getvalue())
    demo.added["file"] += 1


def change_register(demo: Demo) -> None:
    """After issue, one item is corrected in the register: the sheet that rests on it is then out of date."""
    item = Equipment.objects.get(maker="Plimsond", type_name=CHANGED_ITEM)
    revisions = Revision.objects.filter(kind="equipment", record_id=item.pk)
    if revisions.count() != 1 or not Loop.objects.filter(tag="VT-1111", state=LoopState.ISSUED).exists():
        return
    text = record_text(item)
    text["terminals"][0]["ci_f"] = "12 nF"
    reason = "Supplement to the certificate: Ci with the longer connection cable"
    save_text("equipment", text, demo.author("keeper", reason), record_id=item.pk, opened_version=item.version)
    demo.added["correction"] += 1


def build_small(demo: Demo) -> None:
    """The whole small plant."""
    build_register(demo)
    build_loops(demo, LOOPS)
    change_register(demo)
    attach_nameplate(demo)
    build_inspections(demo)
