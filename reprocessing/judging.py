"""The judgement of a cycle: what its record shows against its programme's limits, row by row.

The numbers are stated; a person decides. What is not in the record is "Not recorded", and never a pass. F0
stands beside the rows as information: a superheated cycle has a high one and is not within limits. A0 speaks
of thermal disinfection only, so a wash needs its phase and dosing record too. A low-temperature cycle is
judged by its recorded phases alone; no lethality can be computed for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf

from journal.findings import Finding, Severity
from reprocessing import lethality
from reprocessing.judgement import INFORMATION, NOT_RECORDED, EvidenceRow, Judgement
from reprocessing.lethality import F0_LAW, SECONDS_PER_MINUTE, Lethality
from reprocessing.limits import PhaseLimit, PhaseReading, SteamLimits, VacuumLimits, WashLimits
from reprocessing.plateau import Plateau, find_plateau, longest_within
from reprocessing.trace import COARSE_S, NO_TRACE, SAME_K, SAME_S, Trace, is_coarse
from reprocessing.vacuum import count_pulses, find_drying

NO_PLATEAU = "No plateau"
NBSP = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
WHOLE_MINUTES_FROM_S = 10 * SECONDS_PER_MINUTE
SAME_SHARE = 1e-9  # two values of A0 nearer than this are the same

REMEDY = "Decide by the unit's policy for a cycle outside its limits."
REMEDY_MISSING = "Find the record; without it the cycle is not shown to be within limits."
SUPERHEAT = (
    "Suspect superheated steam: it acts like dry heat of that temperature, whatever F0 says. Have the steam "
    "supply and the jacket looked at, and check that the pressure is absolute."
)
AIR = (
    "Suspect air or other gas in the steam: repeat the steam penetration and air leakage tests before the "
    "next load, and check that the pressure is absolute."
)


@dataclass(frozen=True, slots=True)
class _Quantity:
    """How a quantity is said, to how many places, and how near two of it are the same."""

    words: Callable[[float], str]
    places: int
    same: float

    def not_above(self, value: float) -> str:
        """The value, cut: what must reach a limit never looks larger than it is."""
        scale = 10**self.places
        return self.words(floor((value + self.same) * scale) / scale)

    def not_below(self, value: float) -> str:
        """The value, rounded up: what must stay under a limit never looks smaller than it is."""
        scale = 10**self.places
        return self.words(ceil((value - self.same) * scale) / scale)


def duration_words(seconds: float) -> str:
    """A duration as pages say it, "3min 30s"; whole minutes from ten minutes up, cut."""
    minutes, rest = divmod(int(seconds), int(SECONDS_PER_MINUTE))
    if not minutes:
        return f"{rest}s"
    return f"{minutes}min" if not rest or seconds >= WHOLE_MINUTES_FROM_S else f"{minutes}min{NBSP}{rest}s"


def _plain(unit: str, places: int) -> Callable[[float], str]:
    return lambda value: f"{value:.{places}f}{NBSP}{unit}".replace("-", MINUS)


TIME = _Quantity(duration_words, 0, SAME_S)
TEMPERATURE = _Quantity(_plain("°C", 1), 1, SAME_K)
PRESSURE = _Quantity(_plain("mbar", 0), 0, SAME_S)
DIFFERENCE = _Quantity(_plain("K", 1), 1, SAME_K)
A0 = _Quantity(_plain("s", 0), 0, SAME_S)
F0 = _Quantity(_plain("min", 1), 1, SAME_S)


def judge_steam(trace: Trace | None, limits: SteamLimits) -> Judgement:
    """Judge a steam cycle: hold, highest temperature, equilibration, spread, saturation, sampling.

    Spread and saturation are judged wherever every probe had reached the set temperature, however hot. With a
    single probe, equilibration and spread are not recorded; without pressure, saturation is not.

    Args:
        trace: the cleaned trace; None when there is none.
        limits: what the programme demands.

    Returns:
        The judgement; F0 is among its rows as information.
    """
    trace = trace or NO_TRACE
    plateau = find_plateau(trace, set_c=limits.set_c, band_k=limits.band_k)
    dose = lethality.of_trace(trace)
    rows = (
        _hold_row(plateau, limits),
        _at_most(
            "highest-temperature", "Highest temperature", plateau.highest_c, limits.set_c + limits.band_k, TEMPERATURE
        ),
        *_plateau_rows(plateau, limits),
        *_vacuum_rows(trace, plateau, limits.vacuum),
        _sampling_row(trace, dose),
        _information(
            "f0", f"F0, base {F0_LAW.reference_c:g}{NBSP}°C, z {F0_LAW.z_k:g}{NBSP}K", _f0_words(trace, dose)
        ),
    )
    findings = (*_row_findings(rows), *_steam_findings(plateau, limits), *_steam_trace_findings(trace, plateau))
    return Judgement(
        "steam", rows, findings, _steam_numbers(trace, plateau, dose), limits.source, limits.confirm_locally
    )


def judge_wash(trace: Trace | None, limits: WashLimits, *, phases_recorded: bool | None) -> Judgement:
    """Judge a washer-disinfector cycle: thermal disinfection, phase and dosing record, sampling.

    Args:
        trace: the cleaned trace; None when there is none.
        limits: what the programme demands.
        phases_recorded: the machine's record shows every phase and dose as programmed; False when it shows a
            fault; None when there is no record.

    Returns:
        The judgement; the floor of A0 is among its rows as information.
    """
    trace = trace or NO_TRACE
    dose = lethality.of_trace(trace)
    held = longest_within(trace, limits.hold_c, inf) if limits.hold_c is not None else None
    rows = [_disinfection_row(trace, dose, held.length_s if held else 0.0, limits)]
    if limits.record_required:
        rows.append(_record_row(phases_recorded))
    rows.append(_sampling_row(trace, dose))
    rows.append(_information("a0-floor", "A0 by the lower end of each step", _a0_words(trace, dose.floor_a0_s)))
    recorded = trace.has_readings
    numbers = {
        "a0_s": dose.a0_s if recorded else None,
        "floor_a0_s": dose.floor_a0_s if recorded else None,
        "hold_s": held.length_s if held else None,
        "coarsest_step_s": dose.coarsest_step_s,
    }
    findings = (*_row_findings(rows), *trace.findings())
    return Judgement("wash", tuple(rows), findings, numbers, limits.source, limits.confirm_locally)


def judge_phases(
    readings: Sequence[PhaseReading], limits: Sequence[PhaseLimit], *, source: str, confirm_locally: bool = True
) -> Judgement:
    """Judge a low-temperature cycle by the phases that its machine recorded; never by a lethality.

    Args:
        readings: what the machine recorded; a phase that came twice must be within limits each time.
        limits: what the programme demands of each phase.
        source: where the limits come from.
        confirm_locally: the source is not settled; the unit must confirm the limits.

    Returns:
        The judgement. A reading in another unit than its limit's counts as not recorded.

    Raises:
        ValueError: there are no limits.
    """
    rows = tuple(_phase_row(limit, _values(readings, limit)) for limit in limits)
    numbers = {
        f"{limit.phase}: {limit.quantity} [{limit.unit}]": next(iter(_values(readings, limit)), None)
        for limit in limits
    }
    return Judgement("low-temperature", rows, tuple(_row_findings(rows)), numbers, source, confirm_locally)


def _at_most(slug: str, what: str, value: float | None, limit: float, quantity: _Quantity) -> EvidenceRow:
    words = f"at most {quantity.words(limit)}"
    if value is None:
        return EvidenceRow(slug, what, NOT_RECORDED, words, None)
    return EvidenceRow(slug, what, quantity.not_below(value), words, value <= limit + quantity.same)


def _information(slug: str, what: str, value: str) -> EvidenceRow:
    return EvidenceRow(slug, what, value, INFORMATION, None, decides=False)


def _hold_row(plateau: Plateau, limits: SteamLimits) -> EvidenceRow:
    low, high = TEMPERATURE.words(limits.set_c), TEMPERATURE.words(limits.set_c + limits.band_k)
    words = f"at least {TIME.words(limits.hold_s)}, every probe from {low} to {high}"
    if plateau.highest_c is None:
        return EvidenceRow("hold", "Hold", NOT_RECORDED, words, None)
    held_s = plateau.hold.length_s if plateau.hold else 0.0
    return EvidenceRow("hold", "Hold", TIME.not_above(held_s), words, held_s >= limits.hold_s - SAME_S)


def _plateau_rows(plateau: Plateau, limits: SteamLimits) -> Iterator[EvidenceRow]:
    rows = (
        _at_most("equilibration", "Equilibration time", plateau.equilibration_s, limits.equilibration_max_s, TIME),
        _at_most("spread", "Spread between probes", plateau.spread_k, limits.probe_spread_k, DIFFERENCE),
        _saturation_row(plateau, limits),
    )
    nothing_reached = plateau.highest_c is not None and plateau.reached is None
    for row in rows:
        yield EvidenceRow(row.slug, row.what, NO_PLATEAU, row.limit, met=False) if nothing_reached else row


def _saturation_row(plateau: Plateau, limits: SteamLimits) -> EvidenceRow:
    slug, what = "saturation", "Difference from saturated steam"
    words = f"within {DIFFERENCE.words(limits.saturation_k)}"
    found = plateau.saturation
    if found is None:
        return EvidenceRow(slug, what, NOT_RECORDED, words, None)
    value = f"from {DIFFERENCE.not_above(found.least_k)} to {DIFFERENCE.not_below(found.greatest_k)}"
    within = max(found.greatest_k, -found.least_k) <= limits.saturation_k + SAME_K
    if within and not found.covers:
        return EvidenceRow(slug, what, f"{value}, not recorded throughout", words, None)
    return EvidenceRow(slug, what, value, words, within)


def _vacuum_rows(trace: Trace, plateau: Plateau, limits: VacuumLimits) -> Iterator[EvidenceRow]:
    """Pulses before the plateau and drying after it, where the programme demands them."""
    nothing_reached = plateau.highest_c is not None and plateau.reached is None
    if limits.pulses is not None and limits.pulse_mbar is not None:
        words = f"at least {limits.pulses}, each down to {PRESSURE.words(limits.pulse_mbar)}"
        count = (
            count_pulses(trace, depth_mbar=limits.pulse_mbar, until_s=plateau.reached.start_s)
            if plateau.reached
            else None
        )
        value, met = (NOT_RECORDED, None) if count is None else (str(count), count >= limits.pulses)
        row = EvidenceRow("pulses", "Air removal pulses", value, words, met)
        yield EvidenceRow(row.slug, row.what, NO_PLATEAU, row.limit, met=False) if nothing_reached else row
    if limits.drying_s is not None and limits.drying_mbar is not None:
        depth = PRESSURE.words(limits.drying_mbar)
        words = f"at least {TIME.words(limits.drying_s)} at {depth} or below"
        drying = (
            find_drying(trace, depth_mbar=limits.drying_mbar, from_s=plateau.reached.end_s)
            if plateau.reached
            else None
        )
        value, met = NOT_RECORDED, None
        if drying is not None:
            dried_s = drying.under.length_s if drying.under else 0.0
            value = f"{TIME.not_above(dried_s)}, lowest {PRESSURE.not_below(drying.lowest_mbar)}"
            met = dried_s >= limits.drying_s - SAME_S
        row = EvidenceRow("drying", "Drying vacuum", value, words, met)
        yield EvidenceRow(row.slug, row.what, NO_PLATEAU, row.limit, met=False) if nothing_reached else row


def _sampling_row(trace: Trace, dose: Lethality) -> EvidenceRow:
    what, words = "Median step of the record", f"at most {TIME.words(COARSE_S)}"
    if not trace.has_readings:
        return EvidenceRow("sampling", what, NOT_RECORDED, words, None)
    median_s = dose.median_step_s
    value = TIME.not_below(median_s) if median_s is not None else "a single reading"
    return EvidenceRow("sampling", what, value, words, median_s is not None and not is_coarse(median_s))


def _disinfection_row(trace: Trace, dose: Lethality, held_s: float, limits: WashLimits) -> EvidenceRow:
    """Either will do: A0, or the least temperature for its least time."""
    slug, what = "thermal-disinfection", "Thermal disinfection"
    words = f"A0 at least {A0.words(limits.a0_required_s)}"
    met = dose.a0_s >= limits.a0_required_s * (1 - SAME_SHARE)
    value = f"A0 {_a0_words(trace, dose.a0_s)}"
    if limits.hold_c is not None and limits.hold_s is not None:
        least = TEMPERATURE.words(limits.hold_c)
        words += f", or {least} for {TIME.words(limits.hold_s)}"
        met = met or held_s >= limits.hold_s - SAME_S
        value += f"; {least} or more for {TIME.not_above(held_s)}"
    if not trace.has_readings:
        return EvidenceRow(slug, what, NOT_RECORDED, words, None)
    return EvidenceRow(slug, what, value, words, met)


def _record_row(phases_recorded: bool | None) -> EvidenceRow:  # noqa: FBT001
    value = {True: "As programmed", False: "A fault", None: NOT_RECORDED}[phases_recorded]
    return EvidenceRow("phase-record", "Phase and dosing record", value, "as programmed", phases_recorded)


def _phase_row(limit: PhaseLimit, values: Sequence[float]) -> EvidenceRow:
    unit = f"{NBSP}{limit.unit}"
    ends = [("at least", limit.least), ("at most", limit.most)]
    words = ", ".join(f"{word} {end:g}{unit}" for word, end in ends if end is not None)
    low = -inf if limit.least is None else limit.least
    high = inf if limit.most is None else limit.most
    value = ", ".join(f"{value:g}{unit}" for value in values) or NOT_RECORDED
    met = all(low <= value <= high for value in values) if values else None
    return EvidenceRow("phase", f"{limit.phase}: {limit.quantity}", value, words, met)


def _values(readings: Iterable[PhaseReading], limit: PhaseLimit) -> tuple[float, ...]:
    """What was recorded of the limit's phase and quantity, in its unit."""
    wanted = (limit.phase.casefold(), limit.quantity.casefold(), limit.unit)
    return tuple(
        reading.value
        for reading in readings
        if (reading.phase.casefold(), reading.quantity.casefold(), reading.unit) == wanted
    )


