"""What the rules say back."""

from __future__ import annotations

import pytest

from journal.findings import Finding, Refused, Severity, stops, unknown

LOOK = Finding("seal-worn", Severity.LOOK, "P1", "The seal of P1 is worn.")
STOP = Finding("seal-missing", Severity.STOP, "P1", "P1 has no seal.", "Scan a seal.", {"bore_mm": 5.0})


def test_a_finding_reads_as_one_text() -> None:
    assert STOP.words == "P1 has no seal. Scan a seal."
    assert LOOK.words == "The seal of P1 is worn."


def test_a_finding_is_plain_values_for_json() -> None:
    assert STOP.as_dict() == {
        "slug": "seal-missing",
        "severity": "stop",
        "subject": "P1",
        "sentence": "P1 has no seal.",
        "remedy": "Scan a seal.",
        "numbers": {"bore_mm": 5.0},
    }


@pytest.mark.parametrize(("slug", "sentence"), [("", "Something."), ("something", "")])
def test_a_finding_has_a_slug_and_a_sentence(slug: str, sentence: str) -> None:
    with pytest.raises(ValueError, match="slug and a sentence"):
        Finding(slug, Severity.NOTE, "P1", sentence)


def test_only_stops_forbid() -> None:
    note = Finding("note", Severity.NOTE, "P1", "By the way.")
    assert stops([LOOK, STOP, note]) == (STOP,)


def test_a_refusal_carries_every_finding_and_is_known_by_the_first() -> None:
    refusal = Refused(STOP, LOOK)
    assert refusal.code == "seal-missing"
    assert refusal.findings == (STOP, LOOK)
    assert str(refusal) == "P1 has no seal. Scan a seal. The seal of P1 is worn."


def test_a_refusal_without_a_finding_is_none() -> None:
    with pytest.raises(ValueError, match="at least one finding"):
        Refused()


def test_an_unknown_code_is_named_with_what_was_looked_for() -> None:
    finding = unknown("tray", "T9")
    assert (finding.slug, finding.severity, finding.subject) == ("unknown-code", Severity.STOP, "T9")
    assert finding.sentence == "Cannot find tray T9: no tray of the unit has this code."
