"""What the engine said of one revision of a loop."""

from django.db import models

from registry.models import Revision
from registry.words import lazily as _


class LoopVerdict(models.TextChoices):
    COMPLIES = "complies", _("Complies")
    FAILS = "does_not_comply", _("Does not comply")
    INCOMPLETE = "incomplete", _("Incomplete")
    BEYOND = "beyond_simple_rules", _("Beyond simple rules")


class Purpose(models.TextChoices):
    """Which values a verdict rests on."""

    PINNED = "pinned", _("The values that the loop is pinned to")
    REGISTER = "register", _("The register as it stood on that day")


class Verification(models.Model):
    """The verdict on one loop revision with its inputs: one case document and one result for each circuit.

    The verdict of a loop is of purpose PINNED and rests on the revisions that the loop is pinned to. One of purpose
    REGISTER says beside it what the verdict would be with newer ones; nothing is signed by it.

    Append-only; database triggers refuse UPDATE and DELETE. `inputs` and `results` are lists in circuit order;
    `limiting` is the sentence that decides and `limiting_check` the check that it belongs to; `least_margin` the
    smallest margin of all judged quantities.
    """

    loop = models.ForeignKey("loops.Loop", on_delete=models.PROTECT, related_name="verifications")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="verifications")
    purpose = models.CharField(max_length=8, choices=Purpose.choices, default=Purpose.PINNED)
    engine = models.CharField(max_length=40)
    inputs = models.JSONField()
    results = models.JSONField()
    verdict = models.CharField(max_length=20, choices=LoopVerdict.choices)
    function_verdict = models.CharField(max_length=20, blank=True)
    limiting = models.TextField(blank=True)
    limiting_check = models.CharField(max_length=40, blank=True, default="")
    least_margin = models.DecimalField(max_digits=12, decimal_places=4, null=True)
    judged_on = models.DateField()
    digest = models.CharField(max_length=64)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.revision}: {self.get_verdict_display()}"
