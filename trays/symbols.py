"""Codes as symbols that a scanner reads: QR codes as vector drawings, for screen and paper alike."""

from __future__ import annotations

from html import escape

import qrcode
from qrcode.constants import ERROR_CORRECT_Q

QUIET_MODULES = 4  # white around the symbol on each side; ISO/IEC 18004, quiet zone (from memory)
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
    rows: list[list[bool]] = code.get_matrix()
    side = len(rows) + 2 * QUIET_MODULES
    size = f"{side * module_dots * DOT_MM:g}mm"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="QR code of {escape(text)}"'
        f' width="{size}" height="{size}" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<path fill="#000" d="{_path(rows)}"/></svg>'
    )


def _path(rows: list[list[bool]]) -> str:
    """One rectangle for each run of dark modules."""
    drawn = []
    for y, row in enumerate(rows, start=QUIET_MODULES):
        start = None
        for x, dark in enumerate([*row, False], start=QUIET_MODULES):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                drawn.append(f"M{start} {y}h{x - start}v1h{start - x}z")
                start = None
    return "".join(drawn)
