"""What an issue in force rests on and was changed since."""

from django.db import models

from loops.models.approvals import Approval
from loops.models.verifications import Verification
from registry.models import Revision


class BasisChange(models.Model):
    """A change in the register that touches the proof of an issue. Append-only.

    `revision` is that of the record that was changed, `verification` the verdict with the register as it then stood.
    """

    approval = models.ForeignKey(Approval, on_delete=models.PROTECT, related_name="basis_changes")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    verification = models.ForeignKey(Verification, on_delete=models.PROTECT, null=True, related_name="+")
    reason = models.TextField()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [models.UniqueConstraint(fields=["approval", "revision"], name="basis_change_once")]

    def __str__(self) -> str:
        return f"{self.approval}: {self.reason}"
