"""Counts for Prometheus, of all processes of gunicorn together, and what waits in the database."""

from __future__ import annotations

import os
from collections.abc import Iterator

from django.conf import settings
from django.db import Error
from django.utils import timezone
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest, multiprocess
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from registry.models import Change, Work, WorkState
from registry.services.due import has_worker

TEXT_TYPE = CONTENT_TYPE_LATEST


class Waiting(Collector):
    """What is counted in the database when it is asked for: the same from every process and node."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        info = GaugeMetricFamily("unlit_info", "Version of the product", labels=["version"])
        info.add_metric([settings.VERSION], 1)
        yield info
        try:
            waiting, oldest_s, failed = tasks()
            works = Work.objects.filter(state__in=[WorkState.WAITING, WorkState.RUNNING]).count()
            last = Change.objects.order_by("-number").values_list("number", flat=True).first() or 0
        except Error:
            yield GaugeMetricFamily("unlit_database_up", "Whether the database answers", value=0)
            return
        yield GaugeMetricFamily("unlit_database_up", "Whether the database answers", value=1)
        yield GaugeMetricFamily("unlit_tasks_waiting", "Tasks that wait for a worker", value=waiting)
        yield GaugeMetricFamily("unlit_tasks_oldest_seconds", "How long the oldest task has waited", value=oldest_s)
        yield GaugeMetricFamily("unlit_tasks_failed", "Tasks that failed and are kept", value=failed)
        yield GaugeMetricFamily("unlit_works_open", "Long work that waits or is under way", value=works)
        yield GaugeMetricFamily("unlit_change_log_lines", "Lines of the change log", value=last)


def tasks() -> tuple[int, float, int]:
    """How many tasks wait, how long the oldest of them has, and how many failed."""
    if not has_worker():
        return 0, 0.0, 0
    from django_tasks_db.models import DBTaskResult

    ready = DBTaskResult.objects.ready()
    oldest = ready.order_by("enqueued_at").values_list("enqueued_at", flat=True).first()
    age = (timezone.now() - oldest).total_seconds() if oldest else 0.0
    return ready.count(), max(age, 0.0), DBTaskResult.objects.failed().count()


def metrics_text() -> bytes:
    """All counts in the format of Prometheus."""
    own = CollectorRegistry()
    own.register(Waiting())
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        together = CollectorRegistry()
        multiprocess.MultiProcessCollector(together)
    else:
        together = REGISTRY
    return generate_latest(together) + generate_latest(own)
