"""The patient's identity as a keyed hash: the same patient gets the same reference, and nobody reads one back.

Source: HMAC-SHA-256, RFC 2104 and FIPS 180-4. One secret of the unit, two keys derived from it with labels of their
own, so that neither output says anything of the other.
"""

from __future__ import annotations

import base64
import hashlib
import hmac

KEY_BYTES = 32
REFERENCE_BYTES = 10
"""80 bits: with a million patients the chance that two share a reference is below 1 in 10^12."""
PREFIX = "PX-"


class Pseudonyms:
    """Holder of the unit's secret.

    Args:
        secret: 64 hexadecimal digits, white space around them allowed.

    Raises:
        ValueError: it is not that.
    """

    def __init__(self, secret: str) -> None:
        key = bytes.fromhex(secret.strip())
        if len(key) != KEY_BYTES:
            raise ValueError(f"The key of the lists has {len(key)} bytes, must have {KEY_BYTES}.")
        self._of_patients = _keyed(key, b"lumenkeep patient reference 1")
        self._of_messages = _keyed(key, b"lumenkeep message fingerprint 1")

    def of(self, identity: str) -> str:
        """The reference of a patient.

        Args:
            identity: number and who gave it, in clear.

        Returns:
            `PX-` and 16 characters, A to Z and 2 to 7; empty where the identity is.
        """
        plain = identity.strip().upper()
        if not plain:
            return ""
        return PREFIX + base64.b32encode(_keyed(self._of_patients, plain.encode())[:REFERENCE_BYTES]).decode()

    def fingerprint(self, message: bytes) -> str:
        """What a message is known again by, 64 hexadecimal digits.

        Keyed as well: a plain hash beside a text of which only the patient is blanked would tell anybody who
        tries every number which one it was.
        """
        return _keyed(self._of_messages, message).hex()


def _keyed(key: bytes, message: bytes) -> bytes:
    return hmac.new(key, message, hashlib.sha256).digest()
