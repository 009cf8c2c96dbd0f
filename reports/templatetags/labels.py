"""What the page of labels shows beside the list of loops."""

from __future__ import annotations

from django import template

from reports.labels import GRIDS, Grid

register = template.Library()


@register.simple_tag
def label_grids() -> list[tuple[str, Grid]]:
    """The sheets to choose from."""
    return list(GRIDS.items())
