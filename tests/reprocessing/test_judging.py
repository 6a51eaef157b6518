import json

import numpy as np
import pytest

from reprocessing.judgement import NOT_RECORDED, EvidenceRow, Judgement
from reprocessing.judging import MINUS, NO_PLATEAU, duration_words, judge_phases, judge_steam, judge_wash
from reprocessing.limits import PhaseLimit, PhaseReading, SteamLimits, WashLimits
from reprocessing.plateau import Interval
from reprocessing.steam import saturation_pressure_bar_abs
from reprocessing.trace import Trace, parse_trace

# Band and hold: EN 285 and ISO 17665 guidance; equilibration, spread, saturation: EN 285, all from memory.
STEAM_134 = SteamLimits(
    set_c=134, band_k=3, hold_s=180, equilibration_max_s=15, probe_spread_k=2, saturation_k=2, source="EN 285"
)
WASH = WashLimits(a0_required_s=3000, source="ISO 15883-1")


def steam_trace(
    *,
    hold_s: int = 200,
    plateau_c: float = 134.5,
    second_k: float = -0.3,
    lag_s: int = 5,
    pressure_of_k: float = 0.0,
    probes: int = 2,
    gauges: int = 1,
    leave_out: tuple[int, int] = (0, 0),
) -> Trace:
    """A cycle sampled each second: 100 °C, up at 1 K/s, plateau, down at once; the second probe lags behind.

    The pressure is that of steam `pressure_of_k` warmer than the first probe.
    """
    rise_s = int(plateau_c - 100)
    seconds = np.arange(rise_s + lag_s + hold_s + 60, dtype=float)
    first = np.minimum(100 + seconds, plateau_c)
    second = np.minimum(100 + np.maximum(seconds - lag_s, 0), plateau_c) + second_k
    after = seconds > rise_s + lag_s + 1 + hold_s
    first[after] = second[after] = 60
    pressures = saturation_pressure_bar_abs(first + pressure_of_k)
    kept = (seconds < leave_out[0]) | (seconds >= leave_out[1])
    return Trace(
        times_s=seconds[kept],
        temperatures_c=np.column_stack([first, second])[kept][:, :probes],
        probes=("p1_c", "p2_c")[:probes],
        pressures_bar_abs=np.column_stack([pressures])[kept][:, :gauges],
        gauges=("chamber_bar_abs",)[:gauges],
    )


def row(judgement: Judgement, slug: str) -> EvidenceRow:
    (found,) = [row for row in judgement.rows if row.slug == slug]
    return found


def slugs(judgement: Judgement) -> list[str]:
    return [finding.slug for finding in judgement.findings]


# --- steam ------------------------------------------------------------------------------------------


def test_a_good_cycle_is_within_limits() -> None:
    judgement = judge_steam(steam_trace(), STEAM_134)
    assert judgement.within_limits
    assert judgement.sentence == "Numbers within limits: yes."
    assert judgement.findings == ()
    assert [row.met for row in judgement.rows] == [True] * 6 + [None]
    assert judgement.numbers["hold_s"] == 200
    assert judgement.numbers["equilibration_s"] == 6
    assert judgement.numbers["spread_k"] == pytest.approx(0.3)
    assert judgement.numbers["saturation_greatest_k"] == pytest.approx(0, abs=1e-9)
    assert judgement.numbers["saturation_least_k"] == pytest.approx(-0.3)
    assert judgement.numbers["f0_min"] == pytest.approx(200 / 60 * 10**1.31, rel=0.05)


def test_the_words_of_the_rows() -> None:
    judgement = judge_steam(steam_trace(hold_s=150), STEAM_134)
    hold = row(judgement, "hold")
    assert (hold.value, hold.limit) == ("2min\xa030s", "at least 3min, every probe from 134.0\xa0°C to 137.0\xa0°C")
    assert row(judgement, "saturation").value == f"from {MINUS}0.3\xa0K to 0.0\xa0K"
    f0 = row(judgement, "f0")
    assert (f0.what, f0.limit, f0.verdict) == (
        "F0, base 121.1\xa0°C, z 10\xa0K",
        "Information only",
        "Information only",
    )
    assert [row.verdict for row in judgement.rows[:2]] == ["Not within limits", "Within limits"]


@pytest.mark.parametrize(("hold_s", "met"), [(179, False), (180, True), (181, True)])
def test_the_hold_must_reach_its_limit(hold_s: int, met: bool) -> None:
    judgement = judge_steam(steam_trace(hold_s=hold_s), STEAM_134)
    assert judgement.within_limits is met
    assert slugs(judgement) == ([] if met else ["hold-outside-limits"])


