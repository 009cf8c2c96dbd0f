"""Which documents must change when an item gives way to another: named, so that none is forgotten."""

from __future__ import annotations

from django.utils.translation import gettext as _

from loops.models import Member
from loops.services.approvals import in_force
from loops.services.suitability.answers import papers_of
from loops.services.suitability.positions import Candidate, Position
from registry.models import Attachment, EquipmentKind


def documents_to_change(position: Position, candidate: Candidate) -> list[str]:
    """The papers of a loop that name the item or rest on it, each in a sentence."""
    loop = position.loop
    found = []
    issue = in_force(loop)
    if issue is not None:
        sheet = getattr(issue, "sheet", None)
        found.append(
            _("Loop sheet %(number)s, revision %(letter)s: the draft is the next revision, once approved.")
            % {"number": sheet.number if sheet else loop.tag, "letter": issue.letter}
        )
    else:
        found.append(_("No sheet of this loop is in force: the draft is issued for the first time."))
    if loop.drawing:
        found.append(_("Loop drawing %s: type and certificate of the item.") % loop.drawing)
    found.append(
        _("Label and instrument list: %(tag)s becomes %(name)s.") % {"tag": position.tag, "name": candidate.name}
    )
    names = [row["name"] for row in position.standing.sets], [row["name"] for row in candidate.sets]
    if names[0] != names[1]:
        runs = [run["tag"] for number in position.circuits for run in position.content["circuits"][number]["cables"]]
        found.append(
            _("Cable schedule and wiring diagram: terminals %(new)s in place of %(old)s%(runs)s.")
            % {
                "new": " / ".join(names[1]),
                "old": " / ".join(names[0]),
                "runs": _(", cables %s") % ", ".join(runs) if runs else "",
            }
        )
    if any(place.role == Member.Role.SOURCE for place in position.places):
        found.append(_("Cabinet layout: width, supply and output side of the new source."))
    papers = papers_of(candidate)
    kept = set(
        Attachment.objects.filter(kind="certificate", record_id__in=[paper["id"] or 0 for paper in papers]).values_list(
            "record_id", flat=True
        )
    )
    for paper in papers:
        words = _("Certificate %(number)s issue %(issue)s: into the file of the site.")
        if paper["id"] not in kept:
            words = _("Certificate %(number)s issue %(issue)s: its document is not kept here yet, file it.")
        found.append(words % {"number": paper["number"], "issue": paper["issue"]})
    if candidate.item["kind"] == EquipmentKind.SIMPLE_APPARATUS:
        found.append(_("The written justification of the simple apparatus."))
    found.append(_("Inspection record: initial inspection of the new item before it is put into use."))
    return found
