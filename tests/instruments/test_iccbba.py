"""ICCBBA marks, against the sample of the FDA's UDI format sheet."""

from __future__ import annotations

import pytest

from instruments.carriers import Scheme
from instruments.identity import decode
from journal.findings import Severity

# FDA, UDI formats by issuing agency 1.3 (2017): 79 characters at most, and this sample has them all.
SAMPLE = "=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"
READ = {
    "di": "A9999XYZ100T0944",
    "serial": "000025",
    "donation": "A99971312345600",
    "expiry": "2014-02-01",  # 2014, day 32
    "production": "2013-02-01",  # 2013, day 32
    "lot": "000000000000XYZ123",
}


def test_the_published_sample_reads_as_stated() -> None:
    decoded = decode(SAMPLE)
    assert len(SAMPLE) == 79
    assert (decoded.scheme, decoded.identifiers, decoded.findings) == (Scheme.ICCBBA, READ, ())
    assert decoded.key == "iccbba:=/A9999XYZ100T0944=,000025=A99971312345600"


def test_a_compound_message_says_how_many_parts_it_holds() -> None:
    # ISBT 128: =+, two digits of count, three of kind; =+06000 opens a message of six.
    assert decode("=+06000" + SAMPLE).identifiers == {"structures": "06"} | READ
    assert decode("=+06000" + SAMPLE).findings == ()
    (finding,) = decode("=+06000" + SAMPLE[:-21]).findings
    assert finding.severity is Severity.STOP
    assert finding.sentence == "Cannot read the mark: it holds 5 of 6 parts, must hold all."


@pytest.mark.parametrize(
    ("text", "key", "missing"),
    [
        ("=/A9999XYZ100T0944", "iccbba:=/A9999XYZ100T0944", "a serial or a donation number"),
        (
            "=/A9999XYZ100T0944&,1000000000000XYZ123",
            "iccbba:=/A9999XYZ100T0944&,1000000000000XYZ123",
            "a serial or a donation number",
        ),
        ("=,000025", "text:=,000025", "a device identifier (=/)"),
        ("&,1000000000000XYZ123", "text:&,1000000000000XYZ123", "a serial or a donation number"),
    ],
)
def test_half_a_mark_is_not_individual(text: str, key: str, missing: str) -> None:
    decoded = decode(text)
    (finding,) = decoded.findings
    assert (decoded.key, finding.slug, finding.severity) == (key, "not-individual", Severity.LOOK)
    assert finding.sentence.endswith(f"must give {missing} as well.")


@pytest.mark.parametrize(
    ("text", "slug", "sentence"),
    [
        (
            "=/A9999XYZ100T0944=>014400",
            "date-impossible",
            "Cannot read the mark: its expiry date is '014400', must be a date as YYYJJJ.",
        ),
        (
            "=/A9999XYZ100T0944=>0140",
            "structure",
            "Cannot read the mark: at character 19 it holds '=>0140', must hold an ISBT 128 data structure.",
        ),
        (
            "=,000025=,000026",
            "contradiction",
            "Cannot read the mark: it gives serial 000025 and 000026, must give one.",
        ),
    ],
)
def test_what_stops_a_mark(text: str, slug: str, sentence: str) -> None:
    decoded = decode(text)
    (finding,) = decoded.findings
    assert (finding.slug, finding.severity, finding.sentence) == (slug, Severity.STOP, sentence)
    assert decoded.key.startswith("text:")
