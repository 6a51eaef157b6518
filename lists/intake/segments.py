"""HL7 version 2 as bytes and segments: batches, character sets, escape sequences, moments.

The segments are split by the library `hl7`; what it does not check, or would write to the log, is done here.
Source: HL7 v2.3 to v2.5, chapter 2 (encoding rules, batch protocol, MSH-18 with table 0211, escape sequences, data
type TS); from memory where no test names another source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone, tzinfo
from itertools import product

import hl7

from lists.intake.scheduling import MISSING, NOT_IN_TABLE, NOT_KEPT, Fault, Unreadable

MOST_BYTES = 2 * 1024 * 1024
CHARACTER_SETS = {
    "": "utf-8",  # the standard's default is ASCII, of which UTF-8 is a superset
    "ASCII": "ascii",
    **{f"8859/{part}": f"iso8859-{part}" for part in (*range(1, 10), 15)},
    "UNICODE UTF-8": "utf-8",
}
CHARACTER_SET_FIELD = 17
"""MSH-18, counted from the name of the segment; the separator itself is MSH-1."""
NULL = '""'
"""HL7's null: the field is present and says that there is nothing."""
MOMENT = re.compile(r"(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(?:(\d\d)(?:\.\d{1,4})?)?([+-]\d{4})?", re.ASCII)
_HEADERS, _TRAILERS = (b"FHS", b"BHS"), (b"FTS", b"BTS")
_PLAIN = {"H": "", "N": "", ".br": "\n", ".sp": "\n"}


def messages_in(data: bytes) -> list[bytes]:
    """The messages of a file, a batch or a frame, each as segments that end in CR.

    Segments end in CR, CR LF or LF; a byte order mark and empty lines are passed over.

    Raises:
        Unreadable: a segment before the first header, or a batch that does not hold as many messages as it says.
    """
    data = data.removeprefix(b"\xef\xbb\xbf").strip(b"\x00\r\n\t ")
    end = b"\r" if b"\r" in data else b"\n"
    messages: list[list[bytes]] = []
    counted = 0
    for segment in filter(None, (line.lstrip(b"\n") for line in data.split(end))):
        name = segment[:3]
        if name in _TRAILERS:
            counted = _counted(segment, len(messages), counted) if name == b"BTS" else counted
        elif name == b"MSH":
            messages.append([segment])
        elif name not in _HEADERS:
            if not messages:
                raise Unreadable(Fault("MSH", "no header at the beginning", "the first segment of a message", MISSING))
            messages[-1].append(segment)
    if not messages:
        raise Unreadable(Fault("MSH", "", "the first segment of a message", MISSING))
    return [b"".join(line.rstrip(b"\n") + b"\r" for line in lines) for lines in messages]


def only_message(frame: bytes) -> bytes:
    """The message of a frame, which holds one.

    Raises:
        Unreadable: it holds none, or several.
    """
    one, *others = messages_in(frame)
    if others:
        raise Unreadable(Fault("the frame", f"{len(others) + 1} messages", "one message"))
    return one


def _counted(trailer: bytes, so_far: int, before: int) -> int:
    """How many messages came up to the end of this batch.

    Raises:
        Unreadable: the trailer counts others.
    """
    says = re.split(r"\W", trailer[4:].decode("latin-1"), maxsplit=1)[0]
    here = so_far - before
    if says and says != str(here):
        raise Unreadable(Fault("BTS-1", says, f"{here}, as many as there are messages; the file may be cut off"))
    return so_far


def text_of(message: bytes) -> str:
    """A message as text, in the character set that it names.

    Raises:
        Unreadable: it names one that is not known, or is not written in it.
    """
    header = message.split(b"\r", 1)[0].decode("latin-1")
    cells = header.split(header[3:4] or "|")
    named = cells[CHARACTER_SET_FIELD] if len(cells) > CHARACTER_SET_FIELD else ""
    first = re.split(r"[~^]", named)[0].strip().upper()
    if first not in CHARACTER_SETS:
        raise Unreadable(Fault("MSH-18", first, f"one of {', '.join(filter(None, CHARACTER_SETS))}", NOT_IN_TABLE))
    try:
        text = message.decode(CHARACTER_SETS[first])
    except UnicodeDecodeError as wrong:
        byte = f"byte {message[wrong.start]:02X} with {first or 'no character set named'}"
        raise Unreadable(Fault("MSH-18", byte, "the character set that the message is written in")) from None
    if "\x00" in text:
        raise Unreadable(Fault("MSH", "a NUL character", "text"))
    return text


