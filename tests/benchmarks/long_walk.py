"""A long random walk through the real actions, on the database of DATABASE_URL, else SQLite.

    nice python -m tests.benchmarks.long_walk --moves 20000 --seed 1

The walk and what is held against it are those of tests/reprocessing/test_walk.py; a move that is refused does not
count. Stops at the first state that is not the fold of its trail, and at the first thing in two places.
"""

from __future__ import annotations

import argparse
import sys
from time import perf_counter

from tests.benchmarks.database import empty_database

EACH = 500


def main() -> None:
    """Walk, look every few hundred steps, and tell."""
    parser = argparse.ArgumentParser(description="A long random walk through the real actions.")
    parser.add_argument("--moves", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with empty_database():
        from django.db import connection  # noqa: PLC0415

        from tests.reprocessing import test_walk  # noqa: PLC0415 - knows models

        begun, walk, tried = perf_counter(), test_walk.Walk(asked.seed), 0
        while (before := walk.done.total()) < asked.moves:
            walk.step()
            tried, done = tried + 1, walk.done.total()
            if done > before and (done % EACH == 0 or done == asked.moves):
                test_walk.assert_states_are_the_fold_of_the_trail()
                test_walk.assert_nothing_is_in_two_places()
                sys.stdout.write(f"{done} moves, {tried} tried, {test_walk.lines()} lines: sound\n")
                sys.stdout.flush()
        took = perf_counter() - begun
        sys.stdout.write(f"{connection.vendor}, seed {asked.seed}, {took:.0f} s: {dict(sorted(walk.done.items()))}\n")


if __name__ == "__main__":
    main()
