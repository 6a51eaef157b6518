"""Questions about periodic tests: how each machine stands with them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from journal.findings import Finding
from journal.reads import policy
from reprocessing.models import Load, Machine, PeriodicResult, PeriodicTest
from reprocessing.periodic import Demanded, Taken, periodic_tests_valid
from reprocessing.reads.residue import protein_of_each


@dataclass(frozen=True, slots=True)
class Stand:
    """A periodic test of a machine, its latest result, and how the machine stands with it."""

    test: PeriodicTest
    result: PeriodicResult | None
    demanded: Demanded


def stands_of_each(machines: Iterable[Machine], at: datetime) -> dict[int, list[Stand]]:
    """Every machine's periodic tests in force, by the machine's key: three queries for all of them."""
    machines = list(machines)
    tests = list(PeriodicTest.objects.in_force())
    results = PeriodicResult.objects.filter(machine__in=machines, test__in=tests).latest_of_each(at)
    latest = {(row.machine_id, row.test_id): row for row in results.select_related("test", "by")}
    day_hour = int(policy("machine_day_hour"))
    return {
        machine.pk: [
            _stand(test, latest.get((machine.pk, test.pk)), at, day_hour)
            for test in tests
            if test.kind == machine.kind and test.machine_id in (None, machine.pk)
        ]
        for machine in machines
    }


def _stand(test: PeriodicTest, result: PeriodicResult | None, at: datetime, day_hour: int) -> Stand:
    taken = Taken(result.passed, timezone.localtime(result.taken_at)) if result else None
    demanded = Demanded(test.name, test.every_days, test.forbids_start, taken, timezone.localtime(at), day_hour)
    return Stand(test, result, demanded)


def lacking_of_each(machines: Iterable[Machine], at: datetime) -> dict[int, list[Demanded]]:
    """What each machine lacks of its periodic tests, a washer of the check of what it has cleaned too."""
    machines = list(machines)
    protein = protein_of_each(machines, at)
    asked = stands_of_each(machines, at)
    demands = {key: [stand.demanded for stand in stands] for key, stands in asked.items()}
    return {
        key: [one for one in [*of, *([protein[key]] if key in protein else [])] if not one.valid]
        for key, of in demands.items()
    }


def stands_of(machine: Machine, at: datetime) -> list[Stand]:
    """How one machine stands with its periodic tests."""
    return stands_of_each([machine], at)[machine.pk]


def against_periodic(load: Load, machine: Machine, at: datetime) -> Iterator[Finding]:
    """What its machine's periodic tests say against the start of a load."""
    demands = [stand.demanded for stand in stands_of(machine, at)]
    return periodic_tests_valid(load.code, machine.name, demands)
