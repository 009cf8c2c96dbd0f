"""One shape for every refusal of the API: {"code", "message", "errors": {path: [messages]}}."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from registry.services.records import EntryRefused, StaleRecord


def problem(code: str, message: str, status: int, errors: dict[str, list[str]] | None = None) -> Response:
    """A refusal as a response."""
    return Response({"code": code, "message": message, "errors": errors or {}}, status=status)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an exception in the one shape; None leaves an unforeseen one to Django."""
    if isinstance(error, EntryRefused):
        return problem("invalid", "Nothing was saved: some values cannot be read or cannot be true.", 400, error.errors)
    if isinstance(error, StaleRecord):
        return problem("stale", str(error), 409)
    if isinstance(error, Http404):
        return problem("not_found", "There is nothing at this address that you may see.", 404)
    if isinstance(error, PermissionDenied):
        return problem("forbidden", str(error) or "You may not do this.", 403)
    response = exception_handler(error, context)
    if response is None or not isinstance(error, exceptions.APIException):
        return response
    code = error.default_code if isinstance(error.default_code, str) else "error"
    detail = error.detail if isinstance(error.detail, str) else "The request cannot be read."
    response.data = {"code": code, "message": str(detail), "errors": {}}
    return response
