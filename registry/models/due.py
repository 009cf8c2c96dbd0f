"""What was done because a day had come."""

from django.db import models


class DueRun(models.Model):
    """One piece of due work on one day, so that it is not done twice."""

    name = models.CharField(max_length=40)
    on = models.DateField()
    at = models.DateTimeField(auto_now_add=True)
    did = models.TextField(blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [models.UniqueConstraint(fields=["name", "on"], name="due_run_once_a_day")]

    def __str__(self) -> str:
        return f"{self.name} on {self.on}: {self.did}"
