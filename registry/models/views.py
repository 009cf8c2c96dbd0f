"""How people look at lists: the columns that each of them chose, and the views that a team shares."""

from django.conf import settings
from django.db import models

from registry.models.sites import Site
from registry.words import lazily as _


class ListLayout(models.Model):
    """The columns and the page size that one person chose for the list of one kind; empty is the usual."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="list_layouts")
    kind = models.CharField(max_length=20)
    columns = models.TextField(blank=True, help_text=_("Names of the columns, separated by commas."))
    page_size = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "kind"], name="list_layout_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.kind}"


class SavedView(models.Model):
    """Filters, order and columns of a list under a name, for everybody at a site; `query` is that of its address."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="saved_views")
    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=60)
    query = models.TextField(blank=True)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="saved_views")
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [models.UniqueConstraint(fields=["site", "kind", "name"], name="saved_view_name_once")]

    def __str__(self) -> str:
        return self.name
