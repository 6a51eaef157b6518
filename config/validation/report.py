"""The validation report: the outcomes, what they were computed with, and both as JSON and as a tagged PDF."""

from __future__ import annotations

import ast
import functools
import hashlib
import platform
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import packages_distributions, version
from importlib.util import find_spec
from itertools import groupby
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from config.validation.formulas import FORMULAS, Formula
from config.validation.values import Outcome, check, differing, read_values
from trays.paper import draw

VALUES = Path(__file__).with_name("values.csv")
APPS = ("journal", "instruments", "trays", "reprocessing", "lists", "config")
ALWAYS = ("Django", "weasyprint")
NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Report:
    """What the formulas gave, and with what they were computed.

    Args:
        at: when.
        outcomes: one per published value.
        versions: name and version of everything that took part, in words.
        modules: each module that computes, with the SHA-256 of its file.
    """

    at: datetime
    outcomes: tuple[Outcome, ...]
    versions: tuple[tuple[str, str], ...]
    modules: tuple[tuple[str, str], ...]

    @property
    def differing(self) -> tuple[Outcome, ...]:
        """Checks that failed."""
        return tuple(differing(self.outcomes))

    @property
    def from_memory(self) -> int:
        """How many values rest on somebody's memory."""
        return sum(outcome.value.from_memory for outcome in self.outcomes)

    @property
    def groups(self) -> list[tuple[Formula, list[Outcome]]]:
        """The outcomes by formula, in the order of the table of formulas."""
        order = list(FORMULAS)
        rows = sorted(self.outcomes, key=lambda outcome: order.index(outcome.value.formula))
        return [(FORMULAS[name], list(some)) for name, some in groupby(rows, key=lambda row: row.value.formula)]

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "unit": settings.UNIT_NAME,
            "at": self.at.isoformat(timespec="seconds"),
            "checks": len(self.outcomes),
            "differing": len(self.differing),
            "from_memory": self.from_memory,
            "versions": dict(self.versions),
            "modules": dict(self.modules),
            "outcomes": [outcome.as_dict() for outcome in self.outcomes],
        }


def report(at: datetime, values: Path = VALUES) -> Report:
    """Compute every published value anew.

    Raises:
        ValueError: the table of values cannot be read.
        OSError: it is not there.
    """
    rows = read_values(values.read_text(encoding="utf-8"), FORMULAS)
    outcomes = tuple(check(row, FORMULAS[row.formula].run) for row in rows)
    modules, libraries = _closure()
    return Report(at, outcomes, (*_versions(libraries), ("Table of values", _sha256(values))), modules)


def as_pdf(found: Report) -> bytes:
    """The report as a tagged PDF, its signature block left blank for the site."""
    return draw("paper/validation.html", {"report": found})


def _versions(libraries: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    yield "Lumenkeep", settings.VERSION
    yield "Revision", revision()
    yield "Python", f"{platform.python_implementation()} {platform.python_version()}"
    yield "System", f"{platform.system()} {platform.machine()}"
    yield "Database", f"{connection.display_name} {'.'.join(map(str, connection.get_database_version()))}"
    for name in libraries:
        yield name, version(name)


def revision() -> str:
    """The revision of the code: as the site set it, else as git knows it, marked when files differ from it."""
    git = shutil.which("git")
    if settings.REVISION or git is None or not (settings.BASE_DIR / ".git").exists():
        return settings.REVISION or NOT_KNOWN
    asked = [git, "describe", "--always", "--abbrev=40", "--exclude=*", "--dirty= with changes"]
    answer = subprocess.run(asked, cwd=settings.BASE_DIR, capture_output=True, text=True, check=False)
    return answer.stdout.strip() or NOT_KNOWN


@functools.cache
def _closure() -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Every module of ours that a formula reaches with its hash, and the libraries that these reach."""
    waiting = [formula.module.__name__ for formula in FORMULAS.values()]
    seen: dict[str, str] = {}
    roots: set[str] = set()
    while waiting:
        name = waiting.pop()
        spec = find_spec(name) if name not in seen else None
        if spec is None or spec.origin is None:
            continue
        file = Path(spec.origin)
        seen[name] = _sha256(file)
        for wanted in _imported(file):
            (waiting.append if wanted.split(".")[0] in APPS else roots.add)(wanted)
    owners = packages_distributions()
    found = {owner for root in roots for owner in owners.get(root.split(".")[0], ())}
    libraries = tuple(sorted({*found, *ALWAYS}, key=str.casefold))
    return tuple(sorted(seen.items())), libraries


def _imported(file: Path) -> Iterator[str]:
    """Modules that a file imports, by their dotted names."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            if node.module in APPS:  # from reprocessing import lethality
                yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _sha256(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