def test_a_high_f0_does_not_make_a_short_hold_good() -> None:
    judgement = judge_steam(steam_trace(hold_s=170, plateau_c=136.5), STEAM_134)
    least_f0_min = 58.5  # of the nominal hold of 3 min at 134 °C
    assert judgement.numbers["f0_min"] > least_f0_min  # type: ignore[operator]
    assert not judgement.within_limits


def test_superheated_steam_has_a_high_f0_and_is_not_within_limits() -> None:
    judgement = judge_steam(steam_trace(plateau_c=140.5, pressure_of_k=-6), STEAM_134)
    assert judgement.numbers["f0_min"] > 250  # type: ignore[operator]
    assert not judgement.within_limits
    assert [row(judgement, slug).met for slug in ("hold", "highest-temperature", "saturation")] == [False] * 3
    assert "superheat-suspected" in slugs(judgement)
    assert "air-suspected" not in slugs(judgement)
    sentence = judgement.findings[slugs(judgement).index("superheat-suspected")].sentence
    assert "6.0\xa0K too hot, must be within 2.0\xa0K" in sentence


def test_air_in_the_steam_is_told_from_superheat() -> None:
    judgement = judge_steam(steam_trace(pressure_of_k=2.5), STEAM_134)
    assert row(judgement, "hold").met
    assert slugs(judgement) == ["air-suspected"]
    assert not judgement.within_limits


@pytest.mark.parametrize(("offset_k", "met"), [(1.6, True), (1.8, False), (-1.9, True), (-2.1, False)])
def test_every_probe_must_agree_with_the_pressure(offset_k: float, met: bool) -> None:
    """The second probe is 0.3 K colder than the first."""
    assert row(judge_steam(steam_trace(pressure_of_k=offset_k), STEAM_134), "saturation").met is met


def test_a_moment_above_the_band_breaks_the_hold() -> None:
    trace = steam_trace()
    temperatures = trace.temperatures_c.copy()
    temperatures[140, 1] = 137.1
    changed = Trace(trace.times_s, temperatures, trace.probes, trace.pressures_bar_abs, trace.gauges)
    judgement = judge_steam(changed, STEAM_134)
    assert row(judgement, "hold").met is False
    assert row(judgement, "highest-temperature").met is False
    assert judgement.numbers["hold_s"] == 99


def test_a_gap_breaks_the_hold_and_a_missing_reading_does_not() -> None:
    gap = judge_steam(steam_trace(leave_out=(100, 140)), STEAM_134)
    assert gap.numbers["hold_s"] == 100
    assert slugs(gap) == ["hold-outside-limits", "gap-in-hold"]
    assert "gap of 41s inside the band" in gap.findings[1].sentence
    short = judge_steam(steam_trace(leave_out=(100, 129)), STEAM_134)
    assert short.numbers["hold_s"] == 200
    assert short.within_limits


def test_one_probe_shows_neither_equilibration_nor_spread() -> None:
    judgement = judge_steam(steam_trace(probes=1), STEAM_134)
    assert [row(judgement, slug).value for slug in ("equilibration", "spread")] == [NOT_RECORDED] * 2
    assert not judgement.within_limits
    assert judgement.sentence == (
        "Numbers within limits: no; not recorded: Equilibration time, Spread between probes."
    )
    assert slugs(judgement) == ["equilibration-not-recorded", "spread-not-recorded"]


def test_without_pressure_saturation_is_not_recorded() -> None:
    judgement = judge_steam(steam_trace(gauges=0), STEAM_134)
    assert row(judgement, "saturation").verdict == NOT_RECORDED
    assert slugs(judgement) == ["saturation-not-recorded"]


def pressure_lost(trace: Trace, reading: float) -> Trace:
    pressures = trace.pressures_bar_abs.copy()
    pressures[120:] = reading
    return Trace(trace.times_s, trace.temperatures_c, trace.probes, pressures, trace.gauges)


@pytest.mark.parametrize("reading", [np.nan, 0.0])
def test_pressure_lost_on_the_plateau_is_not_recorded_throughout(reading: float) -> None:
    judgement = judge_steam(pressure_lost(steam_trace(), reading), STEAM_134)
    saturation = row(judgement, "saturation")
    assert saturation.met is None
    assert saturation.value.endswith("not recorded throughout")


def test_pressure_lost_after_it_showed_superheat_does_not_hide_it() -> None:
    judgement = judge_steam(pressure_lost(steam_trace(pressure_of_k=-3), np.nan), STEAM_134)
    assert row(judgement, "saturation").met is False


