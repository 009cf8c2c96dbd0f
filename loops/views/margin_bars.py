"""One quantity of a circuit against its limit, as a bar and in words.

A page has five for each circuit; a template takes several times as long for them as these lines, which escape every
text themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from registry.views.cells import component

COLOURS = {"pass": "v-pass", "fail": "v-fail"}
BAR = (
    '<svg class="bar {colour}" viewBox="0 0 125 10" preserveAspectRatio="none" aria-hidden="true" focusable="false">'
    '<rect class="bar-track" x="0" y="1" width="100" height="8" vector-effect="non-scaling-stroke"/>'
    '<rect class="bar-used" x="0" y="1" width="{used}" height="8"/>{over}'
    '<path class="bar-limit" d="M100 0V10" vector-effect="non-scaling-stroke"/></svg>'
)


class Share(NamedTuple):
    """A margin as a bar tells it."""

    is_known: bool = False
    is_over: bool = False
    is_exact: bool = False
    left: int = 0
    """Whole percent that are left, or that are missing (is_over)."""
    used: int = 100
    """How far the value reaches where the limit stands at 100."""
    at_least: bool = False
    """The limit is the least that is needed."""
    is_drawn: bool = False


def share_of(margin: Any, relation: Any) -> Share:
    """What a bar shows of a margin, (limit - value) / limit, and the relation between value and limit.

    >>> share_of("-0.1046", "<=")
    Share(is_known=True, is_over=True, is_exact=False, left=10, used=110, at_least=False, is_drawn=True)
    >>> share_of(None, ">=")
    Share(is_known=False, is_over=False, is_exact=False, left=0, used=100, at_least=True, is_drawn=False)
    """
    at_least = relation in {">=", "≥"}
    try:
        share = Decimal(str(margin))
    except InvalidOperation:
        return Share(at_least=at_least)
    if not share.is_finite():
        return Share(at_least=at_least)
    left = round(100 * share)
    drawn = not relation or relation in {"<=", "≤"}
    return Share(True, share < 0, not share, abs(left), 100 - left, at_least, drawn)


def margin_bar_html(bar: Mapping[str, Any]) -> SafeString:
    """A bar with `label`, `value` and `limit` (texts with their units), `margin` (decimal text; empty where unknown)
    and `verdict` of its check; `relation` ("<=" where there is none: the bar is drawn for that alone) and `note`.

    What is not applicable has no bar, and says why (`why`).
    """
    verdict = bar["verdict"]
    head = (
        f'<div class="margin"><div class="margin-head"><span class="margin-label">{conditional_escape(bar["label"])}'
        f"</span>{component('verdict', verdict)}</div>"
    )
    if verdict == "not_applicable":
        return mark_safe(f'{head}<p class="soft">{conditional_escape(bar["why"])}</p></div>')  # noqa: S308
    share = share_of(bar.get("margin"), bar.get("relation"))
    value, limit = (conditional_escape(bar.get(name) or _("not known")) for name in ("value", "limit"))
    between, behind = (_("where at least"), _("is needed")) if share.at_least else (_("of"), _("permitted"))
    words = in_words(share) if share.is_known else ""
    note = f' <span class="soft">{conditional_escape(bar["note"])}</span>' if bar.get("note") else ""
    return mark_safe(  # noqa: S308  each text is escaped where it is put in
        f"{head}{drawing(share, verdict) if share.is_known and share.is_drawn else ''}"
        f"<p><strong>{value}</strong> {conditional_escape(between)} <strong>{limit}</strong> "
        f"{conditional_escape(behind)}{conditional_escape(words)}.{note}</p></div>"
    )


def drawing(share: Share, verdict: str) -> str:
    """The bar itself."""
    over = f'<path class="bar-over" d="M100 5H{share.used}"/>' if share.is_over else ""
    used = 100 if share.is_over else share.used
    return BAR.format(colour=COLOURS.get(verdict, "v-incomplete"), used=used, over=over)


def in_words(share: Share) -> str:
    """What is left, or how much is missing; rounding never hides on which side of the limit a value lies.

    >>> [in_words(share_of(text, "<=")) for text in ("0.16", "0.001", "0", "-0.001", "-0.1046")]
    ['; 16 % left', '; under 1 % left', '; exactly at the limit', '; under 1 % over the limit', '; 10 % over the limit']
    """
    if share.is_over:
        missing = _("short of it") if share.at_least else _("over the limit")
        return f"; {share.left or _('under 1')} % {missing}"
    if share.is_exact:
        return _("; exactly at the limit")
    if not share.left:
        return _("; under 1 %% left") % {}
    return _("; %(left)s %% left") % {"left": share.left}
