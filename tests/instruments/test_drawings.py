"""Cross-sections to scale."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from instruments.drawings import cross_section

SVG = "{http://www.w3.org/2000/svg}"


def radii(outer_mm: float | None) -> list[float]:
    drawn = cross_section(8.0, [("Telescope", 4.0, (-1.0, 0.0))], outer_mm=outer_mm, title="Bore", describe="Passes")
    return [float(circle.attrib["r"]) for circle in ET.fromstring(drawn).iter(f"{SVG}circle")]


@pytest.mark.parametrize(("outer_mm", "wall"), [(None, []), (9.0, [4.25, 4.5])])
def test_a_wall_is_drawn_where_it_was_measured(outer_mm: float | None, wall: list[float]) -> None:
    assert radii(outer_mm) == [*wall, 4.0, 2.0]
