"""A day to be planned and its plan, as documents: read against the tables of their keys, and written."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict
from typing import Any

from journal.documents import Reader, listed, mapped, nullable, one_of, record, text, truth, whole
from lists.plans.calendars import Closed, Shift
from lists.plans.scenario import (
    GREATEST_WEIGHT,
    Batch,
    CaseDemand,
    Late,
    LateCase,
    Plan,
    PlannedCase,
    Scenario,
    Template,
    Tray,
    TrayState,
    Work,
)
from lists.plans.sites import LATEST_MIN, MOST, Site, Stage

NUMBER = whole(2**53)  # ids; beyond, JSON of other programs is no longer exact
POSITION = whole(MOST)
MINUTE = whole(LATEST_MIN)
COUNT = whole(MOST)
MINUTES = listed(MINUTE, most=MOST)

TEMPLATE = {
    "id": NUMBER,
    "preclean_min": MINUTE,
    "assemble_min": MINUTE,
    "programme": text,
    "implant": truth,
    "load_units": COUNT,
}
TRAY: dict[str, Reader] = {"id": NUMBER, "template": NUMBER, "site": POSITION, "state": one_of(TrayState)}
TRAY_MORE = {"free_at_min": nullable(MINUTE)}
CASE = {
    "id": NUMBER,
    "site": POSITION,
    "start_min": MINUTE,
    "duration_min": MINUTE,
    "weight": whole(GREATEST_WEIGHT),
    "accepts": listed(NUMBER),
}
CASE_MORE = {"together": nullable(NUMBER)}
SITE = {
    "preclean_benches": COUNT,
    "assembly_benches": COUNT,
    "washer_capacity": COUNT,
    "washers_free_at_min": MINUTES,
    "steriliser_capacity": COUNT,
    "sterilisers_free_at_min": MINUTES,
}
SPAN_OF_DAY = {"start_min": MINUTE, "end_min": MINUTE}
CLOSED = nullable(listed(listed(record(SPAN_OF_DAY)), most=MOST))
SHIFTS = nullable(listed(record({**SPAN_OF_DAY, "hands": COUNT}), most=MOST))
SITE_MORE = {
    "washers_closed": CLOSED,
    "sterilisers_closed": CLOSED,
    "preclean_shifts": SHIFTS,
    "assembly_shifts": SHIFTS,
}
SCENARIO = {
    "templates": listed(record(TEMPLATE)),
    "trays": listed(record(TRAY, TRAY_MORE)),
    "cases": listed(record(CASE, CASE_MORE)),
    "sites": listed(record(SITE, SITE_MORE), most=MOST),
    "washer_min": MINUTE,
    "programme_min": mapped(MINUTE),
    "cooling_min": MINUTE,
    "implant_hold_min": MINUTE,
    "move_same_site_min": MINUTE,
    "move_other_site_min": MINUTE,
    "prepare_min": MINUTE,
    "return_min": MINUTE,
    "uses_per_tray": COUNT,
}

SCENARIO_MORE = {"late_cases": truth}
LATER_MIN = whole(10 * LATEST_MIN)  # of a plan; a queue may end after the last minute that a day may name
TRAYS = listed(NUMBER, least=1)
SPAN = {"start_min": LATER_MIN, "end_min": LATER_MIN}
PLANNED_CASE = {
    "case": NUMBER,
    "tray": nullable(NUMBER),
    "ready_min": nullable(LATER_MIN),
    "deadline_min": whole(LATEST_MIN, least=-2 * LATEST_MIN),  # before midnight for a case right after it
    "on_time": truth,
    "why": nullable(text),
    "detail": nullable(text),
}
STEPS = {
    "batches": listed(
        record({"machine": POSITION, "stage": one_of([Stage.WASHER, Stage.STERILISER]), **SPAN, "trays": TRAYS})
    ),
    "work": listed(
        record({"tray": NUMBER, "stage": one_of([Stage.PRECLEAN, Stage.ASSEMBLY]), **SPAN}, {"place": POSITION})
    ),
}
PLAN = {
    "on_time_weight": NUMBER,
    "bound": NUMBER,
    "least_slack_min": nullable(MINUTE),
    "moves": NUMBER,
    "proven": truth,
    "cases": listed(record(PLANNED_CASE)),
    **STEPS,
}
LATE_MIN = whole(10 * LATEST_MIN, least=-LATEST_MIN)
LATE = {
    "cases": listed(
        record(
            {
                "case": NUMBER,
                "tray": NUMBER,
                "ready_min": LATER_MIN,
                "late_min": LATE_MIN,
            }
        )
    ),
    **STEPS,
}
PLAN_MORE = {"late": nullable(record(LATE))}


def read_scenario(document: object, name: str = "") -> Scenario:
    """The day that a document describes; `name` is what it goes by inside another.

    Raises:
        ValueError: the document cannot be read; the message is one sentence.
    """
    values = record(SCENARIO, SCENARIO_MORE)(document, name)
    return Scenario(
        **{
            **values,
            "templates": tuple(Template(**entry) for entry in values["templates"]),
            "trays": tuple(Tray(**{**entry, "state": TrayState(entry["state"])}) for entry in values["trays"]),
            "cases": tuple(CaseDemand(**{**entry, "accepts": tuple(entry["accepts"])}) for entry in values["cases"]),
            "sites": tuple(_site(entry) for entry in values["sites"]),
        }
    )


def read_plan(document: object, name: str = "") -> Plan:
    """The plan that a document describes, as `written_plan` writes it; `name` is what it goes by inside another.

    Raises:
        ValueError: the document cannot be read; the message is one sentence.
    """
    values = record(PLAN, PLAN_MORE)(document, name)
    return Plan(
        **{
            **values,
            "cases": tuple(PlannedCase(**entry) for entry in values["cases"]),
            **_read_steps(values),
            "late": None if values.get("late") is None else _read_late(values["late"]),
        }
    )


def written_plan(plan: Plan) -> dict[str, Any]:
    """The document of a plan; of late cases only where the day asks for them."""
    late: dict[str, Any] = {}
    if plan.late is not None:
        late = {"late": {"cases": [asdict(entry) for entry in plan.late.cases], **_written_steps(plan.late)}}
    return {
        **_said({**asdict(plan), "late": None}, ("late",)),
        "cases": [asdict(entry) for entry in plan.cases],
        **_written_steps(plan),
        **late,
    }


def written_scenario(scenario: Scenario) -> dict[str, Any]:
    """The document of a day."""
    plain = {name: getattr(scenario, name) for name in SCENARIO}
    lists = {name: [asdict(entry) for entry in plain[name]] for name in ("templates", "trays")}
    lists["cases"] = [_said(asdict(case), CASE_MORE) for case in scenario.cases]
    sites = [_written_site(site) for site in scenario.sites]
    more = {"late_cases": True} if scenario.late_cases else {}
    return {**plain, **lists, "sites": sites, "programme_min": dict(scenario.programme_min), **more}


def _read_steps(values: dict[str, Any]) -> dict[str, Any]:
    return {
        "batches": tuple(
            Batch(**{**entry, "stage": Stage(entry["stage"]), "trays": tuple(entry["trays"])})
            for entry in values["batches"]
        ),
        "work": tuple(Work(**{**entry, "stage": Stage(entry["stage"])}) for entry in values["work"]),
    }


def _read_late(values: dict[str, Any]) -> Late:
    return Late(cases=tuple(LateCase(**entry) for entry in values["cases"]), **_read_steps(values))


def _written_steps(plan: Plan | Late) -> dict[str, Any]:
    batches = [{**asdict(entry), "stage": str(entry.stage), "trays": list(entry.trays)} for entry in plan.batches]
    return {"batches": batches, "work": [_written_work(entry) for entry in plan.work]}


def _written_work(entry: Work) -> dict[str, Any]:
    return _said({**asdict(entry), "stage": str(entry.stage)}, ("place",))


def _site(entry: dict[str, Any]) -> Site:
    more: dict[str, Any] = {}
    for name in ("washers_closed", "sterilisers_closed"):
        if entry.get(name) is not None:
            more[name] = tuple(tuple(Closed(**span) for span in of) for of in entry[name])
    for name in ("preclean_shifts", "assembly_shifts"):
        if entry.get(name) is not None:
            more[name] = tuple(Shift(**shift) for shift in entry[name])
    return Site(**{**_tuples(entry), **dict.fromkeys(SITE_MORE), **more})


def _written_site(site: Site) -> dict[str, Any]:
    """What is not said of a site is left out."""
    values = asdict(site)
    return _said({name: values[name] for name in (*SITE, *SITE_MORE)}, SITE_MORE)


def _said(values: dict[str, Any], optional: Collection[str]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None or name not in optional}


def _tuples(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}
