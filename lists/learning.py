"""How long a stage takes, learned from a unit's own record and held back by the policy while there is little of it.

Minutes of work are skewed and some are absurd: a set that was left standing, a scan made late. So the middle is the
median and the spread the median distance from it, both of the logarithm: up to half of the record may be absurd before
either runs away. Of n durations the record counts n / (n + 20), the policy the rest. What is learned is the unit's, by
stage; it knows no persons.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import exp, log
from statistics import NormalDist, median
from typing import TypeAlias

Span: TypeAlias = tuple[datetime, datetime]

LONGEST_MIN = 8 * 60  # what took longer than a shift stood, whatever it was; our own rule
WORTH_OF_POLICY = 20  # durations that weigh as much as the policy; our own rule
POLICY_SIGMA = 0.3  # spread of the logarithm that goes with a policy, as in the usual noise of a chance
SIGMA_OF_MAD = 1 / NormalDist().inv_cdf(0.75)  # 1.4826: from the median distance to the standard deviation
SECONDS_PER_MINUTE = 60


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known of a stage.

    Args:
        policy_min: how long it takes by the policy [min].
        count: how many durations were learned from.
        median_min: their median [min]; None without any.
        share: what they count, from 0 to 1; the policy counts the rest.
        used_min: policy and record together: half of the time it is done by then [min].
        sigma: standard deviation of the logarithm, likewise.

    Raises:
        ValueError: the policy is not above zero.
    """

    policy_min: float
    count: int
    median_min: float | None
    share: float
    used_min: float
    sigma: float

    def __post_init__(self) -> None:
        if not self.policy_min > 0:
            raise ValueError(f"Cannot learn a stage time: its policy is {self.policy_min:g} min, must be above 0.")

    @property
    def p90_min(self) -> float:
        """Nine times of ten it is done by then [min]."""
        return self.within_min(0.9)

    def within_min(self, share: float) -> float:
        """So large a share of the times, between 0 and 1, it is done by then [min]."""
        return self.used_min * exp(NormalDist().inv_cdf(share) * self.sigma)


def once(spans: Iterable[Span]) -> tuple[Span, ...]:
    """What begins and ends in the same minutes is one piece of work on many things, and counts once."""
    by_minute = {tuple(moment.replace(second=0, microsecond=0) for moment in span): span for span in spans}
    return tuple(by_minute.values())


def worked_min(spans: Iterable[Span]) -> tuple[float, ...]:
    """Durations that can be learned from, out of begin and end as recorded.

    Left out are spans over midnight and longer than eight hours, for something stood, and those that end no later than
    they begin, for they were entered together.

    Args:
        spans: begin and end of each, local and aware.

    Returns:
        Durations [min], shortest first.
    """
    found = []
    for began, ended in spans:
        minutes = (ended - began).total_seconds() / SECONDS_PER_MINUTE
        if began.date() == ended.date() and 0 < minutes <= LONGEST_MIN:
            found.append(minutes)
    return tuple(sorted(found))


def learned(minutes: tuple[float, ...], *, policy_min: float) -> Learned:
    """How long a stage takes, by its record and its policy: log-normal, both weighed on the logarithm.

    Args:
        minutes: durations, all above zero [min].
        policy_min: how long it takes by the policy, above zero [min].

    Returns:
        What is known. Without any duration it is the policy.

    Raises:
        ValueError: the policy is not above zero.
    """
    count = len(minutes)
    if not count or policy_min <= 0:
        return Learned(policy_min, count, None, 0.0, policy_min, POLICY_SIGMA)
    logs = [log(each) for each in minutes]
    middle = median(logs)
    sigma = SIGMA_OF_MAD * median(abs(each - middle) for each in logs)
    share = count / (count + WORTH_OF_POLICY)
    used_min = exp(share * middle + (1 - share) * log(policy_min))
    return Learned(policy_min, count, median(minutes), share, used_min, share * sigma + (1 - share) * POLICY_SIGMA)
