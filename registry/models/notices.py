"""What people are told: each line waits in the inbox of one person until they have read it."""

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class NoticeKind(models.TextChoices):
    REVIEW = "review", _("Review asked")
    RETURNED = "returned", _("Returned")
    APPROVED = "approved", _("Approved")
    BASIS = "basis", _("Basis changed")
    EXPIRY = "expiry", _("Runs out")
    FORESEEN = "foreseen", _("Foreseen")
    WORK = "work", _("Long work")
    INSPECTION = "inspection", _("Inspection")
    DEFECT = "defect", _("Defect")
    PROPOSED = "proposed", _("Replacement proposed")


class MailHold(models.Model):
    """While there is one, nobody is mailed: the site was put back from a backup of another address, and may be a copy
    that people must not hear from. Inboxes are filled as ever."""

    since = models.DateTimeField(default=timezone.now)
    origin = models.CharField(max_length=300, blank=True, help_text="The address that the backup was made at.")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"since {self.since:%Y-%m-%d}, from {self.origin or 'an address that is not known'}"


class Notice(models.Model):
    """One line for one person; `link` is an address of the site without its host."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="notices")
    at = models.DateTimeField(default=timezone.now)
    kind = models.CharField(max_length=10, choices=NoticeKind.choices)
    subject = models.CharField(max_length=300)
    link = models.CharField(max_length=300)
    read_at = models.DateTimeField(null=True)
    mailed_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["person", "read_at"], name="notice_by_person")]

    def __str__(self) -> str:
        return self.subject
