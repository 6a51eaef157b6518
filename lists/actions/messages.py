"""Messages of scheduling systems: taken in once, applied by the verbs of planning, or kept until somebody looks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.models import QuerySet

from journal.actions import Act, Done, action, need, reason_given
from journal.findings import Finding, Refused, stop, unknown
from journal.models import Duty, Person
from journal.roles import Right, Role
from lists.actions.planning import cancel_case, plan_case
from lists.intake.pseudonyms import Pseudonyms
from lists.intake.scheduling import TAKES_OFF, Booking, Reading, Verb, against
from lists.models import OPEN_MESSAGES, Case, Message, MessageState, Procedure, Theatre, TheirCode
from lists.states import CaseState

LIST_SYSTEM = "list-system"
"""Sign-in name of the account in whose name messages are applied; it has no password, so nobody signs in by it."""
OVERTAKEN = "message-overtaken"


def pseudonyms() -> Pseudonyms:
    """The holder of the unit's key of the lists.

    Raises:
        ValueError: the key file is not there or holds no key; the message is one sentence.
    """
    path = Path(settings.LIST_KEY_FILE)
    try:
        return Pseudonyms(path.read_text())
    except (OSError, ValueError) as refusal:
        raise ValueError(
            f"Cannot hash patients: {path} holds no key, must hold 64 hexadecimal digits. "
            "Make one: openssl rand -hex 32."
        ) from refusal


def list_system() -> Person:
    """The account in whose name messages are applied, made at its first use.

    A site that takes its duty away, or ends the account, has messages refused: it is not made or granted again.
    """
    person, new = Person.objects.get_or_create(
        username=LIST_SYSTEM, defaults={"display_name": "List system", "password": "!"}
    )
    if new:
        Duty.objects.create(person=person, role=Role.COORDINATOR)
    return person


def take_in_message(reading: Reading, original: bytes, *, act: Act) -> Message:
    """Keep a message without anything of the patient, and apply it; the same message again is the same row.

    Not an action: a sender repeats a message without a key of its own, and the message is known again by itself.

    Args:
        reading: what it says.
        original: the message as it came; only its keyed hash is kept.
        act: in whose name it is applied.

    Raises:
        Refused: the person may not plan; nothing is kept.
        ValueError: there is no key to hash the patient with.
    """
    need(Right.PLAN, "take in", "messages", act)
    if not act.by.is_active:
        raise Refused(stop("account-ended", str(act.by), f"Cannot take in messages: the account {act.by} is ended."))
    keyed = pseudonyms()
    fingerprint = keyed.fingerprint(original)
    booking = reading.booking
    with transaction.atomic():
        _lock(booking.reference if booking else fingerprint)
        known = Message.objects.filter(fingerprint=fingerprint).first()
        if known is not None:
            return known
        message = _kept(reading, fingerprint, act)
        if booking is not None:
            pseudonym = keyed.of(reading.patient) or None
            message.booking = replace(booking, patient_ref=pseudonym).as_dict()
            _apply(message, act)
        message.save()
        _look_again(message, act)
        return message


def _lock(name: str) -> None:
    """Let other messages of this case wait until the transaction ends; on SQLite it has the database for itself."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext('lists.message'), hashtext(%s))", [name])


def _kept(reading: Reading, fingerprint: str, act: Act) -> Message:
    """The row of a message, not saved; one that cannot be read is refused."""
    booking = reading.booking
    findings = [fault.finding for fault in reading.faults]
    return Message(
        form=reading.form,
        sender=reading.sender,
        control=reading.control,
        fingerprint=fingerprint,
        content=reading.kept,
        came_at=act.at,
        reference=booking.reference if booking else "",
        verb=booking.verb if booking else "",
        sent_at=booking.sent_at if booking else None,
        sequence=booking.sequence if booking else None,
        state=MessageState.REFUSED,
        sentence=" ".join(finding.sentence for finding in findings),
        findings=[finding.as_dict() for finding in findings],
    )


def _apply(message: Message, act: Act) -> None:
    """Do what a message asks for, and set on it what became of it; it is not saved."""
    booking = message.as_booking()
    case = Case.objects.select_for_update(of=("self",), no_key=True).filter(reference=booking.reference).first()
    try:
        with transaction.atomic():
            done = _done(booking, case, replace(act, key=""))
    except Refused as refused:
        waits = all(finding.slug in _WAITS for finding in refused.findings)
        overtaken = refused.code == OVERTAKEN
        state = MessageState.OVERTAKEN if overtaken else MessageState.WAITING if waits else MessageState.REFUSED
        _set(message, state, refused.findings, case)
        return
    message.state, message.sentence, message.findings = MessageState.APPLIED, done.sentence, list(done.findings)
    message.case = Case.objects.filter(pk=done.pk).first()