def _a0_words(trace: Trace, a0_s: float) -> str:
    return A0.not_above(a0_s) if trace.has_readings else NOT_RECORDED


def _f0_words(trace: Trace, dose: Lethality) -> str:
    if not trace.has_readings:
        return NOT_RECORDED
    return f"{F0.not_above(dose.f0_min)}, {F0.not_above(dose.floor_f0_min)} by the lower end of each step"


def _steam_numbers(trace: Trace, plateau: Plateau, dose: Lethality) -> dict[str, float | None]:
    hold, saturation, recorded = plateau.hold, plateau.saturation, trace.has_readings
    return {
        "hold_s": hold.length_s if hold else 0.0 if recorded else None,
        "hold_from_s": hold.start_s if hold else None,
        "hold_to_s": hold.end_s if hold else None,
        "highest_c": plateau.highest_c,
        "equilibration_s": plateau.equilibration_s,
        "spread_k": plateau.spread_k,
        "saturation_least_k": saturation.least_k if saturation else None,
        "saturation_greatest_k": saturation.greatest_k if saturation else None,
        "f0_min": dose.f0_min if recorded else None,
        "floor_f0_min": dose.floor_f0_min if recorded else None,
        "coarsest_step_s": dose.coarsest_step_s,
    }


def _row_findings(rows: Iterable[EvidenceRow]) -> Iterator[Finding]:
    """A sentence for each row that is not met; saturation and what needs a plateau have their own."""
    for row in rows:
        if not row.decides or row.met or row.value == NO_PLATEAU:
            continue
        what = row.what[0].lower() + row.what[1:]
        if row.met is None:
            sentence = f"Cannot judge the {what}: it is not recorded, must be {row.limit}."
            yield Finding(f"{row.slug}-not-recorded", Severity.LOOK, row.what, sentence, REMEDY_MISSING)
        elif row.slug != "saturation":
            sentence = f"Cannot call the {what} within limits: it is {row.value}, must be {row.limit}."
            yield Finding(f"{row.slug}-outside-limits", Severity.LOOK, row.what, sentence, REMEDY)


