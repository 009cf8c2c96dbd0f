"""Python's search for cyclic garbage, put off where very many objects are made that are in no cycle."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Put off the search, which looks at all rows again with every pass: a third of the time of an import.

    What is in no cycle is given back at once all the same.
    """
    wanted = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if wanted:
            gc.enable()
