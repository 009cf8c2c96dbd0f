"""Drawn figures for pages: `{% load figures %}`.

`{% circuit_diagram input result %}` draws a case document alone; `{% loop_diagram verification %}` draws every circuit
of a stored verification with its areas and cable routes, one under the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from loops.models import Verification
from reports.diagrams import Plan, draw, plan_of_case, plan_of_circuit

register = template.Library()


@register.simple_tag(takes_context=True)
def circuit_diagram(
    context: template.Context, document: Mapping[str, Any], result: Mapping[str, Any] | None = None
) -> SafeString:
    """The block diagram of one case document with its result."""
    if not document:
        return mark_safe("")
    return figure(context, plan_of_case(document, result))


@register.simple_tag(takes_context=True)
def loop_diagram(context: template.Context, verification: Verification | None) -> SafeString:
    """The block diagrams of all circuits of a verification; several are named and stand one under the other."""
    if verification is None:
        return mark_safe("")
    circuits = verification.revision.snapshot["circuits"]
    plans = [
        plan_of_circuit(circuit, document, result)
        for circuit, document, result in zip(circuits, verification.inputs, verification.results, strict=True)
    ]
    return format_html_join("\n", "{}", ((figure(context, plan, named=len(plans) > 1),) for plan in plans))


def figure(context: template.Context, plan: Plan, *, named: bool = False) -> SafeString:
    """One drawing as a figure; its ids differ from those of every other drawing on the page."""
    number: int = (context.render_context.get("figures") or 0) + 1
    context.render_context["figures"] = number
    drawing = mark_safe(draw(plan, f"diagram-{number}"))  # noqa: S308  written by an XML writer, which escapes
    caption = format_html("<figcaption>{}</figcaption>", plan.name) if named else ""
    return format_html(
        '<figure class="diagram-figure">{}<div class="table-wrap" role="group" tabindex="0" aria-label="Diagram of {}">'
        "{}</div></figure>",
        caption,
        plan.name,
        drawing,
    )
