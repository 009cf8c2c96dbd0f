"""What a record used to say: one row for every save, never changed."""

from django.conf import settings
from django.db import models

from registry.words import lazily as _


class Origin(models.TextChoices):
    PAGE = "page", _("Page")
    API = "api", "API"
    IMPORT = "import", _("Import")
    DEMO = "demo", _("Demo data")
    LOG_IN = "log_in", _("Log-in service")


class Revision(models.Model):
    """The whole content of a record after one save. Append-only; database triggers refuse UPDATE and DELETE."""

    kind = models.CharField(max_length=20)
    record_id = models.BigIntegerField()
    number = models.PositiveIntegerField()
    label = models.CharField(max_length=240)
    snapshot = models.JSONField()
    digest = models.CharField(max_length=64)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="revisions")
    origin = models.CharField(max_length=8, choices=Origin.choices)
    reason = models.CharField(max_length=400, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["kind", "record_id", "-number"]
        constraints = [models.UniqueConstraint(fields=["kind", "record_id", "number"], name="revision_number_once")]

    def __str__(self) -> str:
        return f"{self.label}, revision {self.number}"