def test_pressure_that_was_never_there_while_it_was_hot() -> None:
    trace = steam_trace()
    pressures = np.where(trace.times_s[:, None] < 10, 1.0, np.nan)
    judgement = judge_steam(
        Trace(trace.times_s, trace.temperatures_c, trace.probes, pressures, trace.gauges), STEAM_134
    )
    assert row(judgement, "saturation").value == NOT_RECORDED


def test_a_late_probe_is_told_by_equilibration_and_spread() -> None:
    judgement = judge_steam(steam_trace(lag_s=20, second_k=-2.5, plateau_c=136.8), STEAM_134)
    assert slugs(judgement) == ["equilibration-outside-limits", "spread-outside-limits", "air-suspected"]
    assert row(judgement, "equilibration").value == "23s"


def test_pulses_before_the_plateau_do_not_start_the_equilibration_clock() -> None:
    rows = ["0,100,100", "10,134,100", "20,100,100", "30,134,120", "34,133,134", "38,134.2,134.2", "238,134.2,134.2"]
    rows[6:6] = [f"{second},134.2,134.2" for second in range(40, 238, 10)]
    judgement = judge_steam(parse_trace("\n".join(["t_s,p1_c,p2_c", *rows])), STEAM_134)
    assert judgement.numbers["equilibration_s"] == 4
    assert judgement.numbers["hold_s"] == 200


def test_a_record_that_begins_hot_does_not_show_equilibration() -> None:
    trace = steam_trace(leave_out=(0, 60))
    assert row(judge_steam(trace, STEAM_134), "equilibration").value == NOT_RECORDED


def test_a_cycle_that_never_got_there() -> None:
    judgement = judge_steam(steam_trace(plateau_c=130), STEAM_134)
    assert [row(judgement, slug).value for slug in ("equilibration", "spread", "saturation")] == [NO_PLATEAU] * 3
    assert row(judgement, "hold").value == "0s"
    assert judgement.numbers["hold_s"] == 0
    assert slugs(judgement) == ["hold-outside-limits"]


def test_no_trace_is_no_pass() -> None:
    judgement = judge_steam(None, STEAM_134)
    assert {row.value for row in judgement.rows} == {NOT_RECORDED}
    assert not judgement.within_limits
    assert set(judgement.numbers.values()) == {None}


def test_sparse_samples_do_not_show_a_hold() -> None:
    rows = [
        f"{second},{134.5 if 60 <= second <= 600 else 60},{134.4 if 60 <= second <= 600 else 60}"
        for second in range(0, 720, 12)
    ]
    judgement = judge_steam(parse_trace("\n".join(["t_s,p1_c,p2_c", *rows])), STEAM_134)
    assert (row(judgement, "sampling").value, row(judgement, "sampling").met) == ("12s", False)
    assert "coarse" in slugs(judgement)
    single = judge_steam(parse_trace("t_s,p1_c\n0,134\n"), STEAM_134)
    assert row(single, "sampling").value == "a single reading"


@pytest.mark.parametrize(("end_c", "told"), [(90, False), (134.5, True)])
def test_a_steriliser_is_unloaded_hot_but_not_on_the_plateau(end_c: float, told: bool) -> None:
    rows = [f"{second},134.5,134.5" for second in range(5)]
    judgement = judge_steam(parse_trace("\n".join(["t_s,p1_c,p2_c", *rows, f"5,{end_c},{end_c}"])), STEAM_134)
    assert ("truncated" in slugs(judgement)) is told


def test_an_interval_does_not_end_before_it_starts() -> None:
    with pytest.raises(ValueError, match="must not end before"):
        Interval(2, 1)


# --- wash -------------------------------------------------------------------------------------------


def wash_trace(temperature_c: float, seconds: int, *, step_s: int = 5) -> Trace:
    rows = [f"{second},{temperature_c}" for second in range(0, seconds + 1, step_s)]
    return parse_trace("\n".join(["t_s,temp_c", *rows, f"{seconds + 5},60"]))


def test_a_wash_needs_its_a0_and_its_record() -> None:
    trace = wash_trace(90, 300)
    judged = {recorded: judge_wash(trace, WASH, phases_recorded=recorded) for recorded in (True, False, None)}
    assert [judged[recorded].within_limits for recorded in (True, False, None)] == [True, False, False]
    assert [row(judged[recorded], "phase-record").value for recorded in (True, False, None)] == [
        "As programmed",
        "A fault",
        NOT_RECORDED,
    ]
    assert slugs(judged[False]) == ["phase-record-outside-limits"]
    assert slugs(judged[None]) == ["phase-record-not-recorded"]


