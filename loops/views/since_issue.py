"""Everything that differs between an issued revision and the one that is to be signed, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from loops.models import Approval, Verification
from loops.services.contributors import pinned
from loops.views.difference import described, differences
from registry import differences as register
from registry.entries import ENTRIES
from registry.models import Revision
from registry.signs import with_signs
from registry.stored import said

Row = dict[str, str]


@dataclass(frozen=True)
class Part:
    """Differences of one matter: the loop, a record that it is pinned to, its verdicts, its confirmations."""

    title: str
    rows: list[Row]


def since_issue(issued: Approval | None, revision: Revision, verification: Verification | None) -> list[Part]:
    """The differences by matter; the whole content where nothing was issued before."""
    if issued is None:
        content = described(revision.snapshot).items()
        return [Part(_("The loop"), [row(label, "", text) for label, text in content if text])]
    parts = [Part(_("The loop"), differences(issued.revision.snapshot, revision.snapshot))]
    parts += pinned_parts(issued.revision.snapshot, revision.snapshot)
    if verification is not None:
        before, now = issued.verification.results, verification.results
        parts.append(Part(_("Verdicts"), verdict_rows(before, now)))
        parts.append(Part(_("To be confirmed"), confirmation_rows(before, now)))
    return [part for part in parts if part.rows]


def row(label: str, before: str, after: str) -> Row:
    return {"label": label, "before": before, "after": after}


def pinned_parts(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[Part]:
    """What changed in the equipment, certificates and cable types that both are pinned to."""
    keys, new_keys = pinned(before), pinned(now)
    revisions = Revision.objects.in_bulk(keys | new_keys)
    old = {(item.kind, item.record_id): item for key, item in revisions.items() if key in keys}
    parts = []
    for key in sorted(new_keys):
        item = revisions[key]
        earlier = old.get((item.kind, item.record_id))
        if earlier is None or earlier.pk == item.pk:
            continue
        found = register.changes(ENTRIES[item.kind], earlier.snapshot, item.snapshot)
        rows = [
            row(f"{change.place}, {change.label}" if change.place else change.label, change.before, change.after)
            for change in found
        ]
        parts.append(
            Part(
                (
                    _("%(label)s: revision %(number)s to %(number2)s")
                    % {"label": item.label, "number": earlier.number, "number2": item.number}
                ),
                rows,
            )
        )
    return parts


def verdict_rows(before: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> list[Row]:
    """Checks whose verdict or figures changed, came or went."""
    old, new = checks_in_words(before), checks_in_words(now)
    return [
        row(label, old.get(label, ""), new.get(label, ""))
        for label in dict.fromkeys([*new, *old])
        if old.get(label, "") != new.get(label, "")
    ]


def checks_in_words(results: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Each check by its circuit, name and subject: "pass: 25.2 V <= 30 V"."""
    found: dict[str, str] = {}
    for number, result in enumerate(results, 1):
        circuit = (_("Circuit %(number)s: ") % {"number": number}) if len(results) > 1 else ""
        for check in result["checks"]:
            name = check["id"].replace("_", " ").capitalize()
            label = f"{circuit}{name}, {check['subject']}" if check["subject"] else f"{circuit}{name}"
            figures = " ".join(str(check[key]) for key in ("value", "relation", "limit") if check.get(key))
            word = check["verdict"].replace("_", " ")
            found[label] = with_signs(f"{word}: {figures}" if figures else word)
        found[f"{circuit}Function"] = (result.get("function") or {}).get("verdict", "").replace("_", " ")
    return found


def confirmation_rows(before: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> list[Row]:
    """Confirmations that came or went."""
    old = {text for result in before for text in result.get("confirmations", [])}
    new = {text for result in now for text in result.get("confirmations", [])}
    return [row(_("No longer asked"), with_signs(said(text)), "") for text in sorted(old - new)] + [
        row(_("Newly asked"), "", with_signs(said(text))) for text in sorted(new - old)
    ]
