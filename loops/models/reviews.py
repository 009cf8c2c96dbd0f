"""What people say of a loop on its way to issue, and the end of an issue: reviewers asked, remarks, withdrawals."""

from django.conf import settings
from django.db import models

from loops.models.approvals import Approval
from loops.models.loops import Loop
from registry.models import Revision
from registry.words import lazily as _


class ReviewRequest(models.Model):
    """A person who was asked to review one submission of a loop. Append-only."""

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="review_requests")
    letter = models.CharField(max_length=4)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    reviewer = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="review_requests")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.loop} {self.letter}: {self.reviewer}"


class ReviewAnswer(models.Model):
    """How a request to review ended. Append-only."""

    class Word(models.TextChoices):
        AGREED = "agreed", _("Reviewed, no objection")
        OBJECTED = "objected", _("Objects")
        EXCUSED = "excused", _("No longer asked")

    request = models.OneToOneField(ReviewRequest, on_delete=models.PROTECT, related_name="answer")
    word = models.CharField(max_length=8, choices=Word.choices)
    text = models.TextField(blank=True)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    printed_name = models.CharField(max_length=120)
    answered_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.request}: {self.get_word_display()}"


class Remark(models.Model):
    """A remark on a check or field of a loop, or what was said to one. Append-only.

    A remark begins a thread; answers follow it, and it is settled or taken up again by further rows.
    """

    class Kind(models.TextChoices):
        REMARK = "remark", _("Remark")
        ANSWER = "answer", "Answer"
        SETTLED = "settled", _("Settled")
        REOPENED = "reopened", _("Taken up again")

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="remarks")
    letter = models.CharField(max_length=4)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    thread = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="replies")
    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.REMARK)
    about = models.CharField(max_length=240, blank=True, help_text=_("The check or field; empty: the whole loop."))
    text = models.TextField(blank=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="remarks")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.loop}: {self.about or 'the whole loop'}"

    @property
    def said(self) -> list["Remark"]:
        """What was said to this remark, oldest first."""
        return sorted(self.replies.all(), key=lambda reply: reply.pk)

    @property
    def is_open(self) -> bool:
        """Whether this remark still waits: it was not settled, or taken up again since."""
        ends = [reply.kind for reply in self.said if reply.kind != self.Kind.ANSWER]
        return not ends or ends[-1] == self.Kind.REOPENED


class Withdrawal(models.Model):
    """The end of an issue that must no longer be used. Append-only."""

    approval = models.OneToOneField(Approval, on_delete=models.PROTECT, related_name="withdrawal")
    reason = models.TextField()
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    printed_name = models.CharField(max_length=120)
    withdrawn_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.approval} withdrawn"
