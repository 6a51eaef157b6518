"""What must never happen to packs and pieces in loads (nevers 1, 2, 3, 8, 9): asked of the actions, and raced."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest

from instruments.models import PartKind, Piece
from instruments.states import PieceState
from instruments.writer import lock_piece, move_piece
from journal.findings import Refused
from reprocessing import actions, states
from reprocessing.models import Load, LoadPack, LoadPiece, Release
from reprocessing.states import LoadState
from tests import makers
from tests.makers import act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED, WRITERS, one_of, packs_in, race, refused
from trays import actions as tray_actions
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.storage
db = pytest.mark.django_db


# 1. A pack is sterile only by the release of its load.


@db
def test_1_no_pack_is_sterile_before_its_load_is_released() -> None:
    load = make.complete()
    assert {pack.state for pack in packs_in(load)} == {PackState.AWAITING_RELEASE}
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))
    assert {pack.state for pack in packs_in(load)} == {PackState.STERILE}


@db
def test_1_a_rejected_load_leaves_no_pack_and_a_recalled_one_no_sterile_pack() -> None:
    rejected, recalled = make.complete(), make.released()
    actions.reject(rejected.code, reason="door opened", act=act(at=DECIDED))
    actions.recall_load(recalled.code, reason="indicator failed", act=act(at=DECIDED))
    assert {pack.state for pack in packs_in(rejected)} == {PackState.VOID}
    assert {pack.state for pack in packs_in(recalled)} == {PackState.RECALLED}


@race
def test_1_eight_releases_at_once_make_one() -> None:
    load = make.complete()
    people = [make.releaser() for _ in range(WRITERS)]
    one_of(at_once(*(lambda by=by: actions.release(load.code, act=act(by, at=DECIDED)) for by in people)))
    assert Release.objects.filter(load=load).count() == 1
    for pack in packs_in(load):
        assert Counter(pack.lines.values_list("verb", flat=True))["release"] == 1
        assert {content.piece.cycles for content in pack.contents.select_related("piece")} == {1}


@race
def test_1_released_or_rejected_but_not_both() -> None:
    load = make.complete()
    people = [make.releaser() for _ in range(WRITERS)]
    calls = [
        *(lambda by=by: actions.release(load.code, act=act(by, at=DECIDED)) for by in people[::2]),
        *(lambda by=by: actions.reject(load.code, reason="wet", act=act(by, at=DECIDED)) for by in people[1::2]),
    ]
    one_of(at_once(*calls))
    load.refresh_from_db()
    assert Release.objects.get(load=load).decision == load.state
    wanted = {LoadState.RELEASED: PackState.STERILE, LoadState.REJECTED: PackState.VOID}[LoadState(load.state)]
    assert {pack.state for pack in packs_in(load)} == {wanted}


@race
def test_1_a_pack_quarantined_while_its_load_is_released_is_quarantined() -> None:
    load = make.complete()
    pack = packs_in(load)[0]
    by = make.releaser()
    results = at_once(
        lambda: actions.release(load.code, act=act(by, at=DECIDED)),
        lambda: tray_actions.quarantine_pack(pack.code, reason="dropped", act=act(by, at=DECIDED)),
    )
    assert not any(isinstance(result, Refused) for result in results)
    pack.refresh_from_db()
    assert pack.state == PackState.QUARANTINED


# 2. Nothing is in two loads.


@race
def test_2_a_pack_goes_into_one_of_eight_loads() -> None:
    pack = makers.pack()
    loads = [make.load(make.machine(tested=False)) for _ in range(WRITERS)]
    one_of(at_once(*(lambda load=load: actions.add_pack(load.code, pack.code, act=act()) for load in loads)))
    assert LoadPack.objects.filter(pack=pack).count() == 1


@race
def test_2_a_piece_goes_into_one_of_eight_loads() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    loads = [make.load(make.washer(tested=False)) for _ in range(WRITERS)]
    one_of(at_once(*(lambda load=load: actions.add_piece(load.code, piece.code, act=act()) for load in loads)))
    assert LoadPiece.objects.filter(piece=piece).count() == 1


@race
def test_2_a_returned_set_goes_into_one_of_eight_loads_whole() -> None:
    pack = ended_pack()
    loads = [make.load(make.washer(tested=False)) for _ in range(WRITERS)]
    one_of(at_once(*(lambda load=load: actions.add_returned_set(load.code, pack.code, act=act()) for load in loads)))
    assert LoadPiece.objects.filter(came_with=pack).values("load").distinct().count() == 1
    assert LoadPiece.objects.filter(came_with=pack).count() == pack.contents.count()


def ended_pack() -> Pack:
    """A pack whose pieces are returned."""
    part = makers.part()
    pack = makers.pack(makers.tray(makers.template(makers.line(part, 3))))
    load = make.load(None, pack)
    make.running(load)
    actions.reject(load.code, reason="aborted", soiled=(pack.code,), act=act())
    return Pack.objects.get(pk=pack.pk)


# 3. Nobody releases alone what they built alone; nobody without the right releases at all.


@db
def test_3_who_built_it_alone_does_not_release_it() -> None:
    by = make.releaser()
    load = make.complete(by=by)
    assert refused(lambda: actions.release(load.code, act=act(by, at=DECIDED))) == ["built-alone"]
    assert actions.release(load.code, act=act(make.releaser(), at=DECIDED)).state == LoadState.RELEASED


@pytest.mark.parametrize("verb", ["add", "start", "unload"])
@db
def test_3_whoever_added_started_or_unloaded_is_a_second_builder(verb: str) -> None:
    by, other = make.releaser(), make.technician()
    who = {step: other if step == verb else by for step in ("add", "start", "unload")}
    load = make.load(None, makers.pack(), by=who["add"])
    load = make.ended(make.running(load, by=who["start"]), by=who["unload"])
    load = make.complete(load, by=make.technician())
    assert actions.release(load.code, act=act(by, at=DECIDED)).state == LoadState.RELEASED


@db
def test_3_the_exception_is_kept_where_it_was_needed() -> None:
    by = make.releaser()
    alone, shared = make.complete(by=by), make.complete()
    for load in (alone, shared):
        actions.release(load.code, alone=" night, nobody else on duty ", act=act(by, at=DECIDED))
    assert Release.objects.get(load=alone).alone == "night, nobody else on duty"
    assert Release.objects.get(load=shared).alone == ""


@db
def test_3_the_policies_of_washers_and_sterilisers_are_their_own() -> None:
    by = make.releaser()
    washed = make.complete(make.load(make.washer(), makers.piece(state=PieceState.RETURNED), by=by), by=by)
    assert actions.release(washed.code, act=act(by, at=DECIDED)).state == LoadState.RELEASED
    make.policy("second_person_washer", value=True)
    make.policy("second_person_steriliser", value=False)
    washed = make.complete(make.load(make.washer(), makers.piece(state=PieceState.RETURNED), by=by), by=by)
    assert refused(lambda: actions.release(washed.code, act=act(by, at=DECIDED))) == ["built-alone"]
    sterilised = make.complete(by=by)
    assert actions.release(sterilised.code, act=act(by, at=DECIDED)).state == LoadState.RELEASED


@db
def test_3_nobody_without_the_right_releases_rejects_or_recalls() -> None:
    load, done = make.complete(), make.released()
    by = act(make.technician(), at=DECIDED)
    assert refused(lambda: actions.release(load.code, act=by)) == ["right-missing"]
    assert refused(lambda: actions.reject(load.code, reason="wet", act=by)) == ["right-missing"]
    assert refused(lambda: actions.recall_load(done.code, reason="wet", act=by)) == ["right-missing"]


# 8. An implant waits for its biological result.


def implant_load() -> Load:
    pack = makers.single(makers.piece(makers.part(PartKind.IMPLANT)))
    return make.complete(make.load(None, pack))


def sign(load: Load, **blank: str) -> None:
    form = {
        "implants": "airway stent 14 × 40",
        "case_reference": "CASE-7",
        "authorised_by": "Operator 1",
        "reason": "emergency",
        "avoidable_by": "a second set in stock",
    }
    actions.sign_exceptional_release(load.code, **{**form, **blank}, act=act(at=DECIDED))


def let_go(load: Load) -> None:
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))


@db
def test_8_an_implant_waits_for_a_biological_indicator_and_its_result() -> None:
    load = implant_load()
    assert refused(lambda: let_go(load)) == ["biological-indicator-missing"]
    key = make.indicator(load, states.IndicatorKind.BIOLOGICAL)
    assert refused(lambda: let_go(load)) == ["biological-indicator-missing"]
    actions.read_indicator(load.code, key, passed=True, act=act(at=DECIDED))
    let_go(load)


@db
def test_8_a_failed_biological_result_forbids_whatever_is_signed() -> None:
    load = implant_load()
    make.indicator(load, states.IndicatorKind.BIOLOGICAL, passed=False)
    sign(load)
    assert refused(lambda: let_go(load)) == ["biological-indicator-failed"]


@db
def test_8_the_form_must_be_complete() -> None:
    load = implant_load()
    make.indicator(load, states.IndicatorKind.BIOLOGICAL)
    for name in ("implants", "case_reference", "authorised_by", "reason", "avoidable_by"):
        assert refused(lambda: sign(load, **{name: "  "})) == ["form-incomplete"]  # noqa: B023
    assert refused(lambda: let_go(load)) == ["biological-indicator-missing"]


@db
def test_8_the_signed_form_replaces_the_result_but_not_the_indicator() -> None:
    load = implant_load()
    sign(load)
    assert refused(lambda: let_go(load)) == ["biological-indicator-missing"]
    key = make.indicator(load, states.IndicatorKind.BIOLOGICAL)
    let_go(load)
    done = actions.read_indicator(load.code, key, passed=False, act=act(at=DECIDED + timedelta(days=1)))
    assert [finding["slug"] for finding in done.findings] == ["recall-to-decide", "recall-drafted"]
    assert "CASE-7" in done.findings[0]["sentence"]


@race
def test_8_a_release_that_races_a_failed_result_is_refused_or_told_of_the_recall() -> None:
    load = implant_load()
    make.indicator(load, states.IndicatorKind.BIOLOGICAL, passed=True)
    key = make.indicator(load, states.IndicatorKind.BIOLOGICAL)
    sign(load)
    released, read = at_once(
        lambda: let_go(load),
        lambda: actions.read_indicator(load.code, key, passed=False, act=act(at=DECIDED)),
    )
    assert not isinstance(read, Refused)
    assert isinstance(released, Refused) != bool(read.findings)


# 9. Nothing for single use comes back.


def used(piece: Piece, *, unused: bool) -> Piece:
    """The piece as it comes back from a case."""
    makers.single(piece)
    for verb, evidence in (("use", {}), ("take_back", {"unused": unused})):
        move_piece(lock_piece(piece.code), verb, act(), evidence=evidence)
    return Piece.objects.get(pk=piece.pk)


@pytest.mark.parametrize(
    ("permission", "unused", "refusal"),
    [
        ("", False, ["single-use-used"]),
        ("", True, ["single-use-opened"]),
        ("maker's instructions, section 4", False, ["single-use-used"]),
        ("maker's instructions, section 4", True, []),
    ],
)
@pytest.mark.parametrize("kind", [PartKind.IMPLANT, PartKind.SEAL])
@db
def test_9_a_used_single_use_item_goes_into_no_load(
    kind: PartKind, permission: str, *, unused: bool, refusal: list[str]
) -> None:
    piece = used(makers.piece(makers.part(kind, single_use=True, reprocess_unused=permission)), unused=unused)
    load = make.load(make.washer())
    if refusal:
        assert refused(lambda: actions.add_piece(load.code, piece.code, act=act())) == refusal
    else:
        assert actions.add_piece(load.code, piece.code, act=act()).verb == "add_piece"


@db
def test_9_a_used_single_use_item_goes_into_no_steriliser_either() -> None:
    piece = makers.piece(makers.part(PartKind.SEAL, single_use=True))
    pack = makers.single(piece)
    for verb in ("use", "take_back"):
        move_piece(lock_piece(piece.code), verb, act())
    load = make.load()
    assert "single-use-used" in refused(lambda: actions.add_pack(load.code, pack.code, act=act()))
