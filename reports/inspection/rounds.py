"""Blank checklists of many loops as one PDF: few at once, many as long work, for paper takes about a second a loop."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from loops.models import Loop
from loops.selectors import visible_loops
from registry import access
from registry.models import User, Work
from registry.services.works import Outcome, Progress, WorkRefused
from reports.files import file_name
from reports.inspection import services
from reports.inspection.models import Grade, Occasion
from reports.inspection.paper import inspection_pdf, paper_of, shown_record
from reports.pdf import PageSize

MOST_AT_ONCE = 5
MOST_LOOPS = 200
KIND = "round"


def chosen(user: User, keys: Sequence[int]) -> list[Loop]:
    """The loops of a round that a person may see, in the order of their tags."""
    return list(visible_loops(user).filter(pk__in=keys).select_related("site").order_by("site__code", "tag", "pk"))


def read_grade(grade: str, occasion: str) -> tuple[str, str]:
    """Grade and occasion as they are asked for; a detailed, periodic one where that is not understood."""
    if grade in Grade.values and occasion in Occasion.values:
        return grade, occasion
    return (grade if grade in Grade.values else Grade.DETAILED.value), Occasion.PERIODIC.value


def title_of(loops: Sequence[Loop], grade: str) -> str:
    word = str(Grade(grade).label)
    return (
        (_("%(word)s inspection of %(tag)s") % {"word": word, "tag": loops[0].tag})
        if len(loops) == 1
        else (_("%(word)s inspection of %(count)s loops") % {"word": word, "count": len(loops)})
    )


def round_pdf(
    loops: Sequence[Loop],
    grade: str,
    occasion: str,
    paper: PageSize | None = None,
    step: Callable[[], None] = lambda: None,
) -> bytes:
    """The checklists, each beginning on a page of its own; `step` is called after each loop is read."""
    shown = []
    for loop in loops:
        link = f"{settings.SITE_URL.rstrip('/')}{reverse('loop_inspections', args=[loop.pk])}"
        shown.append(shown_record(services.blank_record(loop, grade, occasion), link, loop.site))
        step()
    return inspection_pdf(title_of(loops, grade), shown, timezone.now(), paper or paper_of(loops[0].site))


def run_round(work: Work, progress: Progress) -> Outcome:
    """Make a round as long work. Raises WorkRefused, PermissionDenied."""
    user = User.objects.get(pk=work.person_id)
    access.require(user, "inspection.view")
    loops = chosen(user, work.asked["loops"])
    if not loops:
        raise WorkRefused(_("None of these loops is there any more: choose others."))
    grade, occasion = read_grade(work.asked["grade"], work.asked["occasion"])
    progress.begin(len(loops) + 1)
    data = round_pdf(loops, grade, occasion, step=progress.step)
    progress.step()
    words = ngettext("%(count)d checklist.", "%(count)d checklists.", len(loops)) % {"count": len(loops)}
    return Outcome(
        words, content=data, file_name=file_name("round", f"checklist-{grade}"), media_type="application/pdf"
    )
