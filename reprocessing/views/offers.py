"""What a page offers of a thing now: each verb with its form, or with the reason why it may not happen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.forms import Form
from django.urls import reverse

from journal.findings import Finding
from journal.models import Person
from journal.moves import Move, why_not
from reprocessing import rules
from reprocessing.checklist import Check
from reprocessing.models import Load, Machine, Nonconformity, Recall
from reprocessing.reads import against_release, against_start, holds_implant
from reprocessing.states import LoadKind, Result
from reprocessing.views.verbs import VERBS, Rule, Verb

Thing = Load | Machine | Recall | Nonconformity
"""What a verb is done to."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A verb for one thing and one person, now.

    Args:
        verb: what is offered.
        address: where its form is sent.
        form: what it must be told.
        why_not: what stands against it; empty when it may happen.
        now: whether the thing is in a state of the verb.
    """

    verb: Verb
    address: str
    form: Form
    why_not: tuple[Finding, ...]
    now: bool


def is_time_for(rule: Rule, state: str) -> bool:
    """Whether a thing is in a state of the verb."""
    return rule is None or state in (rule.origins if isinstance(rule, Move) else rule.states)


def against(rule: Rule, thing: Thing, by: Person, facts: Iterable[Finding]) -> tuple[Finding, ...]:
    """What stands against a verb now; its facts are looked up only where the state suits it."""
    asked: dict[str, Any] = {"subject": str(thing), "state": thing.state, "rights": by.rights}
    if rule is None:
        return ()
    found = tuple(facts) if is_time_for(rule, thing.state) else ()
    if isinstance(rule, Move):
        return why_not(rule, facts=found, **asked)
    return (*rules.against_step(rule, **asked), *found)


def offer_of(verb: Verb, thing: Thing, by: Person, *, url_name: str, facts: Iterable[Finding] = ()) -> Offer:
    """A verb whose form needs to be told nothing of the thing.

    Args:
        verb: the verb.
        thing: what it is done to.
        by: who would do it.
        url_name: name of the address that takes (code, verb).
        facts: what else stands against it.
    """
    return Offer(
        verb,
        reverse(url_name, args=[thing.code, verb.name.replace("_", "-")]),
        verb.form(auto_id=f"{verb.name}_%s"),
        against(verb.rule, thing, by, facts),
        is_time_for(verb.rule, thing.state),
    )


def machine_offer(
    verb: Verb,
    machine: Machine,
    by: Person,
    *,
    url_name: str = "machine-verb",
    facts: Iterable[Finding] = (),
    **initial: int,
) -> Offer:
    """A verb of a machine; `initial` names the one thing it is about, where there are several."""
    auto_id = "_".join([verb.name, *map(str, initial.values()), "%s"])
    return Offer(
        verb,
        reverse(url_name, args=[machine.code, verb.name.replace("_", "-")]),
        verb.form(machine=machine, initial=initial, auto_id=auto_id),
        against(verb.rule, machine, by, facts),
        is_time_for(verb.rule, machine.state),
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """For which load, whom and when a page makes its offers."""

    load: Load
    by: Person
    at: datetime

    def offer(self, name: str, facts: Iterable[Finding] = (), **initial: int) -> Offer:
        """One verb; `initial` names the one thing it is about, where there are several."""
        verb = VERBS[name]
        auto_id = "_".join([name, self.load.code, *map(str, initial.values()), "%s"])
        return Offer(
            verb,
            reverse("load-verb", args=[self.load.code, name.replace("_", "-")]),
            verb.form(load=self.load, by=self.by, initial=initial, auto_id=auto_id),
            against(verb.rule, self.load, self.by, facts),
            is_time_for(verb.rule, self.load.state),
        )


def offers(asked: Asked, checks: Iterable[Check]) -> dict[str, Offer]:
    """Every verb that this kind of load can ever take, by name."""
    load = asked.load
    facts: dict[str, Iterable[Finding]] = {
        "start": against_start(load, load.machine, asked.at),
        "release": against_release(load, checks),
        "add_pack": rules.holds_nothing(load.code, routine=load.kind == LoadKind.ROUTINE),
        "add_piece": rules.holds_nothing(load.code, routine=load.kind == LoadKind.ROUTINE),
    }
    return {name: asked.offer(name, facts.get(name, ())) for name in _names(load)}


def _names(load: Load) -> Iterator[str]:
    of_washer, of_steriliser = ("add_piece", "take_out", "dosing"), ("add_pack", "take_off", "place")
    yield from of_washer if load.machine.washes else of_steriliser
    if holds_implant(load) and not hasattr(load, "exceptional_release"):
        yield "exception"
    yield from ("split", "merge", "start", "unload", "attach", "release", "reject", "recall", "correct")


def readings(asked: Asked) -> list[tuple[Any, Offer]]:
    """Each indicator that nobody has read, with the offer to record its reading."""
    waiting = asked.load.indicators.filter(result=Result.WAITING)
    return [(row, asked.offer("read", indicator_id=row.pk)) for row in waiting]


def doubts(asked: Asked) -> list[tuple[Any, Offer]]:
    """Each failed test that puts the load in doubt, with the offer to decide on it."""
    rows = asked.load.doubts.filter(decided_at=None).select_related("test")
    return [(row, asked.offer("decide", test_id=row.test_id)) for row in rows]
