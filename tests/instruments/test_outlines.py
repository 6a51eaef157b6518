"""Outlines of parts: lengths in the drawing, read back from its XML, are the lengths of the part."""

from __future__ import annotations

import re
from dataclasses import replace
from math import atan2, degrees, inf
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from instruments.models import Barrel, Base, BasePort, Part, PartKind, Seal, Telescope
from instruments.outlines import EDGE_MM, LOOK_MM, WINDOW_MM, Shape, outline
from instruments.reads import shape_of
from tests import makers

SVG = "{http://www.w3.org/2000/svg}"
BARREL = Shape("barrel", length_mm=430, outer_mm=9, inner_mm=8, side_ports=True)
TELESCOPE = Shape("telescope", length_mm=520, outer_mm=5.5, view_deg=30)
BASE = Shape("base", length_mm=38, ports_mm=(9.4, 6.0, 4.0))
SEAL = Shape("seal", inner_mm=2.7, openings=2)
LOADER = Shape("loader", outer_mm=10, inner_mm=8)
IMPLANT = Shape("implant", length_mm=40, outer_mm=14)
SHAFTS = [Shape(kind, length_mm=350, outer_mm=2.5) for kind in ("sheath", "forceps", "suction", "pusher")]
ALL = [BARREL, TELESCOPE, BASE, SEAL, LOADER, IMPLANT, *SHAFTS]


def drawn(shape: Shape, scale: float = 0.5) -> ET.Element:
    return ET.fromstring(outline(shape, "Part <1>", scale=scale))


def paths(svg: ET.Element) -> list[str]:
    return [path.attrib["d"] for path in svg.iter(f"{SVG}path")]


@pytest.mark.parametrize("shape", ALL, ids=lambda shape: shape.kind)
@pytest.mark.parametrize("scale", [0.5, 1.0])
def test_the_drawing_has_its_scale_and_says_what_it_shows(shape: Shape, scale: float) -> None:
    svg = drawn(shape, scale)
    _, _, width, height = (float(side) for side in svg.attrib["viewBox"].split())
    assert float(svg.attrib["width"].removesuffix("mm")) == pytest.approx(width * scale, abs=0.01)
    assert float(svg.attrib["height"].removesuffix("mm")) == pytest.approx(height * scale, abs=0.01)
    assert (svg.attrib["role"], svg.attrib["fill"]) == ("img", "none")
    assert svg.attrib["aria-label"].startswith("Outline of Part <1>: ")
    assert not re.search("opacity|#|rgb", ET.tostring(svg, encoding="unicode"))  # lines only: printers know no grey


def test_every_kind_with_dimensions_has_an_outline() -> None:
    assert {shape.kind for shape in ALL} == set(PartKind) - {"adapter", "lead", "container", "other"}


def test_a_long_shaft_is_broken_and_as_wide_as_it_is() -> None:
    ends = paths(drawn(BARREL))[0]
    assert ends.startswith("M22.0 -4.50H0V4.50H22.0M26.0 -4.50H48.0V4.50H26.0")
    assert len([path for path in paths(drawn(BARREL)) if re.fullmatch(r"M\S+ 5.50L\S+ -5.50", path)]) == 2
    assert "430.0\u00a0mm long, drawn broken" in drawn(BARREL).attrib["aria-label"]


def test_a_short_one_is_drawn_whole() -> None:
    rect = next(drawn(IMPLANT).iter(f"{SVG}rect"))
    assert (rect.attrib["width"], rect.attrib["height"]) == ("40.00", "14.00")
    assert "broken" not in drawn(IMPLANT).attrib["aria-label"]
    assert not replace(IMPLANT, length_mm=WINDOW_MM).broken
    long = drawn(replace(IMPLANT, length_mm=60))
    assert not list(long.iter(f"{SVG}rect"))


def test_the_bore_is_dashed_on_both_sides_of_the_break() -> None:
    dashed = next(path for path in drawn(BARREL).iter(f"{SVG}path") if "stroke-dasharray" in path.attrib)
    assert sorted(set(re.findall(r"M\S+ (\S+)H", dashed.attrib["d"]))) == ["-4.00", "4.00"]
    assert dashed.attrib["d"].count("M") == 4
    short = drawn(replace(BARREL, length_mm=30))
    dashed = next(path for path in short.iter(f"{SVG}path") if "stroke-dasharray" in path.attrib)
    assert dashed.attrib["d"].count("M") == 2
    assert not any("stroke-dasharray" in path.attrib for path in drawn(replace(BARREL, inner_mm=None)).iter())


def test_side_ports_are_drawn_where_there_are_any() -> None:
    assert len(list(drawn(BARREL).iter(f"{SVG}ellipse"))) == 3
    assert not list(drawn(replace(BARREL, side_ports=False)).iter(f"{SVG}ellipse"))
    assert "side ports" not in drawn(replace(BARREL, side_ports=False)).attrib["aria-label"]


