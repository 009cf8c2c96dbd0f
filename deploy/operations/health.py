"""What an instance needs to answer requests, each asked quickly."""

from __future__ import annotations

import os
import time
import uuid
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.core.cache import cache
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage, storages
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from deploy.operations.schemas import Node

STORE_ASKED_EVERY_S = 10.0
"""A store over the network is asked this often, however often readiness is."""


class NotReady(Exception):
    """Something is missing; the text says what, for whoever keeps the instance."""


@lru_cache(1)
def wanted_migrations() -> frozenset[Node]:
    """All migrations of this version, read once for each process."""
    return frozenset(MigrationLoader(None).disk_migrations or {})


def database() -> None:
    """The database answers."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()


def migrations() -> None:
    """The database has the schema of this version."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT app, name FROM django_migrations")
        lacking = wanted_migrations() - set(cursor.fetchall())
    if lacking:
        raise NotReady(f"{len(lacking)} migrations are not applied: run manage.py migrate")


def cache_table() -> None:
    """What is put into the cache that all workers share comes out again."""
    key, value = f"readyz-{os.getpid()}", uuid.uuid4().hex
    cache.set(key, value, 30)
    if cache.get(key) != value:
        raise NotReady("what is put into the cache table does not come out again")


_store_asked_at = 0.0


def nearest_folder(place: Path) -> Path:
    """The place itself, or the nearest folder above it that is there."""
    while not place.exists() and place != place.parent:
        place = place.parent
    return place


def file_store() -> None:
    """The file store can be written to."""
    global _store_asked_at
    if isinstance(storages["default"], FileSystemStorage):
        place = nearest_folder(Path(settings.MEDIA_ROOT))
        if not os.access(place, os.W_OK | os.X_OK):
            raise NotReady(f"the file store {place} cannot be written")
        return
    if time.monotonic() - _store_asked_at >= STORE_ASKED_EVERY_S:
        default_storage.exists("readyz")
        _store_asked_at = time.monotonic()


def write_and_read() -> None:
    """A file that is written to the store comes out again, and can be deleted."""
    content = uuid.uuid4().hex.encode()
    name = default_storage.save(f"checks/{uuid.uuid4().hex}", ContentFile(content))
    try:
        with default_storage.open(name) as file:
            if file.read() != content:
                raise NotReady("what is written to the file store does not come out again")
    finally:
        default_storage.delete(name)


READY_CHECKS: dict[str, Callable[[], None]] = {
    "database": database,
    "migrations": migrations,
    "cache": cache_table,
    "files": file_store,
}
