"""When to order single-use items again, and how many: Poisson demand, its rate estimated from the weeks recorded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp, lgamma, log

from journal.findings import Finding, Severity

DAYS_PER_WEEK = 7
LONG_HISTORY_WEEKS = 26
"""From so many weeks on the observed rate is taken as known. Our proposal: half a year."""
PRIOR_SHAPE = 0.5
"""Shape of the prior on the weekly rate, a gamma distribution of rate 0: Jeffreys' prior of a Poisson rate."""
LEAST_LEVEL, GREATEST_LEVEL = 0.5, 0.9999


@dataclass(frozen=True, slots=True)
class Usage:
    """How much was used in a span of weeks.

    Args:
        weeks: length of the span [weeks].
        used: items used in it.

    Raises:
        ValueError: weeks or used below zero.
    """

    weeks: int
    used: int

    def __post_init__(self) -> None:
        if self.weeks < 0 or self.used < 0:
            raise ValueError("Weeks and items used must be 0 or more.")


@dataclass(frozen=True, slots=True)
class Terms:
    """How an item is ordered.

    Args:
        lead_days: from an order to its arrival on the shelf [d].
        review_days: between one order and the next [d].
        level: probability that the shelf lasts until the arrival.

    Raises:
        ValueError: days below zero, or a level outside 0.5 to 0.9999.
    """

    lead_days: int
    review_days: int
    level: float

    def __post_init__(self) -> None:
        if self.lead_days < 0 or self.review_days < 0:
            raise ValueError("Lead time and review period must be 0 or more.")
        if not LEAST_LEVEL <= self.level <= GREATEST_LEVEL:
            raise ValueError(f"The service level must be from {LEAST_LEVEL} to {GREATEST_LEVEL}.")


