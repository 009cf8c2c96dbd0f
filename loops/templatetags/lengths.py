"""Lengths as the site of a loop reads them: `{% load lengths %}`."""

from __future__ import annotations

from typing import Any

from django import template

from registry.lengths import LengthUnit, lengths_in, typed_length
from registry.models import Site
from registry.signs import with_signs

register = template.Library()


def unit_of(site: Any) -> str:
    """The unit of a site, or a unit as it is; metres where none is known."""
    unit = site.length_unit if isinstance(site, Site) else site
    return LengthUnit(unit) if unit in LengthUnit.values else LengthUnit.METRE


@register.filter
def length_at(typed: Any, site: Any) -> str:
    """A typed length, with the site's unit beside it where it was typed in the other."""
    return typed_length(str(typed or ""), unit_of(site))


@register.filter
def permitted_at(length: Any, site: Any) -> str:
    """A length of a result ("952 m") in the site's unit."""
    return lengths_in(str(length or ""), unit_of(site))


@register.filter
def lengths_at(sentence: Any, site: Any) -> str:
    """A sentence of the engine with its lengths in the site's unit, and with the signs of units."""
    return with_signs(lengths_in(str(sentence or ""), unit_of(site)))
