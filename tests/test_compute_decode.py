"""`compute decode`: the contract of its documents, from the outside."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from config.management.commands.compute import answer


def test_the_answer_has_scheme_identifiers_and_findings() -> None:
    # FDA, UDI formats by issuing agency 1.3 (2017).
    assert answer("decode", {"code": "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"}) == {
        "scheme": "gs1",
        "identifiers": {
            "gtin": "51022222233336",
            "production": "2014-12-31",
            "expiry": "2015-07-07",
            "lot": "A213B1",
            "serial": "1234",
        },
        "findings": [],
    }


def test_the_command_prints_the_answers_to_a_list(tmp_path: Path) -> None:
    source = tmp_path / "codes.json"
    source.write_text('[{"code": "0107032069804988\\u001d2112"}, {"code": ""}]')
    printed = StringIO()
    call_command("compute", "decode", source=source, stdout=printed)
    gs1, empty = json.loads(printed.getvalue())
    assert gs1["identifiers"] == {"gtin": "07032069804988", "serial": "12"}
    assert [(finding["slug"], finding["severity"]) for finding in empty["findings"]] == [("empty", "stop")]


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        ({}, 'Cannot read the document: it has no key "code", must have it.'),
        ({"code": 17}, "Cannot read code: it is 17, must be a text."),
        ({"code": "A", "mode": 1}, 'Cannot read the document: it has the unknown key "mode"; known are code.'),
        ([{"code": None}], "Document 1 of 1: Cannot read code: it is null, must be a text."),
    ],
)
def test_a_malformed_document_is_refused_in_one_sentence(document: object, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot read") as refused:
        answer("decode", document)
    assert str(refused.value) == sentence