@dataclass(frozen=True, slots=True)
class Segments:
    """A message, to be asked by segment and field.

    Args:
        parsed: as the library has split it.
    """

    parsed: hl7.Message

    @classmethod
    def of(cls, message: bytes) -> Segments:
        """The segments of a message.

        Raises:
            Unreadable: it is no text of the character set it names, or its header is too short.
        """
        return cls._split(text_of(message))

    @classmethod
    def header_of(cls, message: bytes) -> Segments:
        """The header alone, for the answer to a message that may be unreadable beyond it.

        Raises:
            Unreadable: it is none.
        """
        return cls._split(re.split(rb"[\r\n]", message, maxsplit=1)[0].decode("latin-1"))

    @classmethod
    def _split(cls, text: str) -> Segments:
        header = re.match(r"MSH([^\w\s])([^\w\s]{4})\1", text)
        if header is None or len(set(header[1] + header[2])) < len(header[1] + header[2]):
            raise Unreadable(Fault("MSH-2", text[4:9], "the four encoding characters, such as ^~\\&"))
        return cls(hl7.parse(text))

    def all_of(self, name: str) -> list[hl7.Segment]:
        """Every segment of this name that the message does not take away (action code D in the second field)."""
        found = [segment for segment in self.parsed if str(segment[0]) == name]
        with_action = name in ("RGS", "AIS", "AIL", "AIG")
        return [segment for segment in found if not (with_action and self.of_segment(segment, 2) == "D")]

    def at(self, name: str, number: int, component: int = 1, sub: int = 1) -> str:
        """A field of the first segment of this name, without white space around it; empty where there is none."""
        rows = self.all_of(name)
        return self.of_segment(rows[0], number, component, sub) if rows else ""

    def of_segment(self, segment: hl7.Segment, number: int, component: int = 1, sub: int = 1) -> str:
        """A field of a segment: first repetition, escape sequences resolved.

        Raises:
            Unreadable: there is an escape sequence that says nothing.
        """
        raw = _leaf(segment, number, 0, component - 1, sub - 1)
        return self.plain(raw, f"{segment[0]}-{number}").strip()

    def plain(self, raw: str, place: str) -> str:
        """Text with its escape sequences resolved."""
        separators, escape = self.parsed.separators, self.parsed.esc
        letters = dict(zip("FRST", separators[1:5], strict=True)) | {"E": escape} | _PLAIN
        texts = raw.split(escape)
        if len(texts) % 2 == 0:
            raise Unreadable(Fault(place, "an escape character alone", "escape sequences such as \\T\\"))
        return "".join(_sequence(text, letters, place) if at % 2 else text for at, text in enumerate(texts))

    def words_of(self, name: str, number: int, components: tuple[int, ...]) -> Iterator[str]:
        """Every text of these components of a field, as it stands and with its escape sequences resolved."""
        for segment in self.all_of(name):
            repetitions = range(len(segment[number])) if number < len(segment) else ()
            for repetition, component, sub in product(repetitions, components, range(2)):
                raw = _leaf(segment, number, repetition, component - 1, sub)
                yield raw
                with suppress(Unreadable):
                    yield self.plain(raw, name)

    def kept(self, fields: dict[str, tuple[int, ...]]) -> str:
        """The message with every field blanked but these; segments end in LF, as text is kept."""
        lines = []
        for segment in self.parsed:
            name = str(segment[0])
            if name == "MSH":
                cells = str(segment).split(self.parsed.separators[1])
                shown = [cell if at + 1 in fields[name] or at < 2 else _blank(cell) for at, cell in enumerate(cells)]
            else:
                cells = [str(field) for field in segment]
                shown = [cell if at in (0, *fields.get(name, ())) else _blank(cell) for at, cell in enumerate(cells)]
            lines.append(self.parsed.separators[1].join(shown))
        return "\n".join(lines)


def _blank(cell: str) -> str:
    return NOT_KEPT if cell else ""


def _leaf(node: object, *path: int) -> str:
    """The text at a place of nested lists; a text stands for its own first part."""
    for at, index in enumerate(path):
        if isinstance(node, str):
            return "" if any(path[at:]) else node
        if not isinstance(node, list) or index >= len(node):
            return ""
        node = node[index]
    return str(node)


def _sequence(text: str, letters: dict[str, str], place: str) -> str:
    if text in letters:
        return letters[text]
    if re.fullmatch(r"X(?:[0-9A-Fa-f]{2})+", text):
        return bytes.fromhex(text[1:]).decode("latin-1")
    raise Unreadable(Fault(place, "an escape sequence that is not known", "one of F S T E R H N X .br .sp"))


def moment_of(text: str, place: str, zone: tzinfo) -> datetime:
    """A moment, to the minute or finer.

    Args:
        text: data type TS, `YYYYMMDDHHMM[SS[.S…]][+ZZZZ]`.
        place: its field.
        zone: the unit's, for a moment without one.

    Raises:
        Unreadable: it is no such moment; or it has no zone and the unit's clock shows it twice, or never.
    """
    form = "a moment written YYYYMMDDHHMM, with seconds and zone where known"
    parts = MOMENT.fullmatch(text)
    if parts is None:
        raise Unreadable(Fault(place, text, form))
    *numbers, offset = parts.groups(default="")
    try:
        year, month, day, hour, minute, second = (int(number or 0) for number in numbers)
        moment = datetime(year, month, day, hour, minute, second, tzinfo=_offset(offset) if offset else zone)
    except ValueError:
        raise Unreadable(Fault(place, text, form)) from None
    if moment.utcoffset() != moment.replace(fold=1).utcoffset():
        raise Unreadable(Fault(place, text, "a moment with its zone: the clock is put forward or back then"))
    return moment


def _offset(text: str) -> tzinfo:
    sign = -1 if text[0] == "-" else 1
    return timezone(sign * timedelta(hours=int(text[1:3]), minutes=int(text[3:5])))
