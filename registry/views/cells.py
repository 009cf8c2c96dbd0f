"""The rows of a list as HTML, in the words and shapes of the components that other pages show them with.

A page of a list has hundreds of cells. A template takes several times as long for them as these lines, which escape
every text themselves; the parts that are the same on all rows are rendered once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _


def rows_html(rows: Iterable[Sequence[Mapping[str, Any]]], tick: bool) -> SafeString:
    """The rows of a table, of cells as lists.shown_cell gives them; with `tick` each can be ticked."""
    return mark_safe(  # noqa: S308  each text is escaped where it is put in
        "".join(f'<tr role="row">{head_html(row[0], tick)}{"".join(map(cell_html, row[1:]))}</tr>\n' for row in rows)
    )


def head_html(cell: Mapping[str, Any], tick: bool) -> str:
    """The first cell of a row, which leads to the record."""
    text = conditional_escape(cell["text"])
    box = (
        f'<input type="checkbox" class="tick" name="record" value="{cell["key"]}" form="tick" '
        f'aria-label="{_("Tick")} {text}"> '
        if tick
        else ""
    )
    state = f" {component('state', cell['state'])}" if cell["state"] else ""
    note = f'<br><span class="soft small">{conditional_escape(cell["note"])}</span>' if cell["note"] else ""
    url = conditional_escape(cell["url"])
    return f'<th scope="row" role="rowheader">{box}<a href="{url}">{text}</a>{state}{note}</th>'


def cell_html(cell: Mapping[str, Any]) -> str:
    """Any further cell."""
    kind = ' class="num"' if cell["number"] else ' class="wide"' if cell["wide"] else ""
    inside = plain(cell["text"]) if cell["plain"] else inner_html(cell)
    return f'<td role="cell" data-label="{conditional_escape(cell["label"])}"{kind}>{inside}</td>'


def inner_html(cell: Mapping[str, Any]) -> str:
    """What a cell shows that is not its text alone."""
    if cell["lines"]:
        return f"<span>{'<br>'.join(map(line_html, cell['lines']))}</span>"
    if cell["verdict"]:
        failing = conditional_escape(cell["failing"])
        below = f'<br><span class="small v-fail">{failing}</span>' if failing else ""
        return f"<div>{component('verdict', cell['verdict'])}{below}</div>"
    if cell["state"]:
        still_open = conditional_escape(cell["open"])
        below = f'<br><span class="small v-incomplete">{still_open}</span>' if still_open else ""
        return f"<div>{component('state', cell['state'])}{below}</div>"
    text = plain(cell["text"])
    if cell["small"]:
        return f'<span class="small">{text}</span>'
    if cell["warn"]:
        return f'<span class="v-incomplete">{component("icon", "warning")} {text}</span>'
    if cell["strong"]:
        return f"<strong>{text}</strong>"
    return f'<span class="soft">{text}</span>' if cell["soft"] else text


def line_html(line: Mapping[str, Any]) -> str:
    """One line of a cell that has several."""
    label = f"<strong>{conditional_escape(line['label'])}</strong> " if line["label"] else ""
    state = ""
    if line["state"] == "run out":
        state = f' <span class="v-incomplete small nowrap">{component("icon", "warning")} {_("run out")}</span>'
    elif line["state"]:
        state = f" {component('state', line['state'])}"
    return f"{label}{plain(line['text'])}{state}"


def plain(value: Any) -> str:
    """A text as HTML; nothing for None."""
    return "" if value is None else conditional_escape(value)


def component(name: str, word: str) -> str:
    """A component of one word: a verdict, a state, an icon."""
    return rendered(name, str(word), get_language())


@lru_cache(maxsize=256)
def rendered(name: str, word: str, language: str | None) -> str:
    """The component, rendered once for each word and language."""
    argument = {"icon": "name"}.get(name, name)
    return render_to_string(f"components/{name}.html", {argument: word}).strip()
