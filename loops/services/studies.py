"""What if: a loop with a few things changed, judged beside the loop as it stands. Judging writes nothing.

A change is a text under a key: "m12.terminals" and "m12.area" of a member, "c7.cable_type" and "c7.length_m" of a run,
"loop.load_ohm" and "loop.safe_voltage_max_v", and "rules.basis" and "rules.tables", which are the site's and are
judged but never saved with a loop.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from loops.entries import LoopEntry
from loops.models import Loop, Member, Study
from loops.selectors import record_names
from loops.services.loops import newest, save_loop
from loops.services.preview import draft_snapshot
from loops.services.refusals import WorkflowRefused
from loops.services.suitability.drafts import require_reason
from loops.services.tables import in_force, tables_of
from loops.services.verification import documents, judge_by, summary, today_at
from registry import access
from registry.models import Basis, User
from registry.reading import read_entry
from registry.services.records import Author, EntryRefused

COLUMNS = 3
"""So many columns stand beside the present loop."""
LONGEST = 300
NONE = "-"
"""Typed or chosen where something is to be taken away: a cable type, an area."""
BUILT_IN = "built_in"
CLEARABLE = frozenset({"area", "cable_type", "load_ohm", "safe_voltage_max_v"})
RULES = frozenset({"rules.basis", "rules.tables"})
MOST_KEPT = 200

LABELS = {
    "terminals": gettext_lazy("type and terminals"),
    "area": gettext_lazy("area"),
    "cable_type": gettext_lazy("cable type"),
    "length_m": gettext_lazy("length"),
    "load_ohm": gettext_lazy("load in the loop"),
    "safe_voltage_max_v": gettext_lazy("highest voltage in the safe area"),
    "basis": gettext_lazy("rules"),
    "tables": gettext_lazy("ignition-curve tables"),
}
Changes = Mapping[str, str]


@dataclass(frozen=True)
class Field:
    """One thing that may be changed: its key, name in its row, what it belongs to, and how it stands now."""

    key: str
    name: str
    of: str
    now: str
    side: str = ""

    @property
    def label(self) -> str:
        return f"{self.of}: {LABELS[self.name]}" if self.of else f"{LABELS[self.name]}".capitalize()


@dataclass(frozen=True)
class Change:
    """One change in words; `name` as in LABELS, `gone` where what it changes is no longer in the loop."""

    field: str
    old: str
    new: str
    name: str
    gone: bool = False


@dataclass(frozen=True)
class Column:
    """A loop with some changes, judged; `head` is as loops.services.verification.summary, None where it was not."""

    changes: list[Change]
    head: Mapping[str, Any] | None = None
    results: Sequence[Mapping[str, Any]] = ()
    errors: Mapping[str, list[str]] = field(default_factory=dict)


def fields_of(loop: Loop, data: Mapping[str, Any]) -> list[Field]:
    """What of a loop may be changed in a study, in the order of the wire; `data` as loops.selectors.record_names."""
    found = []
    several = len(data["circuits"]) > 1
    for circuit in data["circuits"]:
        place = f"{circuit['name']}, " if several else ""
        members = sorted(circuit["members"], key=lambda row: row["role"] != Member.Role.SOURCE)
        for row in members:
            side = "source" if row["role"] == Member.Role.SOURCE else "device"
            for name in ("terminals", "area"):
                found.append(Field(f"m{row['id']}.{name}", name, place + row["tag"], row[name], side))
        for row in circuit["cables"]:
            for name in ("cable_type", "length_m"):
                found.append(Field(f"c{row['id']}.{name}", name, place + row["tag"], row[name]))
    found += [Field(f"loop.{name}", name, "", data[name]) for name in ("load_ohm", "safe_voltage_max_v")]
    found.append(Field("rules.basis", "basis", "", loop.site.basis))
    if in_force(loop.site):
        found.append(Field("rules.tables", "tables", "", ""))
    return found


def changed_text(data: Mapping[str, Any], changes: Changes) -> dict[str, Any]:
    """The nested text of a loop with changes laid over it; one for a row that is gone is left out.

    A new item is a new part: nobody knows yet when it was made.
    """
    text: dict[str, Any] = copy.deepcopy(dict(data))
    rows: dict[str, dict[str, Any]] = {"loop": text}
    for circuit in text["circuits"]:
        rows |= {f"m{row['id']}": row for row in circuit["members"]}
        rows |= {f"c{row['id']}": row for row in circuit["cables"]}
    for key, value in changes.items():
        of, _dot, name = key.partition(".")
        if key in RULES or of not in rows or name not in LABELS:
            continue
        rows[of][name] = "" if value == NONE and name in CLEARABLE else value
        if name == "terminals":
            rows[of]["made_on"] = ""
    return text


def in_words(fields: Sequence[Field], changes: Changes) -> list[Change]:
    """Every change as a row: what, from what, to what."""
    known = {one.key: one for one in fields}
    found = []
    for key, value in changes.items():
        one = known.get(key)
        if one is None:
            name = key.rpartition(".")[2]
            found.append(Change(str(LABELS.get(name, name)), "", value, name, gone=True))
        else:
            found.append(Change(one.label, worded(one.name, one.now), worded(one.name, value), one.name))
    return found


def worded(name: str, value: str) -> str:
    """A value as a sentence names it."""
    if name == "basis":
        return str(dict(Basis.choices).get(value, value))
    if name == "tables":
        return _("built in") if value == BUILT_IN else _("of the site")
    if value in ("", NONE):
        nothing = {"area": _("safe area"), "cable_type": _("unknown: default values")}
        return nothing.get(name, _("not given"))
    return value


def judge_column(loop: Loop, data: Mapping[str, Any], fields: Sequence[Field], changes: Changes) -> Column:
    """Judge a loop with changes as saving it would, with the register as it stands. Nothing is written."""
    told = in_words(fields, changes)
    cleaned, errors = read_entry(LoopEntry, changed_text(data, changes))
    site = copy.copy(loop.site)
    faults = {key_of(data, path): messages for path, messages in errors.items()}
    basis = changes.get("rules.basis", site.basis)
    if basis not in Basis.values:
        faults["rules.basis"] = [_("Choose one of the rules that are offered.")]
    if faults:
        return Column(told, errors=faults)
    site.basis = basis
    inputs = documents(draft_snapshot(cleaned), site, today_at(site))
    tables = None if changes.get("rules.tables") == BUILT_IN else tables_of(loop.site)
    results = judge_by(inputs, tables)
    return Column(told, summary(results), results)


def key_of(data: Mapping[str, Any], path: str) -> str:
    """The key of what a fault is about; its path where a study cannot change it."""
    parts = path.split(".")
    if len(parts) == 5 and parts[0] == "circuits" and parts[2] in ("members", "cables"):
        row = data["circuits"][int(parts[1])][parts[2]][int(parts[3])]
        return f"{parts[2][0]}{row['id']}.{parts[4]}"
    return f"loop.{path}" if len(parts) == 1 else path


def judge_all(loop: Loop, columns: Sequence[Changes]) -> list[Column]:
    """The present loop and each column, judged with the register as it stands now; one without a change is as it is."""
    data = record_names(loop)
    fields = fields_of(loop, data)
    present = judge_column(loop, data, fields, {})
    return [present, *(judge_column(loop, data, fields, changes) if changes else present for changes in columns)]


def head_of(column: Column) -> dict[str, str]:
    """What is kept of a judgement, to say later what changed since."""
    if column.head is None:
        return {"verdict": "", "function_verdict": "", "limiting": ""}
    return {
        "verdict": str(column.head["verdict"].value),
        "function_verdict": column.head["function_verdict"],
        "limiting": column.head["limiting"],
    }


def cleaned_columns(columns: Sequence[Changes]) -> list[dict[str, str]]:
    """Columns as they are kept: text alone, none of it endless; those behind the last change are left out."""
    kept = [
        {str(key)[:60]: str(value)[:LONGEST] for key, value in changes.items() if str(value)}
        for changes in columns[:COLUMNS]
    ]
    while kept and not kept[-1]:
        kept.pop()
    return kept


def keep(loop: Loop, author: User, name: str, columns: Sequence[Changes], study: Study | None = None) -> Study:
    """Keep columns under a name: in a study of one's own, else in a new one.

    Raises EntryRefused without a name or a change, PermissionDenied; then nothing is kept.
    """
    access.require(author, "loop.remark", loop.site)
    name = " ".join(name.split())[:120]
    kept = cleaned_columns(columns)
    if not name:
        raise EntryRefused({"name": [_("Give the study a name, for example “Other barrier, 600 m”.")]})
    if not any(kept):
        raise EntryRefused({"name": [_("Change something in at least one column.")]})
    if study is None or study.author_id != author.pk:
        if Study.objects.filter(loop=loop).count() >= MOST_KEPT:
            raise EntryRefused({"name": [_("This loop has %d studies: delete one first.") % MOST_KEPT]})
        study = Study(loop=loop, author=author)
    study.name, study.columns, study.started_from = name, kept, newest(loop)
    study.heads = [head_of(column) for column in judge_all(loop, kept)]
    study.save()
    return study


def delete(study: Study, user: User) -> None:
    """Delete a study of one's own. Raises WorkflowRefused for one of somebody else."""
    if study.author_id != user.pk:
        raise WorkflowRefused(_("Only whoever kept a study may delete it."))
    study.delete()


def turn_into_draft(loop: Loop, changes: Changes, author: Author, *, opened_version: int | None) -> Loop:
    """Save a column as the loop: a draft, whatever was issued stays in force until it is approved.

    Raises what save_loop raises, EntryRefused without a reason, WorkflowRefused where a change is none of the loop.
    """
    access.require(author.user, "loop.edit", loop.site)
    require_reason(author)
    if not changes:
        raise WorkflowRefused(_("Nothing is changed in this column."))
    if RULES & set(changes):
        raise WorkflowRefused(
            _("Rules and tables are those of the site, not of one loop: leave them as now in this column, then save.")
        )
    data = record_names(loop)
    known = {one.key for one in fields_of(loop, data)}
    if not set(changes) <= known:
        raise WorkflowRefused(_("Something that this column changes is no longer in the loop: take it out first."))
    return save_loop(changed_text(data, changes), author, loop_id=loop.pk, opened_version=opened_version)
