"""Long work: what somebody asked for and the worker does, how far it is, and what came of it."""

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class WorkState(models.TextChoices):
    WAITING = "waiting", _("Waiting for the worker")
    RUNNING = "running", _("Under way")
    DONE = "done", _("Done")
    CANCELLED = "cancelled", _("Cancelled")
    FAILED = "failed", _("Failed")


ENDED = (WorkState.DONE, WorkState.CANCELLED, WorkState.FAILED)


class Work(models.Model):
    """One piece of long work of one person.

    `kind` names who does it (registry.services.works.RUNNERS), `asked` what is to be done as plain data. `words` is the
    outcome in a sentence, `result` what is kept of it as plain data; a file that came of it lies in the store under
    `stored_as` and is proved by its SHA-256.
    """

    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=200)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="works")
    asked = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=WorkState.choices, default=WorkState.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    cancel_asked = models.BooleanField(default=False)
    words = models.TextField(blank=True)
    result = models.JSONField(default=dict)
    stored_as = models.CharField(max_length=200, blank=True)
    file_name = models.CharField(max_length=200, blank=True)
    media_type = models.CharField(max_length=100, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.PositiveBigIntegerField(default=0)
    asked_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["person", "-id"], name="work_by_person")]

    def __str__(self) -> str:
        return self.title

    @property
    def has_ended(self) -> bool:
        return self.state in ENDED
