"""`compute complete-trays`: the contract of its documents, from the outside."""

from __future__ import annotations

import json
import random
import re
from collections import Counter
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from config.management.commands.compute import answer
from trays import computations

DOCS = Path(__file__).parents[1] / "docs" / "algorithms"
QUESTION: dict[str, Any] = {
    "templates": [["A", "B"], ["C"]],
    "accepts": {"A": ["A", "B"]},
    "trays": [{"template": 0, "missing": [0]}, {"template": 1, "missing": []}],
    "spare": {"B": 1},
    "needed": {"0": 1},
    "weight": {"0": 2},
}
KEYS = ["weight", "moves", "complete", "placements"]


def completed(document: dict[str, Any]) -> dict[str, Any]:
    """The answer, after it was gone through by the rules of the contract alone."""
    found = answer("complete-trays", document)
    assert isinstance(found, dict)
    assert list(found) == KEYS
    templates, trays = document["templates"], document["trays"]
    chosen, placements = found["complete"], found["placements"]
    places = [(tray, slot) for tray in chosen for slot in sorted(trays[tray]["missing"])]
    assert [(move["tray"], move["slot"]) for move in placements] == places
    assert found["moves"] == len(places)
    for move in placements:
        own = templates[trays[move["tray"]]["template"]][move["slot"]]
        assert move["type"] in [own, *document["accepts"].get(str(own), [])]
    for (source, kind), count in Counter((move["from"], move["type"]) for move in placements).items():
        if source == "spare":
            assert count <= document["spare"][str(kind)]
        else:
            missing, listed = trays[source]["missing"], templates[trays[source]["template"]]
            assert missing
            assert source not in chosen
            assert count <= sum(kind == other for slot, other in enumerate(listed) if slot not in missing)
    by_template = Counter(str(trays[tray]["template"]) for tray in chosen)
    assert all(count <= document["needed"][template] for template, count in by_template.items())
    worth = sum(document["weight"].get(template, 1) * count for template, count in by_template.items())
    assert found["weight"] == pytest.approx(worth)
    return found


def test_the_worked_example_of_the_documentation() -> None:
    page = (DOCS / "complete-trays.md").read_text()
    asked, told = (json.loads(block) for block in re.findall(r"```json\n(.*)\n```", page))
    assert completed(asked) == told


def test_types_may_be_whole_numbers_as_keys_are_texts_in_any_case() -> None:
    document = {
        "templates": [[7, 8]],
        "accepts": {"7": [9, 9]},
        "trays": [{"template": 0, "missing": [0]}, {"template": 0, "missing": [1]}],
        "spare": {"9": 1},
        "needed": {"0": 2},
        "weight": {},
    }
    found = completed(document)
    assert found == {
        "weight": 1.0,
        "moves": 1,
        "complete": [0],
        "placements": [{"tray": 0, "slot": 0, "type": 9, "from": "spare"}],
    }


def test_what_may_be_left_out() -> None:
    """Without `accepts` only the type itself, without `spare` an empty shelf, without `weight` 1 each."""
    bare = {key: QUESTION[key] for key in ("templates", "trays", "needed")}
    assert answer("complete-trays", bare) == {"weight": 0.0, "moves": 0, "complete": [], "placements": []}
    found = answer("complete-trays", {**bare, "spare": {"A": 1}})
    assert isinstance(found, dict)
    assert (found["weight"], found["complete"]) == (1.0, [0])


def test_weight_counts_what_becomes_complete() -> None:
    """A tray that is complete already meets a need and adds nothing."""
    trays = [{"template": 0, "missing": [0]}, {"template": 0, "missing": []}]
    assert completed({**QUESTION, "trays": trays})["weight"] == 0
    assert completed({**QUESTION, "trays": trays, "needed": {"0": 2}})["weight"] == 2


