"""The services by which people may log in (OpenID Connect), as ``OIDC_PROVIDERS`` tells them.

A JSON list with one object a service::

    [{"id": "works", "name": "Works directory", "issuer": "https://id.example.org/realms/works",
      "client_id": "unlit", "client_secret": "…",
      "account_claim": "preferred_username", "groups_claim": "groups",
      "roles": {"ex-approvers": ["NORTH:approver"], "ex-readers": ["NORTH:reader", "SOUTH:reader"]}}]

``id`` is part of the address that the service sends people back to (``SITE_URL/login/with/works/callback/``). An
account is found at the first log-in by its user name, which the claim ``account_claim`` gives: only name a service that
gives each name to one person. ``roles`` is optional; the roles that it names are given and taken at each log-in by the
groups in ``groups_claim``, other roles stay as administrators gave them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from deploy.env_values import Fault

EXAMPLE = (
    '[{"id": "works", "name": "Works directory", "issuer": "https://id.example.org", "client_id": "unlit", '
    '"client_secret": "the secret that the service gave"}]'
)
NEEDED = ("id", "name", "issuer", "client_id", "client_secret")
DEFAULTS = {"account_claim": "preferred_username", "groups_claim": "groups"}
ROLES = ("reader", "designer", "approver", "planner", "keeper", "administrator")


def oidc_reader(schemes: tuple[str, ...]) -> Callable[[str], tuple[dict[str, Any], ...]]:
    """Reads services whose issuer has one of these schemes. A fault never repeats the text: it holds secrets."""

    def read(text: str) -> tuple[dict[str, Any], ...]:
        try:
            found = json.loads(text)
        except (ValueError, RecursionError):
            raise Fault("not JSON", EXAMPLE) from None
        if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
            raise Fault("not a JSON list of objects", EXAMPLE)
        providers = tuple(read_provider(item, schemes) for item in found)
        names = [item["id"] for item in providers]
        if len(set(names)) < len(names):
            raise Fault("two services with the same id", EXAMPLE)
        return providers

    return read


def read_provider(item: dict[str, Any], schemes: tuple[str, ...]) -> dict[str, Any]:
    for name in item:
        if name not in (*NEEDED, *DEFAULTS, "roles"):
            raise Fault("a service with a key that does not exist", EXAMPLE)
    for name in (*NEEDED, *DEFAULTS):
        if not isinstance(item.get(name, DEFAULTS.get(name)), str) or not item.get(name, DEFAULTS.get(name)):
            raise Fault(f"a service without {name}, or with one that is no text", EXAMPLE)
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,29}", item["id"]):
        raise Fault("a service whose id is not small letters, digits and hyphens", EXAMPLE)
    try:
        issuer = urlsplit(item["issuer"])
        usable = issuer.scheme in schemes and issuer.hostname and not issuer.query and not issuer.username
    except ValueError:
        usable = False
    if not usable:
        raise Fault("a service whose issuer is not the https address of an OpenID Connect provider", EXAMPLE)
    roles = item.get("roles", {})
    good = isinstance(roles, dict) and all(
        isinstance(given, list) and given and all(isinstance(role, str) and is_role(role) for role in given)
        for given in roles.values()
    )
    if not good:
        raise Fault(
            f'a service whose roles are not {{"group": ["SITE:role"]}} with a role of {", ".join(ROLES)}', EXAMPLE
        )
    return DEFAULTS | item | {"issuer": item["issuer"].rstrip("/"), "roles": roles}


def is_role(text: str) -> bool:
    site, _, role = text.rpartition(":")
    return bool(site) and role in ROLES
