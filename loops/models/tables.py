"""Ignition-curve tables that a site uses in place of the built-in ones."""

from django.conf import settings
from django.db import models

from registry.models import Site
from registry.words import lazily as _


class CurveTable(models.Model):
    """A site's own table A.1 or A.2, as loaded. Append-only.

    The newest row of a site and kind is in force; one without content goes back to the built-in table.
    """

    class Kind(models.TextChoices):
        CURRENT = "A.1", _("A.1: permitted current")
        CAPACITANCE = "A.2", _("A.2: permitted capacitance")

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="curve_tables")
    kind = models.CharField(max_length=3, choices=Kind.choices)
    name = models.CharField(max_length=120, blank=True)
    content = models.TextField(blank=True, help_text=_("The file as it was loaded (CSV)."))
    digest = models.CharField(max_length=64, blank=True)
    loaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    loaded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.name} ({self.digest[:12]})" if self.content else f"Built-in table {self.kind}"
