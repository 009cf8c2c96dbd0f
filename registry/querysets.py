"""Lists of the register: what a page shows of each record is read in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Count, Model, OuterRef, Prefetch, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from registry import access
from registry.models import CableType, Certificate, Equipment, HazardousArea, Scheme, Site, Terminals, User

MAX_WORDS = 6
MAX_TEXT = 100


def search_text(text: str) -> str:
    """A search as typed, shortened and without what a database refuses."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text[:MAX_TEXT]).split())


def containing(queryset: QuerySet[Any], text: str, columns: Iterable[str]) -> QuerySet[Any]:
    """Records in which every word of a text is found in one of the columns."""
    for word in search_text(text).split(" ")[:MAX_WORDS]:
        if word:
            found = Q()
            for column in columns:
                found |= Q(**{f"{column}__icontains": word})
            queryset = queryset.filter(found)
    return queryset


def visible(model: type[Model], user: User) -> QuerySet[Any]:
    """What a person may see of one kind of record: the shared register whole, sites and areas where they belong."""
    if model is Site:
        return Site.objects.filter(pk__in=access.sites_of(user))
    if model is HazardousArea:
        return HazardousArea.objects.filter(site_id__in=access.sites_of(user)).select_related("site")
    return model._default_manager.all()


def with_terminals(queryset: QuerySet[Equipment]) -> QuerySet[Equipment]:
    """Equipment with its sets of terminals, their certificates and rows, in four queries."""
    terminals = Terminals.objects.select_related("certificate").prefetch_related("permitted", "temperature_classes")
    return queryset.prefetch_related(Prefetch("terminals", terminals))


def equipment_rows(queryset: QuerySet[Equipment]) -> QuerySet[Equipment]:
    """Equipment with terminals and certificates, and `loop_count`: in how many loops it is."""
    terminals = Terminals.objects.select_related("certificate")
    return queryset.prefetch_related(Prefetch("terminals", terminals)).annotate(
        loop_count=Count("terminals__members__circuit__loop", distinct=True)
    )


def certificate_rows(queryset: QuerySet[Certificate]) -> QuerySet[Certificate]:
    """Certificates with `equipment_count`, how many items rest on each, and `lead_days` of their scheme."""
    leads = Scheme.objects.filter(name=OuterRef("scheme")).values("lead_days")
    return queryset.annotate(
        equipment_count=Count("terminals__equipment", distinct=True), lead_days=Coalesce(Subquery(leads), Value(""))
    )


def scheme_rows(queryset: QuerySet[Scheme]) -> QuerySet[Scheme]:
    """Schemes with `certificate_count`: how many certificates name each."""
    named = Certificate.objects.filter(scheme=OuterRef("name")).order_by().values("scheme")
    counted = named.annotate(number=Count("pk")).values("number")
    return queryset.annotate(certificate_count=Coalesce(Subquery(counted), Value(0)))


def cable_type_rows(queryset: QuerySet[CableType]) -> QuerySet[CableType]:
    """Cable types with `loop_count`: in how many loops each is."""
    return queryset.annotate(loop_count=Count("runs__circuit__loop", distinct=True))


def site_rows(queryset: QuerySet[Site]) -> QuerySet[Site]:
    """Sites with `area_count` and `loop_count`."""
    return queryset.annotate(area_count=Count("areas", distinct=True), loop_count=Count("loops", distinct=True))


def area_rows(queryset: QuerySet[HazardousArea]) -> QuerySet[HazardousArea]:
    """Areas with their site and `loop_count`: how many loops have an item there."""
    return queryset.select_related("site").annotate(loop_count=Count("members__circuit__loop", distinct=True))
