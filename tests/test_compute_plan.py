"""`compute plan`: the contract of its documents, from the outside."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from config.management.commands.compute import answer
from lists.plans.documents import read_plan
from tests.lists.days import SMALL_DAY, invented_day
from tests.lists.plan_checker import check

DOCS = Path(__file__).parents[1] / "docs" / "algorithms"
KEYS = ["on_time_weight", "bound", "least_slack_min", "moves", "proven", "cases", "batches", "work"]


def planned(document: dict[str, Any]) -> dict[str, Any]:
    """The answer as it is printed, after a checker went through it."""
    found: dict[str, Any] = json.loads(json.dumps(answer("plan", document)))
    assert list(found) == KEYS
    check(document, found)
    read_plan(found)
    return found


def test_the_worked_example_of_the_documentation() -> None:
    page = (DOCS / "plan.md").read_text()
    question, expected = map(json.loads, re.findall(r"```json\n(.*?)\n```", page, re.DOTALL))
    assert planned(question) == expected


def test_the_command_reads_a_file_and_prints_the_plan(tmp_path: Path) -> None:
    day = tmp_path / "day.json"
    day.write_text(json.dumps(SMALL_DAY))
    out = StringIO()
    call_command("compute", "plan", source=day, stdout=out)
    found = json.loads(out.getvalue())
    check(SMALL_DAY, found)
    assert (found["on_time_weight"], found["proven"]) == (7, True)


def test_progress_is_a_line_each_on_standard_error_and_never_falls_behind(tmp_path: Path) -> None:
    """As the job that plans days runs it."""
    day = tmp_path / "day.json"
    day.write_text(json.dumps(SMALL_DAY))
    command = [sys.executable, "manage.py", "compute", "plan", "--progress", "--in", str(day)]
    done = subprocess.run(command, cwd=DOCS.parents[1], check=True, capture_output=True, text=True)
    told = [json.loads(line) for line in done.stderr.splitlines()]
    assert {tuple(one) for one in told} == {("phase", "weight", "bound")}
    assert [one["phase"] for one in told] == sorted(
        (one["phase"] for one in told), key=["weight", "slack", "moves"].index
    )
    assert [one["weight"] for one in told] == sorted(one["weight"] for one in told)
    assert all(one["weight"] <= one["bound"] for one in told)
    assert told[-1]["weight"] == json.loads(done.stdout)["on_time_weight"] == 7


def test_what_answers_at_once_tells_no_progress() -> None:
    with pytest.raises(ValueError, match=r"^Cannot tell how far co-passage is"):
        answer("co-passage", {}, tell=print)


@pytest.mark.parametrize("seed", range(1, 6))
def test_an_invented_day_of_twelve_cases(seed: int) -> None:
    found = planned(invented_day(12, seed))
    assert not found["proven"] or found["bound"] == found["on_time_weight"]


def test_a_day_without_cases_or_without_trays() -> None:
    empty = planned({**SMALL_DAY, "cases": []})
    assert [empty[key] for key in KEYS] == [0, 0, None, 0, True, [], [], []]
    bare = planned({**SMALL_DAY, "trays": []})
    assert (bare["bound"], bare["least_slack_min"], bare["proven"]) == (0, None, True)
    assert {entry["why"] for entry in bare["cases"]} == {"no_tray_of_template"}


def test_what_cannot_be_read_is_refused_in_one_sentence() -> None:
    with pytest.raises(ValueError, match=r'^Cannot read the document: it has the unknown key "shifts"'):
        answer("plan", {**SMALL_DAY, "shifts": []})
    site = {key: value for key, value in SMALL_DAY["sites"][0].items() if key != "washer_capacity"}
    with pytest.raises(ValueError, match=r'^Cannot read sites\[0\]: it has no key "washer_capacity"'):
        answer("plan", {**SMALL_DAY, "sites": [site]})
