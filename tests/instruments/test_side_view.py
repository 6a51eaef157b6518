"""The set-up seen from the side: lengths in the drawing are lengths of the set-up."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from instruments.fit import Dimension
from instruments.lumens import lumens_of
from instruments.mounting import Base, Mounting, Port, Pusher, Seal, Shaft, Tube
from instruments.side_view import side_view, tips_of

SVG = "{http://www.w3.org/2000/svg}"
AXIS = Port("axis", "K1", Dimension(9.4), Dimension(38), on_axis=True)
SIDE = Port("side", "K2", Dimension(6.0), Dimension(30))
BASE = Base("Base", "C1", (AXIS, SIDE))
BARREL = Tube("Barrel", Dimension(8.0), Dimension(9.0), Dimension(430), side_ports=True)
CAP = Seal("Cap", "K1", 1, Dimension(5.7), Dimension(3))
TELESCOPE = Shaft("Telescope <0°>", Dimension(4.0), Dimension(510), "axis", must_reach=True)
FORCEPS = Shaft("Forceps", Dimension(2.5), Dimension(500), "side", must_reach=True)
USUAL = Mounting(BARREL, BASE, (("axis", CAP), ("side", CAP)), (TELESCOPE, FORCEPS))


def drawn(mounting: Mounting, wanted_mm: float | None = 5.0) -> ET.Element:
    lumens = lumens_of(mounting, 0.2)
    return ET.fromstring(side_view(mounting, lumens, wanted_mm, title="Side & tip", describe="It fits."))


def rows(picture: ET.Element, title: str) -> tuple[float, float]:
    """Left edge and right edge of the shaft with this title."""
    group = next(g for g in picture.iter(f"{SVG}g") if g.findtext(f"{SVG}title") == title)
    rect = group.find(f"{SVG}rect")
    assert rect is not None
    left, width = float(rect.attrib["x"]), float(rect.attrib["width"])
    return left, left + width


def words(picture: ET.Element) -> str:
    return " | ".join(text.text or "" for text in picture.iter(f"{SVG}text")).replace("\N{NO-BREAK SPACE}", " ")


def test_tips_stand_where_the_lengths_put_them() -> None:
    """510 - (430 + 38 + 3) = 39 and 500 - (430 + 30 + 3) = 37 past the tip, which is at 0."""
    picture = drawn(USUAL)
    assert rows(picture, "1: Telescope <0°>")[1] == pytest.approx(39, abs=0.01)
    assert rows(picture, "2: Forceps")[1] == pytest.approx(37, abs=0.01)
    assert "1: 39.0 mm past the tip" in words(picture)
    assert "wanted 5.0 mm" in words(picture)
    assert "10 mm, both ways" in words(picture)


def test_a_reader_who_does_not_see_it_is_told() -> None:
    picture = drawn(USUAL)
    assert picture.attrib["role"] == "img"
    assert picture.findtext(f"{SVG}title") == "Side & tip"
    said = (picture.findtext(f"{SVG}desc") or "").replace("\N{NO-BREAK SPACE}", " ")
    assert said == "It fits. 1, Telescope <0°>: 39.0 mm past the tip. 2, Forceps: 37.0 mm past the tip."


def test_the_break_says_what_is_left_out() -> None:
    """Drawn of the barrel: 22 at the coupling and 36 at the tip; 430 - 58 = 372 are not."""
    assert "372.0 mm of the barrel not drawn" in words(drawn(USUAL))
    short = replace(USUAL, barrel=replace(BARREL, length=Dimension(60)))
    assert "not drawn" not in words(drawn(short))


def test_a_tip_in_the_barrel_and_one_far_out() -> None:
    short = replace(TELESCOPE, name="Short", length=Dimension(461))  # 10 before the tip
    long = replace(FORCEPS, name="Long", length=Dimension(560))  # 97 past it
    picture = drawn(replace(USUAL, shafts=(short, long)))
    assert rows(picture, "1: Short")[1] == pytest.approx(-10, abs=0.01)
    assert rows(picture, "2: Long")[1] == pytest.approx(80, abs=0.01)
    assert "1: 10.0 mm before the tip" in words(picture)
    assert "2: 97.0 mm past the tip, cut" in words(picture)


def test_what_is_not_measured_is_dashed_and_says_so() -> None:
    unknown = replace(TELESCOPE, name="Unknown", width=None, length=None)
    picture = drawn(replace(USUAL, shafts=(unknown,), base=replace(BASE, ports=(replace(AXIS, way=None), SIDE))), None)
    assert "1: tip not measured" in words(picture)
    assert "base not measured" in words(picture)
    assert "wanted" not in words(picture)
    assert "stroke-dasharray" in ET.tostring(picture, encoding="unicode")


def test_a_sheath_and_a_pusher_are_drawn_too() -> None:
    """462 from the base's face: 430 + 38 - 462 = 6 before the tip; a pusher of 500 is 29 past it."""
    sheath = Tube("Sheath", Dimension(6.8), Dimension(7.4), Dimension(462))
    mounting = replace(USUAL, shafts=(), sheath=sheath, pusher=Pusher("Pusher", Dimension(6.0), Dimension(500), 8.0))
    edges = [float(r.attrib["x"]) + float(r.attrib["width"]) for r in drawn(mounting).iter(f"{SVG}rect")]
    assert -6.0 in edges
    assert [tip.past_mm for tip in tips_of(mounting, ())] == [29]
    over = replace(mounting, sheath=Tube("Outer", Dimension(9.6), None, Dimension(425)), base=None, seals=())
    assert "stroke-dasharray" in ET.tostring(drawn(over), encoding="unicode")


@pytest.mark.parametrize("barrel", [replace(BARREL, bore=None), replace(BARREL, length=None)])
def test_nothing_is_drawn_of_what_nobody_measured(barrel: Tube) -> None:
    assert side_view(replace(USUAL, barrel=barrel), (), 5, title="", describe="") == ""


def test_a_bare_barrel() -> None:
    bare = Mounting(replace(BARREL, outer=None), shafts=(replace(TELESCOPE, port=""),))
    assert "base" not in words(drawn(bare))
    unsealed = replace(USUAL, seals=(), barrel=replace(BARREL, side_ports=False))
    assert "seal" not in words(drawn(unsealed))
