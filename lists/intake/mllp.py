"""The minimal lower layer protocol: messages out of a stream of bytes, and into one.

Source: HL7 v2, appendix C (lower layer protocols), and MLLP release 1: a message stands between 0x0B and 0x1C 0x0D.
"""

from __future__ import annotations

from collections.abc import Iterator

START, END = b"\x0b", b"\x1c\x0d"


def framed(message: bytes) -> bytes:
    """A message as it goes onto the line."""
    return START + message + END


class Frames:
    """The messages of one connection, however they were cut into packets.

    What stands before or between frames is passed over. A frame that begins anew before it has ended is taken from
    its last beginning.

    Args:
        most: bytes that a message may have.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._held = b""
        self._inside = False

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        """The messages that are whole now; None for one that was longer than may be, which is cut off."""
        self._held += data
        while self._begun():
            message, end, rest = self._held.partition(END)
            message = message.rpartition(START)[2]
            too_long = len(message) > self._most
            if not end and not too_long:
                return
            self._held, self._inside = rest, False
            yield None if too_long else message

    def _begun(self) -> bool:
        """Whether a frame has begun; what stands before it is let go."""
        if not self._inside:
            _, start, self._held = self._held.partition(START)
            self._inside = bool(start)
        return self._inside
