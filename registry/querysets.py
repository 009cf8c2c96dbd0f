"""Lists of the register: what a page shows of each record is read in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection
from django.db.models import Count, Field, Model, OuterRef, Prefetch, QuerySet, Subquery, Value
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce

from registry import access
from registry.models import CableType, Certificate, Equipment, HazardousArea, Scheme, Site, Terminals, User
from registry.text_search import holding

MAX_WORDS = 6
MAX_TEXT = 100

VALUES_IN_USE = """
WITH RECURSIVE used (value) AS (
    SELECT MIN({name}) FROM {table} WHERE {name} > ''
    UNION ALL
    SELECT (SELECT MIN({name}) FROM {table} WHERE {name} > used.value) FROM used WHERE used.value IS NOT NULL
)
SELECT value FROM used WHERE value IS NOT NULL LIMIT %s
"""

LOOP_ROWS: dict[str, tuple[type[Model], str, str]] = {
    "equipment": (Terminals, "members", "terminals__equipment"),
    "cable_type": (CableType, "runs", "cable_type"),
    "area": (HazardousArea, "members", "area"),
}
"""Which rows of circuits name a record of a kind: a relation that leads to them, and their column."""


def search_text(text: str) -> str:
    """A search as typed, shortened and without what a database refuses."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text[:MAX_TEXT]).split())


def containing(queryset: QuerySet[Any], text: str, columns: Iterable[str]) -> QuerySet[Any]:
    """Records in which every word of a text is found in one of the columns."""
    words = [word for word in search_text(text).split(" ")[:MAX_WORDS] if word]
    return holding(queryset, tuple(columns), words) if words else queryset


def in_use(model: type[Model], column: str, most: int = 500) -> list[str]:
    """The different texts of a column in order, empty left out: one look into its index for each, however many rows."""
    quote = connection.ops.quote_name
    field = model._meta.get_field(column)
    assert isinstance(field, Field)
    name, table = quote(field.column), quote(model._meta.db_table)
    # Text of this program alone makes the statement: the names of a table and a column.
    sql = VALUES_IN_USE.format(name=name, table=table)
    with connection.cursor() as cursor:
        cursor.execute(sql, [most])
        return [value for (value,) in cursor.fetchall()]


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
    """Equipment with terminals and certificates."""
    return queryset.prefetch_related(Prefetch("terminals", Terminals.objects.select_related("certificate")))


# ---------------------------------------------------------------- numbers beside the records of a page, one query each


def counts_of(records: Sequence[Model], rows: QuerySet[Any], column: str, counted: str) -> dict[int, int]:
    """How many different values of `counted` there are in rows for each record that `column` names."""
    keys = [record.pk for record in records]
    found = rows.filter(**{f"{column}__in": keys}).order_by().values_list(column)
    return dict(found.annotate(number=Count(counted, distinct=True)))


def count_loops(kind: str, records: list[Any]) -> None:
    """Write `loop_count` into records of a kind: in how many loops each is."""
    owner, relation, column = LOOP_ROWS[kind]
    rows: type[Model] = owner._meta.get_field(relation).related_model  # type: ignore[assignment]
    found = counts_of(records, rows._default_manager.all(), column, "circuit__loop")
    for record in records:
        record.loop_count = found.get(record.pk, 0)


def count_equipment(records: list[Any]) -> None:
    """Write into certificates `equipment_count`, how many items rest on each, and `lead_days` of their scheme."""
    found = counts_of(records, Terminals.objects.all(), "certificate", "equipment")
    leads = dict(Scheme.objects.values_list("name", "lead_days"))
    for record in records:
        record.equipment_count = found.get(record.pk, 0)
        record.lead_days = leads.get(record.scheme, "")


def certificates_of_scheme() -> Combinable:
    """How many certificates name a scheme, as an annotation of schemes."""
    named = Certificate.objects.filter(scheme=OuterRef("name")).order_by().values("scheme")
    return Coalesce(Subquery(named.annotate(number=Count("pk")).values("number")), Value(0))


def count_certificates(records: list[Any]) -> None:
    """Write `certificate_count` into schemes: how many certificates name each."""
    named = Certificate.objects.filter(scheme__in=[record.name for record in records]).order_by().values_list("scheme")
    found = dict(named.annotate(Count("pk")))
    for record in records:
        record.certificate_count = found.get(record.name, 0)


def count_of_sites(records: list[Any]) -> None:
    """Write `area_count` and `loop_count` into sites."""
    loops: type[Model] = Site._meta.get_field("loops").related_model  # type: ignore[assignment]
    areas = counts_of(records, HazardousArea.objects.all(), "site", "pk")
    in_loops = counts_of(records, loops._default_manager.all(), "site", "pk")
    for record in records:
        record.area_count, record.loop_count = areas.get(record.pk, 0), in_loops.get(record.pk, 0)
