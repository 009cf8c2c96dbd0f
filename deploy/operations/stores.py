"""The file store that several web nodes share: S3-compatible, by django-storages."""

from __future__ import annotations

from typing import Any

from botocore.config import Config
from storages.backends.s3 import S3Storage

CONNECT_TIMEOUT_S, READ_TIMEOUT_S, ATTEMPTS = 3, 20, 3


class SharedStore(S3Storage):
    """A bucket of one's own. Files are private, are never written over, and never reached past the site.

    As the store of a folder does, reading raises FileNotFoundError for what is not there.
    """

    def __init__(self, **options: Any) -> None:
        config = Config(
            connect_timeout=CONNECT_TIMEOUT_S,
            read_timeout=READ_TIMEOUT_S,
            retries={"max_attempts": ATTEMPTS, "mode": "standard"},
            signature_version="s3v4",
            s3={"addressing_style": "path"},
            # Stores other than the first of this kind do not all know the newer sums of requests.
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
        )
        fixed = {
            "client_config": config,
            "default_acl": None,
            "file_overwrite": False,
            "querystring_auth": True,
            # Small files stay in memory while they are read.
            "max_memory_size": 4_000_000,
        }
        super().__init__(**options | fixed)
