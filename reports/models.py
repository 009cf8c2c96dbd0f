"""What left the house."""

from django.db import models

from loops.models import Approval
from reports.inspection.models import Defect, DefectStep, Inspection, Line, SignedInspection


class Sheet(models.Model):
    """A loop sheet as it was issued: rendered once, its bytes kept. Append-only."""

    approval = models.OneToOneField(Approval, on_delete=models.PROTECT, related_name="sheet")
    number = models.CharField(max_length=80, unique=True)
    bytes = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return self.number


__all__ = ["Defect", "DefectStep", "Inspection", "Line", "Sheet", "SignedInspection"]
