"""Reading the register: what pages and the API show."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import models

from registry.fields import QuantityField, TypedTextField
from registry.models.base import Child


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
            data[field.name] = "" if key is None else str(key)
        else:
            value = getattr(record, field.name)
            data[field.name] = value.isoformat() if isinstance(value, dt.date) else "" if value is None else value
    for name in getattr(record, "revision_children", ()):
        data[name] = [record_text(child) for child in getattr(record, name).all()]
    return data
