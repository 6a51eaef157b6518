import json
import re
from pathlib import Path
from typing import Any

import pytest

from reprocessing.judgement import EvidenceRow, Judgement
from reprocessing.judging import MINUS, duration_words, judge_steam, judge_wash
from reprocessing.limits import PhaseLimit, PhaseReading, SteamLimits, WashLimits
from reprocessing.trace import parse_trace

TRACES = Path(__file__).parents[2] / "fixtures" / "traces"
STEAM: dict[str, Any] = {
    "set_c": 134.0,
    "band_k": 3.0,
    "hold_s": 180.0,
    "equilibration_max_s": 15.0,
    "probe_spread_k": 2.0,
    "saturation_k": 2.0,
    "source": "EN 285",
}


def judge(name: str) -> Judgement:
    trace = parse_trace((TRACES / name).read_bytes())
    if name.startswith("washer"):
        return judge_wash(trace, WashLimits(3000, "ISO 15883-1"), phases_recorded=True)
    return judge_steam(trace, SteamLimits(**STEAM))


def told() -> dict[str, list[str]]:
    """Rows of the table of traces in their README: file, then what is told of it."""
    lines = (TRACES / "README.md").read_text().splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| `")]
    return {name.strip("`"): rest for name, *rest in cells}


def test_the_readme_tells_of_every_trace() -> None:
    assert set(told()) == {path.name for path in TRACES.glob("*.csv")}


@pytest.mark.parametrize("name", sorted(told()))
def test_each_trace_is_judged_as_its_readme_tells(name: str) -> None:
    _, flags, verdict, numbers = told()[name]
    judgement = judge(name)
    assert parse_trace((TRACES / name).read_bytes()).flags == tuple(re.findall(r"`([^`]+)`", flags))
    assert verdict == ("within limits" if judgement.within_limits else "not within limits")
    for key, figure in re.findall(rf"`(\w+)` ([{MINUS}\d.]+)", numbers):
        places = len(figure.partition(".")[2])
        assert judgement.numbers[key] == pytest.approx(float(figure.replace(MINUS, "-")), abs=0.51 * 10**-places)
    for slug in re.findall(r"`([a-z0-9]+-[a-z-]+)`", numbers):
        assert slug in [finding.slug for finding in judgement.findings]


def test_a_judgement_survives_json() -> None:
    judgement = judge("steam_134_superheated.csv")
    assert judgement.findings
    kept = json.loads(json.dumps(judgement.as_dict(), allow_nan=False))
    assert kept["within_limits"] is False
    assert Judgement.from_dict(kept) == judgement


@pytest.mark.parametrize("record", [{}, {"kind": "steam", "rows": [{"slug": "hold"}]}, {"kind": "steam", "rows": 3}])
def test_another_record_is_no_judgement(record: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="no record of a judgement"):
        Judgement.from_dict(record)


def test_information_alone_decides_nothing() -> None:
    information = EvidenceRow("f0", "F0", "60 min", "Information only", None, decides=False)
    with pytest.raises(ValueError, match="a row that decides"):
        Judgement("steam", (information,), (), {}, "EN 285", confirm_locally=True)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0s"),
        (59.9, "59s"),
        (60, "1min"),
        (210, "3min\xa030s"),
        (599.9, "9min\xa059s"),
        (659, "10min"),
        (3600, "60min"),
    ],
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert duration_words(seconds) == words


@pytest.mark.parametrize("key", [key for key in STEAM if key != "source"])
@pytest.mark.parametrize("value", [0, -1, float("nan")])
def test_a_steam_limit_is_above_zero(key: str, value: float) -> None:
    with pytest.raises(ValueError, match=f"{key} is .*, must be above 0"):
        SteamLimits(**{**STEAM, key: value})


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: SteamLimits(**{**STEAM, "source": ""}), "need their source"),
        (lambda: WashLimits(0, "ISO 15883-1"), "a0_required_s is 0, must be above 0"),
        (lambda: WashLimits(600, ""), "need their source"),
        (lambda: WashLimits(600, "own", hold_c=90), "come together"),
        (lambda: WashLimits(600, "own", hold_s=60), "come together"),
        (lambda: WashLimits(600, "own", hold_c=90, hold_s=0), "hold_s is 0, must be above 0"),
        (lambda: PhaseLimit("", "duration", "min", least=1), "a phase, a quantity and a unit"),
        (lambda: PhaseLimit("Exposure", "duration", "min"), "a least or a greatest value"),
        (lambda: PhaseLimit("Exposure", "duration", "min", least=2, most=1), "must not be above the greatest"),
        (lambda: PhaseReading("Exposure", "duration", "min", float("nan")), "a finite number"),
    ],
)
def test_limits_that_cannot_be(wrong: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        wrong()
