"""The change log: one row for everything that was done, chained so that no row can be altered without a trace."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from registry.models.sites import Site


class Deed(models.TextChoices):
    """What was done. The words of the log's column `verb`."""

    ADD = "add", _("Added")
    CHANGE = "change", _("Changed")
    ARCHIVE = "archive", _("Archived")
    RESTORE = "restore", _("Brought back")
    ACCESS = "access", _("Roles or access changed")
    PASSWORD = "password", _("Password set")
    FACTOR = "factor", _("Second factor changed")
    SUBMIT = "submit", _("Submitted for approval")
    TAKE_BACK = "take_back", _("Taken back to draft")
    RETURN = "return", _("Returned")
    APPROVE = "approve", _("Approved")
    REOPEN = "reopen", _("Reopened by a change")
    ISSUE = "issue", _("Sheet issued")
    WITHDRAW = "withdraw", _("Withdrawn")
    CONFIRM = "confirm", _("Confirmed")
    RETRACT = "retract", _("Confirmation taken back")
    ATTACH = "attach", _("File attached")
    ASK = "ask", _("Review asked")
    ANSWER = "answer", _("Review answered")
    REMARK = "remark", _("Remark")
    SUPERSEDE = "supersede", _("Superseded by the next issue")
    BASIS = "basis", _("Basis changed")
    INSPECT = "inspect", _("Inspected")
    DISCARD = "discard", _("Inspection given up")
    DEFECT = "defect", _("Defect followed up")
    REVERIFY = "reverify", _("Judged again")


class Change(models.Model):
    """One deed. Append-only; `registry.services.changes` alone writes rows.

    `number` counts without gaps. `digest` is that of the revision, sheet or file that the deed left behind; `mark` is
    registry.digests.mark_of the row, which covers the mark of the row before. `kind` and `record_id` name the record
    as in revisions; `site` is empty for what the whole installation shares. `detail` holds texts, whole numbers,
    truths, lists and objects of these alone: they write the same on every database.
    """

    number = models.BigIntegerField(unique=True)
    at = models.DateTimeField()
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=150)
    verb = models.CharField(max_length=20)
    kind = models.CharField(max_length=20)
    record_id = models.BigIntegerField(null=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="+")
    label = models.CharField(max_length=240)
    detail = models.JSONField(default=dict)
    digest = models.CharField(max_length=64, blank=True)
    previous_mark = models.CharField(max_length=64)
    mark = models.CharField(max_length=64)

    class Meta:
        ordering = ["-number"]
        indexes = [
            models.Index(fields=["kind", "record_id", "-number"], name="change_by_record"),
            models.Index(fields=["site", "-number"], name="change_by_site"),
            models.Index(fields=["actor", "-number"], name="change_by_actor"),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.label} – {self.verb_text}"

    @property
    def verb_text(self) -> str:
        """The deed in words."""
        return str(Deed(self.verb).label) if self.verb in Deed.values else self.verb
