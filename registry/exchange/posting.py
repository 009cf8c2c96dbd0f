"""Sending a small body to another system: to hosts that are allowed alone, once, without following it elsewhere.

The name of the host is looked up once; every address that it has must be allowed, and the connection goes to one of
those, so that nobody changes the answer between look-up and connection. TLS is checked against the name.
"""

from __future__ import annotations

import ipaddress
import socket
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

import urllib3

CONNECT_S, READ_S = 5, 10
MOST_READ = 2_000
"""So much of an answer is read; what it says is of no interest."""

Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class NotSent(Exception):
    """It was not sent, or no answer came; the text says why."""


@dataclass(frozen=True)
class Allowed:
    """Where may be sent to: origins such as https://hooks.example.org, and networks of one's own.

    An address that is not public is taken only within one of the networks.
    """

    origins: tuple[str, ...]
    networks: tuple[Network, ...] = ()

    def fault_of(self, url: str) -> str:
        """Why an address may not be sent to, as far as its text tells; empty where it may."""
        try:
            parts = urlsplit(url)
            port = parts.port
        except ValueError:
            return "This is no address: write, for example, https://hooks.example.org/unlit."
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.username is not None:
            return "This is no address: write, for example, https://hooks.example.org/unlit."
        if not url.isascii() or not url.isprintable() or " " in url or parts.fragment:
            return "Write the address in plain letters, without spaces and without a # part."
        if origin_of(parts.scheme, parts.hostname, port) not in self.origins:
            return "This host is not allowed: whoever runs the installation names it in WEBHOOK_ORIGINS."
        return ""

    def permits(self, address: str) -> bool:
        """Whether an IP address may be connected to."""
        found = ipaddress.ip_address(address.partition("%")[0])
        if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped:
            found = found.ipv4_mapped
        if any(found.version == network.version and found in network for network in self.networks):
            return True
        return found.is_global and not found.is_multicast


def origin_of(scheme: str, host: str, port: int | None) -> str:
    """The origin of an address, its port left out where it is the usual one."""
    shown = f"[{host}]" if ":" in host else host
    usual = {"http": 80, "https": 443}[scheme]
    return f"{scheme}://{shown.lower()}" + ("" if port in (None, usual) else f":{port}")


def addresses_of(host: str, port: int) -> Sequence[str]:
    """The IP addresses of a host. Raises NotSent."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotSent(f"The host {host} is not found.") from error
    return list(dict.fromkeys(str(row[4][0]) for row in found))


def post(url: str, body: bytes, headers: Mapping[str, str], allowed: Allowed) -> int:
    """Send a body and give the status of the answer. Raises NotSent.

    An answer that leads elsewhere (3xx) is an answer like any other: it is not followed.
    """
    if fault := allowed.fault_of(url):
        raise NotSent(fault)
    parts = urlsplit(url)
    host = parts.hostname or ""
    port = parts.port or {"http": 80, "https": 443}[parts.scheme]
    addresses = addresses_of(host, port)
    refused = [address for address in addresses if not allowed.permits(address)]
    if refused or not addresses:
        raise NotSent(f"{host} has the address {', '.join(refused)}, which is not public: name it in WEBHOOK_NETWORKS.")
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    timeout = urllib3.Timeout(connect=CONNECT_S, read=READ_S)
    pool: urllib3.HTTPConnectionPool
    if parts.scheme == "https":
        pool = urllib3.HTTPSConnectionPool(
            addresses[0], port, timeout=timeout, server_hostname=host, assert_hostname=host, ssl_context=tls_context()
        )
    else:
        pool = urllib3.HTTPConnectionPool(addresses[0], port, timeout=timeout)
    try:
        answer = pool.urlopen(
            "POST",
            target,
            body=body,
            headers=dict(headers) | {"Host": origin_of(parts.scheme, host, parts.port).partition("://")[2]},
            retries=False,
            redirect=False,
            assert_same_host=False,
            preload_content=False,
        )
        answer.read(MOST_READ)
        answer.close()
        return int(answer.status)
    except (urllib3.exceptions.HTTPError, OSError) as error:
        raise NotSent(f"{host} does not answer: {type(error).__name__}.") from error
    finally:
        pool.close()


def tls_context() -> ssl.SSLContext:
    """TLS as it is checked everywhere: the name, and a certificate that this machine trusts."""
    return ssl.create_default_context()