@dataclass(frozen=True, slots=True)
class Lot:
    """Items of one lot on the shelf.

    Args:
        lot: its number; empty when none is recorded.
        expires: last day of use; None where there is none.
        count: how many.
    """

    lot: str
    expires: date | None
    count: int


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is suggested for one item.

    Args:
        usable: on the shelf, and still in date when an order would arrive.
        reorder_point: order when the usable stock is down to this; None when no use is known at all.
        order_up_to: fill up to this; None likewise.
        order: how many to order now, 0 when there is enough.
        short_history: the rate is not known well, so the figures are widened.
        findings: what to look at.
    """

    usable: int
    reorder_point: int | None
    order_up_to: int | None
    order: int
    short_history: bool
    findings: tuple[Finding, ...]


def least_stock(level: float, mean: float, shape: float | None = None) -> int:
    """The least stock that lasts through a demand with at least this probability.

    Args:
        level: probability, 0 or more and below 1.
        mean: expected demand [items].
        shape: None for a Poisson demand; else the shape of the gamma distribution that its rate follows, which
            makes the demand negative binomial with variance mean + mean² / shape.

    Returns:
        Smallest x with P(demand ≤ x) ≥ level [items].

    Raises:
        ValueError: level outside 0 to 1, a mean below zero, or a shape not above zero.

    Source:
        Quantile of the Poisson and of the negative binomial (gamma–Poisson mixture) distribution; any
        textbook of probability. The sum runs over logarithms of single terms, so no mean is too great.
    """
    if not 0 <= level < 1 or mean < 0 or (shape is not None and shape <= 0):
        raise ValueError("A level from 0 to below 1, a mean of 0 or more and a shape above 0 are needed.")
    stock, reached = 0, _chance(0, mean, shape)
    while reached < level:
        stock += 1
        reached += _chance(stock, mean, shape)
    return stock


def _chance(demand: int, mean: float, shape: float | None) -> float:
    """Probability of exactly this demand."""
    if mean == 0:
        return float(demand == 0)
    if shape is None:
        return exp(demand * log(mean) - mean - lgamma(demand + 1))
    ways = lgamma(demand + shape) - lgamma(shape) - lgamma(demand + 1)
    return exp(ways + shape * log(shape / (shape + mean)) + demand * log(mean / (shape + mean)))


def demand_over(usage: Usage, days: int) -> tuple[float, float | None]:
    """Expected demand over some days, and the shape of its uncertainty.

    With a long history the rate is taken as known: Poisson. With a short one the rate itself is uncertain: from
    k items in n weeks and Jeffreys' prior it follows a gamma distribution of shape k + 0.5 and rate n, so the
    demand over t weeks is negative binomial with mean (k + 0.5) t / n.

    Args:
        usage: what was used; 1 week or more.
        days: how far ahead [d].

    Returns:
        Mean [items], and the shape for `least_stock`; None where the demand is Poisson.
    """
    weeks = days / DAYS_PER_WEEK
    if usage.weeks >= LONG_HISTORY_WEEKS:
        return usage.used / usage.weeks * weeks, None
    shape = usage.used + PRIOR_SHAPE
    return shape / usage.weeks * weeks, shape


def forecast(subject: str, usage: Usage, lots: Iterable[Lot], terms: Terms, today: date) -> Forecast:
    """When to order an item and how many, from its use and what is on the shelf.

    The reorder point lasts, at the level asked for, from an order to its arrival; the order fills up to what
    lasts until the order after it arrives. What expires before an order would arrive is not counted. Ignored:
    seasons, trends, orders that are on their way, and stock that expires later than that but before its use.

    Args:
        subject: the item as a person would name it.
        usage: what was used so far.
        lots: what is on the shelf, in date or not.
        terms: how it is ordered.
        today: the day in the unit's time zone.

    Returns:
        The suggestion; figures are None when less than a week is on record.
    """
    shelf = tuple(lots)
    arrival = today + timedelta(days=terms.lead_days)
    usable = sum(lot.count for lot in shelf if lot.expires is None or lot.expires >= arrival)
    fading = sum(lot.count for lot in shelf if lot.expires is not None and lot.expires < arrival)
    if usage.weeks == 0:
        sentence = f"{subject}: no full week is on record, so nothing can be suggested."
        said = Finding("no-history", Severity.NOTE, subject, sentence)
        return Forecast(usable, None, None, 0, short_history=True, findings=(said, *_fading(subject, fading)))
    point = least_stock(terms.level, *demand_over(usage, terms.lead_days))
    up_to = least_stock(terms.level, *demand_over(usage, terms.lead_days + terms.review_days))
    order = max(0, up_to - usable) if usable <= point and up_to > 0 else 0
    short = usage.weeks < LONG_HISTORY_WEEKS
    findings = (*_low(subject, usable, point, order), *_fading(subject, fading), *_short(subject, usage, short=short))
    return Forecast(usable, point, up_to, order, short, findings)


def _low(subject: str, usable: int, point: int, order: int) -> Iterator[Finding]:
    if order:
        yield Finding(
            "stock-low",
            Severity.LOOK,
            subject,
            f"Stock of {subject} is down to {usable}; its reorder point is {point}.",
            f"Order {order}, less what is on its way already.",
            {"usable": usable, "reorder_point": point, "order": order},
        )


def _fading(subject: str, fading: int) -> Iterator[Finding]:
    if fading:
        yield Finding(
            "expires-before-arrival",
            Severity.LOOK,
            subject,
            f"{fading} of {subject} on the shelf are past their last day, or will be when an order arrives.",
            "They are not counted as stock. Use what is in date first.",
            {"fading": fading},
        )


def _short(subject: str, usage: Usage, *, short: bool) -> Iterator[Finding]:
    if short:
        yield Finding(
            "history-short",
            Severity.NOTE,
            subject,
            f"{subject}: {usage.weeks} weeks on record, {usage.used} used. The figures are widened for that.",
            "",
            {"weeks": usage.weeks, "used": usage.used},
        )
