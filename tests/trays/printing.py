"""Paper as a printer and a scanner meet it: rasterised by Poppler, read back by zxing-cpp, words with their boxes."""

from __future__ import annotations

import io
import itertools
import re
import subprocess
from pathlib import Path

import zxingcpp
from PIL import Image


def poppler(program: str, *options: str, document: bytes) -> bytes:
    """What a Poppler program prints about a document."""
    command = [f"/usr/bin/{program}", *options]
    return subprocess.run(command, input=document, check=True, capture_output=True).stdout


def picture(document: bytes, dpi: int = 300, page: int = 1) -> Image.Image:
    """A page as a printer with so many dots per inch prints it."""
    options = ["-r", str(dpi), "-png", "-f", str(page), "-l", str(page), "-singlefile", "-"]
    return Image.open(io.BytesIO(poppler("pdftoppm", *options, document=document)))


def scanned(document: bytes, dpi: int = 300) -> list[str]:
    """What a scanner reads on the first page."""
    return [found.text for found in zxingcpp.read_barcodes(picture(document, dpi))]


def symbols(document: bytes, dpi: int = 300) -> set[tuple[str, str]]:
    """The symbols of the first page: identifier of the symbology (ISO/IEC 15424), and the bytes as they are sent."""
    found = zxingcpp.read_barcodes(picture(document, dpi))
    return {(one.symbology_identifier, one.bytes.decode()) for one in found}


def pages(document: bytes) -> list[str]:
    """The text of each page, as it is laid out."""
    text = poppler("pdftotext", "-layout", "-", "-", document=document).decode()
    return text.removesuffix("\f").split("\f")


def said(document: bytes) -> str:
    """All text in a row."""
    return " ".join(" ".join(pages(document)).split())


def facts(document: bytes) -> dict[str, str]:
    """What the document says about itself."""
    lines = poppler("pdfinfo", "-", document=document).decode().splitlines()
    return {name: value.strip() for name, _, value in (line.partition(":") for line in lines)}


def size_of_font(document: bytes, word: str, at: Path) -> int:
    """Size in which a word is set [pt], to the whole point; `at`: a file to lay the document down."""
    at.write_bytes(document)
    xml = poppler("pdftohtml", "-xml", "-i", "-stdout", "-zoom", "1", str(at), document=b"").decode()
    sizes = {font: int(size) for font, size in re.findall(r'<fontspec id="(\d+)" size="(\d+)"', xml)}
    lines = re.findall(r'<text [^>]*font="(\d+)">(.*)</text>', xml)
    return next(sizes[font] for font, text in lines if word in text)


def boxes(document: bytes) -> list[tuple[str, float, float, float, float]]:
    """Words of a document's first page with their boxes [pt], narrowed to what is inked."""
    xml = poppler("pdftotext", "-bbox", "-l", "1", "-", "-", document=document).decode()
    found = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>', xml)
    return [(word, float(x0), float(y0) * 0.7 + float(y1) * 0.3, float(x1), float(y1) * 0.75 + float(y0) * 0.25)
            for x0, y0, x1, y1, word in found]  # fmt: skip


def overlapping(document: bytes) -> list[tuple[str, str]]:
    """Pairs of words that lie upon one another."""
    return [
        (a[0], b[0])
        for a, b in itertools.combinations(boxes(document), 2)
        if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]
    ]


def cut_off(document: bytes) -> list[str]:
    """Words that do not lie wholly on the first page."""
    width, height = (float(side) for side in re.findall(r"[\d.]+", facts(document)["Page size"])[:2])
    return [word for word, x0, y0, x1, y1 in boxes(document) if x0 < 0 or y0 < 0 or x1 > width or y1 > height]
