"""`compute co-passage`, and the command itself: only the answer on standard output, one sentence on refusal."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from config.management.commands.compute import answer

ROOT = Path(__file__).parents[1]
QUESTION = {"bore_mm": 9.2, "shafts_mm": [5.5, 2.5], "gap_mm": 0.2}
KEYS = [
    "required_bore_mm",
    "passes",
    "spare_mm",
    "certified",
    "free_area_mm2",
    "free_share",
    "hydraulic_diameter_mm",
    "centres_mm",
]


def compute(tmp_path: Path, *words: str, content: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own, with no database anywhere."""
    environment = {**os.environ, "LUMENKEEP_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings.embedded"}
    command = [sys.executable, "manage.py", "compute", *words]
    return subprocess.run(command, cwd=ROOT, env=environment, input=content, capture_output=True, check=False)


def test_the_worked_example_of_the_documentation() -> None:
    page = (ROOT / "docs" / "algorithms" / "co-passage.md").read_text()
    asked, told = (json.loads(block) for block in re.findall(r"```json\n(.*)\n```", page))
    found = answer("co-passage", asked)
    assert isinstance(found, dict)
    assert list(found) == list(told) == KEYS
    for key in ("passes", "certified"):
        assert found[key] is told[key]
    for key in ("required_bore_mm", "spare_mm", "free_area_mm2", "free_share", "hydraulic_diameter_mm"):
        assert found[key] == pytest.approx(told[key], abs=5e-7)
    for place, expected in zip(found["centres_mm"], told["centres_mm"], strict=True):
        assert place == pytest.approx(expected, abs=1e-9)


def test_a_bore_that_is_too_small_does_not_pass() -> None:
    found = answer("co-passage", {**QUESTION, "bore_mm": 8.5})
    assert isinstance(found, dict)
    assert found["passes"] is False
    assert found["spare_mm"] == pytest.approx(-0.1)


def test_a_list_is_answered_by_a_list(tmp_path: Path) -> None:
    content = json.dumps([QUESTION, {**QUESTION, "shafts_mm": [3] * 6}, {**QUESTION, "gap_mm": 0}]).encode()
    done = compute(tmp_path, "co-passage", content=content)
    assert (done.returncode, done.stderr) == (0, b"")
    found = json.loads(done.stdout)
    assert [entry["required_bore_mm"] for entry in found] == pytest.approx([8.6, 3 * 3.2 + 0.2, 8.0], rel=1e-9)
    assert all(list(entry) == KEYS for entry in found)
    assert not list(tmp_path.glob("*.sqlite3*"))


def test_a_file_is_read_in_place_of_standard_input(tmp_path: Path) -> None:
    source = tmp_path / "question.json"
    source.write_text(json.dumps(QUESTION))
    done = compute(tmp_path, "co-passage", "--in", str(source))
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["required_bore_mm"] == pytest.approx(8.6)


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        (
            {"bore": 9.2},
            'Cannot read the document: it has the unknown key "bore"; known are bore_mm, shafts_mm, gap_mm.',
        ),
        ({"bore_mm": 9.2, "shafts_mm": [5]}, 'Cannot read the document: it has no key "gap_mm", must have it.'),
        ({**QUESTION, "shafts_mm": []}, "Cannot read shafts_mm: it is a list of 0, must be a list of 1 to 6."),
        ({**QUESTION, "shafts_mm": [1] * 7}, "Cannot read shafts_mm: it is a list of 7, must be a list of 1 to 6."),
        ({**QUESTION, "gap_mm": -1}, "Cannot read gap_mm: it is -1, must be a finite number from 0 up to 1000."),
        ({**QUESTION, "bore_mm": 0}, "Cannot read bore_mm: it is 0, must be a finite number from 0.001 up to 1000."),
        (
            {**QUESTION, "bore_mm": 1e308},
            "Cannot read bore_mm: it is 1e+308, must be a finite number from 0.001 up to 1000.",
        ),
        (
            {**QUESTION, "bore_mm": "9.2"},
            'Cannot read bore_mm: it is "9.2", must be a finite number from 0.001 up to 1000.',
        ),
        (
            {**QUESTION, "shafts_mm": [5.5, True]},
            "Cannot read shafts_mm[1]: it is true, must be a finite number from 0.001 up to 1000.",
        ),
        (
            {**QUESTION, "shafts_mm": [[5.5, 2.5]]},
            "Cannot read shafts_mm[0]: it is [5.5, 2.5], must be a finite number from 0.001 up to 1000.",
        ),
        ([QUESTION, 5], "Document 2 of 2: Cannot read the document: it is 5, must be an object."),
    ],
)
def test_what_cannot_be_read_is_named(document: object, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot read") as refusal:
        answer("co-passage", document)
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    ("words", "content", "sentence"),
    [
        (["co-passage"], b"{", "Cannot read the input: it is not JSON"),
        (["co-passage"], b'{"bore_mm": NaN}', "Cannot read the input: it holds NaN"),
        (["co-passage"], b"5", "Cannot read the document: it is 5, must be an object."),
        (["co-passage", "--in", "nowhere.json"], b"", "Cannot read nowhere.json: No such file or directory."),
        (["nonsense"], b"{}", 'Cannot compute "nonsense": it must be one of chance, co-passage, '),
    ],
)
def test_a_refusal_is_one_sentence_and_exit_2(tmp_path: Path, words: list[str], content: bytes, sentence: str) -> None:
    done = compute(tmp_path, *words, content=content)
    assert (done.returncode, done.stdout) == (2, b"")
    said = done.stderr.decode()
    assert said.startswith(sentence)
    assert said.count("\n") == 1
