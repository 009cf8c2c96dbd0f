"""A passkey in software, after WebAuthn Level 2 (W3C Recommendation, 2021), 6.1, 6.5 and 7: key and signature by
`cryptography`, CBOR by hand for the few shapes that are needed. Chromium's own one plays in tests/journeys."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import struct
from typing import Any

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

USER_PRESENT, USER_VERIFIED, ATTESTED = 0x01, 0x04, 0x40


def b64(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def cbor_bytes(data: bytes) -> bytes:
    """A byte string of up to 65535 bytes (RFC 8949, major type 2)."""
    return (b"\x58" + bytes([len(data)]) if len(data) < 256 else b"\x59" + struct.pack(">H", len(data))) + data


class Passkey:
    """One key pair, at one host; `verifies` is whether the device asks for a PIN, finger or face."""

    def __init__(self, host: str = "testserver", origin: str = "https://testserver", verifies: bool = True) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.id = os.urandom(32)
        self.host, self.origin, self.verifies = host, origin, verifies
        self.user_handle = b""

    def flags(self) -> int:
        return USER_PRESENT | (USER_VERIFIED if self.verifies else 0)

    def client_data(self, kind: str, challenge: str) -> bytes:
        return json.dumps({"type": kind, "challenge": challenge, "origin": self.origin, "crossOrigin": False}).encode()

    def create(self, options: dict[str, Any], alone: bool = False) -> str:
        """The answer to creation options: a "none" attestation (8.7) over a P-256 key (COSE, RFC 9053)."""
        asked = options["publicKey"]
        self.user_handle = base64.urlsafe_b64decode(asked["user"]["id"] + "==")
        numbers = self.key.public_key().public_numbers()
        x, y = (number.to_bytes(32, "big") for number in (numbers.x, numbers.y))
        cose = b"\xa5\x01\x02\x03\x26\x20\x01\x21" + cbor_bytes(x) + b"\x22" + cbor_bytes(y)
        data = hashlib.sha256(self.host.encode()).digest() + bytes([self.flags() | ATTESTED]) + bytes(4)
        data += bytes(16) + struct.pack(">H", len(self.id)) + self.id + cose
        attestation = b"\xa3\x63fmt\x64none\x67attStmt\xa0\x68authData" + cbor_bytes(data)
        client_data = self.client_data("webauthn.create", asked["challenge"])
        response = {"clientDataJSON": b64(client_data), "attestationObject": b64(attestation)}
        return json.dumps(self.wrapped(response) | {"clientExtensionResults": {"credProps": {"rk": alone}}})

    def get(self, options: dict[str, Any]) -> str:
        """The answer to request options: a signature over authenticator data and the hash of the client data (7.2)."""
        data = hashlib.sha256(self.host.encode()).digest() + bytes([self.flags()]) + bytes(4)
        client_data = self.client_data("webauthn.get", options["publicKey"]["challenge"])
        signature = self.key.sign(data + hashlib.sha256(client_data).digest(), ec.ECDSA(hashes.SHA256()))
        response = {
            "clientDataJSON": b64(client_data),
            "authenticatorData": b64(data),
            "signature": b64(signature),
            "userHandle": b64(self.user_handle),
        }
        return json.dumps(self.wrapped(response) | {"clientExtensionResults": {}})

    def wrapped(self, response: dict[str, str]) -> dict[str, Any]:
        return {"type": "public-key", "id": b64(self.id), "rawId": b64(self.id), "response": response}
