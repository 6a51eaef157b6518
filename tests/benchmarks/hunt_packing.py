"""Hunt for wrong answers of co-passage: random cases against a brute force of many random starts.

    python -m tests.benchmarks.hunt_packing --seed 7 --cases 40 --starts 600

Prints the worst of each number of shafts, and every case in which the product is worse than the brute force,
in which it claims a proof that the brute force beats, or in which a verdict 5 µm beside the limit is wrong.
Exits 1 when there is one. docs/algorithms/co-passage.md records what was found.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterator

import numpy as np

from instruments.fit import co_passage, fits
from tests.instruments.brute import brute_force, exact

EXACT, BEST_KNOWN = 1e-9, 1e-6
BESIDE_MM = 0.005
GAPS_MM = (0.0, 0.1, 0.2)


def cases(count: int, many: int, random: np.random.Generator) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Diameters [mm] of `count` shafts by family, one family after the other, the nasty ones among them."""
    for _ in range(math.ceil(many / 8)):
        tiny, big = random.uniform(0.05, 0.4), random.uniform(2, 6)
        yield "uniform", tuple(random.uniform(1, 6, count))
        yield "nearly equal", tuple(random.uniform(1.96, 2.04, count))
        yield "equal", (random.uniform(1, 6),) * count
        yield "one tiny", (*random.uniform(3, 5, count - 1), tiny)
        yield "two big", (*random.uniform(3.5, 5, 2), *random.uniform(1, 2, max(0, count - 2)))[:count]
        yield "one to six", (big, *random.uniform(big / 6, big / 4, count - 1))
        yield "logarithmic", tuple(np.exp(random.uniform(math.log(0.6), math.log(6), count)))
        yield "quarters", tuple(random.integers(4, 24, count) / 4)


def wrong(diameters: list[float], gap_mm: float, starts: int) -> tuple[list[str], float, bool]:
    """What is wrong with the product's answer, its excess over the reference, and whether it was proven."""
    grown = [(diameter + gap_mm) / 2 for diameter in diameters]
    reference = 2 * (exact(grown) if len(grown) < 4 else brute_force(grown, starts)) + gap_mm
    found = co_passage(100, diameters, gap_mm)
    excess = found.required_bore_mm / reference - 1
    faults = []
    if excess > (EXACT if len(grown) < 4 else BEST_KNOWN):
        faults.append(f"{excess:.1e} worse than the reference")
    if excess < -EXACT and len(grown) < 4:
        faults.append(f"{-excess:.1e} below the exact answer")
    if found.certified and excess > EXACT:
        faults.append(f"called proven, {excess:.1e} above a layout that exists")
    faults += [
        f"wrong verdict {aside:+} mm beside {reference}"
        for aside in (-BESIDE_MM, BESIDE_MM)
        if fits(min(reference, found.required_bore_mm) + aside, diameters, gap_mm) is not (aside > 0)
    ]
    return faults, excess, found.certified


def tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> None:
    """Hunt, tell, and exit 1 when something was found."""
    parser = argparse.ArgumentParser(description="Hunt for wrong answers of co-passage.")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=40, help="for each number of shafts")
    parser.add_argument("--starts", type=int, default=600, help="of the brute force; three times as many for six")
    parser.add_argument("--shafts", type=int, nargs="+", default=range(1, 7))
    asked = parser.parse_args()
    random, bad = np.random.default_rng(asked.seed), 0
    for count in asked.shafts:
        worst, proven, many = -math.inf, 0, 0
        for family, drawn in cases(count, asked.cases, random):
            diameters = [float(diameter) for diameter in drawn]
            gap_mm = GAPS_MM[many % 3]
            faults, excess, certified = wrong(diameters, gap_mm, asked.starts * (3 if count == 6 else 1))
            worst, proven, many, bad = max(worst, excess), proven + certified, many + 1, bad + bool(faults)
            for fault in faults:
                tell(f"{count} shafts, {family}, gap {gap_mm}, {diameters}: {fault}")
        tell(f"{count} shafts: {many} cases, largest excess {worst:.1e}, {proven} proven")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
