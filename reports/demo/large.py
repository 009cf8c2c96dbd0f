"""The large plant: thousands of items and tens of thousands of loops, deterministic from a seed.

Items are variants of those of the small plant under further invented makers; loops are of the usual kinds at a second
site. Everything is saved by the ordinary services, a few hundred records in one transaction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from random import Random
from typing import Any

from loops.models import Loop, LoopVerdict
from loops.services import approvals
from loops.services.loops import save_loop
from registry.choices import remembered_choices
from registry.collecting import uncollected
from registry.models import Certificate, Equipment
from registry.services.bulk import Incoming, save_many
from registry.services.changes import recorded
from reports.demo.build import ITEMS, Demo, build_areas, build_site, item_text, know_terminals, loop_text
from reports.demo.certificates import EN_EDITIONS
from reports.demo.places import SECOND_SITE
from reports.demo.plans import LoopPlan, Part, single

ITEM_COUNT = 2_000
LOOP_COUNT = 20_000
BATCH = 500
MAKERS = (
    "Ostrivane",
    "Belquonder",
    "Mirrowask",
    "Yendrofast",
    "Trezzimore",
    "Culvenskade",
    "Pharrowindt",
    "Ulmquester",
)
SUBMITTED = 40
"""One of so many loops is submitted for approval, if it complies."""

Text = dict[str, Any]


# ------------------------------------------------------------------------------------------------------------- items

KINDS = {
    "supply": ("TI-AI1", "TI-AI2-H", "TR-AI8"),
    "barrier": ("VB28-300",),
    "amplifier": ("TI-DI2",),
    "driver": ("TI-DO1",),
    "output": ("TI-AO1",),
    "converter": ("TI-TC1",),
    "transmitter": ("QP-300", "QP-330", "QF-50", "PV-3"),
    "dust transmitter": ("QP-310-D", "DR-85-D"),
    "head": ("ZH-20",),
    "switch": ("HN-8", "DL-20"),
    "valve": ("HS-12",),
    "positioner": ("HP-700",),
}
"""What each kind of item is a variant of."""
SHARES = {
    "supply": 18,
    "barrier": 8,
    "amplifier": 8,
    "driver": 5,
    "output": 5,
    "converter": 4,
    "transmitter": 22,
    "dust transmitter": 4,
    "head": 8,
    "switch": 9,
    "valve": 5,
    "positioner": 4,
}


@dataclass(frozen=True)
class Variant:
    """An item of the large plant: its kind, its text, and the number of its certificate."""

    kind: str
    text: Text
    certificate: str


def variant(seed: int, number: int) -> Variant:
    """Item `number` of a seed: an item of the small plant with its own maker, type, certificate and small differences.

    What an item is called does not depend on the seed, so that a run with another seed adds nothing twice.
    """
    shape, random = Random(f"item {number}"), Random(f"{seed} item {number}")  # noqa: S311  invented data, no secret
    kinds = tuple(SHARES)
    kind = kinds[number] if number < len(kinds) else shape.choices(kinds, tuple(SHARES.values()))[0]
    name = shape.choice(KINDS[kind])
    model = next(item for item in ITEMS if item["type_name"] == name)
    pair = number // 2
    certificate = f"ZQX {10 + pair % 14} ATEX {5000 + pair} X"
    rows = []
    for row in model["terminals"]:
        changed = row | {"certificate": (certificate, "0")}
        if row["side"] == "device":
            changed |= {
                "ci_f": f"{random.randint(0, 110) / 10:g} nF",
                "li_h": f"{random.choice((0, 0, 2, 5, 8, 10, 12)):g} uH",
            }
        rows.append(changed)
    text = model | {
        "maker": MAKERS[pair % len(MAKERS)],
        "type_name": f"{model['type_name']}/{number:04d}",
        "terminals": rows,
        "notes": "",
    }
    return Variant(kind, text, certificate)


def certificate_text(number: str, holder: str) -> Text:
    """The certificate of a variant."""
    year = 2000 + int(number.split()[1])
    return {
        "scheme": "ATEX",
        "number": number,
        "issue": "0",
        "holder": holder,
        "standards": EN_EDITIONS,
        "issued_on": f"{year}-06-01",
        "status": "current",
        "specific_conditions": "Protect the enclosure from impact where it is used in zone 0.",
    }


# ------------------------------------------------------------------------------------------------------------- loops

USUAL = (
    # kind, share, letters, service, source, device, areas
    ("transmitter", 40, "PT FT VT", "process value", "supply", "transmitter", ("hydrogen", "solvent", "farm")),
    ("barrier", 10, "PT FT", "process value", "barrier", "transmitter", ("hydrogen", "solvent", "farm")),
    ("chain", 12, "TT", "temperature", "supply", "head", ("hydrogen", "solvent")),
    ("switch", 15, "ZS LS", "position or level", "amplifier", "switch", ("hydrogen", "dosing", "solvent", "vapour")),
    ("valve", 8, "XV", "on-off valve", "driver", "valve", ("hydrogen", "dosing", "solvent")),
    ("positioner", 7, "FV PV", "control valve", "output", "positioner", ("hydrogen", "solvent", "farm")),
    ("sensor", 4, "TE", "temperature sensor", "converter", "", ("solvent", "farm")),
    ("dust", 4, "PT LT", "bulk solids", "supply", "dust transmitter", ("dryer",)),
)
CABLES = ("KI-05 1x2x0.5", "KI-07 1x2x0.75", "KI-10 1x2x1.0", "KI-15 1x2x1.5", "KA-15 1x2x1.5 SWA")
TRUNKS = ("KM-12 12x2x0.75", "KM-24 24x2x1.0")
USUAL_M, LONG_M = (20, 560, 130), (800, 1_600)
"""Lengths of the last run in metres: usual ones (shortest, longest, most frequent), and long ones, over Co in IIC."""
LONG, UNMEASURED = 0.05, 0.02
"""Share of the loops with a long run, and of those with a run that nobody has measured yet."""


def loop_plan(seed: int, number: int, items: dict[str, list[Text]]) -> LoopPlan:
    """Loop `number` of a seed, from the items of each kind; its tag does not depend on the seed."""
    shape, random = Random(f"loop {number}"), Random(f"{seed} loop {number}")  # noqa: S311
    name, _, letters, service, source_kind, device_kind, areas = shape.choices(USUAL, [row[1] for row in USUAL])[0]
    tag = f"{shape.choice(letters.split())}-{number + 10_000}"
    area = random.choice(areas)
    source = terminals(random, random.choice(items[source_kind]), "source")
    device = terminals(random, random.choice(items[device_kind]), "device") if device_kind else "Pt100 insert: 1-4"
    length = typed_length(random)
    cable = random.choice(CABLES)
    lengths = (
        ((random.choice(TRUNKS), length), (cable, f"{random.randint(5, 40)} m"))
        if name in {"transmitter", "switch"} and random.random() < 0.4
        else ((cable, length),)
    )
    sensor = None
    if name == "chain":
        side = next(row["name"] for row in find(device, items[device_kind])["terminals"] if row["side"] == "source")
        sensor = (side, "Pt100 insert: 1-4", ("KP-07 RTD 4x0.75", f"{random.randint(2, 15)} m"))
    extra = (
        (Part("inline", f"SP-{number + 10_000}", "VS-2W: 1-2", area),)
        if random.random() < 0.08 and name == "transmitter"
        else ()
    )
    return single(
        tag,
        f"Train {number % 40 + 1}, {service}",
        source,
        device,
        area,
        *lengths,
        extra=extra,
        sensor=sensor,
        load="250 ohm" if name == "barrier" else "0 ohm",
        owner=random.choice(("designer", "designer2")),
    )


def typed_length(random: Random) -> str:
    """The length of a run as typed; empty where it is not measured yet."""
    share = random.random()
    if share < UNMEASURED:
        return ""
    metres = random.randint(*LONG_M) if share < UNMEASURED + LONG else int(random.triangular(*USUAL_M))
    return f"{metres} m"


def find(item: str, rows: list[Text]) -> Text:
    """The item that "type: terminals" belongs to."""
    return next(row for row in rows if row["type_name"] == item.split(":")[0])


def terminals(random: Random, item: Text, side: str) -> str:
    """One set of terminals of an item, as plans name it."""
    names = [row["name"] for row in item["terminals"] if row["side"] == side and "multidrop" not in row["name"]]
    return f"{item['type_name']}: {random.choice(names)}"


# ---------------------------------------------------------------------------------------------------------- building


def batches(rows: Iterator[Any]) -> Iterator[list[Any]]:
    """Rows in lists of at most BATCH."""
    while chunk := list(islice(rows, BATCH)):
        yield chunk


def build_large(
    demo: Demo, seed: int, item_count: int, loop_count: int, progress: Callable[[str], object] = lambda text: None
) -> None:
    """Add items and loops until there are so many; what is there from an earlier run is kept."""
    items = build_variants(demo, seed, item_count)
    progress(f"{Equipment.objects.count()} items")
    site = build_site(demo, SECOND_SITE)
    build_areas(demo, site)
    wanted = loop_count - Loop.objects.exclude(site=site).count()
    standing = set(Loop.objects.filter(site=site).values_list("tag", flat=True))
    plans = (loop_plan(seed, number, items) for number in range(wanted))
    for done, chunk in enumerate(batches(plans), start=1):
        with uncollected(), recorded(), remembered_choices():
            build_batch(demo, [plan for plan in chunk if plan.tag not in standing], site.code)
        demo.kept["loop"] += sum(plan.tag in standing for plan in chunk)
        if done % 4 == 0:
            progress(f"{min(done * BATCH, wanted)} of {wanted} loops")


def build_batch(demo: Demo, plans: list[LoopPlan], site_code: str) -> None:
    """Save some loops; every so many of those that comply are submitted."""
    for number, plan in enumerate(plans):
        loop = save_loop(loop_text(demo, plan, site_code), demo.author(plan.owner))
        demo.added["loop"] += 1
        if number % SUBMITTED == 0 and complies(loop):
            approvals.submit(loop.pk, demo.people[plan.owner], text="Ready for checking.")
            demo.added["submit"] += 1


def complies(loop: Loop) -> bool:
    """Whether the stored verdict lets the loop go to approval."""
    return loop.verification is not None and loop.verification.verdict == LoopVerdict.COMPLIES


def build_variants(demo: Demo, seed: int, item_count: int) -> dict[str, list[Text]]:
    """Items of the large plant with their certificates, by kind."""
    variants = [variant(seed, number) for number in range(item_count - len(ITEMS))]
    known = set(Certificate.objects.values_list("number", "issue"))
    papers = {row.certificate: certificate_text(row.certificate, row.text["maker"]) for row in variants}
    missing = [text for number, text in papers.items() if (number, "0") not in known]
    add_many(demo, "certificate", missing, len(papers))
    demo.certificates |= {
        (number, issue): pk for number, issue, pk in Certificate.objects.values_list("number", "issue", "pk")
    }
    standing = set(Equipment.objects.values_list("maker", "type_name"))
    new = [row.text for row in variants if (row.text["maker"], row.text["type_name"]) not in standing]
    add_many(demo, "equipment", [item_text(demo, text) for text in new], len(variants))
    know_terminals(demo)
    by_kind: dict[str, list[Text]] = {}
    for row in variants:
        by_kind.setdefault(row.kind, []).append(row.text)
    return by_kind


def add_many(demo: Demo, kind: str, texts: list[Text], wanted: int) -> None:
    """Save new records of the register, a batch in one transaction."""
    for chunk in batches(iter(texts)):
        save_many(kind, [Incoming(text) for text in chunk], demo.author("keeper"))
    demo.added[kind] += len(texts)
    demo.kept[kind] += wanted - len(texts)
