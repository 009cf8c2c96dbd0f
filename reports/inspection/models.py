"""Inspections: under way, signed, and the defects that they found."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from loops.models import Approval, Loop, SignedWith
from registry.models import Attachment, Revision
from registry.models.base import Record


class Grade(models.TextChoices):
    """How deep an inspection looks (IEC 60079-17:2013, clause 3, from memory)."""

    VISUAL = "visual", _("Visual")
    CLOSE = "close", _("Close")
    DETAILED = "detailed", _("Detailed")


class Occasion(models.TextChoices):
    INITIAL = "initial", _("Initial, before first use")
    PERIODIC = "periodic", _("Periodic")
    OTHER = "other", _("After work or an event")


class Result(models.TextChoices):
    OPEN = "", _("No result yet")
    OK = "ok", _("As it should be")
    DEFECT = "defect", _("Defect")
    NOT_CHECKED = "not_checked", _("Not checked")
    NOT_APPLICABLE = "not_applicable", _("Not applicable")


class Priority(models.TextChoices):
    """How soon a defect is to be remedied; the words and the days (DAYS) are common practice, no source."""

    URGENT = "1", _("1 – at once")
    SOON = "2", _("2 – within a month")
    PLANNED = "3", _("3 – at the next shutdown")


DAYS = {Priority.URGENT: 0, Priority.SOON: 30, Priority.PLANNED: 365}
"""Days until a defect of each priority is overdue, until somebody sets another day."""


class Inspection(models.Model):
    """An inspection of one loop, filled in line by line until it is signed or given up.

    It looks at what `revision` says: that of the issue in force, else the newest one, with `approval` empty.
    """

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="inspections")
    grade = models.CharField(max_length=8, choices=Grade.choices)
    occasion = models.CharField(max_length=8, choices=Occasion.choices)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    approval = models.ForeignKey(Approval, on_delete=models.PROTECT, null=True, related_name="+")
    items_version = models.CharField(max_length=10)
    remark = models.TextField(blank=True)
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    given_up_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["loop", "-id"], name="inspection_by_loop")]

    def __str__(self) -> str:
        return f"{self.loop}, {self.get_grade_display().lower()} inspection {self.pk}"

    @property
    def is_open(self) -> bool:
        return self.given_up_at is None and not hasattr(self, "signed")


class Line(models.Model):
    """One thing to look at in one place, what should be found there, and what was.

    `values` lists what may be found to differ (name, label, text on record); `target` says which row of the loop's
    content they belong to. `judgement` is the verdict with what was found in their place.
    """

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveSmallIntegerField()
    place = models.CharField(max_length=120)
    subject = models.CharField(max_length=60)
    item = models.CharField(max_length=20)
    text = models.CharField(max_length=200)
    expected = models.TextField(blank=True)
    values = models.JSONField(default=list)
    target = models.JSONField(default=dict)
    result = models.CharField(max_length=14, choices=Result.choices, blank=True, default="")
    found = models.JSONField(default=dict)
    note = models.CharField(max_length=1000, blank=True)
    priority = models.CharField(max_length=1, choices=Priority.choices, blank=True)
    judgement = models.JSONField(null=True)
    saved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    saved_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["inspection", "position"]
        constraints = [models.UniqueConstraint(fields=["inspection", "position"], name="inspection_line_once")]

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


class SignedInspection(models.Model):
    """An inspection as its inspector signed it: the whole content as plain data with its digest. Append-only.

    `is_complete` says that nothing was left unchecked: only then does it count for the next due date.
    """

    inspection = models.OneToOneField(Inspection, on_delete=models.PROTECT, related_name="signed")
    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="signed_inspections")
    grade = models.CharField(max_length=8, choices=Grade.choices)
    occasion = models.CharField(max_length=8, choices=Occasion.choices)
    content = models.JSONField()
    digest = models.CharField(max_length=64)
    defect_count = models.PositiveSmallIntegerField()
    is_complete = models.BooleanField()
    verdict = models.CharField(
        max_length=20, blank=True, help_text=_("With everything as it was found, where it differs.")
    )
    inspected_on = models.DateField()
    next_due_on = models.DateField(null=True)
    inspector = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    printed_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=240)
    signed_at = models.DateTimeField()
    signed_with = models.CharField(max_length=10, choices=SignedWith.choices, default=SignedWith.PASSWORD)
    evidence = models.JSONField(
        default=dict, help_text=_("The signature of a passkey, to be checked again at any time.")
    )

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["loop", "grade", "inspected_on"], name="inspected_by_loop")]

    def __str__(self) -> str:
        return str(self.inspection)


class DefectState(models.TextChoices):
    OPEN = "open", _("Open")
    ASSIGNED = "assigned", _("Assigned")
    DONE = "done", _("Done, not verified")
    VERIFIED = "verified", _("Verified")


class Defect(Record):
    """A defect of a loop until it is remedied and verified: where it stands now. What happened are its steps."""

    record_kind = "defect"

    line = models.OneToOneField(Line, on_delete=models.PROTECT, related_name="defect")
    signed = models.ForeignKey(SignedInspection, on_delete=models.PROTECT, related_name="defects")
    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="defects")
    text = models.CharField(max_length=1000)
    priority = models.CharField(max_length=1, choices=Priority.choices)
    verdict = models.CharField(max_length=20, blank=True, help_text=_("With what was found in place of the record."))
    state = models.CharField(max_length=8, choices=DefectState.choices, default=DefectState.OPEN)
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="assigned_defects"
    )
    due_on = models.DateField()

    class Meta:
        ordering = ["priority", "due_on", "pk"]
        indexes = [models.Index(fields=["state", "due_on"], name="defect_by_state")]

    def __str__(self) -> str:
        return f"{self.loop}, defect {self.pk}"

    @property
    def site_id(self) -> int:
        return self.loop.site_id


class DefectStep(models.Model):
    """One step of a defect on its way. Append-only."""

    class Verb(models.TextChoices):
        FOUND = "found", _("Found")
        ASSIGN = "assign", _("Assigned")
        DONE = "done", _("Reported as remedied")
        VERIFY = "verify", _("Verified")
        REOPEN = "reopen", _("Not remedied: open again")
        REMARK = "remark", _("Remark")

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="steps")
    verb = models.CharField(max_length=8, choices=Verb.choices)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    printed_name = models.CharField(max_length=120)
    at = models.DateTimeField()
    text = models.CharField(max_length=1000, blank=True)
    assigned_to = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    due_on = models.DateField(null=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.defect}: {self.get_verb_display()}"


PHOTO = "inspection"
"""The kind of attachments of a line."""


def photos_of(lines: list[Line]) -> dict[int, list[Attachment]]:
    """The photos of some lines that count, by line, in one query."""
    found: dict[int, list[Attachment]] = {line.pk: [] for line in lines}
    rows = Attachment.objects.filter(kind=PHOTO, record_id__in=list(found), retirement=None).order_by("pk")
    for row in rows:
        found[row.record_id].append(row)
    return found
