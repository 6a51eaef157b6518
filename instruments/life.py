"""The life of a piece: may it still be packed, was it for one use only, and what is due soon."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from instruments.loans import Papers, against_packing
from journal.findings import Finding, Severity


@dataclass(frozen=True, slots=True)
class Wear:
    """What is known of a piece's wear and tests.

    Args:
        subject: the piece as a person would name it.
        cycles: sterilisation cycles so far.
        life_limit: cycles it may see in all; None where the part has no limit.
        service_due: day on which its service is due; None where it needs none.
        needs_function_test: the part is tested at each inspection.
        function_ok: result of the test since the last use; None when there was none.
        needs_insulation_test: the part is insulated.
        insulation_ok: result of the insulation test since the last use.
        expires: last day of use that the maker states; None where there is none.
        papers: what is on file for a borrowed piece; None for the unit's own.
        called_back: code of its last wash load, when that was recalled; else empty.

    Raises:
        ValueError: cycles or limit below zero.
    """

    subject: str
    cycles: int = 0
    life_limit: int | None = None
    service_due: date | None = None
    needs_function_test: bool = False
    function_ok: bool | None = None
    needs_insulation_test: bool = False
    insulation_ok: bool | None = None
    expires: date | None = None
    papers: Papers | None = None
    called_back: str = ""

    def __post_init__(self) -> None:
        if self.cycles < 0 or (self.life_limit is not None and self.life_limit < 0):
            raise ValueError("Cycles and life limit must be 0 or more.")


def fit_to_pack(wear: Wear, today: date) -> tuple[Finding, ...]:
    """Whatever forbids packing a piece: a recalled wash, life limit, service date, tests, expiry, a loan's papers.

    Args:
        wear: the piece's facts.
        today: the day in the unit's time zone.

    Returns:
        Findings of severity stop; empty when the piece may be packed.
    """
    borrowed = () if wear.papers is None else tuple(against_packing(wear.subject, wear.papers))
    return (*_wash(wear), *_life(wear), *_dates(wear, today), *_tests(wear), *borrowed)


def beyond_inspection(wear: Wear, today: date) -> tuple[Finding, ...]:
    """Whatever forbids packing a piece and is put right by no inspection: all but tests that are still to come.

    Args:
        wear: the piece's facts.
        today: the day in the unit's time zone.

    Returns:
        Findings of severity stop.
    """
    return fit_to_pack(replace(wear, needs_function_test=False, needs_insulation_test=False), today)


def due_soon(wear: Wear, today: date, *, service_days: int, cycles_left: int) -> tuple[Finding, ...]:
    """What will soon forbid packing: a service date within `service_days`, or few cycles left.

    Args:
        wear: the piece's facts.
        today: the day in the unit's time zone.
        service_days: how long ahead a service is announced [d].
        cycles_left: how few cycles left are announced.

    Returns:
        Findings of severity look.
    """
    found = []
    if wear.life_limit is not None and wear.life_limit - wear.cycles <= cycles_left:
        left = max(0, wear.life_limit - wear.cycles)
        found.append(
            Finding(
                "life-ends-soon",
                Severity.LOOK,
                wear.subject,
                f"{wear.subject} has {left} of {wear.life_limit} cycles left.",
                "Order its replacement.",
                {"cycles": wear.cycles, "life_limit": wear.life_limit},
            )
        )
    if wear.service_due is not None and (wear.service_due - today).days <= service_days:
        found.append(
            Finding(
                "service-due-soon",
                Severity.LOOK,
                wear.subject,
                f"{wear.subject} is due for service on {wear.service_due:%d-%b-%Y}.",
                "Send it to service before that day.",
                {"days_left": (wear.service_due - today).days},
            )
        )
    return tuple(found)


def single_use(
    verb: str, subject: str, part: str, *, opened: bool, touched_patient: bool, permission: str
) -> Iterator[Finding]:
    """No single-use item is packed or loaded after it was opened, and none at all after it touched a patient.

    Args:
        verb: as it stands in a sentence ("pack", "load").
        subject: the piece, or the pack that holds it.
        part: the piece's name.
        opened: its pack was opened, the maker's own included.
        touched_patient: it was used, or nobody recorded that it was not.
        permission: the maker's permission to reprocess it unused, as the part's record cites it.

    Yields:
        At most one stop.
    """
    if touched_patient:
        yield Finding(
            "single-use-used",
            Severity.STOP,
            subject,
            f"Cannot {verb} {subject}: {part} is for single use and was used, must be new.",
            "Discard it by record.",
        )
    elif opened and not permission:
        yield Finding(
            "single-use-opened",
            Severity.STOP,
            subject,
            f"Cannot {verb} {subject}: {part} is for single use and was opened, must be unopened.",
            "Discard it by record; only the maker's permission, cited on its part, allows more.",
        )


def _wash(wear: Wear) -> Iterator[Finding]:
    if wear.called_back:
        yield Finding(
            "wash-recalled",
            Severity.STOP,
            wear.subject,
            f"Cannot pack {wear.subject}: its wash load {wear.called_back} was recalled, it must be washed again.",
            "Take it off and send it back to the washer.",
        )


def _life(wear: Wear) -> Iterator[Finding]:
    if wear.life_limit is not None and wear.cycles >= wear.life_limit:
        yield Finding(
            "life-limit-reached",
            Severity.STOP,
            wear.subject,
            f"Cannot pack {wear.subject}: it has seen {wear.cycles} cycles, must be under {wear.life_limit}.",
            "Withdraw it and take another.",
            {"cycles": wear.cycles, "life_limit": wear.life_limit},
        )


def _dates(wear: Wear, today: date) -> Iterator[Finding]:
    if wear.service_due is not None and wear.service_due < today:
        yield Finding(
            "service-overdue",
            Severity.STOP,
            wear.subject,
            f"Cannot pack {wear.subject}: its service was due on {wear.service_due:%d-%b-%Y}.",
            "Send it to service and take another.",
        )
    if wear.expires is not None and wear.expires < today:
        yield Finding(
            "expired",
            Severity.STOP,
            wear.subject,
            f"Cannot pack {wear.subject}: it expired on {wear.expires:%d-%b-%Y}.",
            "Withdraw it and take another.",
        )


def _tests(wear: Wear) -> Iterator[Finding]:
    for needed, result, name in (
        (wear.needs_function_test, wear.function_ok, "function"),
        (wear.needs_insulation_test, wear.insulation_ok, "insulation"),
    ):
        if result is False:
            yield Finding(
                f"{name}-test-failed",
                Severity.STOP,
                wear.subject,
                f"Cannot pack {wear.subject}: its {name} test failed, must be passed.",
                "Send it to repair and take another.",
            )
        elif needed and result is None:
            yield Finding(
                f"{name}-test-missing",
                Severity.STOP,
                wear.subject,
                f"Cannot pack {wear.subject}: no {name} test since its last use is recorded, one must be passed.",
                "Inspect it again with its test.",
            )
