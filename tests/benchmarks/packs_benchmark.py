"""How many sheets a second a pack is made of: issued ones, bound in as they are, and drafts, which are rendered.

    .venv/bin/python -m tests.benchmarks.packs_benchmark [COUNT]

Makes COUNT issued loops (default 200) and a tenth as many drafts in a database of its own in memory, packs each, and
reports sheets a second beside the bare merging of the same PDFs.
"""

from __future__ import annotations

import io
import os
import sys
import time


def main(count: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")
    os.environ.setdefault("UNLIT_MODE", "local")
    os.environ.setdefault("DATABASE_URL", "sqlite:////tmp/unused.sqlite3")
    import django

    django.setup()
    from django.test.utils import setup_databases

    setup_databases(verbosity=0, interactive=False, serialize=False)
    from django.core.management import call_command

    call_command("demo", "--size", "small", verbosity=0)
    run(count)


def run(count: int) -> None:
    import pikepdf
    from django.utils import timezone

    from loops.models import Loop
    from registry.models import User, Work
    from registry.services.works import Progress
    from reports.models import Sheet
    from reports.packs import build
    from reports.packs.binding import page_count
    from reports.packs.parts import Part
    from reports.sheets.build import sheet_content

    person = User.objects.get(username="approver")
    issued = list(Loop.objects.filter(approvals__sheet__isnull=False, state="issued").distinct()[:12])
    sheets = [Sheet.objects.filter(approval__loop=loop).latest("pk") for loop in issued]
    many = [sheets[number % len(sheets)] for number in range(count)]

    def parts_of(user, keys, *, drafts, made_at):
        # What parts_of does for each loop, for the same few loops again and again.
        for number, sheet in enumerate(many):
            approval = sheet.approval
            content = sheet_content(approval.loop, approval.revision, approval.verification, approval)
            yield Part(number if number else approval.loop_id, content, bytes(sheet.bytes), sheet.sha256)

    merged = clock()
    whole = pikepdf.new()
    for sheet in many:
        with pikepdf.open(io.BytesIO(bytes(sheet.bytes))) as source:
            whole.pages.extend(source.pages)
    whole.save(io.BytesIO())
    bare = merged()

    def pack(keys, drafts):
        work = Work.objects.create(
            person=person, kind="pack", title="Bench", asked=build.Pack("Bench", tuple(keys), drafts).as_asked()
        )
        end = clock()
        outcome = build.run(work, Progress(work))
        return end(), outcome

    original = build.parts_of
    build.parts_of = parts_of
    bound, outcome = pack([loop.pk for loop in issued], False)
    build.parts_of = original
    pages = page_count(outcome.content)
    drafts = list(
        Loop.objects.filter(approvals=None, archived_at=None).values_list("pk", flat=True)[: max(1, count // 10)]
    )
    rendered, _ = pack(drafts, True)
    print(f"{count} issued sheets, {pages} pages, {len(outcome.content) / 1e6:.1f} MB: {bound:.1f} s")
    print(f"  {count / bound:.1f} sheets/s; bare merging {count / bare:.1f} sheets/s, ratio {bound / bare:.1f}")
    print(f"{len(drafts)} drafts rendered: {rendered:.1f} s, {len(drafts) / rendered:.2f} sheets/s")
    print(f"made at {timezone.now():%Y-%m-%d %H:%M} UTC with {build.PROCESSES} processes at most")


def clock():
    start = time.perf_counter()
    return lambda: time.perf_counter() - start


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
