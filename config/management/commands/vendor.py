"""Fetch what other people made and we serve: fonts and icons, by the list in `vendor.toml`.

For developers. It needs `npm`, which unpacks the packages; nothing of it runs in production.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
import tarfile
import tempfile
import tomllib
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

STATIC = Path(__file__).resolve().parents[2] / "static"
VENDOR_LIST = STATIC / "vendor" / "vendor.toml"


def sprite(icons: Path, names: list[str]) -> str:
    """One SVG with a symbol for each named icon, drawn in the colour of the text beside it."""
    symbols = [_symbol(name, (icons / f"{name}.svg").read_text()) for name in sorted(names)]
    return '<svg xmlns="http://www.w3.org/2000/svg">\n' + "\n".join(symbols) + "\n</svg>\n"


def _symbol(name: str, drawing: str) -> str:
    inside = re.sub(r"\s+", " ", re.sub(r"(?s).*?<svg[^>]*>|</svg>.*", "", drawing)).strip()
    return (
        f'<symbol id="{name}" viewBox="0 0 24 24" fill="none" stroke="currentColor" stroke-width="2" '
        f'stroke-linecap="round" stroke-linejoin="round">{inside}</symbol>'
    )


def _unpack(package: dict[str, Any], place: Path) -> Path:
    npm = shutil.which("npm")
    if npm is None:
        raise CommandError("Cannot fetch packages: npm is not on this machine. Install Node.js with npm.")
    wanted = f"{package['name']}@{package['version']}"
    command = [npm, "pack", "--silent", wanted]
    done = subprocess.run(command, cwd=place, check=True, capture_output=True, text=True)
    with tarfile.open(place / done.stdout.strip()) as archive:
        archive.extractall(place / "unpacked", filter="data")
    return place / "unpacked" / "package"


class Command(BaseCommand):
    """Copy each file and licence text of the list into the static files and compare the hashes."""

    help = __doc__

    def handle(self, *args: Any, **options: Any) -> None:
        """Fetch every package; say which hash of the list is not that of the file."""
        for package in tomllib.loads(VENDOR_LIST.read_text())["package"]:
            with tempfile.TemporaryDirectory() as place:
                self._take(package, _unpack(package, Path(place)))

    def _take(self, package: dict[str, Any], unpacked: Path) -> None:
        shutil.copyfile(unpacked / "LICENSE", STATIC / package["licence_text"])
        for file in package.get("file", []):
            shutil.copyfile(unpacked / file["from"], STATIC / file["to"])
            self._compare(file)
        if drawn := package.get("sprite"):
            (STATIC / drawn["to"]).write_text(sprite(unpacked / "icons", drawn["icons"]))
            self._compare(drawn)

    def _compare(self, file: dict[str, Any]) -> None:
        found = hashlib.sha256((STATIC / file["to"]).read_bytes()).hexdigest()
        verdict = "as listed" if found == file["sha256"] else f"is not as listed; its sha256 is {found}"
        self.stdout.write(f"{file['to']}: {verdict}")
