"""The auditor's side: the programs of docs/verify.md, run as they stand there, outside this project."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from io import StringIO
from pathlib import Path

from django.core.management import call_command

from journal.sealing import signer
from tests.architecture.tree import ROOT

VERIFY, PROVE = re.findall(r"(?s)```python\n(.*?)```", (ROOT / "docs" / "verify.md").read_text())


def trail(*words: str) -> tuple[int, str]:
    """Exit status and words of `manage.py trail`."""
    written = StringIO()
    try:
        call_command("trail", *words, stdout=written)
    except SystemExit as end:
        return int(str(end.code)), written.getvalue()
    return 0, written.getvalue()


def keep_head(folder: Path) -> Path:
    """The last head, kept outside."""
    path = folder / f"head-{len(list(folder.glob('head-*')))}.json"
    path.write_text(trail("heads", "--last")[1])
    return path


def run(program: str, folder: Path, *words: object) -> tuple[int, str]:
    """Exit status and words of a program of the page."""
    path = folder / "program.py"
    path.write_text(program)
    command = [sys.executable, "-I", str(path), *map(str, words)]
    around = {"PATH": os.environ["PATH"]}
    done = subprocess.run(command, cwd=folder, env=around, check=False, capture_output=True, text=True)
    return done.returncode, done.stdout + done.stderr


def audit(folder: Path, *heads: Path, key: str = "") -> tuple[int, str]:
    """Export everything and check it by the program of the page."""
    out = folder / "trail.zip"
    trail("export", str(out))
    return run(VERIFY, folder, key or signer().public, out, *heads)
