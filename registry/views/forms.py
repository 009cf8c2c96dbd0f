"""Between a page's flat form fields and the nested text that entries read, and back again with every message."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.db import models

from registry.models import Revision
from registry.models.base import Record
from registry.reading import EntryForm, ReadingField, RecordField, join

MAX_DEPTH = 8
MAX_INDEX = 10_000
SELECT_LIMIT = 60


def nest(flat: Mapping[str, str]) -> dict[str, Any]:
    """`{"terminals.0.name": "1-2"}` becomes `{"terminals": [{"name": "1-2"}]}`.

    Names that begin with an underscore and the CSRF token are the page's own and left out. Gaps in the numbering
    close up: a removed row leaves no hole.
    """
    root: dict[str, Any] = {}
    for name, value in flat.items():
        parts = name.split(".")
        if name.startswith("_") or name == "csrfmiddlewaretoken" or len(parts) > MAX_DEPTH:
            continue
        node = root
        for part in parts[:-1]:
            inner = node.get(part)
            if not isinstance(inner, dict):
                inner = node[part] = {}
            node = inner
        node[parts[-1]] = value
    closed = close_up(root)
    return closed if isinstance(closed, dict) else {}


def close_up(node: Any) -> Any:
    """Mappings whose names are all numbers become lists in that order."""
    if not isinstance(node, dict):
        return node
    if node and all(key.isascii() and key.isdigit() and len(key) < 6 for key in node):
        return [close_up(node[key]) for key in sorted(node, key=int)]
    return {key: close_up(value) for key, value in node.items()}


def flatten(data: Any, path: str = "") -> dict[str, str]:
    """The way back: nested text to one text by dotted path; keys of rows are left out."""
    flat: dict[str, str] = {}
    if isinstance(data, Mapping):
        for key, value in data.items():
            if key != "id":
                flat |= flatten(value, join(path, str(key)))
    elif isinstance(data, list | tuple):
        for index, value in enumerate(data):
            flat |= flatten(value, join(path, str(index)))
    else:
        flat[path] = "" if data is None else str(data)
    return flat


def add_or_remove(data: dict[str, Any], command: str, value: str, entry_class: type[EntryForm]) -> str:
    """Carry out a row button: `_add` with the path of a list, `_remove` or `_duplicate` with the path of a row.

    Returns the path of the row to focus; an unknown path changes nothing and returns an empty text.
    """
    list_path, position = (value, "") if command == "_add" else value.rpartition(".")[::2]
    rows = rows_at(data, list_path.split("."), entry_class)
    if rows is None:
        return ""
    if command == "_add":
        rows.append({})
        return join(list_path, str(len(rows) - 1))
    if not position.isascii() or not position.isdigit() or len(position) > 5 or int(position) >= len(rows):
        return ""
    index = int(position)
    if command == "_duplicate":
        rows.insert(index + 1, without_keys(rows[index]))
        return join(list_path, str(index + 1))
    del rows[index]
    return join(list_path, str(min(index, len(rows) - 1))) if rows else ""


def rows_at(node: dict[str, Any], names: list[str], entry_class: type[EntryForm]) -> list[Any] | None:
    """The list of rows at a path like `terminals.0.permitted`, made where it is missing; None for an unknown path."""
    name, rest = names[0], names[1:]
    child = entry_class.children.get(name)
    if child is None:
        return None
    rows = node.get(name)
    if not isinstance(rows, list):
        rows = node[name] = []
    if not rest:
        return rows
    position, rest = rest[0], rest[1:]
    if not rest or not position.isascii() or not position.isdigit() or len(position) > 5 or int(position) >= len(rows):
        return None
    row = rows[int(position)]
    return rows_at(row, rest, child) if isinstance(row, dict) else None


def without_keys(data: Any) -> Any:
    """A copy of nested text that continues no stored row."""
    if isinstance(data, Mapping):
        return {key: without_keys(value) for key, value in data.items() if key != "id"}
    if isinstance(data, list | tuple):
        return [without_keys(value) for value in data]
    return data


def drop_blank_rows(data: dict[str, Any], entry_class: type[EntryForm]) -> dict[str, Any]:
    """Leave out rows in which nothing was typed and nothing chosen but what a fresh row shows."""
    for name, child in entry_class.children.items():
        rows = data.get(name)
        if isinstance(rows, list):
            for row in rows:
                if isinstance(row, dict):
                    drop_blank_rows(row, child)
            data[name] = [row for row in rows if not (isinstance(row, dict) and is_blank(row, child))]
    return data


def is_blank(row: Mapping[str, Any], entry_class: type[EntryForm]) -> bool:
    fresh = fresh_values(entry_class)
    return not row.get("id") and all(
        (not value if isinstance(value, list | dict) else value in ("", None, fresh.get(key, "")))
        for key, value in row.items()
    )


def fresh_values(entry_class: type[EntryForm]) -> dict[str, Any]:
    """What a new row shows before anything is typed: the defaults of its model."""
    values: dict[str, Any] = {}
    for name in entry_class.base_fields:
        column = entry_class.model._meta.get_field(name)
        if isinstance(column, models.Field) and column.has_default() and not callable(column.default):
            values[name] = column.default
    return values


@dataclass
class FormNode:
    """One level of a form for a template: `fields` by name (dicts for components/field.html), `rows` by list name."""

    path: str
    fields: dict[str, dict[str, Any]] = field(default_factory=dict)
    rows: dict[str, list[FormNode]] = field(default_factory=dict)
    errors: dict[str, list[str]] = field(default_factory=dict)
    identity: Any = ""

    @property
    def identity_name(self) -> str:
        return join(self.path, "id")

    def row_path(self, name: str) -> str:
        return join(self.path, name)


def form_tree(
    entry_class: type[EntryForm],
    data: Mapping[str, Any],
    errors: Mapping[str, list[str]],
    path: str = "",
    choices: dict[str, list[tuple[str, str]]] | None = None,
) -> FormNode:
    """Everything a template needs to show an entry with its text and its messages. Choices are read once a page."""
    choices = {} if choices is None else choices
    node = FormNode(path, identity=data.get("id") or "")
    fresh = fresh_values(entry_class)
    for name, reader in entry_class.base_fields.items():
        node.fields[name] = field_dict(
            entry_class,
            name,
            reader,
            data.get(name, fresh.get(name, "")),
            errors.get(join(path, name), []),
            path,
            choices,
        )
    for name, child in entry_class.children.items():
        rows = data.get(name) or []
        node.rows[name] = [
            form_tree(child, row, errors, join(path, f"{name}.{index}"), choices)
            for index, row in enumerate(rows)
            if isinstance(row, Mapping)
        ]
        if join(path, name) in errors:
            node.errors[name] = list(errors[join(path, name)])
    return node


def field_dict(
    entry_class: type[EntryForm],
    name: str,
    reader: forms.Field,
    value: Any,
    messages: list[str],
    path: str,
    choices: dict[str, list[tuple[str, str]]],
) -> dict[str, Any]:
    """One field for components/field.html."""
    full = join(path, name)
    shown: dict[str, Any] = {
        "name": full,
        "id": "f-" + full.replace(".", "-"),
        "label": str(reader.label or name.replace("_", " ")),
        "value": value,
        "help": str(reader.help_text),
        "errors": messages,
        "required": reader.required,
        "kind": "text",
        "choices": [],
        "placeholder": "",
        "unit_hint": "",
    }
    if isinstance(reader, ReadingField):
        shown |= {"unit_hint": reader.example, "kind": "quantity"}
    elif isinstance(reader, RecordField):
        listed = f"{entry_class.__name__}.{name}"
        if listed not in choices:
            names = reader.named().order_by("picked_name").values_list("picked_name", flat=True)[: SELECT_LIMIT + 1]
            choices[listed] = [(item, item) for item in names]
        shown["value"] = reader.name_for(str(value)) if value not in ("", None) else ""
        shown["list_id"] = "options-" + listed.replace(".", "-").lower()
        shown["kind"] = "select" if len(choices[listed]) <= SELECT_LIMIT else "pick"
        shown["choices"] = choices[listed] if shown["kind"] == "select" else []
        shown["picker"] = listed
    elif isinstance(reader, forms.BooleanField):
        shown |= {"kind": "checkbox", "value": value not in ("", None, False, "false", "False", "off")}
    elif isinstance(reader, forms.ChoiceField):
        shown |= {"kind": "select", "choices": [(str(key), str(text)) for key, text in reader.choices]}  # type: ignore[misc,union-attr]
    elif isinstance(reader, forms.DateField):
        shown["kind"] = "date"
    elif isinstance(reader.widget, forms.Textarea) or (
        isinstance(entry_class.model._meta.get_field(name), models.TextField)
    ):
        shown["kind"] = "textarea"
    return shown


def error_list(errors: Mapping[str, list[str]], labels: Mapping[str, str] | None = None) -> list[dict[str, str]]:
    """Errors as links for components/error_summary.html: the id of the field and the message."""
    return [
        {"id": "f-" + path.replace(".", "-"), "label": (labels or {}).get(path, ""), "message": message, "path": path}
        for path, messages in errors.items()
        for message in messages
    ]


def labels_of(node: FormNode) -> dict[str, str]:
    """Readable names of all fields of a form by path: "Terminals 1: Uo"."""
    labels = {shown["name"]: shown["label"] for shown in node.fields.values()}
    for rows in node.rows.values():
        for row in rows:
            labels |= labels_of(row)
    return labels


def compare_three(
    record: Record, opened_revision: str, theirs: Mapping[str, Any], yours: Mapping[str, Any]
) -> list[dict[str, str]]:
    """Rows for components/theirs_yours.html: fields that differ between yours, theirs and what you had opened."""
    opened = None
    if opened_revision.isascii() and opened_revision.isdigit() and len(opened_revision) < 10:
        opened = Revision.objects.filter(
            kind=record.record_kind, record_id=record.pk, number=int(opened_revision)
        ).first()
    original = flatten(snapshot_text(opened.snapshot)) if opened else {}
    mine, other = flatten(yours), flatten(theirs)
    rows = []
    for path in dict.fromkeys([*other, *mine]):
        if mine.get(path, "") != other.get(path, "") or (original and original.get(path, "") != other.get(path, "")):
            rows.append(
                {
                    "field": path,
                    "original": original.get(path, ""),
                    "theirs": other.get(path, ""),
                    "yours": mine.get(path, ""),
                }
            )
    return rows


def snapshot_text(content: Any) -> Any:
    """A revision's snapshot as nested text: readings by their typed text, relations by their key."""
    if isinstance(content, Mapping):
        if "text" in content and set(content) <= {"text", "si"}:
            return content["text"]
        if set(content) == {"id", "name"}:
            return str(content["id"])
        return {
            key: snapshot_text(value)
            for key, value in content.items()
            if key not in {"id", "archived"} and not key.endswith("_revision")
        }
    if isinstance(content, list):
        return [snapshot_text(value) for value in content]
    return "" if content is None else content
