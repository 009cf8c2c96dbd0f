"""What all versioned records share."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models


class Record(models.Model):
    """A record that is versioned on every save and archived instead of deleted.

    `version` counts saves and travels in every form, so that a stale edit is noticed. `record_kind` names the kind in
    revisions; `revision_children` names the reverse relations that belong to the record and are part of its snapshot.
    """

    record_kind: ClassVar[str] = ""
    revision_children: ClassVar[tuple[str, ...]] = ()

    version = models.PositiveIntegerField(default=0, editable=False)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        abstract = True

    def label(self) -> str:
        """How people call this record."""
        return str(self)

    @property
    def is_archived(self) -> bool:
        return self.archived_at is not None


class Child(models.Model):
    """A row that belongs to a record, in a stated order, and is saved and versioned with it.

    `snapshot_related` names the relations whose names a snapshot shows, so that they are read in the same query.
    """

    revision_children: ClassVar[tuple[str, ...]] = ()
    parent_field: ClassVar[str] = ""
    snapshot_related: ClassVar[tuple[str, ...]] = ()

    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        abstract = True
        ordering: ClassVar[Any] = ["position", "pk"]


def listed(*columns: str, name: str) -> models.Index:
    """An index that gives the records in use in the order of a list, with their keys."""
    return models.Index(fields=[*columns, "id"], condition=models.Q(archived_at=None), name=name)
