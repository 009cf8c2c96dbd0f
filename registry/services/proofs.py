"""Proving that the store still holds what was recorded: the chain of the change log, and the digest of every revision.

A proof yields one item for each thing that it looked at: an empty text where it is whole, else the sentence that says
what is broken. Other apps add theirs to PROOFS when they are ready. A proof reads rows in portions, so that a large
store needs little memory.

Whoever can write to the database can also cut the log at its end together with what it tells of. Only the mark of the
last line, kept elsewhere, shows that (`manage.py verify_store --expect`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from registry.digests import FIRST_MARK, digest, mark_of
from registry.models import Attachment, Change, Deed, Revision
from registry.services.attachments import fault_of

Proof = Callable[[], Iterable[str]]
WHOLE = ""
PORTION = 500


@dataclass
class Findings:
    """What a run of all proofs found: how many things each looked at, and what is broken, in order."""

    checked: dict[str, int] = field(default_factory=dict)
    broken: list[tuple[str, str]] = field(default_factory=list)


def prove(expected: tuple[int, str] | None = None) -> Findings:
    """Run all proofs; `expected` is the number and mark of a line of the log that was written down earlier."""
    findings = Findings()
    for name, proof in PROOFS.items():
        findings.checked[name] = 0
        for sentence in proof():
            findings.checked[name] += 1
            if sentence:
                findings.broken.append((name, sentence))
    if expected and not Change.objects.filter(number=expected[0], mark=expected[1]).exists():
        sentence = f"Line {expected[0]} with the mark that was expected is not there: the log was cut or written anew."
        findings.broken.insert(0, ("change log", sentence))
    return findings


def values_of(row: Change) -> dict[str, Any]:
    return {column.attname: getattr(row, column.attname) for column in Change._meta.concrete_fields}


def prove_chain() -> Iterator[str]:
    """Every line follows the one before it, and carries the mark of its own content."""
    number, mark = 0, FIRST_MARK
    for row in Change.objects.order_by("number").iterator(PORTION):
        if row.number != number + 1:
            yield f"Line {number + 1} is missing: line {row.number} ({row.label}) comes after line {number}."
        elif row.previous_mark != mark:
            yield f"Line {row.number} ({row.label}) does not follow line {number}: one of them was exchanged."
        elif mark_of(values_of(row)) != row.mark:
            yield f"Line {row.number} ({row.label}) was altered: its mark does not fit its content."
        else:
            yield WHOLE
        number, mark = row.number, row.mark


def prove_revisions() -> Iterator[str]:
    """Every revision has the content that its digest and the change log tell of, and none is missing."""
    told = told_revisions()
    last: tuple[str, int, int] = ("", 0, 0)
    rows = Revision.objects.order_by("kind", "record_id", "number")
    for revision in rows.iterator(PORTION):
        key = (revision.kind, revision.record_id, revision.number)
        expected = last[2] + 1 if last[:2] == key[:2] else 1
        last = key
        name = f"Revision {revision.number} of {revision.kind} {revision.record_id} ({revision.label})"
        line = told.pop(key, None)
        if digest(revision.snapshot) != revision.digest:
            yield f"{name} was altered: its digest does not fit its content."
        elif revision.number != expected:
            yield f"{name} follows no revision {revision.number - 1}: that one is missing."
        elif line is None:
            yield f"{name} is not in the change log."
        elif line[1] != revision.digest:
            yield f"{name} is not the one that line {line[0]} of the change log tells of."
        else:
            yield WHOLE
    for (kind, record_id, number), line in told.items():
        yield f"Revision {number} of {kind} {record_id} is missing: line {line[0]} of the change log tells of it."


def told_revisions() -> dict[tuple[str, int, int], tuple[int, str]]:
    """The first line of the log that tells of each revision, and the digest that it names."""
    lines = Change.objects.order_by("number").values_list("kind", "record_id", "detail__revision", "number", "digest")
    found: dict[tuple[str, int, int], tuple[int, str]] = {}
    for kind, record_id, revision, number, content in lines.iterator(PORTION):
        if revision is not None and record_id is not None:
            found.setdefault((kind, record_id, int(revision)), (number, content))
    return found


def prove_files() -> Iterator[str]:
    """The bytes of every attached file are those that were attached, and no row of one is missing or was exchanged."""
    lines = Change.objects.filter(verb=Deed.ATTACH).order_by("number")
    told = {
        (kind, record_id, mark): number
        for kind, record_id, mark, number in lines.values_list("kind", "record_id", "digest", "number")
    }
    seen: set[tuple[str, int | None, str]] = set()
    for row in Attachment.objects.order_by("pk").iterator(PORTION):
        key: tuple[str, int | None, str] = (row.kind, row.record_id, row.sha256)
        seen.add(key)
        fault = fault_of(row) or ("" if key in told else "It is not in the change log.")
        yield f"File {row.name} of {row.kind} {row.record_id}: {fault}" if fault else WHOLE
    for key, number in told.items():
        if key not in seen:
            yield f"A file of {key[0]} {key[1]} is missing: line {number} of the change log tells of it."


PROOFS: dict[str, Proof] = {"change log": prove_chain, "revisions": prove_revisions, "files": prove_files}
"""All proofs, in the order in which they run; a name says in the plural what is looked at."""
