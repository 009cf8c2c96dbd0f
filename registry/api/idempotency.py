"""A request that is sent twice is done once: by its header Idempotency-Key, for a day, whichever worker gets it.

The row that claims a key is written first, in the transaction of the request: a second request with the same key waits
for the first to end (PostgreSQL waits at the unique index, SQLite has one writer) and then gives its answer. What was
refused saved nothing and is not kept: it may be sent again, mended.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import transaction
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.errors import problem
from registry.api.requests import person
from registry.digests import digest
from registry.models import ApiToken, KeptAnswer
from registry.services.kept_answers import claimed
from registry.services.records import EntryRefused

HEADERS = ("ETag", "Location")
FORM = re.compile(r"[!-~]{1,200}")
OTHER_BODY = "This key was sent with another request before: make a new key for each request."


def once(handler: Callable[..., Response]) -> Callable[..., Response]:
    """A handler whose answer is kept under the key that a request brings; without a key it is called as it is."""

    @wraps(handler)
    def answered(view: Any, request: Request, *arguments: Any, **keywords: Any) -> Response:
        key = request.headers.get("Idempotency-Key")
        if key is None:
            return handler(view, request, *arguments, **keywords)
        if not FORM.fullmatch(key):
            raise EntryRefused({"Idempotency-Key": ["Give 1 to 200 letters, digits and signs without spaces."]})
        mark = mark_of(request)
        with transaction.atomic():
            kept, is_new = claimed(caller_of(request), key, mark)
            if not is_new:
                return again(kept, mark)
            response = handler(view, request, *arguments, **keywords)
            if response.status_code >= 400:
                transaction.set_rollback(True)
                return response
            kept.status, kept.body = response.status_code, plain(response.data)
            kept.headers = {name: response[name] for name in HEADERS if name in response}
            kept.save(update_fields=["status", "body", "headers"])
        return response

    return answered


def caller_of(request: Request) -> str:
    """Whose keys are looked at: those of a token, or of a person who came with a log-in."""
    if isinstance(request.auth, ApiToken):
        return f"token {request.auth.pk}"
    return f"user {person(request).pk}"


def mark_of(request: Request) -> str:
    """The digest of what is asked: method, address, body; of files their bytes."""
    data: Any = request.data
    if request.FILES:
        data = {name: request.data[name] for name in request.data if name not in request.FILES}
        for name, file in request.FILES.items():
            hashed = hashlib.sha256()
            for chunk in file.chunks():
                hashed.update(chunk)
            file.seek(0)
            data[name] = [str(file.name), hashed.hexdigest()]
    return digest([request.method, request.get_full_path(), data])


def again(kept: KeptAnswer, mark: str) -> Response:
    """The kept answer, or the refusal of a key that belongs to another request."""
    if kept.mark != mark:
        return problem("other_request", OTHER_BODY, 422, {"Idempotency-Key": [OTHER_BODY]})
    response = Response(kept.body, status=kept.status)
    for name, value in kept.headers.items():
        response[name] = value
    response["Idempotency-Replayed"] = "true"
    return response


def plain(data: Any) -> Any:
    """An answer as plain JSON data, times as the API writes them."""
    return json.loads(JSONRenderer().render(data))
