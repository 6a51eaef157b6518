"""The rules of a plan, gone through one by one on the documents alone; nothing of the planning is used."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import Any

Document = dict[str, Any]
FULL = ["preclean", "washer", "assembly", "steriliser"]
LEFT = {
    "dirty": FULL, "on_loan": FULL, "in_washer": FULL[2:], "cleaned": FULL[2:], "packed": FULL[3:],
    "in_steriliser": [], "sterile": [], "quarantined": [],
}  # fmt: skip
SLUGS = {
    "no_tray_of_template", "all_quarantined", "bi_hold", "loan_return", "closed_time", "chain_too_long", "together",
    "trays_taken", "queue_preclean", "queue_washer", "queue_assembly", "queue_steriliser",
}  # fmt: skip


def check(day: Document, plan: Document) -> None:
    """Every rule of a day holds in its plan, and the figures are those of the plan."""
    trays = {tray["id"]: tray for tray in day["trays"]}
    templates = {template["id"]: template for template in day["templates"]}
    assert [entry["case"] for entry in plan["cases"]] == [case["id"] for case in day["cases"]]
    served = defaultdict(list)
    weight, moves, slacks = 0, 0, []
    for case, entry in zip(day["cases"], plan["cases"], strict=True):
        if not entry["on_time"]:
            assert entry["tray"] is None
            assert entry["ready_min"] is None
            assert entry["why"] in SLUGS
            assert entry["detail"].endswith(".")
            assert entry["deadline_min"] == case["start_min"] - day["prepare_min"] - day["move_same_site_min"]
            continue
        assert entry["why"] is None
        assert entry["detail"] is None
        tray = trays[entry["tray"]]
        assert tray["template"] in case["accepts"]
        other = tray["site"] != case["site"]
        move = day["move_other_site_min"] if other else day["move_same_site_min"]
        assert entry["deadline_min"] == case["start_min"] - day["prepare_min"] - move
        assert entry["ready_min"] <= entry["deadline_min"]
        slacks.append(entry["deadline_min"] - entry["ready_min"])
        weight += case["weight"]
        moves += other + (tray["template"] != case["accepts"][0])
        served[entry["tray"]].append((case["start_min"], case["id"], case, entry))
    assert plan["on_time_weight"] == weight <= plan["bound"] <= sum(case["weight"] for case in day["cases"])
    groups = defaultdict(set)
    for case, entry in zip(day["cases"], plan["cases"], strict=True):
        groups[case.get("together", f"alone {case['id']}")].add(entry["on_time"])
    assert all(len(outcomes) == 1 for outcomes in groups.values())
    _check_late(day, plan, trays, templates)
    assert plan["moves"] == moves
    assert plan["least_slack_min"] == (min(120, *slacks) if slacks else None)
    _check_stages(day, plan, trays, templates, served)


def _check_late(day: Document, plan: Document, trays: Document, templates: Document) -> None:
    """Late cases beside the others: nothing that the plan says is touched, and no bench or machine is used twice."""
    assert ("late" in plan) == day.get("late_cases", False)
    if "late" not in plan:
        return
    late, cases = plan["late"], {case["id"]: case for case in day["cases"]}
    on_time = {entry["case"]: entry["tray"] for entry in plan["cases"] if entry["on_time"]}
    assert not {entry["case"] for entry in late["cases"]} & set(on_time)
    assert len({entry["tray"] for entry in late["cases"]}) == len(late["cases"])
    loads: Any = defaultdict(list)
    for batch in [*plan["batches"], *late["batches"]]:
        site = trays[batch["trays"][0]]["site"]
        loads[site, batch["stage"], batch["machine"], batch["start_min"], batch["end_min"]] += batch["trays"]
    for (site, stage, machine, start, end), members in loads.items():
        kinds = [templates[trays[tray]["template"]] for tray in members]
        assert sum(kind["load_units"] for kind in kinds) <= day["sites"][site][f"{stage}_capacity"]
        assert stage == "washer" or len({kind["programme"] for kind in kinds}) == 1
        assert start >= day["sites"][site][f"{stage}s_free_at_min"][machine]
        for span in (day["sites"][site].get(f"{stage}s_closed") or {machine: []})[machine]:
            assert start == end or end <= span["start_min"] or span["end_min"] <= start
        for other in loads:
            if other != (site, stage, machine, start, end) and other[:3] == (site, stage, machine):
                assert other[4] <= start or end <= other[3]
    _check_benches(day, {"work": [*plan["work"], *late["work"]]}, trays)
    for entry in late["cases"]:
        case, tray = cases[entry["case"]], trays[entry["tray"]]
        assert tray["template"] in case["accepts"]
        uses = [cases[one] for one, number in on_time.items() if number == tray["id"]]
        assert len(uses) < day["uses_per_tray"]
        free = max((use["start_min"] + use["duration_min"] + day["return_min"] for use in uses), default=None)
        _check_late_way(day, entry, case, tray, templates[tray["template"]], late, free)


def _check_late_way(
    day: Document, entry: Document, case: Document, tray: Document, template: Document, late: Document, free: Any
) -> None:
    """The way of its tray, from where it is or from the last case that it serves on time."""
    hold = max(day["cooling_min"], day["implant_hold_min"]) if template["implant"] else day["cooling_min"]
    stages = LEFT[tray["state"]] if free is None else FULL
    minute = (tray.get("free_at_min") or 0) if free is None else free
    steps = [run for run in late["work"] if run["tray"] == tray["id"]]
    steps += [run for run in late["batches"] if tray["id"] in run["trays"]]
    assert [run["stage"] for run in sorted(steps, key=_order)] == stages
    length = {
        "preclean": template["preclean_min"],
        "washer": day["washer_min"],
        "assembly": template["assemble_min"],
        "steriliser": day["programme_min"][template["programme"]],
    }
    for run in sorted(steps, key=_order):
        assert run["start_min"] >= minute
        assert run["end_min"] == run["start_min"] + length[run["stage"]]
        minute = run["end_min"]
    wait = 0 if free is None and tray["state"] in {"sterile", "quarantined"} else hold
    assert entry["ready_min"] == minute + wait
    move = day["move_other_site_min"] if tray["site"] != case["site"] else day["move_same_site_min"]
    assert entry["late_min"] == entry["ready_min"] - (case["start_min"] - day["prepare_min"] - move)


def _check_stages(day: Document, plan: Document, trays: Document, templates: Document, served: Any) -> None:
    runs = defaultdict(list)
    for entry in plan["work"]:
        assert entry["stage"] in {"preclean", "assembly"}
        runs[entry["tray"]].append(entry)
    for batch in plan["batches"]:
        assert batch["stage"] in {"washer", "steriliser"}
        assert len(set(batch["trays"])) == len(batch["trays"]) > 0
        assert len({trays[tray]["site"] for tray in batch["trays"]}) == 1
        for tray in batch["trays"]:
            runs[tray].append(batch)
    assert set(runs) <= set(served)  # what nobody needs is not processed
    arrivals: dict[tuple[int, int], int] = {}  # of each tray at each bench and in each load
    for number, uses in served.items():
        tray, template = trays[number], templates[trays[number]["template"]]
        assert len(uses) <= day["uses_per_tray"]
        assert tray["state"] not in {"quarantined", "on_loan"} or tray.get("free_at_min") is not None
        _check_way(day, tray, template, uses, sorted(runs[number], key=_order), arrivals)
    _check_benches(day, plan, trays)
    _check_machines(day, plan, trays, templates, arrivals)


def _check_way(day: Document, tray: Document, template: Document, uses: Any, runs: Any, arrivals: Any) -> None:
    """One tray through the stages, once for each case."""
    hold = max(day["cooling_min"], day["implant_hold_min"]) if template["implant"] else day["cooling_min"]
    length = {
        "preclean": template["preclean_min"],
        "washer": day["washer_min"],
        "assembly": template["assemble_min"],
        "steriliser": day["programme_min"][template["programme"]],
    }
    minute, left = tray.get("free_at_min") or 0, LEFT[tray["state"]]
    wait = 0 if tray["state"] in {"sterile", "quarantined"} else hold
    todo = iter(runs)
    for _, _, case, entry in sorted(uses, key=lambda use: (use[0], use[3]["ready_min"])):
        for stage in left:
            run = next(todo)
            arrivals[id(run), tray["id"]] = minute
            assert run["stage"] == stage
            assert run["start_min"] >= minute
            assert run["end_min"] == run["start_min"] + length[stage]
            minute = run["end_min"]
        assert entry["ready_min"] == minute + wait
        minute, left, wait = case["start_min"] + case["duration_min"] + day["return_min"], FULL, hold
    assert next(todo, None) is None


def after_closing(closed: list[Document], minute: int, minutes: int) -> int:
    """The first minute from one on whence so many minutes are all open."""
    while any(span["start_min"] <= minute + step < span["end_min"] for step in range(minutes) for span in closed):
        minute += 1
    return minute


def _order(run: Document) -> tuple[int, int, int]:
    return run["start_min"], run["end_min"], FULL.index(run["stage"])


def _check_benches(day: Document, plan: Document, trays: Document) -> None:
    spans = defaultdict(list)
    for run in plan["work"]:
        spans[trays[run["tray"]]["site"], run["stage"]].append((run["start_min"], run["end_min"]))
    for (site, stage), runs in spans.items():
        benches = day["sites"][site][f"{stage}_benches"]
        assert benches > 0
        for minute, _ in runs:
            assert sum(start <= minute < end for start, end in runs) <= benches
    for run in plan["work"]:
        site = day["sites"][trays[run["tray"]]["site"]]
        shifts = site.get(f"{run['stage']}_shifts")
        assert ("place" in run) == (shifts is not None)
        if shifts is None:
            continue
        assert run["place"] < site[f"{run['stage']}_benches"]
        for minute in range(run["start_min"], run["end_min"]):
            hands = sum(shift["hands"] for shift in shifts if shift["start_min"] <= minute < shift["end_min"])
            assert run["place"] < hands, "nobody is at the place"
        for other in plan["work"]:
            same_place = (other["stage"], other.get("place")) == (run["stage"], run["place"])
            if other is not run and same_place and day["sites"][trays[other["tray"]]["site"]] is site:
                apart = other["end_min"] <= run["start_min"] or run["end_min"] <= other["start_min"]
                assert apart, "two at one place"


def _check_machines(day: Document, plan: Document, trays: Document, templates: Document, arrivals: Any) -> None:
    busy = defaultdict(list)
    for batch in plan["batches"]:
        site = trays[batch["trays"][0]]["site"]
        busy[site, batch["stage"], batch["machine"]].append(batch)
        kinds = [templates[trays[tray]["template"]] for tray in batch["trays"]]
        capacity = day["sites"][site][f"{batch['stage']}_capacity"]
        assert sum(kind["load_units"] for kind in kinds) <= capacity
        assert batch["stage"] == "washer" or len({kind["programme"] for kind in kinds}) == 1
    free_from = {"washer": "washers_free_at_min", "steriliser": "sterilisers_free_at_min"}
    for (site, stage, machine), batches in busy.items():
        free = day["sites"][site][free_from[stage]][machine]
        for batch in sorted(batches, key=_order):
            assert batch["start_min"] >= free
            last = max(arrivals[id(batch), tray] for tray in batch["trays"])
            closed = (day["sites"][site].get(f"{stage}s_closed") or {machine: []})[machine]
            minutes = batch["end_min"] - batch["start_min"]
            assert batch["start_min"] == after_closing(closed, max(free, last), minutes), "idle for nobody"
            free = batch["end_min"]
    machines = Counter((site, stage) for site, stage, _ in busy)
    assert all(count <= len(day["sites"][site][free_from[stage]]) for (site, stage), count in machines.items())
