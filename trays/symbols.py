"""Codes as symbols that a scanner reads: QR codes and DataMatrix as vector drawings, for screen and paper alike."""

from __future__ import annotations

from html import escape
from typing import Any

import qrcode
import zxingcpp
from qrcode.constants import ERROR_CORRECT_Q

QUIET_MODULES = 4  # white around the symbol on each side; ISO/IEC 18004, quiet zone (from memory)
MATRIX_QUIET_MODULES = 1  # the same around a DataMatrix; ISO/IEC 16022 (from memory)
DOT_MM = 0.125  # one dot of a label printer with 203 dots per inch


def qr_svg(text: str, *, module_dots: int) -> str:
    """A QR code with its quiet zone, as an SVG element of one path.

    A module is a whole number of printer dots wide, so that a label printer draws every module alike. A
    quarter of the symbol may be damaged (level Q). The colour is black and the ground is left as it is.

    Args:
        text: what the symbol says.
        module_dots: width of a module [dots of a 203 dpi printer].

    Returns:
        An `svg` element with its size in millimetres and an accessible name.

    Raises:
        ValueError: nothing to say, or a module of no width.

    Source:
        ISO/IEC 18004; the symbol itself is laid out by the library qrcode.
    """
    if not text or module_dots < 1:
        raise ValueError("A symbol needs a text, and modules of at least one dot.")
    code = qrcode.QRCode(error_correction=ERROR_CORRECT_Q, border=0)
    code.add_data(text)
    return _svg("QR code", text, code.get_matrix(), QUIET_MODULES, module_dots)


def datamatrix_svg(text: str, *, module_dots: int, gs1: bool = False) -> str:
    """A square DataMatrix with its quiet zone, as an SVG element of one path; smaller than a QR code.

    Args:
        text: what the symbol says; for GS1 an element string in brackets.
        module_dots: width of a module [dots of a 203 dpi printer].
        gs1: it is a GS1 symbol: a scanner that names the symbology says `]d2`.

    Returns:
        An `svg` element with its size in millimetres and an accessible name.

    Raises:
        ValueError: nothing to say, a module of no width, or a text that is no GS1 element string.

    Source:
        ISO/IEC 16022; the symbol itself is laid out by the library zxing-cpp.
    """
    if not text or module_dots < 1:
        raise ValueError("A symbol needs a text, and modules of at least one dot.")
    # Not forced square, the library takes narrow rectangles that older scanners do not read.
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True, gs1=gs1)
    image: Any = code.to_image(scale=1, add_quiet_zones=False)
    shades: Any = memoryview(image).tolist()
    rows = [[shade == 0 for shade in row] for row in shades]
    return _svg("GS1 DataMatrix" if gs1 else "DataMatrix", text, rows, MATRIX_QUIET_MODULES, module_dots)


def _svg(kind: str, text: str, rows: list[list[bool]], quiet: int, module_dots: int) -> str:
    side = len(rows) + 2 * quiet
    size = f"{side * module_dots * DOT_MM:g}mm"
    words = escape(f"{kind} of {text}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{words}"'
        f' width="{size}" height="{size}" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<title>{words}</title><path fill="#000" d="{_path(rows, quiet)}"/></svg>'
    )


def _path(rows: list[list[bool]], quiet: int) -> str:
    """One rectangle for each run of dark modules."""
    drawn = []
    for y, row in enumerate(rows, start=quiet):
        start = None
        for x, dark in enumerate([*row, False], start=quiet):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                drawn.append(f"M{start} {y}h{x - start}v1h{start - x}z")
                start = None
    return "".join(drawn)
