"""`compute lethality` on records made for this test, against an integral of our own in 40 digits.

Each case is made from the readings that must count; what is wrong with its file is put on afterwards, so that
the answer needs no cleaning. The integral is that of exp over a straight line, by mpmath.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import mpmath
import pytest

from config.management.commands.compute import answer

Reading = tuple[str, str]  # time [s] and temperature [°C], as the file writes them
GAP_S = 30


@dataclass(frozen=True)
class Case:
    """A file, the readings of each probe that count, and the flags that it must have."""

    name: str
    text: str
    counts: Sequence[Sequence[Reading]]
    flags: tuple[str, ...] = ()


def integrals(readings: Sequence[Reading]) -> tuple[list[mpmath.mpf], float | None]:
    """A0, F0, their floors, and the longest step that counts."""
    with mpmath.workdps(40):
        a0 = f0 = floor_a0 = floor_f0 = mpmath.mpf(0)
        k, coarsest = mpmath.log(10) / 10, None
        exact = [(mpmath.mpf(at), mpmath.mpf(celsius)) for at, celsius in readings]
        for (start, one), (end, other) in pairwise(exact):
            step = end - start
            if step > GAP_S:
                continue
            coarsest = max(coarsest or 0.0, float(step))
            f0 += area(step, one, other, mpmath.mpf("121.1"), k)
            floor_f0 += step * mpmath.exp(k * (min(one, other) - mpmath.mpf("121.1")))
            high = max(one, other)
            if high >= 65:
                low = max(min(one, other), mpmath.mpf(65))
                above = step if one == other else step * (high - low) / abs(one - other)
                a0 += area(above, low, high, mpmath.mpf(80), k)
                floor_a0 += above * mpmath.exp(k * (low - 80))
        return [a0, f0 / 60, floor_a0, floor_f0 / 60], coarsest


def area(step: mpmath.mpf, one: mpmath.mpf, other: mpmath.mpf, base: mpmath.mpf, k: mpmath.mpf) -> mpmath.mpf:
    if one == other:
        return step * mpmath.exp(k * (one - base))
    return step * (mpmath.exp(k * (other - base)) - mpmath.exp(k * (one - base))) / (k * (other - one))


def course(step: int, count: int, shape: Callable[[float], float], places: int = 3) -> list[Reading]:
    return [(str(at * step), f"{shape(at * step):.{places}f}") for at in range(count)]


def table(readings: Sequence[Reading], head: str = "t_s,temp_c", between: str = ",") -> str:
    return "\n".join([head, *(between.join(reading) for reading in readings)]) + "\n"


def wash(at: float) -> float:
    return 20 + 70.7 * math.exp(-(((at - 500) / 230) ** 4))


def steam(at: float) -> float:
    return 45 + 89.6 * math.exp(-(((at - 400) / 260) ** 6))


def wall(seconds: int) -> str:
    """Sun 25-Oct-2026 from 02:50 of summer time on: the clock goes back from 03:00 to 02:00."""
    clock = 2 * 3600 + 50 * 60 + seconds - (3600 if seconds >= 600 else 0)
    return f"2026-10-25T{clock // 3600:02}:{clock // 60 % 60:02}:{clock % 60:02}"


WASH, STEAM = course(5, 201, wash), course(2, 451, steam)
COOL = [(at, "20.5") for at, _ in WASH]
SPLIT = 95  # a row near the top of the wash


def without(readings: Sequence[Reading], *at: int) -> list[Reading]:
    return [reading for place, reading in enumerate(readings) if place not in at]


def two_probes(one: Sequence[Reading], other: Sequence[str]) -> str:
    rows = [(*reading, second) for reading, second in zip(one, other, strict=True)]
    return "\n".join(["t_s,p1_c,p2_c", *(",".join(row) for row in rows)])


def clean() -> list[Case]:
    return [
        Case(
            "edges-of-the-range",
            table([("0", "-20"), ("5", "160"), ("10", "-20")]),
            [[("0", "-20"), ("5", "160"), ("10", "-20")]],
        ),
        Case("wash", table(WASH), [WASH]),
        Case("steam", table(STEAM), [STEAM]),
        Case("tenth-of-a-degree", table(course(1, 900, steam, 1)), [course(1, 900, steam, 1)]),
        Case("nothing-counts", table([(at, "64.999") for at, _ in WASH]), [[(at, "64.999") for at, _ in WASH]]),
        Case("just-counts", table([(at, "65") for at, _ in WASH]), [[(at, "65") for at, _ in WASH]]),
        Case("ten-seconds", table(course(10, 101, wash)), [course(10, 101, wash)]),
        Case(
            "thirty-is-no-gap",
            table([("0", "90"), ("30", "91"), ("35", "60")]),
            [[("0", "90"), ("30", "91"), ("35", "60")]],
            ("coarse",),
        ),
        Case(
            "tiny-slope",
            table([("0", "90"), ("5", "90.0000000001"), ("10", "20")]),
            [[("0", "90"), ("5", "90.0000000001"), ("10", "20")]],
        ),
        Case(
            "fractions-of-a-second",
            table([("0.25", "70"), ("1.5", "95.5"), ("2.125", "64")]),
            [[("0.25", "70"), ("1.5", "95.5"), ("2.125", "64")]],
        ),
        Case(
            "lowest-probe",
            two_probes(WASH, [f"{float(c) - 1.25:.3f}" for _, c in WASH]),
            [WASH, [(t, f"{float(c) - 1.25:.3f}") for t, c in WASH]],
        ),
    ]


def nasty() -> list[Case]:
    swapped = [*WASH[:SPLIT], WASH[SPLIT + 1], WASH[SPLIT], *WASH[SPLIT + 2 :]]
    lower = [*WASH[:SPLIT], (WASH[SPLIT][0], "71.5"), *WASH[SPLIT + 1 :]]
    holes = without(WASH, 70, 71)
    gap = without(WASH, *range(80, 90))
    return [
        Case("duplicates", table([*WASH[:SPLIT], WASH[SPLIT], *WASH[SPLIT:]]), [WASH], ("duplicate_rows",)),
        Case("conflict", table([*lower[: SPLIT + 1], *WASH[SPLIT:]]), [lower], ("conflicting_duplicates",)),
        Case(
            "both-kinds-of-duplicates",
            table([WASH[0], *lower[: SPLIT + 1], *WASH[SPLIT:]]),
            [lower],
            ("duplicate_rows", "conflicting_duplicates"),
        ),
        Case(
            "nan-and-empty",
            table(WASH).replace(f"350,{WASH[70][1]}", "350,NaN").replace(f"355,{WASH[71][1]}", "355,"),
            [holes],
            ("missing_values",),
        ),
        Case(
            "out-of-range",
            table(WASH).replace(f"350,{WASH[70][1]}", "350,850").replace(f"355,{WASH[71][1]}", "355,-40"),
            [holes],
            ("out_of_range",),
        ),
        Case(
            "infinite",
            table(WASH).replace(f"350,{WASH[70][1]}", "350,inf").replace(f"355,{WASH[71][1]}", "355,-inf"),
            [holes],
            ("out_of_range",),
        ),
        Case("gap", table(gap), [gap], ("gap",)),
        Case("unsorted", table(swapped), [WASH], ("unsorted",)),
        Case("reversed", table(WASH[::-1]), [WASH], ("unsorted",)),
        Case("coarse", table(course(20, 51, wash)), [course(20, 51, wash)], ("coarse",)),
        Case("coarse-and-only-gaps", table(course(60, 17, wash)), [course(60, 17, wash)], ("gap", "coarse")),
    ]


def converted() -> list[Case]:
    """Units, clocks, shapes of the text, and several probes."""
    gap = without(WASH, *range(80, 90))
    fahrenheit = [(at, f"{float(celsius) * 1.8 + 32:.3f}") for at, celsius in WASH]
    back = [(at, mpmath.nstr((mpmath.mpf(f) - 32) / mpmath.mpf("1.8"), 40)) for at, f in fahrenheit]
    commas = [(at, celsius.replace(".", ",")) for at, celsius in WASH]
    stuck = [*(c for _, c in WASH[:40]), *([WASH[40][1]] * 161)]
    return [
        Case("fahrenheit", table(fahrenheit, "t_s,drum_f"), [back], ("unit_converted",)),
        Case(
            "decimal-comma",
            "\ufeff" + table(commas, "t_s;temp_c", ";").replace("\n", "\r\n"),
            [WASH],
            ("decimal_comma",),
        ),
        Case("blank-lines", "\n\n" + table(WASH).replace("\n", "\n\n") + " \n,,\n", [WASH]),
        Case("stuck-probe", two_probes(WASH, stuck), [WASH], ("stuck_sensor:p2_c",)),
        Case("still-and-nothing-moves", two_probes(COOL, ["20.5"] * 201), [COOL, COOL]),
        Case("truncated", table(WASH[:110]), [WASH[:110]], ("truncated",)),
        Case("autumn", table([(wall(int(t)), c) for t, c in WASH], "local_time,temp_c"), [WASH], ("dst_fold",)),
        Case(
            "offsets-win",
            table([(wall(int(t)) + ("+02:00" if int(t) < 600 else "+01:00"), c) for t, c in WASH], "time,temp_c"),
            [WASH],
        ),
        Case(
            "gauge-and-absolute",
            "\n".join(["t_s,temp_c,a_bar_gauge,b_mbar_abs", *(f"{t},{c},0.1,1113" for t, c in WASH)]),
            [WASH],
        ),
        Case(
            "a-hole-in-one-probe",
            two_probes(WASH, ["" if 80 <= p < 90 else c for p, (_, c) in enumerate(WASH)]),
            [WASH, gap],
            ("missing_values", "gap"),
        ),
        Case("silent-probe", two_probes(WASH, [""] * 201), [WASH], ("missing_values",)),
    ]


@pytest.mark.parametrize("case", [*clean(), *nasty(), *converted()], ids=lambda case: case.name)
def test_a_record_made_for_this_test(case: Case, tmp_path: Path) -> None:
    source = tmp_path / "record.csv"
    source.write_bytes(case.text.encode())
    found = answer("lethality", {"csv": str(source)})
    assert isinstance(found, dict)
    of_probes = [integrals(readings) for readings in case.counts]
    for at, key in enumerate(("a0_s", "f0_min", "floor_a0_s", "floor_f0_min")):
        exact = min(figures[at] for figures, _ in of_probes)
        assert abs(mpmath.mpf(found[key]) - exact) <= exact * mpmath.mpf("1e-9"), key
    steps = [step for _, step in of_probes if step is not None]
    assert found["coarsest_step_s"] == max(steps, default=None)
    assert tuple(found["flags"]) == case.flags


@pytest.mark.parametrize("case", clean()[:-1], ids=lambda case: case.name)
def test_the_same_readings_as_samples(case: Case) -> None:
    samples = [[float(at), float(celsius)] for at, celsius in case.counts[0]]
    found = answer("lethality", {"samples": samples})
    assert isinstance(found, dict)
    figures, coarsest = integrals(case.counts[0])
    keys = ("a0_s", "f0_min", "floor_a0_s", "floor_f0_min")
    assert [found[key] for key in keys] == pytest.approx([float(figure) for figure in figures], rel=1e-9)
    assert found["coarsest_step_s"] == coarsest
