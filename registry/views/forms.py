"""Between a page's flat form fields and the nested text that entries read, and back again with every message."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.db import models
from django.urls import reverse
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from registry import access
from registry.differences import ROW_TITLES
from registry.fields import Reading
from registry.models import Site, User
from registry.parameters import help_of, parameter_of
from registry.quantities import Kind, QuantityError
from registry.reading import MAX_ROWS, EntryForm, ReadingField, RecordField, join
from registry.showing import same_text, told
from registry.words import lazily

WORDS = (lazily("Inductance is"), lazily("Resistance is"), lazily("Isolation"), lazily("Simple kind"))
"""Fields that are called by the name of their column; the others are words of the catalogue already."""
MAX_DEPTH = 8
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


def closed_path(names: Iterable[str], path: str) -> str:
    """Where a row that a page calls `cables.2001` stands among the rows that `nest` closed up: `cables.1`."""
    split = [name.split(".") for name in names]
    parts = path.split(".")
    found = list(parts)
    for place, part in enumerate(parts):
        if part.isascii() and part.isdigit() and len(part) < 6:
            beside = {name[place] for name in split if len(name) > place and name[:place] == parts[:place]}
            ordered = sorted((one for one in beside if one.isascii() and one.isdigit() and len(one) < 6), key=int)
            if part in ordered:
                found[place] = str(ordered.index(part))
    return ".".join(found)


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
    if command != "_remove" and len(rows) >= MAX_ROWS:
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
    user: User | None = None,
) -> FormNode:
    """Everything a template needs to show an entry with its text and its messages. Choices are read once a page.

    With a `user`, records that belong to a site are offered only from the sites of that person.
    """
    choices = {} if choices is None else choices
    node = FormNode(path, identity=data.get("id") or "")
    fresh = fresh_values(entry_class)
    for name, reader in entry_class.base_fields.items():
        if isinstance(reader, RecordField):
            offer(f"{entry_class.__name__}.{name}", reader, choices, user)
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
            form_tree(child, row, errors, join(path, f"{name}.{index}"), choices, user)
            for index, row in enumerate(rows if isinstance(rows, list | tuple) else ())
            if isinstance(row, Mapping) and index < MAX_ROWS  # more than are read are not shown either
        ]
        if join(path, name) in errors:
            node.errors[name] = list(errors[join(path, name)])
    return node


def offer(
    listed: str, reader: RecordField, choices: dict[str, list[tuple[str, str]]], user: User | None = None
) -> list[tuple[str, str]]:
    """Read what a field offers, one more than a list shows, into `choices`; once a page."""
    if listed not in choices:
        named = within_sites(reader.named(), user) if user else reader.named()
        names = named.order_by("picked_name").values_list("picked_name", flat=True)[: SELECT_LIMIT + 1]
        choices[listed] = [(item, item) for item in names]
    return choices[listed]


def within_sites(queryset: models.QuerySet[Any], user: User) -> models.QuerySet[Any]:
    """Only what belongs to the sites of a person, where the records belong to sites at all."""
    if queryset.model is Site:
        return queryset.filter(pk__in=access.sites_of(user))
    if any(column.name == "site" for column in queryset.model._meta.concrete_fields):
        return queryset.filter(site_id__in=access.sites_of(user))
    return queryset


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
    parameter = parameter_of(entry_class.model, name)
    shown: dict[str, Any] = {
        "name": full,
        "id": "f-" + full.replace(".", "-"),
        "label": parameter.label if parameter else sentence(str(reader.label or name.replace("_", " "))),
        "short": parameter.short if parameter else sentence(str(reader.label or name.replace("_", " "))),
        "value": value if isinstance(value, str | int | float | bool) else "",
        "help": str(reader.help_text) or help_of(entry_class.model, name),
        "errors": messages,
        "required": reader.required,
        "kind": "text",
        "choices": [],
        "placeholder": "",
        "unit_hint": "",
    }
    if isinstance(reader, ReadingField):
        example = (parameter.example if parameter else "") or reader.example
        shown |= {
            "example": example,
            "unit_hint": (_("For example %(example)s.") % {"example": example}),
            "kind": "quantity",
            "read_as": read_as(value, reader),
        }
        shown["attrs"] = echo_attributes(reader.kind, shown["id"])
    elif isinstance(reader, RecordField):
        listed = f"{entry_class.__name__}.{name}"
        offered = offer(listed, reader, choices)
        by_key = isinstance(value, int) and not isinstance(value, bool)
        shown["value"] = known_name(listed, reader, value, choices) if by_key else shown["value"]
        shown["list_id"] = "options-" + listed.replace(".", "-").lower()
        shown["kind"] = "select" if len(offered) <= SELECT_LIMIT else "pick"
        shown["picker"] = listed
        if shown["kind"] == "pick":
            shown["attrs"] = pick_attributes(listed, shown["id"])
        if shown["kind"] == "select":
            # A name that is not on offer (archived, or of another site) stays chosen until somebody changes it.
            extra = [] if not shown["value"] or (shown["value"], shown["value"]) in offered else [shown["value"]]
            shown["choices"] = [
                ("", _("Choose …") if reader.required else _("None")),
                *((item, item) for item in extra),
            ]
            shown["choices"] += offered
    elif isinstance(reader, forms.BooleanField):
        shown |= {"kind": "checkbox", "value": is_ticked(value)}
    elif isinstance(reader, forms.ChoiceField):
        shown |= {"kind": "select", "choices": list_choices(reader)}
        if str(shown["value"]) not in {key for key, _ in shown["choices"]} and messages:
            shown["choices"] = [(str(shown["value"]), f"{shown['value']:.60}"), *shown["choices"]]
    elif isinstance(reader, forms.DateField):
        shown["kind"] = "date" if not shown["value"] or is_date(str(shown["value"])) else "text"
    elif isinstance(reader.widget, forms.Textarea) or (
        isinstance(entry_class.model._meta.get_field(name), models.TextField)
    ):
        shown["kind"] = "textarea"
    return shown


def echo_attributes(kind: Kind, identity: str) -> dict[str, str]:
    """What makes a field say how its value is read as soon as it is left; without scripts it says so after saving."""
    url = reverse("read_quantity", args=[kind.name.lower()])
    return {"hx-get": url, "hx-trigger": "change", "hx-target": f"#{identity}-read", "hx-swap": "innerHTML"}


def pick_attributes(listed: str, identity: str) -> dict[str, str]:
    """What fills the suggestions of a field while one types; without scripts the exact name is typed."""
    return {
        "hx-get": reverse("pick", args=[listed]),
        "hx-trigger": "input changed delay:250ms, focus once",
        "hx-target": f"#{identity}-list",
        "hx-swap": "innerHTML",
    }


def sentence(text: str) -> str:
    """The text with a capital first letter, in the language of the page."""
    return _(text[:1].upper() + text[1:]) if text else ""


def is_ticked(value: Any) -> bool:
    """Whether a checkbox stands for yes."""
    return value not in ("", None, False, "false", "False", "off", "0")


def is_date(text: str) -> bool:
    """Whether a date input can show this text; another text would be lost in it."""
    try:
        return bool(parse_date(text))
    except ValueError:
        return False


def list_choices(reader: forms.ChoiceField) -> list[tuple[str, str]]:
    """Choices as texts; the empty one in words."""
    named = {"": _("Choose …") if reader.required else _("Not given")}
    pairs: Any = reader.choices
    return [
        (str(key), named.get(str(key), str(text)) if str(text).startswith("---") else str(text)) for key, text in pairs
    ]


def known_name(listed: str, reader: RecordField, key: int, choices: dict[str, list[tuple[str, str]]]) -> str:
    """The name of a record by its key; each key is looked up once a page."""
    memory = dict(choices.setdefault(f"{listed}#names", []))
    if str(key) not in memory:
        memory[str(key)] = reader.name_for(str(key))
        choices[f"{listed}#names"] = list(memory.items())
    return memory[str(key)]


def read_as(value: Any, reader: ReadingField) -> str:
    """What the reader understood, where that reads otherwise than what was typed; empty for what it refuses."""
    if not isinstance(value, str) or not value.strip():
        return ""
    try:
        found = Reading.of(value, reader.kind)
    except QuantityError:
        return ""
    if found.value_si is None:
        return _("not stated by the certificate")
    text = told(value, found.value_si, reader.kind)
    return "" if same_text(value, text) else text


def error_list(errors: Mapping[str, list[str]], labels: Mapping[str, str] | None = None) -> list[dict[str, str]]:
    """Errors as links for components/error_summary.html: the id of the field and the message."""
    labels = labels or {}
    return [
        {
            "id": "f-" + path.replace(".", "-"),
            "label": labels.get(path, ""),
            "text": message,
            "message": message,
            "path": path,
        }
        for path, messages in errors.items()
        for message in messages
    ]


def labels_of(node: FormNode, place: str = "") -> dict[str, str]:
    """Readable names of all fields and lists of a form by path: "Terminals 1-2, Uo"."""
    lead = f"{place}, " if place else ""
    labels = {shown["name"]: lead + shown.get("short", shown["label"]) for shown in node.fields.values()}
    for name, rows in node.rows.items():
        labels[node.row_path(name)] = lead + row_title(name)
        for number, row in enumerate(rows, 1):
            labels |= labels_of(row, lead + row_title(name, row.fields, number))
    return labels


def row_title(name: str, fields: Mapping[str, Mapping[str, Any]] | None = None, number: int = 0) -> str:
    """How a list of rows, or one row of it, is called: "Permitted values", "Terminals 1-2"."""
    plural, singular = ROW_TITLES.get(name, (sentence(name.replace("_", " ")), sentence(name.replace("_", " "))))
    if fields is None:
        return plural
    called = ""
    for column in ("name", "tag", "group", "temperature_class"):
        if column in fields:
            called = str(fields[column]["value"] or "")
            break
    return f"{singular} {called or number}"
