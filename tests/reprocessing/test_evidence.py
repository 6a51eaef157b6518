"""Records, indicators and the exceptional-release form. The steam trace is one of the published fixtures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import IntegrityError

from instruments.models import PartKind
from instruments.states import PieceState
from journal.actions import Act
from journal.roles import Role
from reprocessing import actions, reads
from reprocessing.judgement import Judgement
from reprocessing.models import Load, Trace
from reprocessing.states import IndicatorKind, MachineKind
from tests import makers
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED, ENDED, refused

pytestmark = pytest.mark.django_db
TRACES = Path(__file__).parents[2] / "fixtures" / "traces"


def attach(load: Load, content: str, name: str = "cycle.csv") -> object:
    return actions.attach_trace(load.code, name, content, act=act(at=ENDED))


def wash() -> Load:
    return make.ended(make.load(make.washer(), makers.piece(state=PieceState.RETURNED)))


# The cycle's record


@pytest.mark.parametrize(
    ("name", "within"),
    [("steam_134_good.csv", True), ("steam_134_short_hold.csv", False), ("steam_134_superheated.csv", False)],
)
def test_a_steam_record_is_judged_and_kept_as_received(name: str, *, within: bool) -> None:
    content = (TRACES / name).read_text(encoding="utf-8")
    load = make.ended()
    done = actions.attach_trace(load.code, name, content, act=act(at=ENDED))
    trace = Trace.objects.get()
    assert (trace.load, trace.content, trace.file_name, trace.received_at) == (load, content, name, ENDED)
    assert Judgement.from_dict(trace.judgement).within_limits is within
    assert done.sentence.startswith(f"Numbers within limits: {'yes' if within else 'no'}")
    assert load.lines.get(verb="attach_trace").evidence["within_limits"] is within


def test_a_wash_is_judged_by_its_disinfection_and_the_doses_stand_apart() -> None:
    load = wash()
    attach(load, make.wash_trace())
    judgement = Trace.objects.get().judgement
    assert judgement["within_limits"] is True
    assert "phase-record" not in {row["slug"] for row in judgement["rows"]}
    short = wash()
    attach(short, make.wash_trace(hold_s=10))
    assert Trace.objects.get(load=short).judgement["within_limits"] is False


@pytest.mark.parametrize(("value", "within"), [(30.0, True), (10.0, False)])
def test_a_low_temperature_cycle_is_judged_by_its_phases(value: float, *, within: bool) -> None:
    load = low_temperature()
    make.phase(load.programme, "exposure", "duration", "min", least=20.0)
    attach(load, make.phase_record(value))
    judgement = Trace.objects.get().judgement
    assert (judgement["kind"], judgement["within_limits"]) == ("low-temperature", within)
    assert not any("f0" in name or "a0" in name for name in judgement["numbers"])


def low_temperature() -> Load:
    machine = make.machine(MachineKind.LOW_TEMPERATURE)
    programmes = [makers.programme("W90", kind="wash"), machine.programmes.get()]
    pack = makers.single(makers.piece(makers.part(programmes=programmes)))
    return make.ended(make.load(machine, pack))


def test_a_low_temperature_programme_without_limits_judges_nothing() -> None:
    load = low_temperature()
    assert refused(lambda: attach(load, make.phase_record())) == ["trace-unreadable"]


def test_the_same_file_twice_is_one_record() -> None:
    load, content = make.ended(), make.steam_trace()
    attach(load, content)
    done = actions.attach_trace(load.code, "again.csv", content, act=act(at=ENDED))
    assert "attached to" in done.sentence
    assert "nothing was changed" in done.sentence
    assert (Trace.objects.count(), load.lines.filter(verb="attach_trace").count()) == (1, 1)


def test_the_same_file_after_the_decision_changes_nothing_either() -> None:
    content = make.steam_trace()
    load = make.complete(record=content)
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))
    assert attach(load, content)
    assert refused(lambda: attach(load, make.steam_trace())) == ["wrong-state"]


def test_the_file_of_another_load_is_refused_by_that_loads_name() -> None:
    first, second, content = make.ended(), make.ended(), make.steam_trace()
    attach(first, content)
    with pytest.raises(Exception, match=f"the record of {first.code}"):
        attach(second, content)


@pytest.mark.parametrize("content", ["", "nonsense", "t_s,p1_c\n0,hot\n", "\x00"])
def test_a_file_that_is_no_record_is_refused_in_a_sentence(content: str) -> None:
    load = make.ended()
    assert refused(lambda: attach(load, content)) == ["trace-unreadable"]
    assert not Trace.objects.exists()


def test_a_record_is_attached_to_a_cycle_by_who_may() -> None:
    load, building = make.ended(), make.load()
    by = act(makers.person(Role.NURSE))
    content = make.steam_trace()
    assert refused(lambda: actions.attach_trace(load.code, "a.csv", content, act=by)) == ["right-missing"]
    assert refused(lambda: attach(building, content)) == ["wrong-state"]


def test_of_several_records_the_latest_counts() -> None:
    load = make.complete(record=make.steam_trace(hold_s=60))
    assert refused(lambda: actions.release(load.code, act=act(make.releaser(), at=DECIDED))) == ["trace-failed"]
    attach(load, make.steam_trace())
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))


@pytest.mark.storage
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_file_attached_to_eight_loads_at_once_belongs_to_one() -> None:
    loads, content = [make.ended() for _ in range(8)], make.steam_trace()
    results = at_once(*(lambda load=load: attach(load, content) for load in loads))
    kept = Trace.objects.get()
    assert [getattr(result, "mark", None) for result in results].count(kept.load.code) == 1
    assert [getattr(result, "code", None) for result in results].count("trace-of-other-load") == 7


@pytest.mark.storage
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_one_file_attached_eight_times_at_once_is_one_record() -> None:
    load, content = make.ended(), make.steam_trace()
    results = at_once(*(lambda: attach(load, content) for _ in range(8)))
    assert [getattr(result, "mark", None) for result in results] == [load.code] * 8
    assert (Trace.objects.count(), load.lines.filter(verb="attach_trace").count()) == (1, 1)


# Indicators


def test_an_indicator_is_placed_and_read() -> None:
    load = make.ended()
    key = make.indicator(load, passed=True)
    row = load.indicators.get()
    assert (row.pk, row.lot, row.result, row.read_at) == (key, "LOT 7", "passed", ENDED)
    assert [line.verb for line in load.lines.all()][-2:] == ["place_indicator", "read_indicator"]


def test_what_stands_against_placing_an_indicator() -> None:
    load, washing, done = make.ended(), wash(), make.released()
    by = act(makers.person(Role.NURSE))
    place = actions.place_indicator
    assert refused(lambda: place(load.code, "chemical", " ", act=act())) == ["lot-missing"]
    assert refused(lambda: place(washing.code, "chemical", "7", act=act())) == ["no-steriliser"]
    assert refused(lambda: place(done.code, "chemical", "7", act=act())) == ["wrong-state"]
    assert refused(lambda: place(load.code, "chemical", "7", act=by)) == ["right-missing"]


def test_what_stands_against_reading_an_indicator() -> None:
    load, other, running = make.ended(), make.ended(), make.running()
    key, early = make.indicator(load, passed=False), make.indicator(running)
    by = act(makers.person(Role.NURSE))
    read = actions.read_indicator
    assert refused(lambda: read(load.code, key, passed=True, act=act())) == ["indicator-read"]
    assert refused(lambda: read(other.code, key, passed=True, act=act())) == ["unknown-indicator"]
    assert refused(lambda: read(running.code, early, passed=True, act=act())) == ["wrong-state"]
    assert refused(lambda: read(load.code, key, passed=True, act=by)) == ["right-missing"]
    assert load.indicators.get().result == "failed"


@pytest.mark.parametrize(("passed", "slugs"), [(True, []), (False, ["recall-to-decide", "recall-drafted"])])
def test_a_result_that_comes_after_the_release(passed: bool, slugs: list[str]) -> None:
    load = make.complete()
    key = make.indicator(load, IndicatorKind.BIOLOGICAL)
    released = actions.release(load.code, act=act(make.releaser(), at=DECIDED))
    assert [finding["slug"] for finding in released.findings] == ["biological-result-due"]
    done = actions.read_indicator(load.code, key, passed=passed, act=act(at=DECIDED + timedelta(days=1)))
    assert [finding["slug"] for finding in done.findings] == slugs


# The exceptional-release form


def sign(load: Load, by: Act | None = None) -> None:
    words = dict.fromkeys(("implants", "case_reference", "authorised_by", "reason", "avoidable_by"), "stated")
    actions.sign_exceptional_release(load.code, **words, act=by or act(at=DECIDED))


def implant_load() -> Load:
    return make.ended(make.load(None, makers.single(makers.piece(makers.part(PartKind.IMPLANT)))))


def test_the_form_is_signed_once_for_an_implant_by_who_may_release() -> None:
    load, plain = implant_load(), make.ended()
    assert refused(lambda: sign(load, act(make.technician()))) == ["right-missing"]
    assert refused(lambda: sign(plain)) == ["no-implant"]
    sign(load)
    assert refused(lambda: sign(load)) == ["form-signed"]
    running = make.running(make.load(None, makers.single(makers.piece(makers.part(PartKind.IMPLANT)))))
    assert refused(lambda: sign(running)) == ["wrong-state"]


def test_an_implant_that_was_wet_does_not_make_the_load_wait() -> None:
    pack = makers.single(makers.piece(makers.part(PartKind.IMPLANT)))
    load = make.ended(make.load(None, pack, makers.pack()), wet=(pack.code,))
    assert not reads.holds_implant(load)
    assert "biological-indicator" not in {check.row.slug for check in reads.load_evidence(load)}


@pytest.mark.parametrize("verb", ["attach_trace", "place_indicator", "read_indicator", "sign"])
def test_a_line_that_fails_leaves_no_evidence_behind(verb: str) -> None:
    load = implant_load()
    key = make.indicator(load, IndicatorKind.BIOLOGICAL)
    nobody = Act(by=makers.everybody(), at=AT, method=None)  # type: ignore[arg-type]
    calls: dict[str, Callable[[], object]] = {
        "attach_trace": lambda: actions.attach_trace(load.code, "a.csv", make.steam_trace(), act=nobody),
        "place_indicator": lambda: actions.place_indicator(load.code, "chemical", "7", act=nobody),
        "read_indicator": lambda: actions.read_indicator(load.code, key, passed=True, act=nobody),
        "sign": lambda: sign(load, nobody),
    }
    with pytest.raises(IntegrityError):
        calls[verb]()
    assert not Trace.objects.exists()
    assert list(load.indicators.values_list("result", flat=True)) == ["waiting"]
    assert not hasattr(Load.objects.get(pk=load.pk), "exceptional_release")
