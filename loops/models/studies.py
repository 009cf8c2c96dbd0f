"""A study: what a loop would be with a few things changed, kept under a name. It is no record and proves nothing."""

from django.conf import settings
from django.db import models

from loops.models.loops import Loop
from registry.models import Revision


class Study(models.Model):
    """Some columns of changes to one loop, judged anew whenever they are looked at.

    `columns` is a list of mappings from what is changed to the text that stands for it (loops.services.studies);
    `heads` says what each column, the present loop first, was judged to be when the study was kept.
    """

    loop = models.ForeignKey(Loop, on_delete=models.PROTECT, related_name="studies")
    name = models.CharField(max_length=120)
    started_from = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    columns = models.JSONField(default=list)
    heads = models.JSONField(default=list)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="studies")
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-changed_at", "-pk"]

    def __str__(self) -> str:
        return self.name
