"""The workflow's record: who did what with which revision, and what was signed."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from loops.models.loops import Loop
from loops.models.verifications import Verification
from registry.models import Revision


class Verb(models.TextChoices):
    SUBMIT = "submit", _("Submitted for approval")
    TAKE_BACK = "take_back", _("Taken back to draft")
    RETURN = "return", _("Returned")
    APPROVE = "approve", _("Approved and issued")
    REOPEN = "reopen", _("Reopened by a change")
    WITHDRAW = "withdraw", _("Withdrawn")


class WorkflowEvent(models.Model):
    """One step of a loop through the workflow. Append-only."""

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="events")
    letter = models.CharField(max_length=4)
    verb = models.CharField(max_length=10, choices=Verb.choices)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    text = models.TextField(blank=True)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.loop} {self.letter}: {self.get_verb_display()}"


class SignedWith(models.TextChoices):
    """How a person proved that it was them who signed."""

    PASSWORD = "password", _("password")
    PASSKEY = "passkey", _("passkey")


class Approval(models.Model):
    """A signature under one revision and its verification. Append-only.

    The database itself refuses a signature by the submitter (constraint) and by anyone who saved the loop, submitted
    it, confirmed a matter of it or changed what it rests on since its last approval (trigger).
    """

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="approvals")
    letter = models.CharField(max_length=4)
    revision = models.OneToOneField(Revision, on_delete=models.PROTECT, related_name="approval")
    verification = models.OneToOneField(Verification, on_delete=models.PROTECT, related_name="approval")
    revision_digest = models.CharField(max_length=64)
    verification_digest = models.CharField(max_length=64)
    submitted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    approved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="approvals")
    approved_at = models.DateTimeField()
    prepared_name = models.CharField(max_length=120)
    printed_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=240)
    signed_with = models.CharField(max_length=10, choices=SignedWith.choices, default=SignedWith.PASSWORD)
    evidence = models.JSONField(
        default=dict, help_text=_("The signature of a passkey, to be checked again at any time.")
    )
    short_id = models.CharField(max_length=12, unique=True, null=True, help_text=_("Names it in its live address."))

    class Meta:
        ordering = ["loop_id", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["loop", "letter"], name="approval_letter_once"),
            models.CheckConstraint(condition=~Q(approved_by=F("submitted_by")), name="approver_is_not_submitter"),
        ]

    def __str__(self) -> str:
        return f"{self.loop} revision {self.letter}"
