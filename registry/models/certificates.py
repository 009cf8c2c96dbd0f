"""Certificates: the papers that a register item rests on."""

from __future__ import annotations

import datetime as dt
from typing import cast

from django.db import models
from django.utils.translation import pgettext_lazy

from registry.certificate_numbers import suffix_of
from registry.models.base import Record, listed
from registry.words import lazily as _


class CertificateStatus(models.TextChoices):
    CURRENT = "current", cast(str, pgettext_lazy("certificate", "Current"))
    SUPERSEDED = "superseded", _("Superseded")
    SUSPENDED = "suspended", _("Suspended")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class Certificate(Record):
    """One issue of one certificate."""

    record_kind = "certificate"

    scheme = models.CharField(max_length=20)
    number = models.CharField(
        max_length=60,
        help_text=(
            _(
                "As printed. X at its end: specific conditions of use. "
                "U at its end: a component, which is refused for use "
                "on its own."
            )
        ),
    )
    issue = models.CharField(max_length=12, default="0", help_text=_("Issue or supplement; the first is 0."))
    holder = models.CharField(max_length=120, blank=True)
    standards = models.CharField(
        max_length=600, blank=True, help_text=_("Standards named on it, each with its edition, separated by commas.")
    )
    control_drawing = models.CharField(
        max_length=120, blank=True, help_text=_("Number and revision, where the scheme works by control drawings.")
    )
    issued_on = models.DateField(null=True, blank=True)
    valid_to = models.DateField(
        _("valid for new supply until"),
        null=True,
        blank=True,
        help_text=_("Leave empty where the certificate carries no end date."),
    )
    follows = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="followed_by"
    )
    """The issue that this one superseded."""
    status = models.CharField(max_length=12, choices=CertificateStatus.choices, default=CertificateStatus.CURRENT)
    specific_conditions = models.TextField(
        blank=True, help_text=_("Specific conditions of use (X), one a line; each must be met by the installation.")
    )

    class Meta:
        ordering = ["number", "issue"]
        constraints = [models.UniqueConstraint(fields=["number", "issue"], name="certificate_issue_once")]
        indexes = [
            listed("number", "issue", name="certificate_by_number"),
            models.Index(fields=["scheme", "number", "id"], name="certificate_by_scheme"),
            listed("holder", "number", name="certificate_by_holder"),
            listed("status", "number", name="certificate_by_status"),
            listed("valid_to", "number", name="certificate_by_end"),
            listed("issued_on", "number", name="certificate_by_day"),
            listed("changed_at", name="certificate_by_change"),
        ]

    def __str__(self) -> str:
        return f"{self.number} issue {self.issue}"

    @property
    def suffix(self) -> str:
        """ "X", "U" or nothing."""
        return suffix_of(self.number)

    def has_run_out(self, today: dt.date) -> bool:
        """Whether the end date lies before `today`; the last day itself is still valid."""
        return self.valid_to is not None and self.valid_to < today
