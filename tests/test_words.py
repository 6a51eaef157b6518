"""How pages say things. Dates, units and gaps follow the design's own rules: fixed words, whatever the locale."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from enum import StrEnum
from typing import Any

import pytest
from django.template import Context, Template
from django.utils.safestring import mark_safe
from pytest_django.fixtures import Settings

from config.templatetags import words
from instruments.states import PieceState
from journal.findings import Finding, Severity
from lists.states import CaseState, Readiness
from reprocessing.states import LoadState, MachineState, Result
from trays.states import PackState, VersionState

UTC = dt.UTC
NBSP = "\u00a0"


@pytest.fixture(autouse=True)
def unit_in_berlin(settings: Settings) -> None:
    settings.TIME_ZONE = "Europe/Berlin"


def rendered(text: str, **context: object) -> str:
    return Template(text).render(Context(context))


def test_moment_is_shown_in_the_units_own_time() -> None:
    # 24 November 2026 is a Tuesday (ISO 8601 calendar); Berlin is one hour ahead of UTC in winter, two in summer.
    assert words.when(dt.datetime(2026, 11, 24, 14, 42, 7, 250, tzinfo=UTC)) == (
        '<time datetime="2026-11-24T15:42:07+01:00">Tue 24-Nov-2026 15:42</time>'
    )
    assert "Wed 01-Jul-2026 00:05" in words.when(dt.datetime(2026, 6, 30, 22, 5, tzinfo=UTC))


def test_day_of_a_moment_is_the_units_own_day() -> None:
    assert (
        words.day(dt.datetime(2026, 12, 31, 23, 30, tzinfo=UTC))
        == '<time datetime="2027-01-01">Fri 01-Jan-2027</time>'
    )
    assert words.day(dt.date(2024, 2, 29)) == '<time datetime="2024-02-29">Thu 29-Feb-2024</time>'


def test_a_moment_beside_another_of_its_day_needs_no_day() -> None:
    start = dt.datetime(2026, 11, 24, 7, 0, tzinfo=UTC)
    late_before = dt.datetime(2026, 11, 23, 22, 30, tzinfo=UTC)  # 23:30 of the 23rd in Berlin
    assert ">07:30<" in words.beside(dt.datetime(2026, 11, 24, 6, 30, tzinfo=UTC), start)
    assert ">Mon 23-Nov-2026 23:30<" in words.beside(late_before, start)
    assert words.beside(None, start) == "Not recorded"


def test_every_day_and_month_has_its_english_name() -> None:
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=n) for n in range(365)]
    # The C locale of strftime has the English abbreviations.
    assert all(f"{day:%a %d-%b-%Y}" in words.day(day) for day in days)


def test_clock() -> None:
    assert (
        words.clock(dt.datetime(2026, 11, 24, 23, 0, tzinfo=UTC))
        == '<time datetime="2026-11-25T00:00:00+01:00">00:00</time>'
    )
    assert words.clock(dt.time(7, 5)) == '<time datetime="07:05:00">07:05</time>'


def test_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="naive"):
        words.when(dt.datetime(2026, 11, 24, 15, 42))  # noqa: DTZ001


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0s"),
        (59.9, "59s"),
        (60, "1min"),
        (210, "3min 30s"),
        (599, "9min 59s"),
        (600, "10min"),
        (659, "10min"),
        (3600, "1hr"),
        (4680, "1hr 18min"),
        (4739, "1hr 18min"),
        (86_400, "1d"),
        (93_600, "1d 2hr"),
        (-4680, "\u22121hr 18min"),
    ],
)
def test_duration_is_cut_never_rounded_up(seconds: float, text: str) -> None:
    assert words.duration(seconds) == text.replace(" ", NBSP)
    assert words.duration(dt.timedelta(seconds=seconds)) == text.replace(" ", NBSP)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (9.2, "9.2 mm"),
        (9, "9.0 mm"),
        (Decimal("9.20"), "9.2 mm"),
        (5 / 3, "1.67 mm"),
        (0.3, "0.3 mm"),
        (0, "0.0 mm"),
        (330, "330 mm"),
        (330.5, "330.5 mm"),
        (-0.14, "\u22120.14 mm"),
        (-0.001, "0.0 mm"),
        (0.1 + 0.2, "0.3 mm"),
    ],
)
def test_millimetres(value: Decimal | float, text: str) -> None:
    assert words.mm(value) == text.replace(" ", NBSP)


@pytest.mark.parametrize("say", [words.when, words.day, words.clock, words.duration, words.mm, words.recorded])
@pytest.mark.parametrize("gap", [None, ""])
def test_what_is_missing_is_said(say: Callable[[Any], object], gap: str | None) -> None:
    assert say(gap) == "Not recorded"


def test_nothing_measured_is_not_missing() -> None:
    assert words.recorded(0) == 0
    assert words.mm(0.0) == f"0.0{NBSP}mm"
    assert words.duration(0) == "0s"


@pytest.mark.parametrize(
    "states",
    [PieceState, PackState, VersionState, LoadState, MachineState, Result, CaseState, Readiness, Severity],
)
def test_every_state_has_a_look(states: type[StrEnum]) -> None:
    assert [state for state in states if str(state).casefold() not in words.STATE_CLASS] == []


def test_only_what_may_be_used_looks_ready() -> None:
    ready = {word for word, look in words.STATE_CLASS.items() if look is words.READY}
    assert ready.isdisjoint(
        {"awaiting release", "assembled", "cleaned", "complete by", "not measured", "tight", "void"}
    )
    assert {"sterile", "released", "inspected", "complete", "fits"} <= ready


def test_unknown_word_never_looks_ready() -> None:
    assert words.state_class("brand new word") == "is-waiting"
    assert words.state_icon("brand new word") == "circle-question-mark"


def test_strip_of_a_state() -> None:
    strip = rendered("{% state pack fact=at|when href='/packs/7/' %}", pack=PackState.AWAITING_RELEASE, at=None)
    assert strip.startswith('<a class="strip is-waiting" href="/packs/7/"><svg aria-hidden="true" class="icon">')
    assert "<b>Awaiting release</b> Not recorded</span></a>" in strip


def test_strip_escapes_what_people_typed() -> None:
    assert "&lt;i&gt;" in rendered("{% state 'look' fact %}", fact="<i>")
    assert "<i>" in rendered("{% state 'look' fact %}", fact=mark_safe("<i>"))
    assert "&lt;b&gt;x" in rendered("{% strip 'is-hold' word %}", word="<b>x")


def test_strip_keeps_a_fact_of_zero() -> None:
    assert "<b>Taken</b> 0<" in rendered("{% state 'taken' 0 %}")


def test_findings_list_shows_sentence_and_remedy() -> None:
    finding = Finding("seal-missing", Severity.STOP, "Tray AD-1", "It holds 0 seals, must hold 1.", "Fetch one.")
    page = rendered('{% include "partials/findings.html" %}', findings=[finding])
    for part in ("finding is-stop", "Tray AD-1", "It holds 0 seals, must hold 1.", "Fetch one."):
        assert part in page
    assert "Nothing found." in rendered('{% include "partials/findings.html" %}', findings=[])


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "yes"),
        (False, "no"),
        (None, "none"),
        ("", "none"),
        ([], "none"),
        (0, "0"),
        (["P1", "P2"], "P1, P2"),
        ([["a", None], True], "a, none, yes"),
        ({}, "none"),
        ({"K1": "wet", "K2": ["a", "b"]}, "K1 wet, K2 a, b"),
    ],
)
def test_evidence_is_told_in_words(value: object, text: str) -> None:
    assert words.told(value) == text
