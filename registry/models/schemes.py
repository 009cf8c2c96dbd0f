"""Schemes of certification: who certifies, how its numbers look, how early an end is told."""

from __future__ import annotations

from django.db import models

from registry.models.base import Record
from registry.words import lazily as _

LEAD_DAYS = (180, 90, 30, 0)
"""Days before its end at which a certificate is told of, where its scheme says nothing else."""


def read_lead_days(text: str) -> tuple[int, ...]:
    """The days in a text like "180, 90, 30, 0", the longest first; LEAD_DAYS for an empty text."""
    days = {int(part) for part in text.split(",") if part.strip()}
    return tuple(sorted(days, reverse=True)) or LEAD_DAYS


class Scheme(Record):
    """A scheme under which certificates are issued. Certificates and sites name it by its name."""

    record_kind = "scheme"

    name = models.CharField(max_length=20, unique=True, help_text=_("As certificates and sites name it."))
    description = models.CharField(max_length=200, blank=True, help_text=_("Where it holds, and by which rules."))
    number_form = models.CharField(
        _("form of its numbers"),
        max_length=200,
        blank=True,
        help_text=(
            _(
                "# is a digit, @ a letter, * either; + after it: once "
                "or more, ? once or not at all; | parts two forms. "
                "Spaces, hyphens and an X or U at the end do not count. Leave empty where numbers have no common form."
            )
        ),
    )
    number_example = models.CharField(
        _("example of a number"), max_length=60, blank=True, help_text=_("A number that has this form.")
    )
    lead_days = models.CharField(
        _("days before an end"),
        max_length=60,
        default=", ".join(map(str, LEAD_DAYS)),
        help_text=_("When the end of a certificate is told, in days before it; 0 is the last day itself."),
    )
    needs_control_drawing = models.BooleanField(
        _("needs a control drawing"),
        default=False,
        help_text=_("What is certified is installed by its control drawing: certificates name it."),
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def leads(self) -> tuple[int, ...]:
        """Days before an end at which it is told, the longest first."""
        return read_lead_days(self.lead_days)