def _set(message: Message, state: MessageState, findings: Iterable[Finding], case: Case | None) -> None:
    said = list(findings)
    message.state, message.case = state, case
    message.sentence = " ".join(finding.words for finding in said)
    message.findings = [finding.as_dict() for finding in said]


def _done(booking: Booking, case: Case | None, act: Act) -> Done:
    """The verb of planning that a booking asks for.

    Raises:
        Refused: something stands against it.
    """
    applied = Message.objects.filter(reference=booking.reference, state=MessageState.APPLIED).order_by("sent_at", "pk")
    first, last = applied.first(), applied.last()
    newest = (last.as_booking().sent_at, last.sequence) if last else None
    owner = first.sender if first else ""
    finding = against(booking, newest=newest, owner=owner, case_state=case.state if case else None)
    if finding is not None:
        raise Refused(finding)
    if booking.verb in TAKES_OFF:
        return _cancelled(booking, case, act)
    wanted = _in_full(booking, case)
    return plan_case(booking.reference, **wanted, act=act)


def _cancelled(booking: Booking, case: Case | None, act: Act) -> Done:
    if case is None:
        sentence = f"There is no case {booking.reference}, so none is cancelled; what was sent before is not planned."
        return Done("cancel_case", "case", 0, booking.reference, "", sentence)
    if case.state == CaseState.CANCELLED:
        return Done.of("cancel_case", case, f"Case {case.code} is cancelled already.")
    why = "did not attend" if booking.verb is Verb.NO_SHOW else "cancelled"
    coded = f", reason {booking.reason}" if booking.reason else ""
    return cancel_case(case.code, reason=f"{why}, says {booking.sender} in {booking.control}{coded}", act=act)


_KEPT_UNSAID = ("planned_size", "planned_implant", "operator", "patient_ref")
"""What stays as the case has it where the message does not say it."""


def _in_full(booking: Booking, case: Case | None) -> dict[str, Any]:
    """What planning takes: our codes for theirs, and what the message does not say as the case has it.

    Raises:
        Refused: a code means nothing here yet, or a case that is not known is not stated in full.
    """
    theatre, procedure = _ours("theatre", booking), _ours("procedure", booking)
    findings = [code for code in (theatre, procedure) if isinstance(code, Finding)]
    wanted: dict[str, Any] = {
        "theatre": theatre or (case and case.list.theatre.code),
        "procedure": procedure or (case and case.procedure.code),
        "starts_at": booking.starts_at or (case and case.starts_at),
        "duration_min": booking.duration_min or (case and case.duration_min),
    }
    lacks = [name.removesuffix("_at").removesuffix("_min") for name, value in wanted.items() if value is None]
    if lacks:
        findings.append(_incomplete(booking, lacks))
    if findings:
        raise Refused(*findings)
    as_before = {name: getattr(case, name) if case else "" for name in _KEPT_UNSAID}
    return wanted | as_before | {name: said for name in _KEPT_UNSAID if (said := getattr(booking, name)) is not None}


def _incomplete(booking: Booking, lacks: list[str]) -> Finding:
    return stop(
        "case-not-known",
        booking.reference,
        f"Cannot {booking.verb} case {booking.reference}: no case has this number, and the message does not say its "
        f"{', '.join(lacks)}.",
        "It is applied when the message that books the case has come; else have the sender send it again.",
    )


def _ours(kind: str, booking: Booking) -> str | Finding | None:
    """Our code of a theatre or procedure: as somebody has said for this sender, else of the same name."""
    code = getattr(booking, kind)
    if code is None:
        return None
    said = TheirCode.objects.filter(sender=booking.sender, code=code, **{f"{kind}__isnull": False})
    found: str | None = said.values_list(f"{kind}__code", flat=True).first()
    model = Theatre if kind == "theatre" else Procedure
    if found or model._default_manager.filter(code=code).exists():
        return found or str(code)
    return stop(
        f"{kind}-not-known",
        booking.reference,
        f"Cannot plan case {booking.reference}: “{code}” of {booking.sender} is no {kind} of the unit, must be one.",
        f"Say which {kind} it is.",
    )


_WAITS = {"theatre-not-known", "procedure-not-known", "case-not-known"}
"""What somebody here, or a message to come, can supply."""


