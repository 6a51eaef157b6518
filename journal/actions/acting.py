"""What every action shares: who acts, one transaction, one answer per key, one line."""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.db import IntegrityError, models, transaction
from django.utils import timezone

from journal.findings import Finding, Refused, Severity, unknown
from journal.models import Line, Person, Receipt, Station
from journal.moves import Move, right_missing, why_not
from journal.roles import Right

P = ParamSpec("P")
T = TypeVar("T")
M = TypeVar("M", bound=models.Model)
ACTIONS: dict[str, Callable[..., Done]] = {}


@dataclass(frozen=True, slots=True)
class Act:
    """Who acts, when, where and how: the part of every action that the trail writes down.

    Args:
        by: the signed-in person.
        at: when it happened, aware.
        station: where it was scanned, if at a station.
        method: how the person was signed in ("password", "token", "signature").
        key: idempotency key; the same key with the same request gets the stored answer.

    Raises:
        ValueError: `at` has no time zone.
    """

    by: Person
    at: datetime = field(default_factory=timezone.now)
    station: Station | None = None
    method: str = "password"
    key: str = ""

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("Cannot act at a time without a zone.")


@dataclass(frozen=True, slots=True)
class Done:
    """The answer of an action, in words and plain values.

    Args:
        verb: the action's name.
        kind: piece, tray, pack, load, machine, case or list.
        pk: primary key of the subject.
        mark: what a person calls it and a scanner reads.
        state: its state afterwards.
        sentence: what happened.
        next_step: what to do next; empty when nothing is to be done.
        findings: what to look at although it was done, as plain values.
    """

    verb: str
    kind: str
    pk: int
    mark: str
    state: str
    sentence: str
    next_step: str = ""
    findings: tuple[dict[str, Any], ...] = ()

    @classmethod
    def of(cls, verb: str, subject: Any, sentence: str, next_step: str = "", findings: Iterable[Finding] = ()) -> Done:
        """The answer about a row that has a code and a state: a piece, pack, load, machine or case."""
        plain = tuple(finding.as_dict() for finding in findings)
        kind = subject._meta.model_name
        return cls(verb, kind, subject.pk, subject.code, subject.state, sentence, next_step, plain)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {**asdict(self), "findings": list(self.findings)}

    @classmethod
    def from_dict(cls, stored: dict[str, Any]) -> Done:
        """The answer as it was stored."""
        return cls(**{**stored, "findings": tuple(stored["findings"])})


def action(
    run: Callable[Concatenate[P], Done],
) -> Callable[Concatenate[P], Done]:
    """Make a function an action: one transaction, one stored answer per idempotency key.

    The function takes identifiers and plain values, and `act=`. It is entered in ACTIONS, where the
    parity test finds it.
    """

    @functools.wraps(run)
    def once(*args: P.args, **kwargs: P.kwargs) -> Done:
        return _once(run.__name__, run, args, kwargs)

    ACTIONS[f"{run.__module__.split('.')[0]}.{run.__name__}"] = once
    return once


def action_after(first: Callable[P, T]) -> Callable[[Callable[Concatenate[T, P], Done]], Callable[P, Done]]:
    """Make a function an action that needs something slow: `first` makes it before the transaction is opened.

    So nobody else waits for it. Both take the same arguments; the action takes what `first` made in front of
    them. What `first` saw may be out of date by then: the action looks again behind its locks, and it alone refuses.
    """

    def make(run: Callable[Concatenate[T, P], Done]) -> Callable[P, Done]:
        @functools.wraps(first)  # whose signature is that of the action
        def once(*args: P.args, **kwargs: P.kwargs) -> Done:
            made = first(*args, **kwargs)
            return _once(run.__name__, functools.partial(run, made), args, kwargs)

        once.__name__, once.__doc__ = run.__name__, run.__doc__
        ACTIONS[f"{run.__module__.split('.')[0]}.{run.__name__}"] = once
        return once

    return make


