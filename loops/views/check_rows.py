"""The rows of a table of checks as HTML, grouped by verdict, the gravest first.

A loop has dozens of checks, a segment hundreds. A template takes several times as long for them as these lines, which
escape every text themselves; what is the same in many rows is rendered once (registry/views/cells.py).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any
from urllib.parse import quote

from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from loops.check_names import check_name
from loops.topics import topic_said
from registry.stored import said
from registry.views.cells import component

Check = Mapping[str, Any]
OTHER = "other"
GROUPS = {
    "fail": gettext_lazy("Failing"),
    "beyond_simple_rules": gettext_lazy("Beyond simple rules: a specialist must assess"),
    "incomplete": gettext_lazy("Incomplete: a value is missing"),
    OTHER: gettext_lazy("Not judged"),
    "confirm": gettext_lazy("To be confirmed by a person"),
    "pass": gettext_lazy("Passing"),
    "not_applicable": gettext_lazy("Not applicable"),
}
RELATIONS = {"<=": "≤", ">=": "≥"}
SHORT = 14
"""A text under so many letters does not break over two lines."""
SPACE = "\N{NO-BREAK SPACE}"


def check_rows_html(checks: Iterable[Check]) -> SafeString:
    """The body of components/checks_table.html."""
    groups: dict[str, list[Check]] = {name: [] for name in GROUPS}
    for check in checks:
        groups[check["verdict"] if check["verdict"] in GROUPS else OTHER].append(check)
    labels = {name: conditional_escape(text) for name, text in labels_now().items()}
    found = [
        f'<tr class="group" role="row"><th colspan="6" scope="rowgroup" role="rowheader">'
        f"{conditional_escape(GROUPS[name])}</th></tr>\n" + "".join(row_html(check, labels) for check in rows)
        for name, rows in groups.items()
        if rows
    ]
    return mark_safe("".join(found))  # noqa: S308  each text is escaped where it is put in


def labels_now() -> dict[str, str]:
    """What stands before each value on a phone, and the words of the link, in the language of the page."""
    return {
        "value": _("Value"),
        "relation": _("Relation"),
        "limit": _("Limit"),
        "margin": _("Margin"),
        "remark": _("Remark"),
        "on": _("on"),
    }


def row_html(check: Check, labels: Mapping[str, str]) -> str:
    """One check: what it is, both sides, the margin, the reason and where the rule comes from."""
    verdict = check["verdict"]
    subject = f'<br><span class="soft small">{plain(said(check["subject"]))}</span>' if check["subject"] else ""
    relation, limit = (
        plain(RELATIONS.get(check["relation"] or "") or said(check["relation"] or "")),
        plain(check["limit"]),
    )
    before = f'<span class="stack-only">{relation} </span>' if relation else ""
    margin = "" if check["margin"] in (None, "") else margin_percent(check["margin"])
    words = " words" if len(check["relation"] or "") > 2 else ""
    value = plain(check["value"])
    cells = (
        f'<td role="cell" class="num{nowrap(check["value"])}" data-label="{labels["value"]}">{value}</td>',
        f'<td role="cell" class="mid{words}" data-label="{labels["relation"]}">{relation}</td>',
        f'<td role="cell" class="num{nowrap(check["limit"])}" data-label="{labels["limit"]}">'
        + (f"<span>{before}{limit}</span></td>" if limit else "</td>"),
        f'<td role="cell" class="num nowrap" data-label="{labels["margin"]}">{conditional_escape(margin)}</td>',
        f'<td role="cell" class="why"><p>{plain(check["why"])}</p>{reference_html(check, labels)}</td>',
    )
    name = f"{component('verdict', verdict)} {conditional_escape(check_name(check['id']))}{subject}"
    failed = FAILED if verdict == "fail" else ""
    return f'<tr role="row"{failed}><th scope="row" role="rowheader">{name}</th>{"".join(cells)}</tr>\n'


FAILED = ' class="row-fail"'


def reference_html(check: Check, labels: Mapping[str, str]) -> str:
    """Where the rule comes from, and on the page of a loop the way to a remark on this check."""
    found = f'<p class="reference">{plain(check["reference"])}</p>' if check.get("reference") else ""
    topic = check.get("topic")
    if not topic:
        return found
    hidden = f'<span class="visually-hidden"> {labels["on"]} {plain(topic_said(topic))}</span>'
    address = conditional_escape(f"?remark={quote(topic)}#remark-new")
    return f'{found}<p class="small no-print"><a href="{address}">{labels["remark"]}{hidden}</a></p>'


def plain(value: Any) -> str:
    """A text as HTML; nothing for None."""
    return "" if value is None else conditional_escape(value)


def nowrap(value: Any) -> str:
    return " nowrap" if len(value or "") < SHORT else ""


def margin_percent(margin: Any) -> str:
    """A margin in whole percent; rounding never hides on which side of the limit a value lies.

    >>> [margin_percent(text).replace(SPACE, " ") for text in ("0.16", "-0.1046", "0.0008", "-0.001", "0")]
    ['16 %', '−10 %', '< 1 %', '−< 1 %', '0 %']
    """
    try:
        share = Decimal(str(margin))
    except InvalidOperation:
        return ""
    whole = (100 * share).quantize(Decimal(1), ROUND_HALF_EVEN)
    if share < 0:
        return f"−{'< 1' if not whole else -whole}{SPACE}%".replace("< 1", f"<{SPACE}1")
    return f"<{SPACE}1{SPACE}%" if share and not whole else f"{whole}{SPACE}%"


__all__: Sequence[str] = ["check_rows_html", "margin_percent"]
