"""The tree as the architecture tests see it: what git keeps, and which modules are pure."""

from __future__ import annotations

import ast
import functools
import subprocess
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
APPS = ("journal", "instruments", "trays", "reprocessing", "lists")

# Names that may know Django; a module of an app with any other name is pure.
IMPURE = frozenset({
    "models", "actions", "sealing", "telling", "reads", "writer", "measures", "append_only", "apps", "migrations",
    "imports", "views", "forms", "urls", "verbs", "offers", "paper", "trail", "templatetags", "api", "paging",
    "doors", "admin", "tasks", "management", "import_command",
})  # fmt: skip


@functools.cache
def kept_files() -> tuple[Path, ...]:
    """Files that git keeps, without what a generator or somebody else wrote."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, check=True, capture_output=True, text=True,
    ).stdout.split()  # fmt: skip
    written_elsewhere = ("migrations/", "vendor/", "requirements", "openapi.yaml", "LICENSE")
    paths = [ROOT / name for name in listed if not any(part in name for part in written_elsewhere)]
    return tuple(path for path in paths if path.is_file())


def files(*suffixes: str) -> list[Path]:
    """Kept files that end in one of these."""
    return [path for path in kept_files() if path.suffix in suffixes]


def is_test(path: Path) -> bool:
    """Whether a file belongs to the tests."""
    return path.relative_to(ROOT).parts[0] == "tests"


def app_modules() -> Iterator[str]:
    """Dotted names of every module of every app, migrations left out."""
    for path in files(".py"):
        parts = path.relative_to(ROOT).with_suffix("").parts
        if parts[0] in APPS and parts[-1] != "__init__":
            yield ".".join(parts)


def pure_modules() -> list[str]:
    """Those that must not know Django."""
    return [name for name in app_modules() if name.split(".")[1] not in IMPURE]


def parsed(path: Path) -> ast.Module:
    """The syntax tree of a Python file."""
    return ast.parse(path.read_text(), filename=str(path))


def short(path: Path) -> str:
    """A path as a person names it."""
    return str(path.relative_to(ROOT))
