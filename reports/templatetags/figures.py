"""Drawn figures for pages: `{% load figures %}`.

`{% circuit_diagram input result %}` draws a case document alone; `{% loop_diagram verification %}` draws every circuit
of a stored verification with its areas and cable routes, one under the other. `{% ignition_charts verification %}`
shows where each circuit works against the ignition curves; the pictures are loaded when they come into sight.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from loops.models import Verification
from registry.remembering import remembered
from reports.curves import has_chart
from reports.diagrams import Plan, draw, plan_of_case, plan_of_circuit
from reports.sheets.lengths import plan_in

register = template.Library()


@register.simple_tag(takes_context=True)
def circuit_diagram(
    context: template.Context, document: Mapping[str, Any], result: Mapping[str, Any] | None = None
) -> SafeString:
    """The block diagram of one case document with its result."""
    if not document:
        return mark_safe("")
    number: int = (context.render_context.get("figures") or 0) + 1
    context.render_context["figures"] = number
    return figure(plan_of_case(document, result), number)


@register.simple_tag(takes_context=True)
def loop_diagram(context: template.Context, verification: Verification | None) -> SafeString:
    """The block diagrams of all circuits of a verification; several are named and stand one under the other."""
    if verification is None:
        return mark_safe("")
    first: int = (context.render_context.get("figures") or 0) + 1
    context.render_context["figures"] = first + len(verification.inputs) - 1
    unit = verification.loop.site.length_unit
    content = f"{verification.revision.digest}:{verification.digest}:{first}:{unit}"
    return remembered("diagrams", content, lambda: diagrams_of(verification, first, unit))


def diagrams_of(verification: Verification, first: int, unit: str) -> SafeString:
    """The drawings of all circuits, lengths in a site's unit; the first has this number."""
    circuits = verification.revision.snapshot["circuits"]
    plans = [
        plan_in(plan_of_circuit(circuit, document, result), unit)
        for circuit, document, result in zip(circuits, verification.inputs, verification.results, strict=True)
    ]
    named = len(plans) > 1
    return format_html_join(
        "\n", "{}", ((figure(plan, number, named=named),) for number, plan in enumerate(plans, first))
    )


@register.simple_tag
def ignition_charts(verification: Verification | None) -> SafeString:
    """The ignition curves of every circuit that has some, as pictures."""
    if verification is None:
        return mark_safe("")
    several = len(verification.inputs) > 1
    charts = [
        (
            format_html("<figcaption>{}</figcaption>", circuit_name(document)) if several else "",
            reverse("reports:ignition", args=[verification.loop_id, number]),
            f"{verification.digest[:12]}",
            curves_told(document),
        )
        for number, document in enumerate(verification.inputs, 1)
        if has_chart(document)
    ]
    return format_html_join(
        "\n",
        '<figure class="chart-figure">{}<img src="{}?v={}" alt="{}" width="648" height="266" loading="lazy"></figure>',
        charts,
    )


def circuit_name(document: Mapping[str, Any]) -> str:
    """The name of a circuit from its case document, which is called "PT-1101 / Circuit 1"."""
    return str(document.get("case", "")).rpartition(" / ")[2]


def curves_told(document: Mapping[str, Any]) -> str:
    """The chart in words, for whoever does not see it."""
    points = ", ".join(
        (
            _("%(source)s %(source2)s and %(source3)s")
            % {"source": source["name"], "source2": source["Uo"], "source3": source["Io"]}
        )
        for source in document["sources"]
    )
    return _("Ignition curves of tables A.1 and A.2 for group %(document)s with what works there: %(points)s.") % {
        "document": document["area"]["group"],
        "points": points,
    }


def figure(plan: Plan, number: int, *, named: bool = False) -> SafeString:
    """One drawing as a figure; by its number its ids differ from those of every other drawing on the page."""
    drawing = mark_safe(draw(plan, f"diagram-{number}"))  # noqa: S308  written by an XML writer, which escapes
    caption = format_html("<figcaption>{}</figcaption>", plan.name) if named else ""
    return format_html(
        '<figure class="diagram-figure">{}<div class="table-wrap" role="group" tabindex="0" aria-label="{}">'
        "{}</div></figure>",
        caption,
        plan.name,
        drawing,
    )
