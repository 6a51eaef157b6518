"""What other people made stands in the list with hash and licence text; pages load nothing from elsewhere."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from config.templatetags import words

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "config" / "static"
VENDOR_LIST = STATIC / "vendor" / "vendor.toml"
PACKAGES = tomllib.loads(VENDOR_LIST.read_text())["package"]
FILES = [file for package in PACKAGES for file in [*package.get("file", []), package.get("sprite")] if file]
TEMPLATES = sorted(path for path in ROOT.glob("*/templates/**/*.html"))
SERVED = [
    path
    for path in sorted(ROOT.glob("*/static/**/*"))
    if path.suffix in {".css", ".js", ".svg"} and "vendor" not in path.relative_to(ROOT).parts
]

ELSEWHERE = re.compile(r"""https?://(?!www\.w3\.org/)|(?:src|href|action|url|import)\s*[=(]?\s*["']?//""")
INLINE = re.compile(r"""<style|<script(?![^>]*\bsrc=)|\sstyle\s*=|\son[a-z]+\s*=|javascript:""")
ICON = re.compile(r"""{%\s*icon\s+["']([a-z0-9-]+)["']""")


def ids(paths: list[Path]) -> list[str]:
    return [str(path.relative_to(ROOT)) for path in paths]


@pytest.mark.parametrize("file", FILES, ids=[file["to"] for file in FILES])
def test_file_is_the_listed_one(file: dict[str, Any]) -> None:
    assert hashlib.sha256((STATIC / file["to"]).read_bytes()).hexdigest() == file["sha256"]


@pytest.mark.parametrize("package", PACKAGES, ids=[package["name"] for package in PACKAGES])
def test_package_has_its_licence_text(package: dict[str, Any]) -> None:
    assert package["licence"]
    assert package["version"]
    assert len((STATIC / package["licence_text"]).read_text()) > 500


def test_nothing_unlisted_lies_in_vendor() -> None:
    listed = {file["to"] for file in FILES} | {package["licence_text"] for package in PACKAGES}
    lying = {str(path.relative_to(STATIC)) for path in (STATIC / "vendor").rglob("*") if path.is_file()}
    assert lying - listed == {"vendor/vendor.toml"}


@pytest.mark.parametrize("path", TEMPLATES + SERVED, ids=ids(TEMPLATES + SERVED))
def test_nothing_is_loaded_from_elsewhere(path: Path) -> None:
    assert ELSEWHERE.findall(path.read_text()) == []


@pytest.mark.parametrize("path", TEMPLATES, ids=ids(TEMPLATES))
def test_no_inline_script_or_style(path: Path) -> None:
    assert INLINE.findall(path.read_text()) == []


def test_every_icon_that_is_used_is_in_the_sprite() -> None:
    drawn = set(re.findall(r'<symbol id="([a-z0-9-]+)"', (STATIC / "icons.svg").read_text()))
    used = {name for path in TEMPLATES for name in ICON.findall(path.read_text())}
    used |= {look.icon for look in (*words.STATE_CLASS.values(), words.UNKNOWN)}
    assert used <= drawn


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (ELSEWHERE, '<script src="https://example.test/x.js">'),
        (ELSEWHERE, '<link href="//example.test/x.css">'),
        (ELSEWHERE, "@import url(//example.test/x.css)"),
        (INLINE, "<script>x()</script>"),
        (INLINE, '<p style="color:red">'),
        (INLINE, '<button onclick="x()">'),
    ],
)
def test_the_patterns_catch_what_they_are_for(pattern: re.Pattern[str], text: str) -> None:
    assert pattern.search(text)
