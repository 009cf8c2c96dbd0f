"""Whether something suits, from the shell: the same answers as the pages, as JSON or as a table."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from loops.selectors import visible_loops
from loops.services.suitability.answers import answer
from loops.services.suitability.plain import answer_data, offers_data, position_data, ranked_data
from loops.services.suitability.positions import Candidate, Plant, Position, fits, register_items
from loops.services.suitability.proposals import propose_sources
from loops.services.suitability.ranking import candidates_for, ranked
from loops.services.suitability.substitution import SUBSTITUTION, run_substitution
from loops.views.suits_sources import read_question
from loops.views.suits_substitution import matrix_table
from registry.exchange.csv_xlsx import write_table
from registry.models import Equipment, User, Work
from registry.services.works import Progress, WorkRefused


class Quiet(Progress):
    """Tells the steps to the shell and nobody else."""

    def __init__(self, command: BaseCommand) -> None:
        super().__init__(Work())
        self.command = command

    def tell(self) -> None:
        if self.done and self.done == self.total:
            self.command.stderr.write(f"{self.done} of {self.total}")


class Command(BaseCommand):
    help = (
        "Whether something suits. With a tag: the items of that loop; with --item: the candidates for it, the best "
        "first; with --candidate too: the answer in full. --substitute: all loops that use a type times all "
        "candidates. --device with --area: sources that serve. Nothing is saved."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("tag", nargs="?", help="tag of a loop")
        parser.add_argument("--user", required=True, help="who asks: the answers are those of the person's sites")
        parser.add_argument("--site", help="code of the site, where the tag stands at several")
        parser.add_argument("--item", help="tag of an item of the loop")
        parser.add_argument("--candidate", help="maker and type in the register")
        parser.add_argument("--terminals", help="name of the candidate's set of terminals, where it has several")
        parser.add_argument("--substitute", metavar="TYPE", help="maker and type that is obsolete")
        parser.add_argument("--output", type=Path, help="file for the table of --substitute: .csv or .xlsx")
        parser.add_argument("--device", action="append", default=[], help="set of terminals: Maker Type, 1-2")
        parser.add_argument("--area", default="", help="SITE: name")
        parser.add_argument("--cable-type", default="")
        parser.add_argument("--length", default="", help="for example 300 m; without it as long as possible")
        parser.add_argument("--load", default="", help="for example 250 ohm")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(username=options["user"], is_active=True).first()
        if user is None:
            raise CommandError(f"There is no log-in {options['user']} in use.")
        if options["substitute"]:
            self.substitute(user, options)
        elif options["device"]:
            self.sources(user, options)
        elif options["tag"]:
            self.loop(user, options)
        else:
            raise CommandError("Give a tag, --substitute or --device.")

    def tell(self, data: Any) -> None:
        self.stdout.write(json.dumps(data, ensure_ascii=False, indent=2))

    def loop(self, user: User, options: dict[str, Any]) -> None:
        """One loop, one item of it, one candidate for it."""
        found = visible_loops(user).filter(tag__iexact=options["tag"], archived_at=None)
        if options["site"]:
            found = found.filter(site__code=options["site"])
        if found.count() != 1:
            raise CommandError(
                f"{found.count()} loops of {user} have the tag {options['tag']}: one is wanted (--site)."
            )
        plant = Plant.of(found)
        if not plant.loops:
            raise CommandError("The loop has no verdict yet: save it once.")
        positions = plant.positions(plant.loops[0])
        if not options["item"]:
            self.tell([position_data(position) for position in positions])
            return
        position = next((item for item in positions if item.tag.casefold() == options["item"].casefold()), None)
        if position is None:
            tags = ", ".join(item.tag for item in positions)
            raise CommandError(f"{plant.loops[0]} has no item {options['item']}: it has {tags}.")
        if not options["candidate"]:
            self.tell([ranked_data(item) for item in ranked(plant, position, candidates_for(plant, position))])
            return
        self.tell(answer_data(answer(plant, position, self.candidate(plant, position, options))))

    def candidate(self, plant: Plant, position: Position, options: dict[str, Any]) -> Candidate:
        """The candidate that is named, connected as wished or in the first way that fits."""
        key = item_named(options["candidate"]).pk
        item = register_items(Equipment.objects.filter(pk=key), plant.contents)[key]
        for way in fits(position, item):
            candidate = plant.candidate(key, way)
            if not options["terminals"] or options["terminals"] in [row["name"] for row in candidate.sets]:
                return candidate
        raise CommandError(f"{options['candidate']} has no such terminals that fit in place of {position.tag}.")

    def substitute(self, user: User, options: dict[str, Any]) -> None:
        """The matrix of an obsolete type."""
        item = item_named(options["substitute"])
        work = Work(kind=SUBSTITUTION, title=str(item), person=user, asked={"equipment": item.pk})
        try:
            outcome = run_substitution(work, Quiet(self))
        except WorkRefused as refused:
            raise CommandError(str(refused)) from refused
        output: Path | None = options["output"]
        if output is None:
            self.tell({name: value for name, value in outcome.result.items() if name != "lines"})
            return
        if output.suffix not in (".csv", ".xlsx"):
            raise CommandError("Name the file with .csv or .xlsx at its end.")
        content = matrix_table(outcome.result)
        output.write_bytes(write_table(content, output.suffix.removeprefix("."), "substitution"))
        self.stdout.write(f"{outcome.words} {output}")

    def sources(self, user: User, options: dict[str, Any]) -> None:
        """Sources for devices, area and cable."""
        question = {
            "devices": options["device"],
            "area": options["area"],
            "cable_type": options["cable_type"],
            "length_m": options["length"],
            "load_ohm": options["load"],
        }
        found = read_question(question, user)
        if found.asked is None:
            raise CommandError("; ".join(f"{path}: {' '.join(texts)}" for path, texts in found.errors.items()))
        self.tell(offers_data(propose_sources(found.asked)))


def item_named(name: str) -> Equipment:
    """The item of the register with this maker and type. Raises CommandError."""
    found = [item for item in Equipment.objects.all() if str(item).casefold() == name.strip().casefold()]
    if len(found) != 1:
        raise CommandError(f"There is no item “{name}” in the register: give maker and type.")
    return found[0]