def test_a_machine_without_a_record_where_none_is_required() -> None:
    limits = WashLimits(a0_required_s=600, source="ISO 15883-1", record_required=False)
    assert judge_wash(wash_trace(90, 60), limits, phases_recorded=None).within_limits


def test_a_wash_short_of_its_a0_is_shown_shorter_never_longer() -> None:
    judgement = judge_wash(wash_trace(89.99, 300), WASH, phases_recorded=True)
    disinfection = row(judgement, "thermal-disinfection")
    assert disinfection.met is True  # the way down counts too
    limits = WashLimits(a0_required_s=judgement.numbers["a0_s"] + 0.001, source="own")  # type: ignore[operator]
    short = row(judge_wash(wash_trace(89.99, 300), limits, phases_recorded=True), "thermal-disinfection")
    assert short.met is False
    assert short.value == f"A0 {int(judgement.numbers['a0_s'])}\xa0s"  # type: ignore[arg-type]


@pytest.mark.parametrize(("seconds", "met"), [(55, False), (60, True)])
def test_a_least_temperature_for_its_least_time_will_do(seconds: int, met: bool) -> None:
    """Source: ISO 15883-1:2006, 4.3.1: minimum temperature for minimum time, or equivalent A0."""
    limits = WashLimits(a0_required_s=3000, source="ISO 15883-1", hold_c=90, hold_s=60)
    judgement = judge_wash(wash_trace(90.5, seconds), limits, phases_recorded=True)
    disinfection = row(judgement, "thermal-disinfection")
    assert disinfection.met is met
    assert disinfection.limit == "A0 at least 3000\xa0s, or 90.0\xa0°C for 1min"
    assert disinfection.value.endswith(f"; 90.0\xa0°C or more for {duration_words(seconds)}")
    assert judgement.numbers["hold_s"] == seconds


def test_a_wash_without_trace_is_not_recorded() -> None:
    limits = WashLimits(a0_required_s=3000, source="ISO 15883-1", hold_c=90, hold_s=60)
    judgement = judge_wash(None, limits, phases_recorded=True)
    assert row(judgement, "thermal-disinfection").value == NOT_RECORDED
    assert row(judgement, "a0-floor").value == NOT_RECORDED
    assert set(judgement.numbers.values()) == {None}
    assert not judgement.within_limits


# --- low temperature --------------------------------------------------------------------------------

PHASES = (
    PhaseLimit("Conditioning", "chamber pressure", "mbar", most=0.5),
    PhaseLimit("Exposure", "duration", "min", least=6, most=8),
)


def judge_low(*readings: tuple[str, str, str, float]) -> Judgement:
    return judge_phases([PhaseReading(*reading) for reading in readings], PHASES, source="maker's instructions")


def test_low_temperature_is_judged_by_its_phases_and_shows_no_lethality() -> None:
    judgement = judge_low(("conditioning", "Chamber pressure", "mbar", 0.4), ("exposure", "duration", "min", 6))
    assert judgement.within_limits
    assert judgement.numbers == {"Conditioning: chamber pressure [mbar]": 0.4, "Exposure: duration [min]": 6}
    assert [(row.value, row.limit) for row in judgement.rows] == [
        ("0.4\xa0mbar", "at most 0.5\xa0mbar"),
        ("6\xa0min", "at least 6\xa0min, at most 8\xa0min"),
    ]
    assert "A0" not in json.dumps(judgement.as_dict())
    assert "F0" not in json.dumps(judgement.as_dict())


def test_a_phase_that_came_twice_counts_twice() -> None:
    low = ("Conditioning", "chamber pressure", "mbar", 0.4)
    judgement = judge_low(low, ("Exposure", "duration", "min", 6), ("Exposure", "duration", "min", 5.9))
    assert judgement.rows[1].value == "6\xa0min, 5.9\xa0min"
    assert judgement.rows[1].met is False


@pytest.mark.parametrize("readings", [(), (("Exposure", "duration", "s", 400.0),)])
def test_a_phase_not_recorded_in_its_unit_is_not_recorded(readings: tuple[tuple[str, str, str, float], ...]) -> None:
    judgement = judge_low(("Conditioning", "chamber pressure", "mbar", 0.4), *readings)
    assert judgement.rows[1].value == NOT_RECORDED
    assert judgement.numbers["Exposure: duration [min]"] is None
    assert not judgement.within_limits


def test_without_limits_there_is_nothing_to_judge() -> None:
    with pytest.raises(ValueError, match="a row that decides"):
        judge_phases([], [], source="none")