def _steam_trace_findings(trace: Trace, plateau: Plateau) -> Iterator[Finding]:
    """What the trace says of itself; a steriliser is unloaded hot, so only an end on the plateau is cut off."""
    on_plateau = plateau.reached is not None and plateau.reached.end_s == trace.times_s[-1]
    for finding in trace.findings():
        if finding.slug != "truncated" or on_plateau:
            yield finding


def _steam_findings(plateau: Plateau, limits: SteamLimits) -> Iterator[Finding]:
    """Superheat told from air, and a hold that a gap has cut."""
    found, limit_k = plateau.saturation, limits.saturation_k
    must = f"must be within {DIFFERENCE.words(limit_k)} of what the pressure implies"
    if found and found.greatest_k > limit_k + SAME_K:
        hotter = DIFFERENCE.not_below(found.greatest_k)
        sentence = f"Cannot call the steam saturated: it is up to {hotter} too hot, {must}."
        yield Finding("superheat-suspected", Severity.LOOK, "Steam", sentence, SUPERHEAT)
    if found and found.least_k < -limit_k - SAME_K:
        colder = DIFFERENCE.not_below(-found.least_k)
        sentence = f"Cannot call the steam saturated: it is up to {colder} too cold, {must}."
        yield Finding("air-suspected", Severity.LOOK, "Steam", sentence, AIR)
    if plateau.gap_s is not None:
        sentence = f"The record has a gap of {TIME.not_below(plateau.gap_s)} inside the band: the hold ends there."
        yield Finding("gap-in-hold", Severity.LOOK, "Hold", sentence, "Look for the machine's own record of it.")
