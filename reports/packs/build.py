"""Making a pack: sheets are rendered beside each other, issued ones are taken as they were stored."""

from __future__ import annotations

import datetime as dt
import multiprocessing
import os
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from registry.context import CAUTION
from registry.models import Site, User, Work
from registry.services.works import Outcome, Progress, WorkRefused
from reports import pdf
from reports.files import plain_name
from reports.lists import PORTRAIT, list_css, table_context
from reports.packs.binding import Bound, bind, headings_of, page_count
from reports.packs.parts import LeftOut, Part, parts_of
from reports.packs.schedules import sections
from reports.services import SheetDamaged, paper_for
from reports.sheets import words
from reports.sheets.build import moment_at

KIND = "pack"
MOST_LOOPS = 2_000
AHEAD = 8
"""How many sheets may wait for each process that renders: what is not rendered yet takes memory."""
PROCESSES = 2


@dataclass(frozen=True)
class Pack:
    """What is asked for: the loops, whether those without an issue are put in as drafts, and a title."""

    title: str
    keys: tuple[int, ...]
    drafts: bool
    lists: bool = True

    @classmethod
    def of(cls, asked: Mapping[str, Any]) -> Pack:
        return cls(asked["title"], tuple(asked["keys"]), bool(asked["drafts"]), bool(asked["lists"]))

    def as_asked(self) -> dict[str, Any]:
        return {"title": self.title, "keys": list(self.keys), "drafts": self.drafts, "lists": self.lists}


def run(work: Work, progress: Progress) -> Outcome:
    """Make the pack that a piece of work asks for. Raises WorkRefused, WorkCancelled, PermissionDenied."""
    pack = Pack.of(work.asked)
    made_at = timezone.now()
    progress.begin(len(pack.keys) + 1)
    with renderers() as pool:
        parts, files, left_out = collect(pack, work.person, made_at, progress, pool)
        if not parts:
            raise WorkRefused(_("None of these loops has an issue in force: ask for drafts too, or choose others."))
        try:
            content = assemble(pack, work.person, made_at, parts, files, left_out, pool)
        except pdf.PdfError as error:
            raise WorkRefused(str(error)) from error
    progress.step()
    progress.tell()
    return Outcome(
        in_words(parts, left_out),
        {"lines": [{"text": f"{row.tag}: {row.why}"} for row in left_out]},
        content,
        f"{plain_name(pack.title, 'pack')}.pdf",
        "application/pdf",
    )


def in_words(parts: Sequence[Part], left_out: Sequence[LeftOut]) -> str:
    issued = sum(part.issued for part in parts)
    said = []
    if issued:
        said.append(ngettext("%(count)s sheet as issued", "%(count)s sheets as issued", issued) % {"count": issued})
    if drafts := len(parts) - issued:
        said.append(ngettext("%(count)s draft", "%(count)s drafts", drafts) % {"count": drafts})
    if left_out:
        said.append(
            ngettext("%(count)s loop left out", "%(count)s loops left out", len(left_out)) % {"count": len(left_out)}
        )
    return f"{', '.join(said)}."


@contextmanager
def renderers() -> Iterator[Executor]:
    """Processes that render: new ones, which share no connection with this one, as many as there are processors."""
    count = min(PROCESSES, len(os.sched_getaffinity(0)))
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def collect(
    pack: Pack, user: User, made_at: dt.datetime, progress: Progress, pool: Executor
) -> tuple[list[Part], list[bytes], list[LeftOut]]:
    """The parts with the bytes of their sheets, and what is left out."""
    parts: list[Part] = []
    files: list[bytes | Future[bytes]] = []
    left_out: list[LeftOut] = []
    waiting: list[Future[bytes]] = []
    try:
        for found in parts_of(user, pack.keys, drafts=pack.drafts, made_at=made_at):
            if isinstance(found, LeftOut):
                left_out.append(found)
            else:
                parts.append(found)
                files.append(found.data)
                if found.document is not None:
                    files[-1] = future = pool.submit(pdf.render, found.document)
                    waiting.append(future)
                    if len(waiting) > AHEAD * PROCESSES:
                        waiting.pop(0).result()
            progress.step()
        return parts, [row if isinstance(row, bytes) else awaited(row, progress) for row in files], left_out
    except (SheetDamaged, pdf.PdfError) as error:
        raise WorkRefused(str(error)) from error


def awaited(future: Future[bytes], progress: Progress) -> bytes:
    """A sheet that is being rendered; whether the person still wants it is asked meanwhile."""
    progress.step(0)
    return future.result()


def assemble(
    pack: Pack,
    user: User,
    made_at: dt.datetime,
    parts: Sequence[Part],
    files: Sequence[bytes],
    left_out: Sequence[LeftOut],
    pool: Executor,
) -> bytes:
    """Cover and contents, the sheets, the lists: one PDF in which every page has its number."""
    site = Site.objects.get(loops__pk=parts[0].loop_id)
    common = {
        "title": pack.title,
        "sites": list(dict.fromkeys(part.content.site for part in parts)),
        "person": str(user),
        "made": moment_at(made_at, site),
        "caution": CAUTION,
        "language": get_language() or "en",
    }
    papers = {paper_for(part.content) for part in parts}
    paper = papers.pop() if len(papers) == 1 else pdf.PageSize.A4

    def rendered(template: str, context: dict[str, Any]) -> bytes:
        html = render_to_string(template, common | context)
        return pool.submit(pdf.render, pdf.Document(html, list_css(), made_at, {}, paper)).result()

    def front_of(starts: Mapping[int, int], listed: Sequence[tuple[str, int]]) -> bytes:
        return rendered(
            "reports/print/pack_front.html", contents(parts, starts) | {"left_out": left_out, "listed": listed}
        )

    def back_of(starts: Mapping[int, int]) -> bytes:
        tables = [{"heading": heading, **table_context(found, PORTRAIT)} for heading, found in sections(parts, starts)]
        return rendered("reports/print/pack_back.html", {"sections": tables})

    counts = [page_count(data) for data in files]
    front_pages = page_count(front_of({}, []))
    while True:
        starts, page = {}, front_pages + 1
        for part, count in zip(parts, counts, strict=True):
            starts[part.loop_id] = page
            page += count
        back = back_of(starts) if pack.lists else b""
        front = front_of(starts, [(heading, page + place) for heading, place in headings_of(back)] if back else [])
        if page_count(front) == front_pages:
            break
        front_pages = page_count(front)
    bound = [Bound(_("Contents"), front)]
    bound += [
        Bound(f"{part.content.tag} {part.content.service}", data) for part, data in zip(parts, files, strict=True)
    ]
    if back:
        bound.append(Bound(_("Lists"), back, keeps_outline=True))
    return bind(bound, pack.title, made_at)


def contents(parts: Sequence[Part], starts: Mapping[int, int]) -> dict[str, Any]:
    """The rows of the contents, and how many sheets have each verdict."""
    by_verdict = Counter(part.content.verdict for part in parts)
    return {
        "rows": [{"part": part, "page": starts.get(part.loop_id, 0)} for part in parts],
        "verdicts": [(words.VERDICTS[name], count) for name, count in by_verdict.items()],
    }
