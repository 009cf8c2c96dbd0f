"""A provider of OpenID Connect for tests, at 127.0.0.1: discovery, token and user info (OpenID Connect Core 1.0, 3.1;
Discovery 1.0, 4), PKCE (RFC 7636, 4.6). PyJWT makes its tokens."""

from __future__ import annotations

import base64
import hashlib
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import jwt

CLIENT, SECRET = "unlit", "a-secret-of-the-test-and-of-nothing-else"


class Provider:
    """What the provider knows: whom it lets in next, by which claims."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.claims: dict[str, Any] = {}
        self.info: dict[str, Any] | None = None
        self.audience = CLIENT
        self.down = False
        self.challenges: dict[str, str] = {}

    def agree(self, authorize: str) -> str:
        """What the browser brings back after the person agreed: the query of the way back."""
        asked = {name: values[0] for name, values in parse_qs(urlsplit(authorize).query).items()}
        assert asked["response_type"] == "code" and asked["code_challenge_method"] == "S256"
        code = f"code-{len(self.challenges)}"
        self.challenges[code] = asked["code_challenge"]
        return f"?code={code}&state={asked['state']}"

    def answer(self, path: str, form: dict[str, str]) -> dict[str, Any] | None:
        if path == "/.well-known/openid-configuration":
            names = {"authorization_endpoint": "/authorize", "token_endpoint": "/token", "userinfo_endpoint": "/me"}
            found: dict[str, Any] = {name: self.address + part for name, part in names.items()}
            methods = ["client_secret_post"]
            return found | {"issuer": self.address, "token_endpoint_auth_methods_supported": methods, "jwks_uri": "x"}
        if path == "/token":
            digest = hashlib.sha256(form["code_verifier"].encode()).digest()
            proof = base64.urlsafe_b64encode(digest).rstrip(b"=").decode()
            if form["client_secret"] != SECRET or self.challenges.pop(form["code"], "") != proof:
                return None
            times = {"iat": int(time.time()), "exp": int(time.time()) + 60}
            token = {"iss": self.address, "aud": self.audience} | times | self.claims
            return {"access_token": "x", "token_type": "Bearer", "id_token": jwt.encode(token, "k" * 32)}
        if path == "/me":
            return self.claims if self.info is None else self.info
        return None


@contextmanager
def running() -> Iterator[Provider]:
    """The provider, answering until the block ends."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.reply({})

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            self.reply({name: values[0] for name, values in parse_qs(body).items()})

        def reply(self, form: dict[str, str]) -> None:
            found = None if provider.down else provider.answer(urlsplit(self.path).path, form)
            self.send_response(503 if provider.down else 400 if found is None else 200)
            self.send_header("Content-Type", "application/json")
            self.end_headers()
            self.wfile.write(json.dumps(found or {"error": "invalid_grant"}).encode())

        def log_message(self, *args: Any) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        provider = Provider(f"http://127.0.0.1:{server.server_address[1]}")
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield provider
        server.shutdown()
