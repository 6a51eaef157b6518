"""What a decision on a load rests on: the cycle's record, its indicators, the exceptional-release form."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator

from instruments.models import ProgrammeKind
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, Severity, stop
from reprocessing.actions.device_reports import attach_message
from reprocessing.actions.loads import step_facts
from reprocessing.actions.recalls import propose
from reprocessing.device_message import is_message
from reprocessing.judgement import Judgement
from reprocessing.judging import judge_phases, judge_steam, judge_wash
from reprocessing.models import ExceptionalRelease, Indicator, Load, LoadLine, Machine, Trace
from reprocessing.phases import read_phases
from reprocessing.reads import columns_of, holds_implant, phase_limits, read_trace, steam_limits, wash_limits
from reprocessing.rules import wrong_state
from reprocessing.states import LOAD_STEPS, IndicatorKind, LoadState, Result
from reprocessing.writer import lock_load, lock_load_and_machine


@action
def attach_trace(load: str, file_name: str, content: str, *, act: Act) -> Done:
    """Keep a cycle's record as received, with its judgement by the limits in force now.

    A machine's log of time, temperature and pressure; of a low-temperature cycle the record of its phases; of any
    cycle the machine's own message (HL7 v2), which informs and can forbid a release, but never stands for the log.
    The same file again changes nothing; a file that belongs to another load is refused. Of several the
    latest counts.
    """
    return attach(lock_load(load), file_name, content, act)


def attach(row: Load, file_name: str, content: str, act: Act) -> Done:
    """Attach a record to a locked load, whichever way it came.

    Raises:
        Refused: the person lacks the right, or something stands against it.
    """
    step = LOAD_STEPS["attach_trace"]
    need(step.right, step.says, row.code, act)
    if is_message(content):
        return attach_message(row, file_name, content, act)
    trace, is_new = _keep(row, file_name, content, act)
    if trace.load_id != row.pk:
        raise Refused(_other_load(row, trace))
    if not is_new:
        return Done.of(
            "attach_trace", row, f"{trace.file_name} is attached to {row.code} already; nothing was changed."
        )
    judgement = Judgement.from_dict(trace.judgement)
    evidence = {"sha256": trace.sha256, "file_name": file_name, "within_limits": judgement.within_limits}
    write_line(LoadLine, row, "attach_trace", act, evidence=evidence)
    return Done.of("attach_trace", row, judgement.sentence, findings=judgement.findings)


def _keep(load: Load, file_name: str, content: str, act: Act) -> tuple[Trace, bool]:
    """The record of this content, and whether it is new: judged now, kept for this load.

    Raises:
        Refused: it is new, and the load takes no record any more or it cannot be judged.
    """
    sha256 = hashlib.sha256(content.encode()).hexdigest()
    known = Trace.objects.filter(sha256=sha256).select_related("load").first()
    if known is not None:
        return known, False
    step = LOAD_STEPS["attach_trace"]
    facts = tuple(wrong_state(step.says, load.code, load.state, *step.states))
    if facts:
        raise Refused(*facts)
    fields = {
        "load": load,
        "file_name": file_name,
        "content": content,
        "columns": columns_of(load.machine),
        "judgement": _judge(load, content, file_name).as_dict(),
        "received_at": act.at,
        "received_by": act.by,
    }
    return Trace.objects.get_or_create(sha256=sha256, defaults=fields)


def _other_load(load: Load, trace: Trace) -> Finding:
    return stop(
        "trace-of-other-load",
        load.code,
        f"Cannot attach this record to {load.code}: it is the record of {trace.load.code}.",
        "Choose the file of this cycle.",
    )


def _judge(load: Load, content: str, file_name: str) -> Judgement:
    """The judgement by the load's programme.

    Raises:
        Refused: the text cannot be read, or the programme has no limits to judge it by.
    """
    programme = load.programme
    try:
        if programme.kind == ProgrammeKind.LOW_TEMPERATURE:
            return judge_phases(
                read_phases(content),
                phase_limits(programme),
                source=programme.source,
                confirm_locally=programme.confirm_locally,
            )
        trace = read_trace(content, columns_of(load.machine))
        if programme.kind == ProgrammeKind.WASH:
            return judge_wash(trace, wash_limits(programme), phases_recorded=None)
        return judge_steam(trace, steam_limits(programme))
    except ValueError as refusal:
        remedy = f"Export the record of {load.code} again."
        raise Refused(stop("trace-unreadable", file_name or load.code, str(refusal), remedy)) from refusal


@action
def place_indicator(load: str, kind: str, lot: str, *, act: Act) -> Done:
    """An indicator goes with a steriliser load."""
    row = lock_load(load)
    wanted = IndicatorKind(kind)
    facts = [
        *step_facts("place_indicator", row, act),
        *_indicator_facts(row, lot),
    ]
    if facts:
        raise Refused(*facts)
    indicator = Indicator.objects.create(load=row, kind=wanted, lot=lot.strip())
    evidence = {"indicator": indicator.pk, "kind": wanted, "lot": indicator.lot}
    write_line(LoadLine, row, "place_indicator", act, evidence=evidence)
    return Done.of("place_indicator", row, f"A {wanted} indicator of lot {indicator.lot} goes with {row.code}.")


def _indicator_facts(load: Load, lot: str) -> Iterator[Finding]:
    if load.machine.washes:
        yield stop(
            "no-steriliser",
            load.code,
            f"Cannot place an indicator in {load.code}: its machine is a {load.machine.kind}, must be a steriliser.",
            "A wash is judged by its record and by the eye that inspects.",
        )
    if not lot.strip():
        yield stop(
            "lot-missing",
            load.code,
            f"Cannot place an indicator in {load.code}: its lot is not recorded, must be stated.",
            "Read the lot from its box.",
        )


@action
def read_indicator(load: str, indicator_id: int, *, passed: bool, act: Act) -> Done:
    """Record what an indicator says; of a released load a failure asks for the decision on its recall.

    A biological failure drafts the recall that the unit's policy asks for; a later reading draws the draft
    up anew. Nothing is called back before somebody issues it.
    """
    row, machine = lock_load_and_machine(load)
    indicator = Indicator.objects.select_for_update().filter(load=row, pk=indicator_id).first()
    facts = [
        *step_facts("read_indicator", row, act),
        *_reading_facts(row, indicator),
    ]
    if facts or indicator is None:
        raise Refused(*facts)
    indicator.result = Result.PASSED if passed else Result.FAILED
    indicator.read_at, indicator.read_by = act.at, act.by
    indicator.save(update_fields=["result", "read_at", "read_by"])
    evidence = {"indicator": indicator.pk, "kind": indicator.kind, "lot": indicator.lot, "result": indicator.result}
    write_line(LoadLine, row, "read_indicator", act, evidence=evidence)
    findings = (*_recall_due(row, indicator), *_recall_drafted(machine, indicator, act))
    sentence = f"The {indicator.kind} indicator of {row.code} has {indicator.result}."
    next_step = findings[0].remedy if findings else ""
    return Done.of("read_indicator", row, sentence, next_step, findings)


def _reading_facts(load: Load, indicator: Indicator | None) -> Iterator[Finding]:
    if indicator is None:
        yield stop(
            "unknown-indicator",
            load.code,
            f"Cannot read this indicator: it is not one of {load.code}, must be.",
            "Look up the load that it went with.",
        )
    elif indicator.result != Result.WAITING:
        yield stop(
            "indicator-read",
            load.code,
            f"Cannot read the {indicator.kind} indicator of {load.code}: it has {indicator.result} already.",
            "A mistake is corrected by a new line; read a further indicator if one went with the load.",
        )


def _recall_due(load: Load, indicator: Indicator) -> Iterable[Finding]:
    """A failed indicator of a load that was released: the recall is to be decided, patient reference and all."""
    if indicator.result != Result.FAILED or load.state != LoadState.RELEASED:
        return
    form = ExceptionalRelease.objects.filter(load=load).first()
    case = f" It was released exceptionally for case {form.case_reference}." if form else ""
    yield Finding(
        "recall-to-decide",
        Severity.LOOK,
        load.code,
        f"{load.code} was released and its {indicator.kind} indicator has failed.{case}",
        "Tell the quality lead: the recall of this load, and of those before it, is to be decided.",
    )


def _recall_drafted(machine: Machine, indicator: Indicator, act: Act) -> Iterator[Finding]:
    """The draft recall that a biological result asks for, or changes."""
    if indicator.kind != IndicatorKind.BIOLOGICAL:
        return
    recall = propose(machine, act)
    if recall is not None:
        yield Finding(
            "recall-drafted",
            Severity.LOOK,
            recall.code,
            f"Recall {recall.code} is drafted by policy; nothing is called back yet.",
            "Tell the quality lead: its scope is to be looked at, and the recall issued or dropped.",
        )


@action
def sign_exceptional_release(
    load: str,
    *,
    implants: str,
    case_reference: str,
    authorised_by: str,
    reason: str,
    avoidable_by: str,
    act: Act,
) -> Done:
    """Sign the form by which an implant load goes out before its biological result; the result stays due."""
    row = lock_load(load)
    form = {
        "implants": implants.strip(),
        "case_reference": case_reference.strip(),
        "authorised_by": authorised_by.strip(),
        "reason": reason.strip(),
        "avoidable_by": avoidable_by.strip(),
    }
    facts = [
        *step_facts("sign_exceptional_release", row, act),
        *_form_facts(row, form),
    ]
    if facts:
        raise Refused(*facts)
    ExceptionalRelease.objects.create(load=row, signed_by=act.by, signed_at=act.at, **form)
    write_line(LoadLine, row, "sign_exceptional_release", act, reason=form["reason"], evidence=form)
    sentence = f"The exceptional release of {row.code} is signed for case {form['case_reference']}."
    return Done.of("sign_exceptional_release", row, sentence, "Release the load; the biological result stays due.")


def _form_facts(load: Load, form: dict[str, str]) -> Iterator[Finding]:
    verb = f"Cannot sign the exceptional release of {load.code}:"
    if not holds_implant(load):
        yield stop("no-implant", load.code, f"{verb} it holds no implant, must hold one.", "Release it as usual.")
    if ExceptionalRelease.objects.filter(load=load).exists():
        yield stop("form-signed", load.code, f"{verb} it is signed already.", "Release the load.")
    for name, value in form.items():
        if not value:
            words = name.replace("_", " ")
            yield stop(
                "form-incomplete",
                load.code,
                f"{verb} “{words}” is not recorded, must be stated.",
                "Complete the form.",
            )