@pytest.mark.parametrize("view_deg", [0, 30, 45, 90, 120])
def test_a_telescope_looks_where_it_looks(view_deg: int) -> None:
    line = paths(drawn(replace(TELESCOPE, view_deg=view_deg)))[-1]
    x0, y0, x1, y1 = (float(number) for number in re.findall(r"-?[\d.]+", line))
    assert degrees(atan2(y0 - y1, x1 - x0)) == pytest.approx(view_deg, abs=0.2)  # y runs downwards
    left, top, width, _ = (
        float(side) for side in drawn(replace(TELESCOPE, view_deg=view_deg)).attrib["viewBox"].split()
    )
    assert x1 <= left + width - EDGE_MM + 0.01
    assert y1 >= top + EDGE_MM - 0.01
    assert LOOK_MM < WINDOW_MM


def test_a_seal_has_its_openings_inside_its_rim() -> None:
    rim, *openings = (float(circle.attrib["r"]) for circle in drawn(SEAL).iter(f"{SVG}circle"))
    assert openings == [1.35, 1.35]
    assert rim > sum(openings)
    assert "2 openings" in drawn(SEAL).attrib["aria-label"]
    assert "1 opening" in drawn(replace(SEAL, openings=1)).attrib["aria-label"]


def test_a_loader_is_seen_from_the_front() -> None:
    assert [circle.attrib["r"] for circle in drawn(LOADER).iter(f"{SVG}circle")] == ["5.00", "4.00"]


def test_a_base_has_the_bore_of_each_port() -> None:
    _, *stubs = paths(drawn(BASE))
    wide = [float(right) - float(left) for left, right in (re.findall(r"[MH](-?[\d.]+)", stub)[:2] for stub in stubs)]
    assert wide == pytest.approx([6.0, 4.0])
    assert "38.0\u00a0mm long, 3 ports" in drawn(BASE).attrib["aria-label"]
    alone = drawn(replace(BASE, ports_mm=(9.4,)))
    assert len(paths(alone)) == 1
    assert alone.attrib["aria-label"].endswith("1 port")


@pytest.mark.parametrize(
    "shape",
    [
        *(replace(shape, outer_mm=None) for shape in (BARREL, TELESCOPE, LOADER, IMPLANT, *SHAFTS)),
        *(replace(shape, length_mm=None) for shape in (BARREL, TELESCOPE, BASE, IMPLANT, *SHAFTS)),
        replace(LOADER, inner_mm=None),
        replace(SEAL, inner_mm=None),
        replace(SEAL, openings=0),
        replace(BASE, ports_mm=(9.4, None)),
        replace(BASE, ports_mm=()),
        Shape("lead"),
    ],
    ids=lambda shape: shape.kind,
)
def test_nothing_is_drawn_that_is_not_measured(shape: Shape) -> None:
    assert outline(shape, "Part", scale=1) == ""


@pytest.mark.parametrize(
    "wrong",
    [{"length_mm": 0}, {"outer_mm": -1}, {"inner_mm": inf}, {"ports_mm": (0,)}, {"openings": -1}, {"view_deg": 181}],
)
def test_what_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="Cannot draw a part"):
        Shape("barrel", **wrong)


def test_a_scale_is_above_nothing() -> None:
    with pytest.raises(ValueError, match="above 0"):
        outline(BARREL, "Barrel", scale=0)


@pytest.mark.django_db
def test_shapes_are_read_off_the_catalogue() -> None:
    parts = {kind: Part.objects.create(code=f"S-{kind}", name=kind, kind=kind, single_use=True) for kind in PartKind}
    Barrel.objects.create(part=parts[PartKind.BARREL], inner_mm=8, outer_mm=9, length_mm=430, side_ports=True)
    Telescope.objects.create(part=parts[PartKind.TELESCOPE], shaft_mm="5.5", length_mm=520, view_deg=30)
    Seal.objects.create(part=parts[PartKind.SEAL], openings=2, opening_mm="2.7", fitting="K1")
    base = Base.objects.create(part=parts[PartKind.BASE], coupling="C1", stack_mm=38)
    for name, bore, on_axis in (("side", 6, False), ("axis", "9.4", True), ("third", None, False)):
        BasePort.objects.create(base=base, name=name, fitting="K1", bore_mm=bore, on_axis=on_axis)
    shapes = {part.kind: shape_of(part) for part in Part.objects.with_dimensions()}
    assert shapes["barrel"] == BARREL
    assert shapes["telescope"] == TELESCOPE
    assert shapes["seal"] == SEAL
    assert shapes["base"] == Shape("base", length_mm=38, ports_mm=(9.4, 6.0, None))
    assert shapes["forceps"] == Shape("forceps")
    assert not shapes["lead"].is_drawn


@pytest.mark.django_db
def test_the_page_of_a_part_shows_its_outline(client: Any) -> None:
    client.force_login(makers.everybody())
    part = makers.part(PartKind.BARREL, name="Barrel 8.0")
    Barrel.objects.update_or_create(part=part, defaults={"inner_mm": None, "outer_mm": None, "length_mm": None})
    assert '<p class="outline">Not measured</p>' in client.get(f"/catalogue/{part.code}/").content.decode()
    Barrel.objects.filter(part=part).update(outer_mm=9, length_mm=430)
    assert 'aria-label="Outline of Barrel 8.0: ' in client.get(f"/catalogue/{part.code}/").content.decode()
    other = makers.part(PartKind.OTHER, name="Tooth guard")
    assert '<p class="outline">No outline</p>' in client.get(f"/catalogue/{other.code}/").content.decode()
