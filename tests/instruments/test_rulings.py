"""A whole set-up under every rule; dimensions are invented, each sum is worked out beside its test."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from instruments.fit import Dimension, Fit, Judgement, worst
from instruments.gauge import diameter_mm
from instruments.joints import Adapter, Telescope
from instruments.mounting import Base, Implant, Mounting, Port, Pusher, Seal, Shaft, Tube, paired
from instruments.rulings import (
    COUPLING,
    FITTING,
    FOLDED,
    IN_BARREL,
    IN_SHEATH,
    INSIDE,
    OPENINGS,
    OPTICAL,
    OVER,
    OWN_SIZE,
    PORT,
    PUSHED,
    REACH,
    RULES,
    STEP,
    WITHIN,
    Limits,
    Rule,
    judge,
    rulings,
)

LIMITS = Limits(0.2, 5.0)
AXIS = Port("axis", "K1", Dimension(9.4), Dimension(38), on_axis=True)
SIDE = Port("side", "K2", Dimension(6.0), Dimension(30))
BASE = Base("Base", "C1", (AXIS, SIDE))
BARREL = Tube("Barrel", Dimension(8.0, 0.05), Dimension(9.0, 0.05), Dimension(430), "A 8.0", "C1")
CAP = Seal("Cap", "K1", 1, Dimension(5.7, 0.1), Dimension(3))
SIDE_CAP = Seal("Side cap", "K2", 2, Dimension(2.7, 0.1), Dimension(3))
SCOPE = Telescope("Telescope", Dimension(4.0), Dimension(510), 0, "L1")
TELESCOPE = Shaft("Telescope", Dimension(4.0, 0.03), Dimension(510), "axis", must_reach=True, scope=SCOPE)
FORCEPS = Shaft("Forceps", Dimension(2.5, 0.05), Dimension(560), "side", must_reach=True)
OPTICAL_FORCEPS = Shaft(
    "Optical", Dimension(6.5, 0.08), Dimension(500), "axis", must_reach=True, made_for=replace(SCOPE, name="Optical")
)
SHEATH = Tube("Sheath", Dimension(6.8, 0.05), Dimension(7.4, 0.05), Dimension(462), "A 8.0")
USUAL = Mounting(BARREL, BASE, (("axis", CAP), ("side", SIDE_CAP)), (TELESCOPE, FORCEPS))
ALONE = Mounting(BARREL)


def by_rule(mounting: Mounting, rule: Rule, limits: Limits = LIMITS) -> list[Judgement]:
    return [ruling.judgement for ruling in rulings(mounting, limits) if ruling.rule is rule]


def only(mounting: Mounting, rule: Rule) -> Judgement:
    (judgement,) = by_rule(mounting, rule)
    return judgement


def test_the_usual_set_up_fits_by_every_rule_asked() -> None:
    """The worked example of docs/algorithms/fit.md.

    Barrel: 4.0 + 2.5 + 3 x 0.2 = 7.1 of 8.0; at worst 4.03 + 2.55 + 0.6 = 7.18 of 7.95.
    Axis port: 4.0 + 0.4 = 4.4 of 9.4. Side port: 2.5 + 0.4 = 2.9 of 6.0.
    Openings: 4.03 in 5.6, 2.55 in 2.6, at worst.
    Reach: 510 - (430 + 38 + 3) = 39 and 560 - (430 + 30 + 3) = 97, wanted 5.
    """
    found = rulings(USUAL, LIMITS)
    assert [ruling.rule for ruling in found] == [
        IN_BARREL, COUPLING, FITTING, FITTING, OPENINGS, OPENINGS, PORT, PORT, REACH, REACH,
    ]  # fmt: skip
    assert {ruling.judgement.fit for ruling in found} == {Fit.FITS}
    assert only(USUAL, IN_BARREL).findings[0].numbers["required_bore_mm"] == pytest.approx(7.1)
    assert [one.findings[0].numbers["past_end_mm"] for one in by_rule(USUAL, REACH)] == [39, 97]
    assert judge(USUAL, LIMITS).fit is Fit.FITS


def test_nothing_chosen_is_nothing_asked() -> None:
    assert rulings(ALONE, LIMITS) == ()
    assert judge(ALONE, LIMITS) == Judgement(Fit.FITS, ())


def test_every_rule_is_in_words() -> None:
    assert len({rule.title for rule in RULES}) == len(RULES)
    assert all(rule.sentence.endswith(".") for rule in RULES)


@pytest.mark.parametrize(
    ("changed", "rule", "fit"),
    [
        # 4.03 + 2.55 + 0.6 = 7.18 at worst and 3.97 + 2.45 + 0.6 = 7.02 at best, in 7.1 +- 0.05
        ({"barrel": replace(BARREL, bore=Dimension(7.1, 0.05))}, IN_BARREL, Fit.TIGHT),
        ({"barrel": replace(BARREL, bore=Dimension(6.9, 0.05))}, IN_BARREL, Fit.DOES_NOT_FIT),
        ({"barrel": replace(BARREL, bore=None)}, IN_BARREL, Fit.NOT_MEASURED),
        ({"shafts": (replace(TELESCOPE, width=None),)}, IN_BARREL, Fit.NOT_MEASURED),
        ({"barrel": replace(BARREL, coupling="C9")}, COUPLING, Fit.DOES_NOT_FIT),
        ({"barrel": replace(BARREL, coupling="")}, COUPLING, Fit.NOT_MEASURED),
        ({"seals": (("axis", replace(CAP, fitting="K2")),)}, FITTING, Fit.DOES_NOT_FIT),
        ({"seals": (("axis", replace(CAP, opening=Dimension(4.0, 0.1))),)}, OPENINGS, Fit.TIGHT),
        ({"seals": (("axis", replace(CAP, openings=0)),)}, OPENINGS, Fit.DOES_NOT_FIT),
        ({"seals": (("axis", replace(CAP, opening=None)),)}, OPENINGS, Fit.NOT_MEASURED),
        ({"base": replace(BASE, ports=(replace(AXIS, bore=Dimension(4.3)), SIDE))}, PORT, Fit.DOES_NOT_FIT),
        ({"base": replace(BASE, ports=(AXIS, replace(SIDE, way=None)))}, REACH, Fit.NOT_MEASURED),
        ({"shafts": (replace(TELESCOPE, length=Dimension(475)),)}, REACH, Fit.DOES_NOT_FIT),
        ({"shafts": (replace(TELESCOPE, length=Dimension(476)),)}, REACH, Fit.FITS),
        ({"shafts": (replace(TELESCOPE, length=Dimension(476, 1)),)}, REACH, Fit.TIGHT),
        ({"shafts": (replace(TELESCOPE, port=""),)}, REACH, Fit.NOT_MEASURED),
        ({"shafts": (replace(TELESCOPE, port=""),)}, PORT, Fit.NOT_MEASURED),
    ],
)
def test_one_thing_changed(changed: dict[str, Any], rule: Rule, fit: Fit) -> None:
    mounting = replace(USUAL, **changed)
    assert worst(judgement.fit for judgement in by_rule(mounting, rule)) is fit
    assert judge(mounting, LIMITS).fit in (fit, Fit.NOT_MEASURED, Fit.DOES_NOT_FIT)
    assert judge(mounting, LIMITS).fit is not Fit.FITS or fit is Fit.FITS


def test_an_adapter_bridges_base_and_barrel() -> None:
    child = replace(USUAL, barrel=replace(BARREL, coupling="C2"), adapters=(Adapter("Bridge", ("C1", "C2")),))
    assert only(child, COUPLING).findings[0].numbers == {"adapter": "Bridge"}


def test_a_suction_tube_need_not_come_out_at_the_tip() -> None:
    suction = Shaft("Suction", Dimension(3.0), Dimension(300), "axis")
    assert by_rule(replace(USUAL, shafts=(suction,)), REACH) == []


def test_a_reach_that_nobody_stated_is_not_measured() -> None:
    assert {one.fit for one in by_rule(USUAL, REACH, Limits(0.2, None))} == {Fit.NOT_MEASURED}


def test_french_gauge_through_the_barrel() -> None:
    """ISO 8836:2014, 5.1: 1 mm = 3 Fr. 16 Fr is 5.33 mm and needs 5.73; 24 Fr is 8 mm and cannot pass 8.0."""
    sixteen = Shaft("16 Fr", Dimension(diameter_mm(16)), Dimension(500))
    found = only(replace(ALONE, shafts=(sixteen,)), IN_BARREL)
    assert found.fit is Fit.FITS
    assert found.findings[0].numbers["required_bore_mm"] == pytest.approx(16 / 3 + 0.4)
    assert only(replace(ALONE, shafts=(replace(sixteen, width=Dimension(diameter_mm(24))),)), IN_BARREL).fit is (
        Fit.DOES_NOT_FIT
    )


# Optical forceps


def test_an_optical_forceps_and_its_telescope_are_one() -> None:
    """6.5 + 0.4 = 6.9 of 8.0; side by side they would need 6.5 + 4.0 + 0.6 = 11.1."""
    both = replace(ALONE, shafts=(replace(TELESCOPE, port=""), replace(OPTICAL_FORCEPS, port="")))
    found = only(both, IN_BARREL)
    assert found.fit is Fit.FITS
    assert found.findings[0].numbers["required_bore_mm"] == pytest.approx(6.9)
    assert only(both, OPTICAL).fit is Fit.FITS
    assert len(by_rule(both, REACH)) == 1


def test_the_telescope_that_matches_is_the_one_that_is_carried() -> None:
    oblique = replace(TELESCOPE, name="Oblique", scope=replace(SCOPE, name="Oblique", view_deg=30))
    all_three = replace(USUAL, shafts=(oblique, TELESCOPE, OPTICAL_FORCEPS))
    assert [(one.name, other.name) for one, other in all_three.pairs] == [("Optical", "Telescope")]
    assert [shaft.name for shaft in all_three.apart] == ["Oblique", "Optical"]
    wrong = replace(USUAL, shafts=(oblique, OPTICAL_FORCEPS))
    assert only(wrong, OPTICAL).fit is Fit.DOES_NOT_FIT


def test_a_telescope_through_another_port_is_not_carried() -> None:
    elsewhere = replace(USUAL, shafts=(replace(TELESCOPE, port="side"), OPTICAL_FORCEPS))
    assert elsewhere.pairs == ()
    assert by_rule(elsewhere, OPTICAL) == []
    assert len(elsewhere.apart) == 2


def test_only_an_optical_forceps_and_a_telescope_pair() -> None:
    with pytest.raises(ValueError, match="Cannot pair Forceps with Telescope"):
        paired(FORCEPS, TELESCOPE)
    with pytest.raises(ValueError, match="Cannot pair Optical with Forceps"):
        paired(OPTICAL_FORCEPS, FORCEPS)


# Sheath


def test_a_sheath_in_the_barrel() -> None:
    """7.4 + 0.4 = 7.8 of 8.0, at worst 7.85 of 7.95; its tip is 430 + 38 - 462 = 6 before the end."""
    mounting = replace(USUAL, sheath=SHEATH, shafts=(TELESCOPE,))
    assert mounting.through
    assert only(mounting, IN_BARREL).findings[0].numbers["required_bore_mm"] == pytest.approx(7.8)
    assert only(mounting, WITHIN).findings[0].numbers["before_end_mm"] == 6
    assert only(mounting, OWN_SIZE).fit is Fit.FITS
    assert by_rule(mounting, OVER) == []
    # the telescope runs in the sheath: 4.0 + 0.4 of 6.8; the sheath, not the telescope, meets the axis port
    assert only(mounting, IN_SHEATH).findings[0].numbers["required_bore_mm"] == pytest.approx(4.4)
    assert only(mounting, PORT).findings[0].numbers["required_bore_mm"] == pytest.approx(7.8)
    assert judge(mounting, LIMITS).fit is Fit.FITS


def test_what_comes_by_another_port_runs_beside_the_sheath() -> None:
    """7.4 + 2.5 + 0.6 = 10.5 of 8.0."""
    mounting = replace(USUAL, sheath=SHEATH)
    found = only(mounting, IN_BARREL)
    assert found.fit is Fit.DOES_NOT_FIT
    assert found.findings[0].numbers["required_bore_mm"] == pytest.approx(10.5)


def test_a_sheath_over_the_barrel() -> None:
    """9.0 + 0.4 = 9.4 of 9.6; both begin at the coupling, 430 - 425 = 5 before the tip."""
    outer = Tube("Outer tube", Dimension(9.6, 0.05), Dimension(10.2), Dimension(425))
    mounting = replace(USUAL, sheath=outer)
    assert not mounting.through
    assert only(mounting, OVER).fit is Fit.FITS
    assert only(mounting, WITHIN).findings[0].numbers["before_end_mm"] == 5
    assert by_rule(mounting, OWN_SIZE) == []  # of no series
    assert by_rule(mounting, IN_SHEATH) == []
    longer = replace(mounting, sheath=replace(outer, length=Dimension(431)))
    assert only(longer, WITHIN).fit is Fit.DOES_NOT_FIT


def test_a_sheath_of_another_size_is_refused_although_it_goes_through() -> None:
    mounting = replace(USUAL, shafts=(), sheath=replace(SHEATH, size="A 7.5"))
    assert only(mounting, OWN_SIZE).fit is Fit.DOES_NOT_FIT
    assert only(mounting, IN_BARREL).fit is Fit.FITS
    assert by_rule(mounting, IN_SHEATH) == []


def test_without_a_base_only_a_short_sheath_is_known_to_end_inside() -> None:
    long = only(replace(ALONE, sheath=SHEATH), WITHIN)
    assert long.fit is Fit.NOT_MEASURED
    assert long.findings[0].remedy == "Choose the base."
    assert only(replace(ALONE, sheath=replace(SHEATH, length=Dimension(420))), WITHIN).fit is Fit.FITS
    assert only(replace(ALONE, sheath=replace(SHEATH, length=None)), WITHIN).fit is Fit.NOT_MEASURED


def test_a_sheath_whose_bore_nobody_measured_is_taken_to_go_through() -> None:
    assert replace(ALONE, sheath=replace(SHEATH, bore=None)).through
    assert not ALONE.through


# Delivery

LOADER = Tube("Loader", Dimension(6.6, 0.05))
PUSHER = Pusher("Pusher", Dimension(6.0, 0.05), Dimension(500), 8.0)
IMPLANT = Implant("Stent", Dimension(6.4, 0.1), Dimension(40))
DELIVERY = Mounting(BARREL, BASE, sheath=SHEATH, loader=LOADER, pusher=PUSHER, implant=IMPLANT)


def test_a_delivery_through_the_sheath() -> None:
    """6.5 at most in 6.55 and 6.75; 6.65 at most into 6.75; 6.0 + 0.4 in 6.8; 40 in 462; 500 - 462 = 38, wanted 8."""
    found = {ruling.rule: ruling.judgement for ruling in rulings(DELIVERY, LIMITS)}
    assert [rule.title for rule in found] == [
        rule.title for rule in (IN_BARREL, IN_SHEATH, OWN_SIZE, WITHIN, COUPLING, PORT, FOLDED, STEP, INSIDE, PUSHED)
    ]
    assert {judgement.fit for judgement in found.values()} == {Fit.FITS}
    assert len(found[FOLDED].findings) == 2
    assert found[PUSHED].findings[0].numbers["past_end_mm"] == 38
    capped = replace(DELIVERY, seals=(("axis", CAP),))
    assert only(capped, PUSHED).findings[0].numbers["past_end_mm"] == 35
    assert only(capped, OPENINGS).fit is Fit.DOES_NOT_FIT  # 6.0 in 5.7: the cap comes off


def test_a_delivery_straight_through_the_barrel() -> None:
    """500 - (430 + 38) = 32; the implant in 8.0 without a loader."""
    straight = replace(DELIVERY, sheath=None, loader=None)
    assert only(straight, PUSHED).findings[0].numbers["past_end_mm"] == 32
    assert len(only(straight, FOLDED).findings) == 1
    assert by_rule(straight, STEP) == []


@pytest.mark.parametrize(
    ("changed", "rule", "fit"),
    [
        ({"implant": replace(IMPLANT, width=Dimension(7.0, 0.1))}, FOLDED, Fit.DOES_NOT_FIT),
        ({"implant": replace(IMPLANT, width=None)}, FOLDED, Fit.NOT_MEASURED),
        ({"sheath": replace(SHEATH, bore=Dimension(6.5, 0.05))}, FOLDED, Fit.TIGHT),
        ({"implant": replace(IMPLANT, length=Dimension(470))}, INSIDE, Fit.DOES_NOT_FIT),
        ({"loader": replace(LOADER, bore=Dimension(6.8, 0.05))}, STEP, Fit.TIGHT),
        ({"loader": replace(LOADER, bore=Dimension(7.0))}, STEP, Fit.DOES_NOT_FIT),
        ({"loader": replace(LOADER, bore=None)}, STEP, Fit.NOT_MEASURED),
        ({"pusher": replace(PUSHER, width=Dimension(6.6))}, IN_SHEATH, Fit.DOES_NOT_FIT),
        ({"pusher": replace(PUSHER, length=Dimension(469))}, PUSHED, Fit.DOES_NOT_FIT),
        ({"pusher": replace(PUSHER, past_tip_mm=None)}, PUSHED, Fit.NOT_MEASURED),
    ],
)
def test_one_thing_of_the_delivery_changed(changed: dict[str, Any], rule: Rule, fit: Fit) -> None:
    assert only(replace(DELIVERY, **changed), rule).fit is fit


# What cannot be asked


def test_six_at_once_at_most() -> None:
    thin = [Shaft(f"Shaft {n}", Dimension(1.0), None) for n in range(6)]
    assert len(Mounting(BARREL, shafts=tuple(thin)).apart) == 6
    with pytest.raises(ValueError, match="Cannot judge 7 at once"):
        Mounting(BARREL, shafts=tuple(thin), sheath=SHEATH)


@pytest.mark.parametrize(
    "changed",
    [
        {"shafts": (replace(TELESCOPE, port="back"),)},
        {"seals": (("back", CAP),)},
        {"seals": (("axis", CAP), ("axis", CAP))},
        {"base": None, "shafts": ()},
    ],
)
def test_only_ports_of_the_base(changed: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="Cannot use port"):
        replace(USUAL, **changed)


@pytest.mark.parametrize(("gap", "wanted"), [(-0.1, 5), (float("nan"), 5), (0.2, float("inf"))])
def test_limits_are_sensible(gap: float, wanted: float) -> None:
    with pytest.raises(ValueError, match="Cannot judge with"):
        Limits(gap, wanted)


# Properties

SIZE = st.floats(1, 8)


@given(st.lists(SIZE, min_size=1, max_size=3), st.floats(0, 0.4), st.floats(0, 0.4))
def test_a_wider_gap_or_one_more_shaft_never_helps(widths: list[float], gap: float, more: float) -> None:
    order = [Fit.DOES_NOT_FIT, Fit.TIGHT, Fit.FITS]
    shafts = tuple(Shaft(f"Shaft {n}", Dimension(width, 0.05), None) for n, width in enumerate(widths))

    def rank(mounting: Mounting, gap_mm: float) -> int:
        return order.index(judge(mounting, Limits(gap_mm, None)).fit)

    mounting = replace(ALONE, shafts=shafts)
    assert rank(mounting, gap + more) <= rank(mounting, gap)
    assert rank(replace(mounting, shafts=(*shafts, Shaft("One more", Dimension(1.0), None))), gap) <= rank(
        mounting, gap
    )


@given(st.floats(300, 600), st.floats(0, 3), st.floats(0, 40))
def test_reach_is_plain_subtraction(length: float, tolerance: float, wanted: float) -> None:
    mounting = replace(USUAL, shafts=(replace(TELESCOPE, length=Dimension(length, tolerance)),))
    (found,) = by_rule(mounting, REACH, Limits(0.2, wanted))
    margin = length - 471 - wanted
    if abs(abs(margin) - tolerance) > 1e-6:
        expected = Fit.FITS if margin > tolerance else Fit.DOES_NOT_FIT if margin < -tolerance else Fit.TIGHT
        assert found.fit is expected


@given(st.permutations([TELESCOPE, OPTICAL_FORCEPS, replace(FORCEPS, port="axis")]))
def test_the_order_of_the_shafts_does_not_matter(shafts: list[Shaft]) -> None:
    def facts(of: tuple[Shaft, ...]) -> set[tuple[str, Fit]]:
        return {(one.rule.title, one.judgement.fit) for one in rulings(replace(USUAL, shafts=of), LIMITS)}

    assert facts(tuple(shafts)) == facts((TELESCOPE, OPTICAL_FORCEPS, replace(FORCEPS, port="axis")))
