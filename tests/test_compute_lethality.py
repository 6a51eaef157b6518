"""`compute lethality` and `compute steam`: the contract of their documents, from the outside."""

from __future__ import annotations

import json
import re
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from config.management.commands.compute import answer

DOCS = Path(__file__).parents[1] / "docs" / "algorithms"
KEYS = ["a0_s", "f0_min", "floor_a0_s", "floor_f0_min", "coarsest_step_s", "flags"]


def lethality(document: object) -> dict[str, object]:
    found = answer("lethality", document)
    assert isinstance(found, dict)
    assert list(found) == KEYS
    return found


def test_samples_are_integrated_as_given() -> None:
    """A0 3000 is 90 °C for 5 min (German hospital-hygiene society, June 2012, on EN ISO 15883-1)."""
    found = lethality({"samples": [[0, 90], [290, 90], [300, 90]]})
    assert found["a0_s"] == pytest.approx(3000, rel=1e-12)
    assert found["floor_a0_s"] == pytest.approx(3000, rel=1e-12)
    assert found["f0_min"] == pytest.approx(5 * 10 ** ((90 - 121.1) / 10), rel=1e-12)
    assert found["coarsest_step_s"] == 290
    assert found["flags"] == ["coarse"]


def test_samples_ten_seconds_apart_are_not_coarse() -> None:
    assert lethality({"samples": [[0, 200], [10, 200], [20, -40], [120, 20]]})["flags"] == []


def test_a_file_is_cleaned_first(tmp_path: Path) -> None:
    """Out of order, doubled, contradicting, missing, out of range, a gap: 20 s and 10 s at 90 °C are left."""
    source = tmp_path / "trace.csv"
    source.write_text("t_s,temp_c\n10,90\n0,90\n0,90\n20,90\n20,95\n51,90\n61,90\n65,\n66,999\n")
    found = lethality({"csv": str(source)})
    assert found["a0_s"] == pytest.approx(300, rel=1e-12)
    assert found["coarsest_step_s"] == 10
    assert found["flags"] == [
        "duplicate_rows",
        "conflicting_duplicates",
        "missing_values",
        "out_of_range",
        "gap",
        "unsorted",
        "truncated",
    ]


def test_gauge_pressure_does_not_matter_to_lethality(tmp_path: Path) -> None:
    source = tmp_path / "trace.csv"
    source.write_text("t_s,temp_c,chamber_bar_gauge\n0,20,0\n60,20,2\n")
    found = lethality({"csv": str(source)})
    assert (found["a0_s"], found["coarsest_step_s"], found["flags"]) == (0, None, ["gap", "coarse"])


def test_the_command_prints_json(tmp_path: Path) -> None:
    source = tmp_path / "samples.json"
    source.write_text('[{"samples": [[0, 80], [60, 80]]}, {"samples": [[0, 64.9], [1, 64.9]]}]')
    printed = StringIO()
    call_command("compute", "lethality", source=source, stdout=printed)
    warm, cold = json.loads(printed.getvalue())
    assert warm["a0_s"] == pytest.approx(60)
    assert cold["a0_s"] == 0


def test_steam_there_and_back() -> None:
    """Source: IAPWS-IF97 by way of the package iapws: 134 °C is 304.20 kPa absolute."""
    there = answer("steam", {"temperature_c": [134, 100]})
    assert isinstance(there, dict)
    assert there["pressure_bar_abs"][0] == pytest.approx(3.0420, abs=6e-5)
    back = answer("steam", there)
    assert isinstance(back, dict)
    assert back["temperature_c"] == pytest.approx([134, 100], abs=1e-9)
    assert answer("steam", {"pressure_bar_abs": []}) == {"temperature_c": []}


@pytest.mark.parametrize("what", ["lethality", "steam"])
def test_the_worked_example_of_the_documentation(what: str) -> None:
    asked, told = (json.loads(block) for block in re.findall(r"```json\n(.*)\n```", (DOCS / f"{what}.md").read_text()))
    found = answer(what, asked)
    assert isinstance(found, dict)
    assert list(found) == list(told)
    for key, figure in told.items():
        assert found[key] == (figure if key == "flags" else pytest.approx(figure, rel=2e-6))


@pytest.mark.parametrize(
    ("what", "document", "sentence"),
    [
        ("lethality", {}, 'Cannot read the document: it has neither of "samples" and "csv", must have one.'),
        (
            "lethality",
            {"csv": "a", "samples": [[0, 1], [1, 1]]},
            'Cannot read the document: it has both of "samples" and "csv", must have one.',
        ),
        (
            "lethality",
            {"sample": []},
            'Cannot read the document: it has the unknown key "sample"; known are samples, csv.',
        ),
        ("lethality", {"samples": [[0, 1]]}, "Cannot read samples: it is a list of 1, must be a list of at least 2."),
        (
            "lethality",
            {"samples": [[0, 1], [1]]},
            "Cannot read samples[1]: it is a list of 1, must be a list of 2.",
        ),
        (
            "lethality",
            {"samples": [[0, 1], [1, "warm"]]},
            'Cannot read samples[1][1]: it is "warm", must be a finite number.',
        ),
        (
            "lethality",
            {"samples": [[0, 1], [0, 1]]},
            "Cannot integrate sample 1: its time is 0 s, must be after the 0 s of the sample before.",
        ),
        ("lethality", {"csv": "no such file.csv"}, "Cannot read no such file.csv: No such file or directory."),
        ("lethality", {"csv": "a\0b"}, r"Cannot read 'a\x00b': embedded null byte."),
        (
            "steam",
            {},
            'Cannot read the document: it has neither of "temperature_c" and "pressure_bar_abs", must have one.',
        ),
        (
            "steam",
            {"temperature_c": [400]},
            "Cannot find saturated steam at a temperature of 400 °C: it must be from 0 to 373.946 °C.",
        ),
    ],
)
def test_a_malformed_document_is_refused_in_one_sentence(what: str, document: object, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot") as refused:
        answer(what, document)
    assert str(refused.value) == sentence
