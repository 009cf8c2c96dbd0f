"""Results of pure functions of stored content, kept in the memory of a worker under the digest of that content.

Nothing that is kept can become wrong: other content has another digest, and what makes it ends with the process. What
is put into words is kept for each language.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from django.core.cache import caches
from django.utils.translation import get_language

R = TypeVar("R")
WORKER = "worker"
"""The cache of this process alone (settings.CACHES)."""
NOTHING = object()


def remembered(name: str, content: str, make: Callable[[], R]) -> R:
    """What `make` gives, which depends on the content with this digest and on nothing else; made once and kept."""
    key = f"{name}:{get_language()}:{content}"
    cache = caches[WORKER]
    found = cache.get(key, NOTHING)
    if found is NOTHING:
        found = make()
        cache.set(key, found, None)
    return found
