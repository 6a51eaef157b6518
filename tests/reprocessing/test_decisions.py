"""Released, rejected, recalled: what becomes of packs and pieces, and each refusal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import IntegrityError

from instruments.actions import inspect
from instruments.models import Piece
from instruments.states import PieceState
from journal.actions import Act
from journal.roles import Role
from reprocessing import actions, reads
from reprocessing.models import Doubt, Load, Release
from reprocessing.states import LoadKind, LoadState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED, ENDED, refused
from trays import actions as tray_actions
from trays.models import Carried, Pack, Tray
from trays.states import PackState

pytestmark = pytest.mark.django_db


def returned() -> Piece:
    return makers.piece(state=PieceState.RETURNED)


def states_of(*rows: Piece | Pack) -> set[str]:
    for row in rows:
        row.refresh_from_db()
    return {row.state for row in rows}


def release(load: Load) -> None:
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))


# Release


def test_released_packs_are_sterile_and_their_pieces_have_seen_a_cycle() -> None:
    pack, by = makers.pack(), make.releaser()
    load = make.complete(make.load(None, pack))
    done = actions.release(load.code, reason="as usual", act=act(by, at=DECIDED))
    assert (done.state, done.sentence) == (LoadState.RELEASED, f"{load.code} is released; sterile: 1 pack.")
    assert states_of(pack) == {PackState.STERILE}
    piece = Piece.objects.get(carried__pack=pack)
    assert (piece.state, piece.cycles) == (PieceState.PACKED, 1)
    assert piece.lines.get(verb="count_cycle").evidence == {"load": load.code, "cycles": 1}
    decision = Release.objects.get(load=load)
    assert (decision.decision, decision.by, decision.at, decision.reason) == ("released", by, DECIDED, "as usual")
    assert {check["slug"] for check in decision.evidence["checks"]} >= {"trace", "chemical-indicator", "condition"}
    assert not load.load_packs.filter(open=True).exists()


def test_released_pieces_are_cleaned() -> None:
    piece = returned()
    load = make.complete(make.load(make.washer(), piece))
    done = actions.release(load.code, act=act(make.releaser(), at=DECIDED))
    assert (done.sentence, done.next_step) == (f"{load.code} is released; cleaned: 1 piece.", "Inspect the pieces.")
    piece.refresh_from_db()
    assert (piece.state, piece.cleaned_at, piece.cycles) == (PieceState.CLEANED, DECIDED, 0)
    assert not load.load_pieces.filter(open=True).exists()


@pytest.mark.parametrize(
    ("missing", "slug"),
    [("trace", "trace-missing"), ("indicator", "chemical-indicator-missing"), ("failed", "chemical-indicator-failed")],
)
def test_a_steriliser_load_without_its_evidence_is_not_released(missing: str, slug: str) -> None:
    load = make.ended()
    if missing != "trace":
        actions.attach_trace(load.code, "a.csv", make.steam_trace(), act=act(at=ENDED))
    if missing != "indicator":
        make.indicator(load, passed=missing != "failed")
    assert refused(lambda: release(load)) == [slug]


@pytest.mark.parametrize(("dosing", "slug"), [(None, "dosing-missing"), (False, "dosing-failed")])
def test_a_wash_without_its_doses_is_not_released(dosing: bool | None, slug: str) -> None:
    load = make.ended(make.load(make.washer(), returned()), dosing_recorded=dosing)
    assert refused(lambda: release(load)) == ["trace-missing", slug]


def test_a_superheated_cycle_is_not_released_however_lethal() -> None:
    load = make.complete(record=make.steam_trace(superheat_k=6.0))
    assert load.traces.get().judgement["numbers"]["f0_min"] > 60
    assert refused(lambda: release(load)) == ["trace-failed"]


def test_a_test_load_is_closed_without_evidence() -> None:
    load = make.load(make.machine(), kind=LoadKind.TEST, by=make.technician())
    actions.start_load(load.code, caps_open=False, act=act(make.technician()))
    release(make.ended(load, by=make.technician()))
    assert Load.objects.get(pk=load.pk).state == LoadState.RELEASED


def test_a_quarantined_pack_stays_in_quarantine_and_has_seen_its_cycle() -> None:
    held, other = makers.pack(), makers.pack()
    load = make.complete(make.load(None, held, other))
    tray_actions.quarantine_pack(held.code, reason="dropped", act=act(at=ENDED))
    release(load)
    assert states_of(held) == {PackState.QUARANTINED}
    assert states_of(other) == {PackState.STERILE}
    assert Piece.objects.get(carried__pack=held).cycles == 1


def test_an_immediate_use_item_may_be_used_for_minutes_after_its_cycle() -> None:
    make.policy("immediate_use", value=True)
    make.policy("immediate_use_min", 45)
    quick = makers.programme("IMM", immediate=True)
    piece = makers.piece(makers.part(programmes=[makers.programme("W90", kind="wash"), quick]))
    code = tray_actions.pack_single(piece.code, immediate=True, reason="dropped", patient_ref="REF-1", act=act()).mark
    pack = Pack.objects.get(code=code)
    release(make.complete(make.load(make.machine(programmes=[quick]), pack, programme="IMM")))
    assert states_of(pack) == {PackState.STERILE}
    assert pack.use_by == ENDED + timedelta(minutes=45)


def test_a_load_in_doubt_waits_for_the_quality_decision() -> None:
    load = make.complete()
    doubt = in_doubt(load)
    assert refused(lambda: release(load)) == ["doubt-failed"]
    actions.decide_doubt(load.code, doubt.test_id, decision="leak came after", recall=False, act=act(at=DECIDED))
    release(load)


def in_doubt(load: Load) -> Doubt:
    actions.record_test(load.machine.code, "air leakage", passed=False, act=act(at=DECIDED))
    return Doubt.objects.get(load=load)


@pytest.mark.parametrize("state", [LoadState.BUILDING, LoadState.RUNNING, LoadState.RELEASED])
def test_only_a_load_that_waits_is_released(state: LoadState) -> None:
    makes: dict[LoadState, Callable[[], Load]] = {LoadState.BUILDING: make.load, LoadState.RUNNING: make.running}
    load = makes.get(state, make.released)()
    assert "wrong-state" in refused(lambda: release(load))


# Reject


def test_a_rejected_load_sends_its_packs_back_to_assembly() -> None:
    clean, dirty, mixed = makers.pack(), makers.pack(), makers.pack(two_pieces())
    load = make.complete(make.load(None, clean, dirty, mixed))
    wet, dry = Piece.objects.filter(carried__pack=mixed).order_by("pk")
    inspected, washed = (Piece.objects.get(carried__pack=pack) for pack in (clean, dirty))
    actions.reject(load.code, reason="door opened", soiled=(dirty.code, wet.code), act=act(at=DECIDED))
    assert states_of(clean, dirty, mixed) == {PackState.VOID}
    assert states_of(inspected, dry) == {PieceState.INSPECTED}
    assert states_of(washed, wet) == {PieceState.RETURNED}
    assert {piece.cycles for piece in (inspected, washed, wet, dry)} == {1}
    assert not Carried.objects.exists()
    decision = Release.objects.get(load=load)
    assert (decision.decision, decision.reason) == ("rejected", "door opened")


def two_pieces() -> Tray:
    return makers.tray(makers.template(makers.line(makers.part(), 2)))


def test_an_aborted_load_is_rejected_while_it_runs() -> None:
    load = make.running()
    actions.reject(load.code, reason="power cut", act=act(at=ENDED))
    load.refresh_from_db()
    assert (load.state, load.ended_at) == (LoadState.REJECTED, ENDED)
    assert make.running(make.load(load.machine, makers.pack())).state == LoadState.RUNNING


def test_a_load_is_not_aborted_before_it_started() -> None:
    load = make.running()
    early = act(at=AT - timedelta(minutes=1))
    assert refused(lambda: actions.reject(load.code, reason="power cut", act=early)) == ["ends-before-start"]


def test_a_rejected_wash_leaves_its_pieces_soiled() -> None:
    piece = returned()
    load = make.ended(make.load(make.washer(), piece))
    actions.reject(load.code, reason="no detergent", act=act(at=DECIDED))
    assert states_of(piece) == {PieceState.RETURNED}
    make.load(make.washer(), piece)  # and it can be washed again


def test_a_quarantined_pack_of_a_rejected_load_stays_in_quarantine() -> None:
    pack = makers.pack()
    load = make.complete(make.load(None, pack))
    tray_actions.quarantine_pack(pack.code, reason="dropped", act=act(at=ENDED))
    actions.reject(load.code, reason="wet load", act=act(at=DECIDED))
    assert states_of(pack) == {PackState.QUARANTINED}
    assert not load.load_packs.filter(open=True).exists()


def test_what_stands_against_rejecting() -> None:
    load, other = make.complete(), makers.pack()
    reject = actions.reject
    assert refused(lambda: reject(load.code, reason=" ", act=act(at=DECIDED))) == ["reason-missing"]
    assert refused(lambda: reject(load.code, reason="wet", soiled=(other.code,), act=act(at=DECIDED))) == [
        "not-in-load"
    ]
    building = make.load()
    assert refused(lambda: reject(building.code, reason="wet", act=act(at=DECIDED))) == ["wrong-state"]


# Recall


def test_a_recall_calls_back_whatever_is_not_used_yet() -> None:
    shelf, used, held = makers.pack(), makers.pack(), makers.pack()
    load = make.released(make.load(None, shelf, used, held))
    tray_actions.quarantine_pack(held.code, reason="dropped", act=act(at=DECIDED))
    Pack.objects.filter(pk=used.pk).update(state=PackState.OPENED)
    done = actions.recall_load(load.code, reason="indicator failed", act=act(at=DECIDED))
    assert states_of(shelf, held) == {PackState.RECALLED}
    assert done.sentence == f"{load.code} is recalled: 2 packs called back, 0 pieces sent to the washer."
    assert [(finding["slug"], finding["subject"]) for finding in done.findings] == [("not-called-back", used.code)]


def test_a_recalled_wash_calls_back_its_pieces_and_the_packs_that_carry_them() -> None:
    clean, laid, packed, washed_again = (returned() for _ in range(4))
    load = make.released(make.load(make.washer(), clean, laid, packed, washed_again))
    for piece in (laid, packed):
        pass_inspection(piece)
    makers.lay(makers.tray(makers.template(laid.part)), laid, at=DECIDED)
    pack = makers.single(packed, at=DECIDED)
    released = make.released(make.load(make.machine(), pack))
    soil(washed_again)
    make.released(make.load(make.washer(), washed_again))
    done = actions.recall_load(load.code, reason="no detergent for a week", act=act(at=DECIDED))
    assert states_of(clean) == {PieceState.RETURNED}
    assert states_of(pack) == {PackState.RECALLED}
    assert states_of(washed_again) == {PieceState.CLEANED}
    assert [finding["subject"] for finding in done.findings] == [laid.code]
    assert Load.objects.get(pk=released.pk).state == LoadState.RELEASED


def pass_inspection(piece: Piece) -> None:
    inspect(piece.code, clean=True, act=act(at=DECIDED))


def soil(piece: Piece) -> None:
    inspect(piece.code, clean=False, act=act(at=DECIDED))


def test_what_stands_against_a_recall() -> None:
    load, waiting = make.released(), make.complete()
    assert refused(lambda: actions.recall_load(load.code, reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: actions.recall_load(waiting.code, reason="wet", act=act())) == ["wrong-state"]


# Doubt


def decide(doubt: Doubt, words: str = "fit", *, recall: bool = False, by: Act | None = None) -> None:
    by = by or act(at=DECIDED)
    actions.decide_doubt(doubt.load.code, doubt.test_id, decision=words, recall=recall, act=by)


def test_a_doubt_is_decided_once_by_whoever_may() -> None:
    load, other = make.released(), make.released()
    doubt, elsewhere = in_doubt(load), in_doubt(other)
    assert refused(lambda: decide(doubt, by=act(make.technician()))) == ["right-missing"]
    assert refused(lambda: decide(doubt, " ")) == ["reason-missing"]
    assert refused(lambda: decide(Doubt(load=load, test=elsewhere.test))) == ["no-open-doubt"]
    decide(doubt)
    doubt.refresh_from_db()
    assert (doubt.decision, doubt.decided_at) == ("fit", DECIDED)
    assert refused(lambda: decide(doubt, recall=True)) == ["no-open-doubt"]


def test_a_doubt_may_end_in_a_recall_of_a_released_load_only() -> None:
    load, waiting = make.released(), make.complete()
    decide(in_doubt(load), "leak", recall=True)
    assert Load.objects.get(pk=load.pk).state == LoadState.RECALLED
    doubt = in_doubt(waiting)
    assert refused(lambda: decide(doubt, "leak", recall=True)) == ["wrong-state"]
    doubt.refresh_from_db()
    assert doubt.decided_at is None


# A trail line that fails takes everything with it.


@pytest.mark.parametrize("verb", ["release", "reject", "recall_load"])
def test_a_line_that_fails_leaves_no_decision_behind(verb: str) -> None:
    load = make.released() if verb == "recall_load" else make.complete()
    pack = Pack.objects.get(load_packs__load=load)
    nobody = Act(by=makers.everybody(), at=DECIDED, method=None)  # type: ignore[arg-type]
    more = {} if verb == "release" else {"reason": "wet"}
    before = (load.state, pack.state, load.lines.count(), pack.lines.count(), Release.objects.count())
    with pytest.raises(IntegrityError):
        getattr(actions, verb)(load.code, **more, act=nobody)
    load.refresh_from_db()
    pack.refresh_from_db()
    assert (load.state, pack.state, load.lines.count(), pack.lines.count(), Release.objects.count()) == before


# Questions


def test_loads_of_a_pack() -> None:
    piece = returned()
    make.released(make.load(make.washer(), piece))
    pass_inspection(piece)
    pack = makers.single(piece, at=DECIDED)
    sterilised = make.released(make.load(None, pack))
    make.released()
    assert set(reads.loads_of_pack(pack)) == {sterilised}


def test_the_checklist_names_who_and_when() -> None:
    by, other = makers.person(Role.TECHNICIAN, name="Technician 2"), make.technician()
    load = make.complete(make.ended(make.load(None, makers.pack(), by=other), by=by), by=by)
    in_doubt(load)
    checks = {check.row.slug: check for check in reads.load_evidence(load)}
    assert list(checks) == ["trace", "chemical-indicator", "condition", "second-person", "doubt"]
    for slug in ("trace", "chemical-indicator", "condition"):
        assert (checks[slug].who, checks[slug].when) == ("Technician 2", ENDED)
    assert checks["second-person"].row.value == f"{other}, Technician 2"
    assert checks["doubt"].row.value == "air leakage failed on Tue 24-Nov-2026 10:10"


def test_the_checklist_of_a_wash_before_anything_is_recorded() -> None:
    load = make.running(make.load(make.washer(), returned()))
    checks = {check.row.slug: check.row.value for check in reads.load_evidence(load)}
    assert list(checks) == ["trace", "dosing", "second-person", "doubt"]
    assert (checks["trace"], checks["dosing"]) == ("Not recorded", "Not recorded")


def test_limits_belong_to_their_own_kind_of_programme() -> None:
    with pytest.raises(ValueError, match="no limits of a steam cycle"):
        reads.steam_limits(makers.programme("W90", kind="wash"))
    with pytest.raises(ValueError, match="no limits of a wash cycle"):
        reads.wash_limits(makers.programme())
