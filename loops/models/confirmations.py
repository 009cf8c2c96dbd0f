"""What a person confirmed of a loop: conditions of use of its certificates, and what no calculation can know."""

from django.conf import settings
from django.db import models

from loops.models.loops import Loop
from registry.models import Revision
from registry.words import lazily as _


class Confirmation(models.Model):
    """One matter of a loop that a person confirmed, with how it is met, or the taking back of that. Append-only.

    `mark` names the matter: a digest over its text and over what it is about. A matter whose text, equipment or
    certificate changes has another mark, so that its confirmation no longer counts.
    """

    class Kind(models.TextChoices):
        CONDITION = "condition", _("Specific condition of use")
        GENERAL = "general", _("To be confirmed on site")

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="confirmations")
    letter = models.CharField(max_length=4)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=9, choices=Kind.choices)
    tag = models.CharField(max_length=40, blank=True, help_text=_("The item that the condition is about."))
    certificate_revision = models.ForeignKey(Revision, on_delete=models.PROTECT, null=True, related_name="+")
    number = models.PositiveSmallIntegerField(null=True, help_text=_("Number of the condition on its certificate."))
    text = models.TextField()
    mark = models.CharField(max_length=64, db_index=True)
    how = models.TextField(blank=True, help_text=_("How it is met, or why the confirmation was taken back."))
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="confirmations")
    printed_name = models.CharField(max_length=120)
    confirmed_at = models.DateTimeField()
    takes_back = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="taken_back")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.loop}: {self.text}"
