"""The scanner card: it holds what it should, and each fault of a set-up is told from the others.

Readings of other keyboard layouts are built with tables of those layouts, written out below from memory of the
keyboards (ISO/IEC 9995 names the keys, the national layouts give the characters).
"""

from __future__ import annotations

import pytest
from biip.gs1_messages import GS1Message

from instruments.carriers import GS
from instruments.identity import decode
from instruments.scanner_check import CARD, LONGEST_TEXT, SENT, Reading, faults

GERMAN_SEEN_AS_US = str.maketrans("yzYZ-/#", "zyZY/&\\")  # a scanner set to German, keys read by a US table
US_SEEN_AS_GERMAN = str.maketrans("yzYZ-/#", "zyZYß-§")  # a scanner set to US on a German host
US_SEEN_AS_FRENCH = str.maketrans("zaZ-", "wqW)")
US_SEEN_AS_BRITISH = str.maketrans("#", "£")


def slugs(text: str = SENT, **fields: object) -> list[str]:
    return [finding.slug for finding in faults(Reading(text, **fields))]  # type: ignore[arg-type]


def test_the_card_holds_a_field_of_variable_length_before_another() -> None:
    # biip reads the element string by the GS1 tables, and finds three fields only where the separator is kept.
    assert [one.ai.ai for one in GS1Message.parse(SENT).element_strings] == ["01", "21", "8010"]
    assert GS1Message.parse(SENT).element_strings[1].value == "yzYZ-/aB"
    assert decode(SENT.replace(GS, "")).identifiers.get("serial") != "yzYZ-/aB"
    assert CARD == "(01)09504000059118(21)yzYZ-/aB(8010)9504000#7"
    assert decode(SENT).identifiers["serial"] == "yzYZ-/aB"


@pytest.mark.parametrize("text", [SENT, f"]d2{SENT}", f" {SENT}\r"])
def test_a_scanner_that_is_set_up_passes(text: str) -> None:
    assert slugs(text, mean_ms=3.0, longest_ms=12.0) == []
    assert slugs(text, mean_ms=35.0, longest_ms=60.0) == []


@pytest.mark.parametrize(
    ("text", "slug", "says"),
    [
        (SENT.replace(GS, ""), "separator-missing", "the separator between two fields is lost, must be sent."),
        (SENT.replace(GS, "^]"), "separator-wrong", "sent as '^]', must be sent as the key F8."),
        (SENT.replace(GS, "<GS>"), "separator-wrong", "sent as '<GS>'"),
        (SENT.swapcase(), "caps-lock", "capital and small letters are exchanged, must arrive as printed."),
        (SENT.translate(GERMAN_SEEN_AS_US), "keyboard-layout", "y arrives as z, z arrives as y"),
        (SENT.translate(US_SEEN_AS_GERMAN), "keyboard-layout", "- arrives as ß, / arrives as -, # arrives as §"),
        (SENT.translate(US_SEEN_AS_FRENCH), "keyboard-layout", "z arrives as w"),
        (SENT.translate(US_SEEN_AS_BRITISH), "keyboard-layout", "# arrives as £, must be the US layout."),
        (SENT[:-4], "characters-lost", "it read 35 of the 39 characters of the card, must read all."),
        ("K000001S", "other-mark", "it read 'K000001S', must read the scanner card."),
        ("", "other-mark", "nothing was read, must read the scanner card."),
        (SENT[::-1], "other-mark", "must read the scanner card."),
    ],
)
def test_each_fault_of_the_text_is_named(text: str, slug: str, says: str) -> None:
    (finding,) = faults(Reading(text))
    assert finding.slug == slug
    assert says in finding.sentence
    assert finding.remedy


def test_the_layout_is_guessed_from_its_letters() -> None:
    for table, named in ((US_SEEN_AS_GERMAN, "QWERTZ"), (US_SEEN_AS_FRENCH, "AZERTY")):
        assert named in faults(Reading(SENT.translate(table)))[0].remedy
    assert faults(Reading(SENT.translate(US_SEEN_AS_BRITISH)))[0].remedy == "Set the scanner to the US keyboard."


@pytest.mark.parametrize(
    ("fields", "slug", "says"),
    [
        ({"caps_lock": True}, "caps-lock", "Caps Lock is on, must be off."),
        ({"ended": ""}, "no-enter", "the scan ends with no key, must end with Enter."),
        ({"ended": "tab"}, "no-enter", "the scan ends with tab, must end with Enter."),
        ({"ended": "line feed"}, "no-enter", "the scan ends with line feed"),
        ({"mean_ms": 36.0}, "too-slow", "the mean time from key to key is 36 ms, must be at most 35 ms."),
        ({"longest_ms": 61.0}, "gaps", "the longest time from key to key is 61 ms, must be at most 60 ms."),
    ],
)
def test_each_fault_of_the_keys_is_named(fields: dict[str, object], slug: str, says: str) -> None:
    (finding,) = faults(Reading(SENT, **fields))  # type: ignore[arg-type]
    assert finding.slug == slug
    assert says in finding.sentence


def test_several_faults_are_all_named() -> None:
    text = SENT.replace(GS, "").swapcase()
    assert slugs(text, ended="", mean_ms=80.0) == ["separator-missing", "caps-lock", "no-enter", "too-slow"]


@pytest.mark.parametrize(
    "fields",
    [{"text": "x" * (LONGEST_TEXT + 1)}, {"text": SENT, "ended": "escape"}, {"text": SENT, "mean_ms": float("nan")}],
)
def test_no_reading_at_all_is_refused(fields: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="Cannot check the scanner"):
        Reading(**fields)  # type: ignore[arg-type]
