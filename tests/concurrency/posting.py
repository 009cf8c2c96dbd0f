"""Requests to a running site by hand: a session's cookie, no library that would try again or follow a redirect."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

TOKEN = "a" * 32
"""The same in the cookie and in the request: that is what the site compares."""
TIMEOUT_S = 60


def request(port: int, method: str, path: str, cookie: str, body: str, **headers: str) -> tuple[int, bytes]:
    """Status and body of an answer. Raises OSError or HTTPException where none came whole."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
    try:
        sent = {"Cookie": f"sessionid={cookie}; csrftoken={TOKEN}", "X-CSRFToken": TOKEN} | headers
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def post(port: int, path: str, cookie: str, fields: dict[str, str]) -> int:
    """Send a form; the status."""
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    return request(port, "POST", path, cookie, urlencode(fields), **form)[0]


def put_json(port: int, path: str, cookie: str, content: Any, version: int) -> tuple[int, Any]:
    """Change a loop by the API; status and what was answered."""
    headers = {"Content-Type": "application/json", "If-Match": f'"{version}"'}
    status, body = request(port, "PUT", path, cookie, json.dumps(content), **headers)
    return status, json.loads(body) if status == 200 else None


def at_once(count: int, act: Callable[[int], int]) -> list[int]:
    """Have threads do something at the same moment; what each gave."""
    gate = threading.Barrier(count)
    given: list[int] = [0] * count

    def one(number: int) -> None:
        gate.wait()
        given[number] = act(number)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return given
