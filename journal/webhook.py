"""A webhook: the signature over moment and body, the secret of a channel, and one POST."""

from __future__ import annotations

import hashlib
import hmac
import http.client
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

REFERENCE_HEADER = "Lumenkeep-Reference"
MOMENT_HEADER = "Lumenkeep-Moment"
SIGNATURE_HEADER = "Lumenkeep-Signature"
TIMEOUT_S = 10.0
"""For the connection, and for each part of the answer."""
MOST_READ = 200
"""Bytes of an answer that are kept in words."""
KEY_BYTES = 32


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of an attempt.

    Args:
        taken: whether the other side has taken it.
        words: what it said.
    """

    taken: bool
    words: str


def mac(key: bytes, data: bytes) -> str:
    """HMAC with SHA-256, in hexadecimal digits.

    Source:
        RFC 2104, FIPS 198-1; test vectors in RFC 4231.
    """
    return hmac.new(key, data, hashlib.sha256).hexdigest()


def secret_of(site_key: str, channel: int) -> str:
    """The secret of a channel, made of the site's key: in no database, and of no use for another channel.

    Raises:
        ValueError: the key is not 64 hexadecimal digits.
    """
    key = bytes.fromhex(site_key.strip())
    if len(key) != KEY_BYTES:
        raise ValueError(f"Cannot take the key: it has {len(key)} bytes, must have {KEY_BYTES}.")
    return mac(key, f"webhook {channel}".encode())


def signature(secret: str, moment: int, body: bytes) -> str:
    """Over the moment, a full stop and the body, so that neither can be changed and an old request is known as old.

    Args:
        secret: of the channel, as text; its ASCII bytes are the key.
        moment: of sending [s since 1970-01-01 UTC].
        body: as it is sent.
    """
    return mac(secret.encode(), f"{moment}.".encode() + body)


def headers(secret: str, reference: str, moment: int, body: bytes) -> dict[str, str]:
    """The headers of a request."""
    return {
        "Content-Type": "application/json",
        REFERENCE_HEADER: reference,
        MOMENT_HEADER: str(moment),
        SIGNATURE_HEADER: signature(secret, moment, body),
    }


def post(address: str, body: bytes, sent: Mapping[str, str], *, timeout_s: float = TIMEOUT_S) -> Answer:
    """Send it once. Redirects are not followed: what is signed for one address goes to no other."""
    parts = urlsplit(address)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    host, port = parts.hostname or "", parts.port
    if parts.scheme == "https":
        context = ssl.create_default_context()
        line: http.client.HTTPConnection = http.client.HTTPSConnection(host, port, timeout=timeout_s, context=context)
    else:
        line = http.client.HTTPConnection(host, port, timeout=timeout_s)
    try:
        line.request("POST", target, body, dict(sent))
        answer = line.getresponse()
        said = answer.read(MOST_READ).decode(errors="replace")
    except (OSError, http.client.HTTPException) as fault:
        return Answer(taken=False, words=f"No answer: {fault or type(fault).__name__}")
    finally:
        line.close()
    words = " ".join(
        f"{answer.status} {answer.reason}. {''.join(c if c.isprintable() else ' ' for c in said)}".split()
    )
    return Answer(taken=200 <= answer.status < 300, words=words)
