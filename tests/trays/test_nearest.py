"""Where what a tray lacks is now, and how a substitute goes with the barrels on it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments import actions as instrument_actions
from instruments.models import Part, PartKind, Piece
from instruments.states import PieceState
from tests import makers
from tests.makers import AT, act
from trays.actions import put_on_tray, take_off_tray
from trays.matching import TrayCount
from trays.models import Tray
from trays.reads import bench_of, nearest, tray_count

pytestmark = pytest.mark.django_db


def coming(part: Part, tray: Tray) -> str:
    return nearest([part.code], tray=tray, today=AT.date())[part.code].coming


def remedies(tray: Tray) -> dict[str, str]:
    return {finding.slug: finding.remedy for finding in tray_count(tray, at=AT).findings}


def test_when_none_is_free_the_next_in_the_loop_is_named() -> None:
    """One state nearer at each step: what was named before is still there."""
    part, tray = makers.part(name="Forceps"), makers.tray()
    assert nearest([part.code], tray=tray, today=AT.date()) == {}
    assert nearest([], tray=tray, today=AT.date()) == {}
    repaired = makers.piece(part)
    instrument_actions.send_to_repair(repaired.code, reason="bent", act=act())
    assert coming(part, tray) == f"{repaired.code} is in repair"
    single = makers.single(makers.piece(part))
    inside = single.contents.get().piece
    assert coming(part, tray) == f"{inside.code} is in pack {single.code}, assembled"
    lying = makers.piece(part)
    makers.lay(makers.tray(name="Tray 9"), lying)
    assert coming(part, tray) == f"{lying.code} lies on Tray 9"
    returned = makers.piece(part, state=PieceState.RETURNED)
    assert coming(part, tray) == f"{returned.code} is returned, waits for the washer"
    washing = makers.piece(part, state=PieceState.IN_WASHER)
    assert coming(part, tray) == f"{washing.code} is in washer"
    makers.move(washing, "take_out_of_washer")
    makers.move(washing, "put_in_washer", evidence={"load": "L000001X"})
    assert coming(part, tray) == f"{washing.code} is in a washer, load L000001X"
    cleaned = makers.piece(part, state=PieceState.CLEANED)
    assert coming(part, tray) == f"{cleaned.code} is cleaned, waits for inspection"
    makers.piece(part)
    assert coming(part, tray) == ""


def test_a_pack_of_a_tray_names_its_tray() -> None:
    part = makers.part()
    pack = makers.pack(makers.tray(makers.template(part), name="Tray 8"))
    inside = pack.contents.get().piece
    assert coming(part, makers.tray()) == f"{inside.code} is in pack {pack.code} of Tray 8, assembled"


def test_what_lies_on_the_tray_itself_is_no_source_for_it() -> None:
    part = makers.part()
    tray = makers.lay(makers.tray(makers.template(makers.line(part, 2))), laid := makers.piece(part))
    assert remedies(tray)["missing-line"] == "Scan it in. None is free."
    makers.piece(part, place=makers.place("Store A"))
    assert remedies(tray)["missing-line"].endswith("is in Store A.")
    take_off_tray(laid.code, act=act())
    assert f"{laid.code} is inspected, place not recorded." in remedies(tray)["missing-line"]


def test_as_many_as_lack_are_named_by_place() -> None:
    part, store = makers.part(), makers.place("Store A")
    tray = makers.tray(makers.template(makers.line(part, 3)))
    first, second = makers.piece(part, place=store), makers.piece(part, place=store)
    assert remedies(tray)["missing-line"] == (
        f"Scan it in. {first.code} and {second.code} are in Store A. No other is free."
    )


def test_a_missing_companion_and_an_orphan_say_where_the_nearest_is() -> None:
    sizes = makers.series("8.0", "8.5")
    eight = makers.size(sizes, "8.0")
    barrel, sheath = makers.part(PartKind.BARREL, size=eight), makers.part(PartKind.SHEATH, size=eight)
    rules = [makers.rule(sizes, wants_seal=False)]
    tray = makers.tray(makers.template(barrel, rules=rules))
    makers.lay(tray, makers.piece(barrel))
    assert remedies(tray)["sheath-missing"] == "Scan a sheath of size 8.0. None is free."
    free = makers.piece(sheath, place=makers.place("Store A"))
    assert remedies(tray)["sheath-missing"] == f"Scan a sheath of size 8.0. {free.code} is in Store A."
    (row,) = bench_of(tray, at=AT).waiting.companions
    assert row.where == f"{free.code} is in Store A."
    lone = makers.tray(makers.template(makers.part(), rules=rules))
    makers.lay(lone, free)
    spare = makers.piece(barrel, place=makers.place("Store B"))
    assert remedies(lone)["sheath-orphan"].endswith(f"{spare.code} is in Store B.")


def test_a_substitute_comes_with_its_reason_and_how_it_goes_with_the_barrels() -> None:
    """A shaft of 5.5 mm in bores of 7.0 and 5.0 mm: the outer circle of one shaft is the shaft itself."""
    sizes = makers.series("7.5", "5.5")
    bores = {"7.5": 7.0, "5.5": 5.0}
    barrels = [
        makers.part(
            PartKind.BARREL,
            size=makers.size(sizes, label),
            dimensions={
                "inner_mm": bore,
                "inner_tol": 0.05,
                "outer_mm": bore + 1,
                "outer_tol": 0.05,
                "length_mm": 300,
            },
        )
        for label, bore in bores.items()
    ]
    own = makers.part(PartKind.SUCTION, name="Own")
    other = makers.part(
        PartKind.SUCTION, name="Other", dimensions={"shaft_mm": 5.5, "shaft_tol": 0.05, "length_mm": 400}
    )
    tray = makers.tray(makers.template(*barrels, makers.line(own, substitutes=[other])))
    free = makers.piece(other, place=makers.place("Store A"))
    without = bench_of(tray, at=AT).still_open[-1].where
    assert without == f"Instead {free.code} (Other, serves as well) is in Store A."
    makers.lay(tray, *(makers.piece(barrel) for barrel in barrels))
    assert remedies(tray)["missing-line"] == (
        f"Scan it in, or a substitute: Other (serves as well). "
        f"Instead {free.code} (Other, serves as well; fits 7.5; does not fit 5.5) is in Store A."
    )


def told(count: TrayCount) -> tuple[object, ...]:
    return count.findings, count.lacks, dict(count.positions)


def test_through_the_actions_the_order_of_scans_changes_nothing_and_less_is_never_more() -> None:
    sizes = makers.series("8.0", "8.5")
    kinds = (PartKind.BARREL, PartKind.SHEATH, PartKind.SEAL)
    parts = [makers.part(kind, size=makers.size(sizes, label)) for label in ("8.0", "8.5") for kind in kinds[:2]]
    forceps = makers.part(PartKind.FORCEPS)
    listed: list[Any] = [*parts[:3], makers.line(forceps, 2)]
    tray = makers.tray(makers.template(*listed, rules=[makers.rule(sizes, wants_seal=False)]))
    pieces = [*(makers.piece(part) for part in parts), makers.piece(forceps), makers.piece(forceps)]

    @settings(max_examples=6, deadline=None)
    @given(st.permutations(pieces))
    def scan(order: list[Piece]) -> None:
        for piece in order:
            put_on_tray(piece.code, tray.code, act=act())
        seen.append(told(tray_count(tray, at=AT)))
        lacking = {row.line.position: row.lacking for row in tray_count(tray, at=AT).rows}
        for piece in order:
            take_off_tray(piece.code, tray=tray.code, act=act())
            fewer = {row.line.position: row.lacking for row in tray_count(tray, at=AT).rows}
            assert all(fewer[position] >= before for position, before in lacking.items())
            lacking = fewer

    seen: list[tuple[object, ...]] = []
    scan()
    assert seen
    assert all(one == seen[0] for one in seen)
