"""Every constraint of machines, loads and evidence, hit directly: what the database itself refuses."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import Model

from instruments.states import PieceState
from reprocessing import models, states
from reprocessing.models import Doubt, Indicator, Load, Machine, MachineTest, ProgrammePhase, Release
from reprocessing.models.quality import ABOUT
from tests import makers
from tests.makers import AT
from tests.reprocessing import makers as make
from tests.reprocessing.upkeep_breaks import BREAKS as UPKEEP_BREAKS

pytestmark = [pytest.mark.storage, pytest.mark.django_db]


def update(row: Model, **fields: Any) -> None:
    type(row)._default_manager.filter(pk=row.pk).update(**fields)


def machine_test(**fields: Any) -> MachineTest:
    values = {"kind": "warm-up", "result": "passed", "at": AT, "by": makers.everybody(), **fields}
    return MachineTest.objects.create(machine=values.pop("machine", None) or make.machine(tested=False), **values)


def phase(**limits: float | None) -> None:
    programme = makers.programme("LT", kind="low temperature")
    ProgrammePhase.objects.create(programme=programme, phase="exposure", quantity="duration", unit="min", **limits)


def decision(**fields: Any) -> None:
    load = fields.pop("load", None) or make.load()
    Release.objects.create(load=load, by=makers.everybody(), at=AT, evidence={}, **fields)


def form(**blank: Any) -> None:
    words = dict.fromkeys(("implants", "case_reference", "authorised_by", "reason", "avoidable_by"), "stated")
    models.ExceptionalRelease.objects.create(
        load=blank.pop("load", None) or make.load(),
        signed_by=makers.everybody(),
        signed_at=AT,
        **{**words, **blank},
    )


def doubt(**fields: Any) -> Doubt:
    values = {"load": make.load(), "test": machine_test(), **fields}
    return Doubt.objects.create(**values)


def closure(**wrong: Any) -> None:
    values = {"starts_at": AT, "ends_at": AT + timedelta(hours=1), "reason": "service", **wrong}
    models.MachineClosure.objects.create(
        machine=make.machine(tested=False), planned_at=AT, planned_by=makers.everybody(), **values
    )


def arrival(**fields: Any) -> None:
    models.Arrival.objects.create(file_name="cycle.csv", sha256="0" * 64, content="t_s", came_at=AT, **fields)


def device_report(*control_ids: str) -> None:
    fields = {"device": "AC-1", "said": {}, "content": "", "file_name": "a", "received_at": AT}
    for at, control_id in enumerate(control_ids):
        models.DeviceReport.objects.create(
            load=make.load(), sha256=str(at), control_id=control_id, received_by=makers.everybody(), **fields
        )


def device_number_twice() -> None:
    for _ in range(2):
        update(make.machine(tested=False), device_number="AC-1")


def indicator(**fields: Any) -> None:
    values = {"kind": "chemical", "lot": "LOT 7", **fields}
    Indicator.objects.create(load=make.load(), **values)


def two_running() -> None:
    machine = make.machine(tested=False)
    for code in ("L-A", "L-B"):
        Load.objects.create(code=code, machine=machine, programme=makers.programme(), state="running", started_at=AT)


def twice_in(*, same_load: bool) -> None:
    pack, loads = makers.pack(), [make.load(), make.load()]
    models.LoadPack.objects.create(load=loads[0], pack=pack, open=not same_load)
    models.LoadPack.objects.create(load=loads[0 if same_load else 1], pack=pack)


def piece_twice_in(*, same_load: bool) -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    loads = [make.load(make.washer(tested=False)) for _ in range(2)]
    models.LoadPiece.objects.create(load=loads[0], piece=piece, open=not same_load)
    models.LoadPiece.objects.create(load=loads[0 if same_load else 1], piece=piece)


def doubt_twice() -> None:
    first = doubt()
    doubt(load=first.load, test=first.test)


def phase_twice() -> None:
    phase(least=1.0)
    phase(most=2.0)


def recall(code: str = "R-A", **fields: Any) -> models.Recall:
    return models.Recall.objects.create(code=code, ground="a trial", drafted_at=AT, **fields)


def issued(**fields: Any) -> models.Recall:
    return recall(
        **{"state": "issued", "reason": "a trial", "issued_at": AT, "issued_by": makers.everybody(), **fields}
    )


def closed(**fields: Any) -> None:
    proposed = {"state": "closed", "proposed_by": makers.everybody()}
    issued(**{**proposed, "closed_at": AT, "closed_by": makers.person(), **fields})


def item(**fields: Any) -> models.RecallItem:
    values = {"recall": fields.pop("recall", None) or issued(), "load": make.load(), "state_then": "sterile"}
    return models.RecallItem.objects.create(**values, **fields)


def recall_holds_twice(**thing: Any) -> None:
    first = item(**thing)
    item(recall=first.recall, **thing)


def recall_load_twice() -> None:
    row, load = recall(), make.load()
    for _ in range(2):
        models.RecallLoad.objects.create(recall=row, load=load, why="a trial")


def two_drafts() -> None:
    machine = make.machine(tested=False)
    for code in ("R-A", "R-B"):
        recall(code, machine=machine)


def nonconformity(**fields: Any) -> models.Nonconformity:
    values = {"code": "Q-A", "cause": "other", "description": "a trial", "raised_at": AT, "due_on": AT.date()}
    about = {} if set(fields) & set(ABOUT) else {"piece": makers.piece()}
    raised = {"raised_by": makers.everybody()}
    return models.Nonconformity.objects.create(**{**values, **about, **raised, **fields})


def shut(**fields: Any) -> None:
    signed = {"proposed_by": makers.person(), "closed_at": AT, "closed_by": makers.person()}
    nonconformity(state="closed", **{**signed, **fields})


def shut_by_its_proposer() -> None:
    person = makers.person()
    shut(proposed_by=person, closed_by=person)


def corrective(**fields: Any) -> models.CorrectiveAction:
    values = {"number": 1, "what": "look", "role": "quality lead", "due_on": AT.date(), **fields}
    return models.CorrectiveAction.objects.create(
        nonconformity=values.pop("nonconformity", None) or nonconformity(), **values
    )


def corrective_twice() -> None:
    first = corrective()
    corrective(nonconformity=first.nonconformity)


BREAKS: dict[str, list[Callable[[], Any]]] = {
    **UPKEEP_BREAKS,
    "arrival_decided_by_name": [
        lambda: arrival(state="waiting", reason="a trial"),
        lambda: arrival(state="matched", decided_at=AT, decided_by=makers.everybody()),
        lambda: arrival(state="set aside", decided_at=AT, decided_by=makers.everybody()),
        lambda: arrival(state="set aside", reason="a trial"),
        lambda: arrival(state="of a test"),
    ],
    "arrival_kept_here_or_faulty": [lambda: arrival(fault="it is no text")],
    "device_report_once": [lambda: device_report("1", "1")],
    "closure_ends_after_start": [lambda: closure(ends_at=AT)],
    "closure_has_reason": [lambda: closure(reason="")],
    "closure_lifted_by_name": [lambda: closure(lifted_at=AT)],
    "corrective_action_done_by_name": [
        lambda: corrective(done_at=AT, note="done"),
        lambda: corrective(done_by=makers.everybody(), note="done"),
        lambda: corrective(done_at=AT, done_by=makers.everybody()),
        lambda: corrective(note="done"),
    ],
    "corrective_action_once": [corrective_twice],
    "corrective_action_role_known": [lambda: corrective(role="the boss")],
    "doubt_decided_by_name": [
        lambda: doubt(decision="fit for use"),
        lambda: doubt(decided_at=AT, decided_by=makers.everybody()),
        lambda: doubt(decision="fit for use", decided_at=AT),
    ],
    "doubt_once": [doubt_twice],
    "exceptional_release_complete": [
        lambda: form(implants=""),
        lambda: form(case_reference=""),
        lambda: form(authorised_by=""),
        lambda: form(reason=""),
        lambda: form(avoidable_by=""),
    ],
    "indicator_has_lot": [lambda: indicator(lot="")],
    "indicator_kind_known": [lambda: indicator(kind="magic")],
    "indicator_read_by_name": [
        lambda: indicator(result="passed", read_at=AT),
        lambda: indicator(result="failed", read_by=makers.everybody()),
        lambda: indicator(result="waiting", read_at=AT, read_by=makers.everybody()),
        lambda: indicator(result="perhaps", read_at=AT, read_by=makers.everybody()),
    ],
    "load_ended_when": [lambda: update(make.running(), state="awaiting release")],
    "load_ends_after_start": [
        lambda: update(make.running(), ended_at=make.MORNING),
        lambda: update(make.load(), ended_at=AT),
    ],
    "load_kind_known": [lambda: update(make.load(), kind="pleasure")],
    "load_one_running_per_machine": [two_running],
    "load_pack_once": [lambda: twice_in(same_load=True)],
    "load_piece_once": [lambda: piece_twice_in(same_load=True)],
    "load_started_when": [lambda: update(make.load(), state="running")],
    "load_state_known": [lambda: update(make.ended(), state="forgotten")],
    "machine_device_number_once": [device_number_twice],
    "machine_kind_known": [lambda: update(make.machine(tested=False), kind="oven")],
    "machine_state_known": [lambda: update(make.machine(tested=False), state="asleep")],
    "machine_test_kind_known": [lambda: machine_test(kind="eye test")],
    "machine_test_result_known": [lambda: machine_test(result="waiting")],
    "nonconformity_about_one_thing": [
        lambda: nonconformity(piece=None),
        lambda: nonconformity(piece=makers.piece(), pack=makers.pack()),
    ],
    "nonconformity_cause_known": [lambda: nonconformity(cause="fate")],
    "nonconformity_closed_by_another": [
        shut_by_its_proposer,
        lambda: shut(closed_by=makers.everybody()),
        lambda: shut(closed_by=None),
        lambda: shut(closed_at=None),
    ],
    "nonconformity_closure_proposed": [
        lambda: nonconformity(state="to be closed"),
        lambda: shut(proposed_by=None),
    ],
    "nonconformity_described": [lambda: nonconformity(description="")],
    "nonconformity_state_known": [lambda: nonconformity(state="forgotten", proposed_by=makers.person())],
    "pack_in_one_open_load": [lambda: twice_in(same_load=False)],
    "piece_in_one_open_load": [lambda: piece_twice_in(same_load=False)],
    "programme_phase_has_limits": [phase, lambda: phase(least=2.0, most=1.0)],
    "programme_phase_once": [phase_twice],
    "recall_closed_by_two": [
        lambda: closed(closed_by=makers.everybody()),
        lambda: closed(closed_by=None),
        lambda: closed(closed_at=None),
    ],
    "recall_closure_proposed": [lambda: issued(state="to be closed"), lambda: closed(proposed_by=None)],
    "recall_issued_with_reason": [
        lambda: issued(reason=""),
        lambda: issued(issued_at=None),
        lambda: issued(issued_by=None),
    ],
    "recall_item_not_found_with_note": [
        lambda: item(pack=makers.pack(), outcome="not found", settled_at=AT),
    ],
    "recall_item_outcome_known": [lambda: item(pack=makers.pack(), outcome="lost", settled_at=AT)],
    "recall_item_pack_or_piece": [item, lambda: item(pack=makers.pack(), piece=makers.piece())],
    "recall_item_settled_when": [
        lambda: item(pack=makers.pack(), settled_at=AT),
        lambda: item(pack=makers.pack(), outcome="found"),
    ],
    "recall_load_once": [recall_load_twice],
    "recall_one_draft_per_machine": [two_drafts],
    "recall_pack_once": [lambda: recall_holds_twice(pack=makers.pack())],
    "recall_piece_once": [lambda: recall_holds_twice(piece=makers.piece())],
    "recall_state_known": [lambda: issued(state="forgotten")],
    "release_rejected_with_reason": [
        lambda: decision(decision="rejected"),
        lambda: decision(decision="recalled", reason="no decision on a cycle"),
    ],
}


def constraint_names() -> set[str]:
    return {
        constraint.name
        for model in apps.get_app_config("reprocessing").get_models()
        for constraint in model._meta.constraints
    }


def test_each_constraint_is_tested() -> None:
    assert set(BREAKS) == constraint_names()


@pytest.mark.parametrize(
    ("name", "number"), [(name, number) for name, breaks in BREAKS.items() for number in range(len(breaks))]
)
def test_the_database_refuses(name: str, number: int) -> None:
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        BREAKS[name][number]()
    assert name in str(refusal.value) or _unnamed_on_sqlite(name)


def _unnamed_on_sqlite(name: str) -> bool:
    """SQLite names the columns of a unique constraint, not the constraint."""
    unique = {
        constraint.name
        for model in apps.get_app_config("reprocessing").get_models()
        for constraint in model._meta.constraints
        if hasattr(constraint, "fields")
    }
    return connection.vendor == "sqlite" and name in unique


@pytest.mark.parametrize("limits", [{"least": 1.0}, {"most": 2.0}, {"least": 1.0, "most": 1.0}])
def test_a_phase_needs_one_limit_only(limits: dict[str, float]) -> None:
    phase(**limits)


def test_a_record_a_decision_and_a_form_are_kept_once() -> None:
    load = make.complete()
    trace = load.traces.get()
    decision(load=load, decision="released")
    form(load=load)
    again = {
        "file_name": "b.csv",
        "content": "",
        "judgement": {},
        "received_at": AT,
        "received_by": makers.everybody(),
    }
    for twice in (
        lambda: models.Trace.objects.create(load=make.load(), sha256=trace.sha256, **again),
        lambda: decision(load=load, decision="rejected", reason="second thoughts"),
        lambda: form(load=load),
        lambda: Machine.objects.create(code=load.machine.code, kind=states.MachineKind.STEAM),
        lambda: Load.objects.create(code=load.code, machine=load.machine, programme=load.programme),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            twice()


@pytest.mark.parametrize(
    "table",
    [
        models.Trace,
        models.DeviceReport,
        models.Release,
        models.ExceptionalRelease,
        models.MachineTest,
        models.LoadLine,
        models.MachineLine,
    ],
)
def test_what_was_signed_or_recorded_never_changes(table: type[Model]) -> None:
    load = make.complete()
    decision(load=load, decision="released")
    form(load=load)
    device_report("1")
    row = table._default_manager.order_by("pk").first()
    assert row is not None
    field = "at" if hasattr(row, "at") else "received_at" if hasattr(row, "received_at") else "signed_at"
    for change in (lambda: update(row, **{field: make.DECIDED}), row.delete):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()
