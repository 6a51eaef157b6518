"""May a pack be handed to a case, opened, or go back to the shelf: the rule behind every issue."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from journal.findings import Finding, Severity

PACK_AGAIN = "Keep it apart; its pieces are washed and packed again."


@dataclass(frozen=True, slots=True)
class LoadFact:
    """A load that a pack went through.

    Args:
        code: the load's code.
        state: its state now; only “released” is good.
        ended_at: when its cycle ended; None when it has not.
        result_due: its biological result is still awaited.
        in_doubt: a failed machine test has put it in doubt, and nobody has decided yet.
    """

    code: str
    state: str
    ended_at: datetime | None = None
    result_due: bool = False
    in_doubt: bool = False


@dataclass(frozen=True, slots=True)
class ItemFact:
    """A piece in the pack.

    Args:
        code: the piece's code.
        name: what it is.
        expires: the maker's last day of use; None where none is stated.
        identified: its lot or serial number is known.
        recalled_wash: code of its last wash load when that was recalled; else empty.
    """

    code: str
    name: str
    expires: date | None = None
    identified: bool = True
    recalled_wash: str = ""


@dataclass(frozen=True, slots=True)
class PackFacts:
    """What is known of a pack when somebody wants to issue it; its state is asked by the state table.

    Args:
        code: the pack's code.
        use_by: end of its shelf life, in the unit's time zone.
        loads: every steriliser load it went through.
        items: the pieces in it.
        from_maker: it came sterile from its maker, through no load of ours.
        immediate: it is an unwrapped immediate-use item.
        earlier_cases: cases it was issued to before.
        lacks: names of what it lacks, when it went out incomplete.

    Raises:
        ValueError: `use_by` has no time zone.
    """

    code: str
    use_by: datetime
    loads: tuple[LoadFact, ...] = ()
    items: tuple[ItemFact, ...] = ()
    from_maker: bool = False
    immediate: bool = False
    earlier_cases: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.use_by.tzinfo is None:
            raise ValueError("Cannot judge a pack whose shelf life ends at a time without a zone.")


def against_issue(
    pack: PackFacts, *, barrier_intact: bool, case: str, at: datetime, today: date, immediate_min: int
) -> tuple[Finding, ...]:
    """Everything that stands against issuing a pack to a case, and what to look at if nothing does.

    Ignores the state of the pack and of the case, which their state tables judge.

    Args:
        pack: the pack's facts.
        barrier_intact: what the eye reports now; for an immediate-use item, the state of its container.
        case: code of the case.
        at: the moment of the issue, aware.
        today: the day of that moment in the unit's time zone.
        immediate_min: how long after its cycle an immediate-use item may be used [min].

    Returns:
        Stops first, then looks; empty when all is well.
    """
    return (
        *_loads(pack),
        *_in_date(pack, "issue", at=at, today=today),
        *_immediate_time(pack, "issue", at=at, immediate_min=immediate_min),
        *_barrier(pack, barrier_intact=barrier_intact),
        *_maker(pack),
        *_one_case(pack, case),
        *_looks(pack),
    )


def against_opening(pack: PackFacts, *, at: datetime, today: date, immediate_min: int) -> tuple[Finding, ...]:
    """What stands against opening an issued pack: that its time has run out since it was issued.

    Args:
        pack: the pack's facts.
        at: the moment of opening, aware.
        today: the day of that moment in the unit's time zone.
        immediate_min: how long after its cycle an immediate-use item may be used [min].

    Returns:
        Findings of severity stop.
    """
    return (
        *_in_date(pack, "open", at=at, today=today),
        *_immediate_time(pack, "open", at=at, immediate_min=immediate_min),
    )


def why_not_shelf(pack: PackFacts, *, barrier_intact: bool, at: datetime, today: date) -> str:
    """Why an unopened pack counts as used instead of going back to the shelf; empty when it may go back.

    Args:
        pack: the pack's facts.
        barrier_intact: what the eye reports now.
        at: the moment of its return, aware.
        today: the day of that moment in the unit's time zone.

    Returns:
        The reason as the trail writes it.
    """
    if pack.immediate:
        return "immediate-use item: it is not stored"
    if not barrier_intact:
        return "barrier not intact"
    if tuple(_in_date(pack, "put back", at=at, today=today)):
        return "past its use-by date"
    return ""


def _stop(slug: str, pack: PackFacts, verb: str, found: str, remedy: str = PACK_AGAIN) -> Finding:
    return Finding(slug, Severity.STOP, pack.code, f"Cannot {verb} {pack.code}: {found}", remedy)


def _loads(pack: PackFacts) -> Iterator[Finding]:
    if not pack.loads and not pack.from_maker:
        yield _stop("never-sterilised", pack, "issue", "no load is recorded, one must be released.")
    for load in pack.loads:
        if load.state != "released":
            found = f"its load {load.code} is {load.state}, must be released."
            yield _stop("load-not-released", pack, "issue", found, "Keep it apart until that load is decided.")
    for item in pack.items:
        if item.recalled_wash:
            found = f"the wash load {item.recalled_wash} of {item.name} {item.code} was recalled."
            yield _stop("wash-recalled", pack, "issue", found)


def _in_date(pack: PackFacts, verb: str, *, at: datetime, today: date) -> Iterator[Finding]:
    if at > pack.use_by:
        yield _stop("expired", pack, verb, f"its use-by date was {pack.use_by:%d-%b-%Y}, it must be in date.")
    for item in pack.items:
        if item.expires is not None and item.expires < today:
            found = f"{item.name} {item.code} expired on {item.expires:%d-%b-%Y}, it must be in date."
            yield _stop("expired", pack, verb, found)


def _immediate_time(pack: PackFacts, verb: str, *, at: datetime, immediate_min: int) -> Iterator[Finding]:
    if pack.immediate:
        ended = [load.ended_at for load in pack.loads if load.ended_at is not None]
        if not ended or at > max(ended) + timedelta(minutes=immediate_min):
            found = f"its cycle must have ended at most {immediate_min} min ago."
            yield _stop("immediate-use-over", pack, verb, found)


def _barrier(pack: PackFacts, *, barrier_intact: bool) -> Iterator[Finding]:
    if not barrier_intact:
        what = "container" if pack.immediate else "barrier"
        yield _stop("barrier-damaged", pack, "issue", f"its {what} is reported damaged, must be intact.")


def _maker(pack: PackFacts) -> Iterator[Finding]:
    if not pack.from_maker:
        return
    for item in pack.items:
        for known, slug, what in (
            (item.identified, "lot-missing", "lot or serial number"),
            (item.expires is not None, "expiry-missing", "expiry"),
        ):
            if not known:
                found = f"the {what} of {item.name} {item.code} is not recorded, must be."
                yield _stop(slug, pack, "issue", found, "Take another pack; call the supplier.")


def _one_case(pack: PackFacts, case: str) -> Iterator[Finding]:
    others = [code for code in pack.earlier_cases if code != case]
    if pack.immediate and others:
        found = f"it is an immediate-use item of case {others[0]}, must serve one case only."
        yield _stop("immediate-use-one-case", pack, "issue", found)


def _looks(pack: PackFacts) -> Iterator[Finding]:
    if pack.lacks:
        names = ", ".join(pack.lacks)
        sentence = f"{pack.code} is incomplete: {names}."
        yield Finding("incomplete", Severity.LOOK, pack.code, sentence, "Fetch what lacks as a single pack.")
    for load in pack.loads:
        if load.result_due:
            yield Finding(
                "biological-result-due",
                Severity.LOOK,
                pack.code,
                f"The biological result of load {load.code} is still awaited.",
                "The case stays flagged until it is read.",
            )
        if load.in_doubt:
            yield Finding(
                "load-in-doubt",
                Severity.LOOK,
                pack.code,
                f"Load {load.code} is in doubt since a machine test failed; the quality decision is still to come.",
                "Take another pack if there is one.",
            )
