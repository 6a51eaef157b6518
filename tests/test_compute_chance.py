"""`compute chance`: the contract of its documents, from the outside."""

from __future__ import annotations

import copy
import json
import re
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from scipy import stats

from config.management.commands.compute import answer

PAGE = (Path(__file__).parents[1] / "docs" / "algorithms" / "chance.md").read_text()
ASKED, TOLD = (json.loads(block) for block in re.findall(r"```json\n(.*)\n```", PAGE))


def changed(path: str, value: object) -> Any:
    document: Any = copy.deepcopy(ASKED)
    *way, last = path.split(".")
    inner = document
    for step in way:
        inner = inner[int(step)] if step.isdigit() else inner[step]
    inner[last] = value
    return document


def test_the_worked_example_of_the_documentation(tmp_path: Path) -> None:
    source, out = tmp_path / "asked.json", StringIO()
    source.write_text(json.dumps(ASKED))
    call_command("compute", "chance", "--in", str(source), stdout=out)
    assert json.loads(out.getvalue()) == TOLD
    assert list(TOLD["cases"][0]) == ["case", "chance", "p50_ready_min", "p90_ready_min"]
    known = stats.triang(c=0.3 / 1.1, loc=0.7, scale=1.1)
    assert TOLD["cases"][0]["chance"] == pytest.approx(known.cdf(1.4), abs=0.015)
    assert TOLD["cases"][0]["p90_ready_min"] == pytest.approx(175 + 10 * known.ppf(0.9), abs=0.15)


def test_no_noise_is_the_plan_and_the_usual_noise_is_what_is_not_said() -> None:
    plan = [(entry["ready_min"], entry["ready_min"]) for entry in ASKED["plan"]["cases"]]
    still = answer("chance", {**ASKED, "noise": {}})
    assert isinstance(still, dict)
    assert [(entry["p50_ready_min"], entry["p90_ready_min"]) for entry in still["cases"]] == plan
    usual = {
        "preclean": {"family": "triangular", "low": 0.7, "mode": 1, "high": 1.8},
        "assembly": {"family": "lognormal", "sigma": 0.3},
        "pickup_min": {"family": "exponential", "mean": 5},
        "overrun": {"family": "lognormal", "sigma": 0.25},
        "wash_repeat": 0.01,
        "steriliser_repeat": 0.005,
        "policy": "cutoff",
        "cutoff_min": 10,
    }
    said = answer("chance", {**ASKED, "noise": usual, "days": 10_000, "seed": 1})
    unsaid = answer("chance", {key: ASKED[key] for key in ("scenario", "plan")})
    assert said == unsaid
    assert said == answer("chance", {**ASKED, "noise": {**usual, "policy": "wait"}})  # a lone tray waits for no other
    assert said != answer("chance", {**ASKED, "noise": {**usual, "pickup_min": {"family": "exponential", "mean": 6}}})


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("shift", 1, 'Cannot read the document: it has the unknown key "shift"; known are scenario, plan, noise,'),
        ("noise.washing", 1, 'Cannot read noise: it has the unknown key "washing"; known are preclean, assembly,'),
        (
            "noise.assembly",
            {"family": "lognormal"},
            'Cannot read noise.assembly: it has no key "sigma", must have it.',
        ),
        (
            "noise.assembly",
            {"family": "lognormal", "sigma": 0.3, "mean": 1},
            'Cannot read noise.assembly: it has the unknown key "mean"; known are family, sigma.',
        ),
        (
            "noise.preclean",
            {"family": "uniform", "low": 1},
            'Cannot read noise.preclean.family: it is "uniform", must be one of triangular, lognormal, exponential.',
        ),
        ("noise.preclean", {"low": 1}, 'Cannot read noise.preclean: it has no key "family", must have it.'),
        ("noise.preclean", {"family": []}, "Cannot read noise.preclean.family: it is [], must be one of triangular,"),
        ("noise.preclean", 1, "Cannot read noise.preclean: it is 1, must be an object."),
        (
            "noise.preclean",
            {"family": "triangular", "low": 1, "mode": 0.9, "high": 2},
            "Cannot draw from a triangular spread: it is low 1, mode 0.9, high 2, must rise from 0 or more.",
        ),
        ("noise.policy", "hurry", 'Cannot read noise.policy: it is "hurry", must be one of wait, cutoff.'),
        (
            "noise.wash_repeat",
            1.5,
            "Cannot read noise.wash_repeat: it is 1.5, must be a finite number from 0 up to 0.9",
        ),
        ("days", 0, "Cannot read days: it is 0, must be a whole number from 1 up to 100000."),
        ("seed", -1, "Cannot read seed: it is -1, must be a whole number from 0 up to "),
        ("plan.work.0.stage", "washing", 'Cannot read plan.work[0].stage: it is "washing", must be one of preclean,'),
        ("scenario.washer_min", 1.5, "Cannot read scenario.washer_min: it is 1.5, must be a whole number"),
        (
            "plan.work.0.start_min",
            1,
            "Cannot follow the plan: what the preclean does at 1 min is 9 min long, must be 10. Plan the day anew.",
        ),
    ],
)
def test_what_cannot_be_read_is_refused_by_name(path: str, value: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=r"^Cannot ") as refusal:
        answer("chance", changed(path, value))
    assert str(refusal.value).startswith(sentence)
    assert "\n" not in str(refusal.value)
