"""Files that belong to a record: the certificate itself, photos of nameplates, photos of what an inspection found."""

from django.conf import settings
from django.db import models

from registry.words import lazily as _

KINDS = [("certificate", _("Certificate")), ("equipment", _("Equipment")), ("inspection", _("Line of an inspection"))]


class Attachment(models.Model):
    """A file of a record, stored under the SHA-256 of its bytes. Append-only; never deleted, only retired."""

    kind = models.CharField(max_length=20, choices=KINDS)
    record_id = models.PositiveBigIntegerField()
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=40)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["kind", "record_id"], name="attachment_of_record")]
        constraints = [
            models.UniqueConstraint(fields=["kind", "record_id", "sha256"], name="attachment_once_per_record")
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def path(self) -> str:
        """Where the bytes lie in the storage."""
        return f"attachments/{self.sha256[:2]}/{self.sha256}"


class AttachmentRetirement(models.Model):
    """The statement that a file no longer counts, with the reason; its bytes stay. Append-only."""

    attachment = models.OneToOneField(Attachment, on_delete=models.PROTECT, related_name="retirement")
    reason = models.CharField(max_length=400)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    retired_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.attachment}: {self.reason}"
