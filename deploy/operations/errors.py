"""The answer to what nobody foresaw, and to a database that is away: a page, or the same in the shape of the API."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator

import psycopg
from django.db import OperationalError, connection
from django.http import HttpRequest, HttpResponse, HttpResponseServerError, JsonResponse
from django.template import loader
from django.utils import translation
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import requires_csrf_token
from django_guid import get_guid

from deploy.sqlite3.base import StillLocked
from registry.api.errors import BASE

TRY_AGAIN_AFTER_S = 30
ENDS = frozenset({"57P01", "57P02", "57P03", "57P05"})
"""What PostgreSQL says while it shuts down, has crashed, starts, or ends a connection that idled."""
CONNECTION_EXCEPTION = "08"
"""The class of what it says of a connection that failed (PostgreSQL, appendix A: error codes)."""
CLOSED_FILE = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_BUSY})


@requires_csrf_token
@never_cache
def server_error(request: HttpRequest, template_name: str = "500.html") -> HttpResponse:
    """Says that it was not the visitor's fault, with the mark by which the log tells of it. Nothing here asks the
    database. Django calls it while the error is handled."""
    mark = get_guid() or ""
    if is_away(sys.exc_info()[1]):
        return unavailable(request, mark)
    if request.path.startswith(BASE):
        message = f"Something went wrong within; nothing was saved. Tell the administrator of the mark {mark}."
        return JsonResponse({"code": "server_error", "message": message, "errors": {}}, status=500)
    return HttpResponseServerError(loader.get_template(template_name).render({"request_id": mark}))


def unavailable(request: HttpRequest, mark: str) -> HttpResponse:
    """Says that the database is away, in the language of the browser: what a person chose is kept there."""
    answer: HttpResponse
    if request.path.startswith(BASE):
        message = (
            "The database does not answer at present. A change is saved as a whole or not at all: try again in a "
            f"minute, with the same Idempotency-Key where one was sent. The mark in the log: {mark}."
        )
        answer = JsonResponse({"code": "unavailable", "message": message, "errors": {}}, status=503)
    else:
        with translation.override(translation.get_language_from_request(request)):
            answer = HttpResponse(loader.get_template("503.html").render({"request_id": mark}), status=503)
    answer.headers["Retry-After"] = str(TRY_AGAIN_AFTER_S)
    if hasattr(request, "session"):
        # It would be saved with any answer but a 500.
        request.session.modified = False
    return answer


def is_away(error: BaseException | None) -> bool:
    """Whether an error comes of a database that cannot be reached, shuts down, or stays locked by somebody else."""
    return any(isinstance(one, OperationalError) and tells_of_loss(one) for one in causes(error))


def causes(error: BaseException | None) -> Iterator[BaseException]:
    """An error and what it was raised over, the last first."""
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def tells_of_loss(error: OperationalError) -> bool:
    if isinstance(error, StillLocked):
        return True
    told = error.__cause__
    if isinstance(told, sqlite3.OperationalError):
        return told.sqlite_errorcode & 0xFF in CLOSED_FILE
    if not isinstance(told, psycopg.OperationalError):
        return False
    if told.sqlstate:
        return told.sqlstate in ENDS or told.sqlstate.startswith(CONNECTION_EXCEPTION)
    # The driver itself says so where the server said nothing; it also says other things, over a connection that holds.
    return not isinstance(connection.connection, psycopg.Connection) or connection.connection.closed