def _look_again(message: Message, act: Act) -> None:
    """After a message was applied: those of the same case that wait are applied in their order, or overtaken."""
    if message.state == MessageState.APPLIED:
        for other in _waiting().filter(reference=message.reference).exclude(pk=message.pk):
            _apply(other, act)
            other.save()


def _waiting() -> QuerySet[Message]:
    rows: QuerySet[Message] = Message.objects.still_open().filter(state=MessageState.WAITING)
    return rows


@action
def name_code(sender: str, code: str, *, theatre: str = "", procedure: str = "", act: Act) -> Done:
    """Say which theatre or procedure a sending system's code means; what waited for it is applied."""
    need(Right.PLAN, "name", f"the code {code}", act)
    if bool(theatre) == bool(procedure):
        sentence = f"Cannot name the code {code}: it must mean one theatre or one procedure."
        raise Refused(stop("theatre-or-procedure", code, sentence, "Choose one of them."))
    if not sender.strip() or not code.strip():
        sentence = f"Cannot name the code “{code}” of “{sender}”: both must be stated."
        raise Refused(stop("code-missing", code, sentence, "Take them from the message."))
    kind, model, ours = ("theatre", Theatre, theatre) if theatre else ("procedure", Procedure, procedure)
    of_kind: dict[str, Any] = {f"{kind}__isnull": False}
    row = model._default_manager.filter(code=ours.strip()).first()
    if row is None:
        raise Refused(unknown(kind, ours))
    said, _ = TheirCode.objects.update_or_create(
        sender=sender.strip(), code=code.strip(), **of_kind, defaults={kind: row}
    )
    applied = _apply_waiting(said.sender, act)
    sentence = f"“{said.code}” of {said.sender} is {row}."
    follows = f"Messages applied: {applied}." if applied else ""
    return Done("name_code", "code", said.pk, said.code, kind, sentence, follows)


def _apply_waiting(sender: str, act: Act) -> int:
    """Apply what waits of a sender, each in the order it was sent; how many were."""
    applied = 0
    for pk in _waiting().filter(sender=sender).values_list("pk", flat=True):
        message = _locked(pk)
        if message is not None and message.state == MessageState.WAITING:
            applied += _again(message, act)
    return applied


def _locked(pk: int) -> Message | None:
    """A message, its case locked against other messages, as it stands behind that lock."""
    seen: Message | None = Message.objects.filter(pk=pk).first()
    if seen is None:
        return None
    _lock(seen.reference or seen.fingerprint)
    message: Message = Message.objects.select_for_update(of=("self",)).get(pk=pk)
    return message


def _again(message: Message, act: Act) -> bool:
    """Apply a kept message; whether it was."""
    _apply(message, act)
    message.save()
    _look_again(message, act)
    return message.state == MessageState.APPLIED


def _open(pk: int, verb: str) -> Message:
    """A message that somebody must look at, locked.

    Raises:
        Refused: there is none of this number, or it is done with.
    """
    message = _locked(pk)
    if message is None:
        raise Refused(unknown("message", str(pk)))
    if message.state not in OPEN_MESSAGES:
        wanted = " or ".join(OPEN_MESSAGES)
        sentence = f"Cannot {verb} message {message}: it is {message.state}, must be {wanted}."
        raise Refused(stop("message-decided", str(message), sentence, "Look at the list of messages again."))
    return message


@action
def try_message_again(message: int, *, act: Act) -> Done:
    """Apply a message that waits or was refused, now that something is otherwise."""
    need(Right.PLAN, "apply", "a message", act)
    row = _open(message, "apply")
    if row.booking is None:
        sentence = f"Cannot apply message {row}: it cannot be read, must be sent again. {row.sentence}"
        raise Refused(stop("message-unreadable", str(row), sentence, "Set it aside when it was."))
    _again(row, act)
    done = row.state == MessageState.APPLIED
    sentence = row.sentence if done else f"Message {row} is {row.state}."
    return Done("try_message_again", "message", row.pk, str(row), row.state, sentence, findings=tuple(row.findings))


@action
def set_message_aside(message: int, *, reason: str, act: Act) -> Done:
    """Say why a message is not to be applied; it is kept."""
    need(Right.PLAN, "set aside", "a message", act)
    row = _open(message, "set aside")
    row.reason = reason_given(reason, "set aside", f"message {row}")
    row.state, row.decided_at, row.decided_by = MessageState.SET_ASIDE, act.at, act.by
    row.save(update_fields=["state", "reason", "decided_at", "decided_by"])
    sentence = f"Message {row} is set aside and kept."
    return Done("set_message_aside", "message", row.pk, str(row), row.state, sentence)
