"""What records of the register have in numbers, for the filters of their lists: from the table of parameters."""

from __future__ import annotations

from functools import partial

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _

from registry.fields import QuantityField
from registry.filters import Measure, quantity_reader
from registry.models import CableType, HazardousArea, PermittedRow, Site, TemperatureRow, Terminals
from registry.models.equipment import GROUPS
from registry.parameters import PARAMETERS, SECTIONS, Parameter
from registry.words import later, lazily

SIDES = {
    "source": Terminals.Side.SOURCE,
    "supply": Terminals.Side.SOURCE,
    "device": Terminals.Side.DEVICE,
    "needs": Terminals.Side.DEVICE,
}
"""On which side of a circuit the parameters of a section belong."""

CLASSES = ("T1", "T2", "T3", "T4", "T5", "T6")


def measure_of(
    parameter: Parameter,
    *,
    within: tuple[str, ...] = (),
    heading: str = "",
    label: str = "",
    mark: str = "",
    also: Q | None = None,
) -> Measure:
    """A parameter as something to ask for by its size."""
    column = parameter.model._meta.get_field(parameter.column)
    assert isinstance(column, QuantityField)
    return Measure(
        key=f"{parameter.column}.{mark}" if mark else parameter.column,
        label=label or later(lambda: parameter.label),
        heading=heading or SECTIONS[parameter.section],
        column=parameter.column,
        reader=quantity_reader(column.kind),
        example=column.kind.example,
        within=within,
        also=also or Q(),
        typed_column=column.text_name,
    )


def parameters_of(model: type[models.Model]) -> list[Parameter]:
    return [parameter for parameter in PARAMETERS if parameter.model is model]


def plain_measures(model: type[models.Model], *within: str) -> tuple[Measure, ...]:
    """All parameters of a model."""
    return tuple(measure_of(parameter, within=within) for parameter in parameters_of(model))


def terminals_measures(*sections: str) -> tuple[Measure, ...]:
    """The parameters of sets of terminals in some sections, each on the side of the circuit that it belongs to.

    Else every source would be among those whose Ci is unknown.
    """
    return tuple(
        measure_of(
            parameter,
            within=("terminals",),
            also=Q(side=SIDES[parameter.section]) if parameter.section in SIDES else None,
        )
        for parameter in parameters_of(Terminals)
        if parameter.section in sections
    )


def permitted_for(group: str) -> str:
    return _("Permitted for %(group)s") % {"group": group} if group else _("Permitted for any group")


def symbol_for(symbol: str, group: str) -> str:
    if not group:
        return _("%(symbol)s for any group") % {"symbol": symbol}
    return _("%(symbol)s for %(group)s") % {"symbol": symbol, "group": group}


def highest_ambient_for(name: str) -> str:
    return _("Highest ambient for %(name)s") % {"name": name}


def permitted_measures() -> tuple[Measure, ...]:
    """Co, Lo and Lo/Ro, for any group and for each: of one group they are asked of the same row."""
    found = []
    for group in ("", *GROUPS):
        heading = later(partial(permitted_for, group))
        for parameter in parameters_of(PermittedRow):
            found.append(
                measure_of(
                    parameter,
                    within=("terminals", f"permitted:{group}"),
                    heading=heading,
                    label=later(partial(symbol_for, parameter.symbol, group)),
                    mark=group,
                    also=Q(group=group) if group else None,
                )
            )
    return tuple(found)


def class_measures() -> tuple[Measure, ...]:
    """Up to which ambient temperature a device has each temperature class."""
    (ambient,) = (item for item in parameters_of(TemperatureRow) if item.column == "ambient_max_degc")
    return tuple(
        measure_of(
            ambient,
            within=("terminals", f"temperature_classes:{name}"),
            heading=lazily("Highest ambient by temperature class"),
            label=later(partial(highest_ambient_for, name)),
            mark=name,
            also=Q(temperature_class=name),
        )
        for name in CLASSES
    )


EQUIPMENT = (
    *terminals_measures("source"),
    *permitted_measures(),
    *terminals_measures("device", "ambient"),
    *class_measures(),
    *terminals_measures("supply", "needs", "simple"),
)
CABLE_TYPE = plain_measures(CableType)
AREA = plain_measures(HazardousArea)
SITE = plain_measures(Site)
