"""Servers against the closed forms of queues and against a simulator from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from math import factorial

import ciw
import numpy as np
import pytest
from numpy.random import Generator, default_rng

from lists.chances.noise import FloatArray
from lists.chances.queueing import Servers

Drawn = Callable[[Generator, int], FloatArray]


def erlang_c(servers: int, load: float) -> float:
    """Chance to wait with Poisson arrivals and exponential services (A. K. Erlang, 1917)."""
    top = load**servers / factorial(servers) * servers / (servers - load)
    return top / (sum(load**n / factorial(n) for n in range(servers)) + top)


def exponential(mean: float) -> Drawn:
    return lambda source, days: mean * source.standard_exponential(days)


def triangular(low: float, mode: float, high: float) -> Drawn:
    return lambda source, days: source.triangular(low, mode, high, days)


def line(
    servers: int, between: Drawn, takes: Drawn, *, customers: int, days: int, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """When each customer of each day comes, begins to be served and leaves, shape (customers, days)."""
    source, line = default_rng(seed), Servers([0.0] * servers, days)
    there = np.cumsum([between(source, days) for _ in range(customers)], axis=0)
    minutes = [takes(source, days) for _ in range(customers)]
    begins = np.array([line.serve(*pair) for pair in zip(there, minutes, strict=True)])
    return there, begins, begins + minutes


def close(measured: FloatArray, exact: float, *, within: float) -> None:
    """Each day is an independent try: the mean of all is within four standard errors, and those are small."""
    error = measured.std(ddof=1) / np.sqrt(len(measured))
    assert error <= within
    assert abs(measured.mean() - exact) <= 4 * error


@pytest.mark.parametrize(
    ("servers", "load", "waits"),
    [
        (3, 2.0, 4 / 9),  # textbook example, computed
        (5, 3.0, 1 - 0.763848),  # worked example: one arrival a minute, 3 min each, 5 servers
        (3, 2.5, 1 - 0.2978),  # worked example: 30 an hour, 5 min each
        (4, 2.5, 1 - 0.6801),
        (5, 2.5, 1 - 0.8696),
        (6, 2.5, 1 - 0.9526),
        (7, 2.5, 1 - 0.9846),
        (1, 0.8, 0.8),  # M/M/1
    ],
)
def test_who_waits_with_exponential_times(servers: int, load: float, waits: float) -> None:
    assert erlang_c(servers, load) == pytest.approx(waits, abs=5e-5)
    there, begins, _ = line(servers, exponential(1), exponential(load), customers=1500, days=1000, seed=servers)
    close(np.mean(begins[900:] > there[900:], axis=0), waits, within=0.01)


def test_a_call_centre_of_55() -> None:
    """Worked example: 360 arrivals in 30 min, 4 min each; published are 0.239 and 8.2 s, more digits computed."""
    assert erlang_c(55, 48) == pytest.approx(0.23870, abs=5e-6)
    there, begins, _ = line(55, exponential(1 / 12), exponential(4), customers=1600, days=1000, seed=1)
    waited_s = 60 * (begins - there)[1200:]
    close(np.mean(waited_s > 0, axis=0), 0.23870, within=0.012)
    close(np.mean(waited_s, axis=0), 8.184, within=0.6)
    close(np.mean(waited_s <= 15, axis=0), 0.84588, within=0.012)


def test_one_server_holds_four_and_as_many_as_come_times_stay() -> None:
    """M/M/1 at 0.8: four are there, 3.2 of them wait. J. D. C. Little (1961): L = λ W.

    How many are there is counted at one random minute of each day, so it is not measured by how long they stay.
    """
    there, begins, ends = line(1, exponential(1 / 0.8), exponential(1), customers=2500, days=4000, seed=7)
    minute = default_rng(8).uniform(1500, 2500, 4000)
    close(np.sum((there <= minute) & (minute < ends), axis=0), 4.0, within=0.1)
    close(np.sum((there <= minute) & (minute < begins), axis=0), 3.2, within=0.1)
    close(0.8 * np.mean((ends - there)[1200:2200], axis=0), 4.0, within=0.1)


def test_two_benches_then_three_as_another_simulator_has_them() -> None:
    """Ciw 3 (G. I. Palmer and others, J. Simulation 13, 2019), event by event and written by others.

    Triangular and log-normal minutes have no closed form. Who comes to the second line first is served first.
    """
    days, source = 600, default_rng(3)
    there, begins, ends = line(2, exponential(6), triangular(7, 10, 18), customers=900, days=days, seed=2)
    second, assembly = np.sort(ends, axis=0), Servers([0.0] * 3, days)
    waits = [(begins - there)[300:]]
    taken = [assembly.serve(row, 15 * np.exp(0.3 * source.standard_normal(days))) for row in second]
    waits.append((np.array(taken) - second)[300:])

    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(1 / 6), None],
        service_distributions=[ciw.dists.Triangular(7, 10, 18), ciw.dists.Lognormal(np.log(15), 0.3)],
        number_of_servers=[2, 3],
        routing=[[0.0, 1.0], [0.0, 0.0]],
    )
    others: list[list[float]] = [[], []]
    for seed in range(12):
        ciw.seed(seed)
        run = ciw.Simulation(network)
        run.simulate_until_max_time(900 * 6)
        for node in (1, 2):
            records = [row for row in run.get_all_records() if row.node == node and row.arrival_date > 1800]
            others[node - 1].append(float(np.mean([row.waiting_time for row in records])))
    for ours, other in zip(waits, others, strict=True):
        means = np.mean(ours, axis=0)
        errors = means.std(ddof=1) / np.sqrt(days), np.std(other, ddof=1) / np.sqrt(len(other))
        assert abs(means.mean() - np.mean(other)) <= 4 * np.hypot(*errors)
        assert np.hypot(*errors) <= 0.2 * np.mean(other)


def test_servers_one_by_one_come_to_the_same() -> None:
    """The least of (days, servers) sought and replaced: the same minutes, for some days only as well."""
    source, days = default_rng(4), 50
    line, free = Servers([3.0, 0.0, 9.0, 4.0], days), np.tile([3.0, 0.0, 9.0, 4.0], (days, 1))
    for _ in range(200):
        some = np.flatnonzero(source.random(days) < 0.7)
        there, minutes = source.uniform(0, 300, some.size), source.uniform(0, 20, some.size)
        server = free[some].argmin(axis=1)
        begins = np.maximum(there, free[some, server])
        free[some, server] = begins + minutes
        assert (line.serve(there, minutes, some) == begins).all()
    assert (line.free_min() == free.min(axis=1)).all()


def test_nobody_is_served_by_none() -> None:
    with pytest.raises(ValueError, match="Cannot serve anyone: there are 0 servers, must be at least 1"):
        Servers([], 5)
