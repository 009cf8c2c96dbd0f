"""What proves that stored content is what it was: digests of content, and the marks that chain the change log."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from typing import Any

FIRST_MARK = "0" * 64
"""The previous mark of the first row of the change log."""

CHAINED = ("number", "actor_id", "actor_name", "verb", "kind", "record_id", "site_id", "label", "detail", "digest")
"""What a mark covers beside the time and the previous mark."""


def digest(content: Any) -> str:
    """SHA-256 over canonical JSON (sorted keys, no spaces, UTF-8)."""
    return digest_of(canonical(content))


def canonical(content: Any) -> str:
    """Content as canonical JSON: the text that its digest covers, which a database may be given as it is."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)


def digest_of(text: str) -> str:
    """SHA-256 over canonical JSON that is written out already."""
    return hashlib.sha256(text.encode()).hexdigest()


def mark_of(row: Mapping[str, Any]) -> str:
    """The mark of a row of the change log: the digest of all its columns with the mark of the row before it.

    The time counts in UTC to the microsecond, so that both databases and every time zone give the same mark.
    """
    content = {name: row[name] for name in CHAINED}
    content["at"] = row["at"].astimezone(dt.UTC).isoformat(timespec="microseconds")
    content["previous_mark"] = row["previous_mark"]
    return digest(content)
