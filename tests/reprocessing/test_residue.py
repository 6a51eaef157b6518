"""Residual protein: judged by the unit's limit; a failing piece goes back; washers come due."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

import pytest

from instruments.models import Piece
from instruments.states import PieceState
from journal.models import Notice
from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Load, Machine, MachineLot, ProteinCheck
from reprocessing.quality_states import Cause
from reprocessing.reads.periodic import lacking_of_each
from reprocessing.reads.quality import unraised
from reprocessing.reads.residue import protein_of_each
from reprocessing.tasks import watch_machines
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import Browser

DAY = timedelta(days=1)
db = pytest.mark.django_db


def washed(on: Machine | None = None) -> tuple[Piece, Load]:
    """A piece that a washer has cleaned, and its load."""
    load = make.released(make.washing(on))
    return load.load_pieces.get().piece, load


def check(piece: Piece, **more: Any) -> list[str]:
    answer = actions.check_protein(piece.code, "swab", **more, act=act(at=make.DECIDED))
    return [finding["slug"] for finding in answer.findings]


@pytest.mark.storage
@db
def test_5_ug_a_side_passes_and_more_goes_back_before_the_washer() -> None:
    """HTM 01-01 (2016): at most 5 µg a side, as quoted in trade text."""
    piece, load = washed()
    assert check(piece, ug_per_side=5.0) == []
    assert check(piece, ug_per_side=5.1) == ["protein-left"]
    piece.refresh_from_db()
    assert piece.state == PieceState.RETURNED
    row = ProteinCheck.objects.first()
    assert row is not None
    assert (row.load, row.limit_ug, row.passed) == (load, 5.0, False)
    assert [line.verb for line in piece.lines.order_by("-id")[:2]] == ["find_soiled", "check_protein"]
    assert load.code == piece.lines.get(verb="find_soiled").evidence["load"]


@db
def test_a_check_that_is_recorded_later_names_no_wash_that_came_after_it() -> None:
    piece, load = washed()
    actions.check_protein(piece.code, "swab", ug_per_side=1.0, act=act(at=make.DECIDED - DAY))
    check(piece, ug_per_side=1.0)
    assert [row.load for row in ProteinCheck.objects.order_by("at")] == [None, load]


@db
def test_a_method_without_figures_says_passed_or_failed() -> None:
    piece, load = washed()
    assert check(piece, passed=True) == []
    answer = actions.check_protein(piece.code, "swab", passed=False, act=act(at=make.DECIDED))
    assert load.code in answer.findings[0]["sentence"]
    assert str(ProteinCheck.objects.first()) == f"{piece.code}: failed"


@db
def test_the_limit_is_a_policy_and_stays_with_the_check() -> None:
    piece, _ = washed()
    check(piece, ug_per_side=2.0)
    make.policy("protein_limit_ug", 1.0)
    assert check(piece, ug_per_side=2.0) == ["protein-left"]
    assert list(ProteinCheck.objects.order_by("id").values_list("limit_ug", flat=True)) == [5.0, 1.0]


@db
@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({}, ["no-result"]),
        ({"ug_per_side": 1.0, "passed": True}, ["no-result"]),
        ({"ug_per_side": -1.0}, ["no-mass"]),
        ({"ug_per_side": float("nan")}, ["no-result"]),
        ({"passed": True, "method": " "}, ["method-missing"]),
    ],
)
def test_what_is_no_check(said: dict[str, Any], found: list[str]) -> None:
    piece = makers.piece()
    asked = {"method": "swab", **said}
    assert refused(lambda: actions.check_protein(piece.code, **asked, act=act())) == found
    assert not ProteinCheck.objects.exists()


@db
def test_a_check_is_of_a_clean_piece_by_who_inspects() -> None:
    soiled, clean = makers.piece(state=PieceState.RETURNED), makers.piece()
    assert refused(lambda: check(soiled, passed=True)) == ["wrong-state"]
    coordinator = act(makers.person(Role.COORDINATOR))
    ask = partial(actions.check_protein, clean.code, "swab", passed=True)
    assert refused(lambda: ask(act=coordinator)) == ["right-missing"]
    assert check(clean, passed=False) == ["protein-left"]
    assert ProteinCheck.objects.get().load is None


@pytest.mark.storage
@db
def test_a_washer_is_due_until_something_that_it_cleaned_was_checked() -> None:
    washer, steamer = make.washer(), make.machine()
    piece, _ = washed(washer)
    due = partial(protein_of_each, [washer, steamer])
    assert list(due(make.DECIDED)) == [washer.pk]
    assert due(make.DECIDED)[washer.pk].words == "is not recorded"
    check(piece, ug_per_side=0.5)
    assert due(make.DECIDED)[washer.pk].valid
    assert due(make.DECIDED + 92 * DAY)[washer.pk].overdue
    make.policy("protein_check_days", 0)
    assert due(make.DECIDED) == {}
    assert lacking_of_each([washer], make.DECIDED)[washer.pk] == []


@db
def test_a_failed_check_is_offered_as_a_non_conformity() -> None:
    piece, _ = washed()
    check(piece, ug_per_side=9.0)
    (event,) = unraised(make.DECIDED)
    assert (event.thing, event.cause) == (piece.code, Cause.SOILED)
    assert event.description == "Residual protein: 9 µg a side, must be at most 5 µg."


@db
def test_what_lacks_is_told_once_and_closed_when_it_is_done() -> None:
    washer = make.washer()
    make.policy("expired_lot_forbids", False)
    actions.put_lot_in_use(washer.code, "Detergent", "L-1", expires=AT.date() - 30 * DAY, act=act())
    watch_machines()
    watch_machines()
    told = list(Notice.objects.still_open().order_by("cause").values_list("cause", "link"))
    page = f"/machines/{washer.code}/upkeep/"
    lot = MachineLot.objects.get()
    assert told == [(f"lot:{lot.pk}", page), (f"periodic:{washer.code}:Residual protein", page)]
    actions.take_lot_out_of_use(washer.code, lot.pk, reason="expired", act=act())
    make.policy("protein_check_days", 0)
    watch_machines()
    assert not Notice.objects.still_open().exists()


@db
def test_checks_on_their_page() -> None:
    browser, (piece, load) = Browser(make.technician()), washed()
    assert "None is recorded." in browser.read("/quality/protein/")
    said = {"piece": piece.code, "method": "Fluorescence in place"}
    assert "Cannot" in browser.send("/quality/protein/", **said, ug_per_side="")
    text = browser.send("/quality/protein/", **said, ug_per_side="7.5")
    assert "7.5 µg a side, must be at most 5 µg" in text
    assert f"{load.code} {load.machine}" in text
    nurse = Browser(makers.person(Role.COORDINATOR))
    assert "does not hold the right" in nurse.read("/quality/protein/")
