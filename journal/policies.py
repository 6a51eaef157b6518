"""The unit's policies: every adjustable number and switch, its default, and where the default comes from."""

from dataclasses import dataclass
from enum import StrEnum

PolicyValue = bool | int | float | str


class Origin(StrEnum):
    """How far a default can be trusted before the unit has confirmed it."""

    PUBLISHED = "published"
    PRACTICE = "common practice, no source: confirm locally"
    OURS = "our proposal: confirm locally"


@dataclass(frozen=True, slots=True)
class Policy:
    """One policy: what it means, its unit, its default, the default's origin, and what it must stay below."""

    meaning: str
    unit: str
    default: PolicyValue
    origin: Origin
    source: str = ""
    below: float | None = None


POLICIES: dict[str, Policy] = {
    "running_gap_mm": Policy("Least gap between any two surfaces in a barrel", "mm", 0.2, Origin.OURS),
    "reach_past_tip_mm": Policy(
        "A telescope or forceps must reach this far past the barrel's tip", "mm", 5.0, Origin.OURS
    ),
    "tray_mass_limit_g": Policy(
        "Greatest total mass of a tray", "g", 10_000, Origin.PRACTICE, "10 kg is a common European ceiling"
    ),
    "shelf_life_days": Policy("Shelf life of a wrapped pack", "d", 180, Origin.PRACTICE),
    "expiring_soon_days": Policy("Warn this long before a pack expires", "d", 14, Origin.OURS),
    "service_soon_days": Policy("Warn this long before a service date", "d", 30, Origin.OURS),
    "cycles_left_soon": Policy("Warn when so few cycles of life are left", "cycles", 5, Origin.OURS),
    "loan_soon_days": Policy("Warn this long before a loan is due back", "d", 2, Origin.OURS),
    "usage_weeks": Policy("So many weeks of use are read for the reorder forecast", "weeks", 26, Origin.OURS),
    "reorder_lead_days": Policy("From an order to its arrival on the shelf", "d", 14, Origin.OURS),
    "reorder_review_days": Policy("Between one order and the next", "d", 7, Origin.OURS),
    "service_level_percent": Policy(
        "So often the shelf lasts until an order arrives", "%", 95.0, Origin.OURS, below=100.0
    ),
    "time_to_clean_min": Policy(
        "Longest time from the end of use to the start of cleaning",
        "min",
        60,
        Origin.PRACTICE,
        "transport ideally within one hour, quoted from trade text",
    ),
    "second_person_steriliser": Policy(
        "A load is released by somebody who did not build it alone (sterilisers)", "", True, Origin.PRACTICE
    ),
    "second_person_washer": Policy(
        "A load is released by somebody who did not build it alone (washers)", "", False, Origin.PRACTICE
    ),
    "recall_every_positive": Policy(
        "Steam: each positive biological indicator recalls back to the last negative one; if not, the first one "
        "recalls implant loads only, and a repeated one everything",
        "",
        True,
        Origin.PUBLISHED,
        "yes: ANSI/AAMI ST79 as quoted in training text; no: CDC Guideline 2008, table 12",
    ),
    "return_cycles_steriliser": Policy(
        "Test cycles passed in a row before a steriliser returns to service",
        "cycles",
        3,
        Origin.PUBLISHED,
        "CDC Guideline 2008: three consecutive cycles without content, indicators negative, after failure or repair",
    ),
    "return_cycles_washer": Policy(
        "Test cycles passed in a row before a washer returns to service", "cycles", 1, Origin.OURS
    ),
    "expired_lot_forbids": Policy(
        "No load starts while an expired lot of a chemical is on its machine; if not, it is looked at",
        "",
        True,
        Origin.OURS,
    ),
    "protein_limit_ug": Policy(
        "Residual protein on a side of a cleaned instrument, at most",
        "µg",
        5.0,
        Origin.PUBLISHED,
        "HTM 01-01 (2016), as quoted in trade text: at most 5 µg a side, detected in place; confirm locally",
    ),
    "protein_check_days": Policy(
        "Pieces cleaned by each washer are checked for residual protein every (0: not asked for)",
        "d",
        91,
        Origin.PRACTICE,
        "quarterly, from memory",
    ),
    "nonconformity_due_days": Policy("A non-conformity is to be closed within", "d", 28, Origin.OURS),
    "missing_raise_h": Policy("A piece missing so long is offered as a non-conformity", "h", 24, Origin.OURS),
    "steam_penetration_h": Policy("A passed steam penetration test counts for", "h", 24, Origin.PRACTICE, "daily"),
    "air_leakage_h": Policy("A passed air leakage test counts for", "h", 168, Origin.PRACTICE, "weekly"),
    "warm_up_h": Policy("A passed warm-up counts for", "h", 24, Origin.PRACTICE, "daily"),
    "self_test_h": Policy("A passed self-test counts for", "h", 24, Origin.PRACTICE, "daily"),
    "machine_day_hour": Policy("Hour at which a machine day begins", "h", 5, Origin.OURS),
    "waiting_decision_min": Policy("A load may wait this long for a decision", "min", 60, Origin.OURS),
    "case_horizon_days": Policy(
        "Cases that lack something are told of until so many working days after tomorrow",
        "d",
        3,
        Origin.OURS,
        below=31,
    ),
    "sheet_hour": Policy(
        "Hour at which the go / no go sheet of the next list is drawn", "h", 16, Origin.OURS, below=24
    ),
    "plan_first_hour": Policy("Hour at which the next days are planned anew", "h", 6, Origin.OURS, below=24),
    "plan_second_hour": Policy(
        "Hour at which they are planned anew once more; also when the go / no go sheet is drawn",
        "h",
        14,
        Origin.OURS,
        below=24,
    ),
    "emergency_min": Policy("An emergency on no list is taken to last", "min", 60, Origin.OURS),
    "climb_coordinator_min": Policy(
        "A notice that nobody acknowledged climbs to the coordinator after", "min", 30, Origin.OURS
    ),
    "climb_lead_min": Policy("From there it climbs to the quality lead after", "min", 60, Origin.OURS),
    "acknowledged_min": Policy("An acknowledged notice does not climb for", "min", 120, Origin.OURS),
    "immediate_use": Policy("Immediate-use cycles are allowed", "", False, Origin.PRACTICE),
    "immediate_use_min": Policy("An immediate-use item must be used within", "min", 60, Origin.PRACTICE),
    "ambient_pressure_mbar": Policy(
        "Ambient pressure for traces that record gauge pressure",
        "mbar",
        1013.25,
        Origin.PUBLISHED,
        "standard atmosphere (ISO 2533)",
    ),
    "scanner_checked": Policy(
        "A station whose scanner has not passed the scanner card takes no GS1 mark with a serial",
        "",
        True,
        Origin.OURS,
    ),
    "scanner_check_h": Policy("A passed check of a scanner counts for", "h", 24, Origin.OURS),
    "preclean_min": Policy("Stage time: pre-clean bench", "min", 10, Origin.OURS),
    "wash_min": Policy("Stage time: washer-disinfector", "min", 75, Origin.OURS),
    "assemble_min": Policy("Stage time: inspection and assembly", "min", 20, Origin.OURS),
    "sterilise_min": Policy("Stage time: steriliser", "min", 55, Origin.OURS),
    "cooling_min": Policy("Stage time: cooling", "min", 30, Origin.PRACTICE, "at least 30 min in trade guidance"),
    "release_min": Policy("Stage time: release", "min", 10, Origin.OURS),
    "move_min": Policy("Stage time: to the theatre", "min", 10, Origin.OURS),
    "prepare_min": Policy("A set must be in the theatre this long before the start", "min", 15, Origin.OURS),
    "return_min": Policy("Stage time: back from the theatre", "min", 25, Origin.OURS),
    "fill_min": Policy("Stage time: until a load is full and starts", "min", 0, Origin.OURS),
    "biological_min": Policy(
        "Stage time: biological result of an implant load",
        "min",
        1440,
        Origin.PRACTICE,
        "24 to 48 h, rapid readers 20 min to 4 h: from memory, confirm locally",
    ),
    "preclean_benches": Policy("Trays that can be pre-cleaned at once", "", 2, Origin.OURS),
    "assembly_benches": Policy("Trays that can be assembled at once", "", 2, Origin.OURS),
    "opens_hour": Policy("Sterile services open at this full hour", "h", 0, Origin.OURS, below=24),
    "closes_hour": Policy("Sterile services close at this full hour (24: midnight)", "h", 24, Origin.OURS, below=25),
    "uses_per_tray": Policy("Cases of a day that one tray may serve, by the plan", "", 2, Origin.OURS),
    "weight_case": Policy("What a case counts in the plan when its trays are in time", "", 2, Origin.OURS, below=1001),
    "weight_implant": Policy("What a case with a planned implant counts", "", 3, Origin.OURS, below=1001),
    "plan_quiet_s": Policy("A day is planned anew when nothing has changed for", "s", 90, Origin.OURS),
    "plan_latest_s": Policy("A day that changes all the time is planned anew after", "s", 900, Origin.OURS),
}


def checked(name: str, value: object) -> PolicyValue:
    """The value if it suits the policy of that name.

    Args:
        name: a key of POLICIES.
        value: what the unit wants to set.

    Returns:
        The value, whole numbers widened to float where the default is a float.

    Raises:
        ValueError: unknown name, or a value of another type, below zero, or too great.
    """
    if name not in POLICIES:
        raise ValueError(f"Cannot set policy {name}: it is not known, must be one of {', '.join(POLICIES)}.")
    kind = type(POLICIES[name].default)
    widened = float(value) if kind is float and type(value) is int else value
    if type(widened) is not kind:
        raise ValueError(f"Cannot set policy {name}: it is {value!r}, must be of the kind {kind.__name__}.")
    if kind in (int, float) and widened < 0:  # type: ignore[operator]
        raise ValueError(f"Cannot set policy {name}: it is {value!r}, must be 0 or more.")
    below = POLICIES[name].below
    if below is not None and widened >= below:  # type: ignore[operator]
        raise ValueError(f"Cannot set policy {name}: it is {value!r}, must be below {below:g}.")
    return widened


def names() -> list[tuple[str, str]]:
    """The policies to choose from."""
    return [(name, name) for name in POLICIES]