def _once(verb: str, run: Callable[..., Done], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Done:
    act = kwargs["act"]
    assert isinstance(act, Act)  # noqa: S101 - a programming fault, not input
    with transaction.atomic():
        if not act.key:
            return run(*args, **kwargs)
        body = _body(verb, act, args, kwargs)
        return _stored(act.key, body) or _answer(act.key, body, run, args, kwargs)


def _body(verb: str, act: Act, args: Iterable[Any], kwargs: dict[str, Any]) -> str:
    plain = {name: value for name, value in kwargs.items() if name != "act"}
    text = json.dumps([verb, act.by.pk, list(args), plain], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def _stored(key: str, body: str) -> Done | None:
    receipt = Receipt.objects.filter(key=key).first()
    if receipt is None:
        return None
    if receipt.body_sha256 != body:
        raise Refused(
            Finding(
                "key-reused",
                Severity.STOP,
                key,
                f"Cannot use the idempotency key {key} again: it belongs to another request.",
                "Send this request with a key of its own.",
            )
        )
    return Done.from_dict(receipt.answer)


def _answer(key: str, body: str, run: Callable[..., Done], args: Any, kwargs: Any) -> Done:
    """Run and keep the answer; a writer that raced us with the same key has the answer already."""
    try:
        with transaction.atomic():
            done = run(*args, **kwargs)
            Receipt.objects.create(key=key, body_sha256=body, answer=done.as_dict())
    except (IntegrityError, Refused):
        stored = _stored(key, body)
        if stored is None:
            raise
        return stored
    return done


def need(right: Right, verb: str, subject: str, act: Act) -> None:
    """Refuse a verb that is no move of a state table when the person lacks its right.

    Raises:
        Refused: the right is missing.
    """
    if right not in act.by.rights:
        raise Refused(right_missing(right, verb, subject))


def reason_given(reason: str, verb: str, subject: str) -> str:
    """The reason of a decision that the trail must explain, trimmed.

    Raises:
        Refused: the reason is empty.
    """
    if not reason.strip():
        raise Refused(
            Finding(
                "reason-missing",
                Severity.STOP,
                subject,
                f"Cannot {verb} {subject}: the reason is not recorded, it must be stated.",
                "Write the reason and try again.",
            )
        )
    return reason.strip()


def locked(rows: models.QuerySet[M], kind: str, code: str) -> M:
    """The one of these rows that has this code, locked; the rows that are read with it are not.

    Args:
        rows: where to look, with whatever is to be read along.
        kind: what such a row is called in a sentence.
        code: its code.

    Raises:
        Refused: none of them has it.
    """
    row = rows.select_for_update(of=("self",)).filter(code=code).first()
    if row is None:
        raise Refused(unknown(kind, code))
    return row


def write_line(
    lines: type[Line],
    subject: models.Model,
    verb: str,
    act: Act,
    *,
    origin: str = "",
    target: str = "",
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    corrects: Line | None = None,
) -> Line:
    """Add one line to a subject's trail."""
    return lines._default_manager.create(
        **{lines.SUBJECT: subject, "corrects": corrects},
        occurred_at=act.at,
        person=act.by,
        station=act.station,
        method=act.method,
        verb=verb,
        origin=origin,
        target=target,
        reason=reason,
        evidence=evidence or {},
        key=act.key,
    )


def move(
    subject: Any,
    row: Move,
    lines: type[Line],
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    follows: bool = False,
    **fields: Any,
) -> None:
    """Move a locked row along its state table: ask the rule, write the line, set the state and `fields`.

    `follows`: the move is the consequence of another, whose right was asked.

    Raises:
        Refused: something stands against it; nothing is written.
    """
    rights = frozenset(Right) if follows else act.by.rights
    findings = why_not(row, subject=str(subject), state=subject.state, rights=rights, facts=facts)
    if findings:
        raise Refused(*findings)
    write_line(
        lines,
        subject,
        row.name,
        act,
        origin=subject.state,
        target=row.target,
        reason=reason,
        evidence=evidence,
    )
    for name, value in {**fields, "state": row.target}.items():
        setattr(subject, name, value)
    subject.save(update_fields=["state", *fields])


def trails() -> dict[str, type[Line]]:
    """The tables of the trail, by what each is about: piece, pack, load, machine, case."""
    return {lines.SUBJECT: lines for lines in Line.__subclasses__()}