@pytest.mark.parametrize("seed", range(20))
def test_any_answer_keeps_to_the_rules(seed: int) -> None:
    dice = random.Random(seed)
    templates = [dice.choices(range(12), k=6) for _ in range(3)]
    trays = [{"template": dice.randrange(3), "missing": dice.sample(range(6), dice.randrange(3))} for _ in range(30)]
    document = {
        "templates": templates,
        "accepts": {str(kind): dice.choices(range(12), k=2) for kind in range(0, 12, 2)},
        "trays": trays,
        "spare": {str(kind): dice.randrange(3) for kind in range(12)},
        "needed": {str(template): dice.randrange(12) for template in range(3)},
        "weight": {"0": 3, "2": 0.5},
    }
    completed(document)


def test_the_command_prints_json(tmp_path: Path) -> None:
    source = tmp_path / "trays.json"
    source.write_text(json.dumps([QUESTION, {**QUESTION, "spare": {}}]))
    printed = StringIO()
    call_command("compute", "complete-trays", source=source, stdout=printed)
    first, second = json.loads(printed.getvalue())
    assert first["placements"] == [{"tray": 0, "slot": 0, "type": "B", "from": "spare"}]
    assert second["complete"] == []


def test_an_answer_that_is_not_proven_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(computations, "LONGEST_S", 0)
    dice = random.Random(1)
    templates = [dice.choices(range(100), k=20) for _ in range(10)]
    trays = [{"template": dice.randrange(10), "missing": dice.sample(range(20), 2)} for _ in range(300)]
    needed = {str(template): 30 for template in range(10)}
    found = answer("complete-trays", {"templates": templates, "trays": trays, "needed": needed})
    assert isinstance(found, dict)
    assert found["proven"] is False


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"tray": []},
            'Cannot read the document: it has the unknown key "tray"; known are '
            + ", ".join(["templates", "trays", "needed", "accepts", "spare", "weight."]),
        ),
        ({"templates": ["A"]}, 'Cannot read templates[0]: it is "A", must be a list of at least 0.'),
        ({"templates": [[True]]}, "Cannot read templates[0][0]: it is true, must be a text or a whole number."),
        ({"templates": [[""]]}, 'Cannot read templates[0][0]: it is "", must be a text or a whole number.'),
        (
            {"templates": [[1, "1"], [2]]},
            "Cannot read the document: it has the type 1 as number and as text, must have one.",
        ),
        ({"accepts": {"A": "B"}}, 'Cannot read accepts.A: it is "B", must be a list of at least 0.'),
        (
            {"trays": [{"template": 2, "missing": []}]},
            "Cannot read trays[0].template: it has 2, must name one of the 2 templates, counted from 0.",
        ),
        (
            {"trays": [{"template": -1, "missing": []}]},
            "Cannot read trays[0].template: it is -1, must be a whole number from 0 up to 1000000.",
        ),
        (
            {"trays": [{"template": 1, "missing": [0, 1]}]},
            "Cannot read trays[0].missing[1]: it has 1, must name one of the 1 slots of template 1, counted from 0.",
        ),
        (
            {"trays": [{"template": 0, "missing": [1, 0, 1]}]},
            "Cannot read trays[0].missing: it has slot 1 twice, must have it once.",
        ),
        ({"trays": [{"template": 0}]}, 'Cannot read trays[0]: it has no key "missing", must have it.'),
        ({"spare": [1]}, "Cannot read spare: it is [1], must be an object."),
        ({"spare": {"A": 1.5}}, "Cannot read spare.A: it is 1.5, must be a whole number from 0 up to 1000000."),
        ({"spare": {"A": True}}, "Cannot read spare.A: it is true, must be a whole number from 0 up to 1000000."),
        ({"needed": {"2": 1}}, 'Cannot read needed: it has "2", must name one of the 2 templates, counted from 0.'),
        ({"weight": {"00": 1}}, 'Cannot read weight: it has "00", must name one of the 2 templates, counted from 0.'),
        ({"weight": {"0": -1}}, "Cannot read weight.0: it is -1, must be a finite number from 0 up to 1000."),
        ({"weight": {"0": 0.0001}}, "Cannot read weight.0: it is 0.0001, must have 3 decimals at most."),
    ],
)
def test_what_cannot_be_read_is_named(change: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot read") as refusal:
        answer("complete-trays", {**QUESTION, **change})
    assert str(refusal.value) == sentence
