"""Reading the register: what pages and the API show."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import models

from registry import access
from registry.fields import QuantityField, TypedTextField
from registry.models import Certificate, Revision, Scheme, Site, User
from registry.models.base import Child, Record

LOOPS_BY_KIND = {
    "equipment": "circuits__members__terminals__equipment",
    "certificate": "circuits__members__terminals__certificate",
    "cable_type": "circuits__cables__cable_type",
    "area": "circuits__members__area",
    "site": "site",
}


def certificates_numbered(number: str, issue: str = "") -> list[Certificate]:
    """The certificates in use with this number, whatever its capitals; those of one issue where it is given."""
    found = Certificate.objects.filter(number__iexact=number.strip(), archived_at=None)
    return list(found.filter(issue__iexact=issue.strip()) if issue.strip() else found)


def record_text(record: models.Model) -> dict[str, Any]:
    """A record as the nested text that its form shows and its entry reads; the way back is registry.reading."""
    data: dict[str, Any] = {"id": record.pk} if isinstance(record, Child) else {}
    for field in record._meta.concrete_fields:
        if field.primary_key or not field.editable or isinstance(field, TypedTextField) or field.name == "position":
            continue
        if isinstance(record, Child) and field.name == record.parent_field:
            continue
        if isinstance(field, QuantityField):
            data[field.name] = getattr(record, field.text_name)
        elif field.is_relation:
            key = getattr(record, field.attname)
            data[field.name] = "" if key is None else key
        else:
            value = getattr(record, field.name)
            data[field.name] = value.isoformat() if isinstance(value, dt.date) else "" if value is None else value
    for name in getattr(record, "revision_children", ()):
        data[name] = [record_text(child) for child in getattr(record, name).all()]
    return data


def loops_using(record: Record, user: User) -> tuple[models.QuerySet[Any], int]:
    """The loops in which a record of the register is used: those at the person's sites, and how many there are in all.

    Loops are reached from their site: the register does not know them otherwise.
    """
    loop: type[models.Model] = Site._meta.get_field("loops").related_model  # type: ignore[assignment]
    if isinstance(record, Scheme):
        condition: dict[str, Any] = {"circuits__members__terminals__certificate__scheme": record.name}
    else:
        condition = {LOOPS_BY_KIND[record.record_kind]: record}
    using = loop._default_manager.filter(**condition).distinct()
    here = using.filter(site_id__in=access.sites_of(user)).select_related("site").order_by("site__code", "tag")
    return here, using.count()


def revisions_of(record: Record) -> models.QuerySet[Revision]:
    """All revisions of a record, newest first."""
    return (
        Revision.objects.filter(kind=record.record_kind, record_id=record.pk)
        .select_related("author")
        .order_by("-number")
    )


def newest_number(record: Record) -> int:
    """Number of the newest revision of a record, 0 where there is none."""
    return revisions_of(record).values_list("number", flat=True).first() or 0
