"""The folder in which machines leave their records: a folder for each machine, named by its code.

A file is taken once nobody has written to it for a while. It then moves to `kept`, or to `refused` with a file
beside it that says why: it is never deleted, and nothing moves before what it holds is kept elsewhere.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

KEPT, REFUSED = "kept", "refused"
UNFINISHED = (".part", ".tmp", ".crdownload")  # names of files that somebody still writes: common practice
SETTLED_S = 20.0  # common practice, no source
BYTES_PER_MB = 1024 * 1024
MOST_MB = 2  # of a record: two hours of eight columns, a row a second, are below 1 MB
MOST_BYTES = MOST_MB * BYTES_PER_MB
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class Left:
    """A file that somebody left.

    Args:
        path: where it lies.
        machine: name of the folder it lies in; empty for the folder of all.
        size: its length then [bytes].
        changed_ns: when it was last written to [ns].
    """

    path: Path
    machine: str
    size: int
    changed_ns: int

    @property
    def is_unchanged(self) -> bool:
        """Whether nobody has written to it since it was found."""
        found = self.path.stat()
        return (found.st_size, found.st_mtime_ns) == (self.size, self.changed_ns)


def left_in(root: Path, *, at_s: float) -> Iterator[Left]:
    """Files that have come to rest, by name.

    Args:
        root: the folder of all.
        at_s: the moment by the clock of its file system [s].
    """
    folders = [root, *sorted(path for path in root.glob("*") if path.is_dir() and path.name not in (KEPT, REFUSED))]
    for folder in folders:
        for path in sorted(folder.glob("*")):
            if path.is_symlink() or not path.is_file() or path.name.startswith(".") or path.suffix in UNFINISHED:
                continue
            found = path.stat()
            if found.st_mtime <= at_s - SETTLED_S:
                machine = "" if folder == root else folder.name
                yield Left(path, machine, found.st_size, found.st_mtime_ns)


def text_of(left: Left) -> str:
    """What a file says.

    Raises:
        ValueError: it is too long, empty or no text; the sentence says which.
        FileNotFoundError: it has gone.
    """
    name = left.path.name
    if left.size > MOST_BYTES:
        raise ValueError(f"Cannot take {name}: it has {left.size} bytes, must have at most {MOST_BYTES}.")
    if len(name) > LONGEST_NAME:
        raise ValueError(f"Cannot take this file: its name has {len(name)} characters, must have at most 120.")
    try:
        text = left.path.read_bytes().decode()
    except UnicodeDecodeError:
        raise ValueError(f"Cannot take {name}: it is no text, must be UTF-8 text.") from None
    if "\0" in text or not text.strip():
        raise ValueError(f"Cannot take {name}: it is {'no text' if text.strip() else 'empty'}, must be UTF-8 text.")
    return text


def fingerprint(left: Left) -> str:
    """SHA-256 of a file's bytes, in hex digits."""
    with left.path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def place_of(root: Path, left: Left, folder: str) -> Path:
    """Where a file comes to lie in the folder of what is kept, or of what is refused."""
    return root / folder / left.machine / f"{fingerprint(left)[:12]}-{left.path.name[-LONGEST_NAME:]}"


def put_away(root: Path, left: Left, why_refused: str = "") -> Path:
    """Move a file to where it is kept, or refused with its reason; one of the same name and content is one.

    Returns:
        Where it lies now.
    """
    place = place_of(root, left, REFUSED if why_refused else KEPT)
    place.parent.mkdir(parents=True, exist_ok=True)
    if why_refused:
        place.with_name(f"{place.name}.reason.txt").write_text(f"{why_refused}\n", encoding="utf-8")
    return left.path.replace(place)
