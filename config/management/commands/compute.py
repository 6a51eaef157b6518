"""`manage.py compute WHAT [--in FILE]`: the product's own arithmetic on a caller's numbers."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from inspect import signature
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from journal.documents import from_json

Computation = Callable[..., dict[str, Any]]
Tell = Callable[[dict[str, Any]], object]

APPS = ("instruments", "trays", "reprocessing", "lists")
MALFORMED = 2  # exit status when the input cannot be read


def computations() -> Iterator[tuple[str, Computation]]:
    """Every computation that the apps offer, with the name it is asked for; of no app before it is come to."""
    for module in (f"{app}.computations" for app in APPS):
        if find_spec(module):
            yield from import_module(module).COMPUTATIONS.items()


def chosen(what: str) -> Computation:
    """The computation of this name.

    Raises:
        ValueError: there is none; the message names those that there are.
    """
    known = []
    for name, compute in computations():
        if name == what:
            return compute
        known.append(name)
    raise ValueError(f'Cannot compute "{what}": it must be one of {", ".join(sorted(known))}.')


def answer(what: str, document: object, tell: Tell | None = None) -> object:
    """The answer to one document, or the list of answers to a list of documents.

    Args:
        what: which computation.
        document: as it came.
        tell: told now and then how far it is.

    Raises:
        ValueError: `what` is not known or does not tell how far it is, or a document cannot be read; the message is
            one sentence.
    """
    compute = chosen(what)
    if tell is not None:
        if "progress" not in signature(compute).parameters:
            raise ValueError(f"Cannot tell how far {what} is: it answers at once. Leave out --progress.")
        compute = partial(compute, progress=tell)
    if not isinstance(document, list):
        return compute(document)
    answers = []
    for position, entry in enumerate(document, start=1):
        try:
            answers.append(compute(entry))
        except ValueError as refusal:
            raise ValueError(f"Document {position} of {len(document)}: {refusal}") from refusal
    return answers


class Command(BaseCommand):
    """Read JSON, compute, print JSON; exit 2 with one sentence when the input cannot be read."""

    help = "Compute from a JSON document (or a list of them), with exactly the code that the pages use."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        """WHAT to compute, and the file to read instead of standard input."""
        parser.add_argument("what", help="what to compute, for example co-passage")
        parser.add_argument("--in", dest="source", type=Path, help="file to read instead of standard input")
        parser.add_argument(
            "--progress", action="store_true", help="say on standard error how far it is, one JSON object a line"
        )

    def handle(self, *args: Any, what: str, source: Path | None, progress: bool, **options: Any) -> None:
        """Only the answer goes to standard output; the refusal, and progress that was asked for, to standard error."""
        try:
            chosen(what)  # before waiting for standard input
            content = source.read_bytes() if source else sys.stdin.buffer.read()
            tell = self._tell if progress else None
            words = json.dumps(answer(what, from_json(content), tell), allow_nan=False)
        except OSError as refusal:
            self._refuse(f"Cannot read {source}: {refusal.strerror}.")
        except ValueError as refusal:
            self._refuse(str(refusal))
        else:
            self.stdout.write(words)

    def _tell(self, progress: dict[str, Any]) -> None:
        self.stderr.write(json.dumps(progress))
        self.stderr.flush()

    def _refuse(self, sentence: str) -> None:
        self.stderr.write(sentence)
        sys.exit(MALFORMED)
