"""What the page of labels shows beside the list of loops."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from registry.views.cells import cell_html
from reports.labels import GRIDS, Grid

register = template.Library()


@register.simple_tag
def label_grids() -> list[tuple[str, Grid]]:
    """The sheets to choose from."""
    return list(GRIDS.items())


@register.simple_tag
def list_cell(cell: Mapping[str, Any]) -> SafeString:
    """A further cell of a row of a list, as lists show it."""
    return mark_safe(cell_html(cell))  # noqa: S308  each text is escaped where it is put in
