"""Applying what would help a case that is not ready, through the verbs that any person has, and undoing it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from textwrap import shorten
from typing import Any

from django.utils import timezone

from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, stop
from journal.roles import Right, Role
from journal.telling import Concern, tell
from lists.actions.allocating import allocate, free
from lists.actions.planning import move_case
from lists.changes import ASKED, ON_LOAN, Candidate, Change, Way, Who
from lists.models import Allocation, Case, CaseLine, Requirement
from lists.readiness import CaseReadiness
from lists.reads import applied_fixes, day_needs, facts_to_change, fixes_of
from lists.remedies import Remedy, remedies
from lists.states import OPEN_CASES, Readiness
from lists.writer import lock_case
from trays.models import Tray

Step = dict[str, Any]
"""What was changed, so that it can be changed back: {"requirement" or "case", "was", "now"}."""
LONGEST_REASON = 200
TOPIC = "fixes"
SEEN_BY = {
    Who.HANDS: (Role.TECHNICIAN, "Asked of sterile services", "Sterile services see"),
    Who.OUTSIDE: (Role.COORDINATOR, "Asked of the coordinators", "The coordinators see"),
}
"""Whose notice an asking is, how it is told, and who sees it."""


@action
def apply_fix(case: str, fix_key: str, *, act: Act) -> Done:
    """Apply one of the fixes that are offered for a case; refused when it would no longer do what was shown.

    What the plan alone makes is made: sets are allocated, cases are moved. What takes hands is asked of sterile
    services, and the set is the case's from then on; what comes from elsewhere is for the coordinators to call for.
    What a person has to decide is refused: it is done where it is decided.
    """
    row, fix, before = _offered(case, fix_key, act)
    candidate = fix.candidate
    steps = _make(candidate.change, candidate.sentence, act)
    if candidate.who not in ASKED:
        _keep_promise(row, fix, act)
    told = {
        "asked" if candidate.who in ASKED else "fix": candidate.sentence,
        "way": candidate.way,
        "who": candidate.who,
    }
    write_line(CaseLine, row, "apply_fix", act, evidence={**told, "fix_key": fix_key, "undo": steps})
    for other in _others(steps, row):
        write_line(CaseLine, other, "apply_fix", act, evidence={"fix": candidate.sentence, "case": row.code})
    if candidate.who in ASKED:
        tell(TOPIC, asked_fixes(act.at), at=act.at)
        _, word, who = SEEN_BY[candidate.who]
        rest = f"{who} it on their page of notices; the verdict changes when it is done."
        return Done.of("apply_fix", row, f"{word} for case {row.code}: {candidate.sentence}", rest)
    after = f"Case {row.code} was {str(before.verdict).lower()} and is {fix.after.words.lower()}."
    return Done.of("apply_fix", row, f"{after} {candidate.sentence}", _costs(fix))


def asked_fixes(at: datetime) -> Iterator[Concern]:
    """What is asked of sterile services or called for: until its case is ready, over, or the asking is undone.

    It is told as it is now: the pieces that complete a tray may be others than when it was asked.
    """
    cases = Case.objects.filter(state__in=OPEN_CASES, list__day__gte=timezone.localdate(at)).select_related("list")
    applied = applied_fixes(cases.filter(lines__verb="apply_fix").distinct())
    asked = {
        case.code: (case, lines)
        for case in cases
        if (lines := [line for line in applied.get(case.pk, ()) if line.evidence.get("asked")])
    }
    for day in sorted({case.list.day for case, _ in asked.values()}):
        codes = [code for code, (case, _) in asked.items() if case.list.day == day]
        for code, found in fixes_of(day_needs(day, at=at), only=codes).items():
            if found.cause is not None:
                now = {row.key.rpartition(".")[0]: row.candidate for row in found.ranked}
                for line in asked[code][1]:
                    yield _asking(asked[code][0], line, now.get(line.evidence["fix_key"].rpartition(".")[0]))


def _asking(case: Case, line: CaseLine, now: Candidate | None) -> Concern:
    """One asking as a notice; `now` is the same change as it would be made now."""
    evidence: dict[str, Any] = line.evidence
    start = timezone.localtime(case.starts_at)
    key = evidence["fix_key"].rpartition(".")[0]
    way, *about = key.split(".")
    role, *_ = SEEN_BY[Who(evidence.get("who", Who.HANDS))]
    links = {Way.BORROW: f"/lists/{case.list.day.isoformat()}/complete/", Way.LOAN: f"/cases/{case.code}/"}
    return Concern(
        cause=f"fix:{case.code}:{key}",
        role=role,
        sentence=f"Case {case.code}, {start:%a %d-%b-%Y %H:%M}: {now.sentence if now else evidence['asked']}",
        remedy=f"Asked by {line.person}.",
        link=links.get(Way(way), f"/find/?q={about[-1]}"),
    )


def _offered(case: str, fix_key: str, act: Act) -> tuple[Case, Remedy, CaseReadiness]:
    """The case and the fix as it stands now, behind the locks of every case of the day."""
    row = lock_case(case)
    need(Right.PLAN, "apply a fix to", row.code, act)
    _lock_day(row)
    day = facts_to_change(day_needs(row.list.day, at=act.at))
    judged = day.judged()
    ranked = remedies(day, row.code, judged) if row.code in judged else ()
    fix = next((one for one in ranked if one.key == fix_key), None)
    if fix is None:
        raise Refused(_stale(row, fix_key, ranked, judged))
    if fix.candidate.who is Who.PERSON:
        sentence = f"Cannot apply the fix to {row.code}: it is for a person to decide, must be made by one."
        raise Refused(stop("fix-to-decide", row.code, sentence, fix.candidate.sentence))
    return row, fix, judged[row.code]


def _lock_day(case: Case) -> None:
    """Every case of the day: nobody allocates for one or moves one while the day is judged."""
    list(Case.objects.select_for_update(of=("self",), no_key=True).filter(list__day=case.list.day).order_by("pk"))


def _stale(case: Case, key: str, ranked: tuple[Remedy, ...], judged: Mapping[str, CaseReadiness]) -> Finding:
    """What is otherwise than it was when the fix was shown."""
    head = f"Cannot apply the fix to {case.code}: "
    same = next((one for one in ranked if one.key.rpartition(".")[0] == key.rpartition(".")[0]), None)
    if same is not None:
        now = f"{same.after.words.lower()}{'; ' + _costs(same).rstrip('.') if same.costs else ''}"
        found = f"it would now do something else than was shown: case {case.code} would be {now}."
    elif case.code in judged:
        found = f"it is no longer a fix: the case is {judged[case.code].words.lower()} now."
    else:
        found = f"the case is {case.state} now, must be on the list."
    return stop("fix-stale", case.code, f"{head}{found}", "Look at the fixes that there are now. Nothing was changed.")


def _costs(fix: Remedy) -> str:
    words = "; ".join(cost.words for cost in fix.costs)
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _make(change: Change, reason: str, act: Act) -> list[Step]:
    """Allocate and move through the common verbs; what was there before is kept."""
    inner = replace(act, key="")
    steps: list[Step] = []
    for requirement, code in change.chosen:
        if code.startswith(ON_LOAN):
            continue
        held = Allocation.objects.filter(requirement=requirement).select_related("tray", "pack").first()
        now = _as_step(code)
        if _held(held) == now:
            continue
        steps.append({"requirement": requirement, "was": _held(held), "now": now})
        allocate(requirement, **now, reason=shorten(reason, LONGEST_REASON), act=inner)
    for case, starts_at in change.starts:
        was = Case.objects.get(code=case).starts_at
        steps.append({"case": case, "was": was.isoformat(), "now": starts_at.isoformat()})
        move_case(case, starts_at, act=inner)
    return steps


def _as_step(code: str) -> dict[str, str]:
    return {"tray" if Tray.objects.filter(code=code).exists() else "pack": code}


def _held(held: Allocation | None) -> dict[str, str]:
    return {} if held is None else {"tray" if held.tray_id else "pack": held.chosen.code}


def _keep_promise(case: Case, fix: Remedy, act: Act) -> None:
    """The day is judged again as it was written: every case must be what was said of it, or nothing is changed."""
    day = facts_to_change(day_needs(case.list.day, at=act.at))
    found: dict[str, Readiness] = {code: row.verdict for code, row in day.judged().items()}
    for code, promised in fix.promised.items():
        if found.get(code) != promised:
            is_now = str(found.get(code, "not on the list")).lower()
            sentence = f"Cannot apply the fix to {case.code}: with it case {code} is {is_now}, "
            raise Refused(
                stop(
                    "fix-not-kept",
                    case.code,
                    f"{sentence}must be {str(promised).lower()}.",
                    "Choose another. Nothing was changed.",
                )
            )


def _others(steps: list[Step], case: Case) -> Iterator[Case]:
    """The other cases that were touched."""
    requirements = [step["requirement"] for step in steps if "requirement" in step]
    codes = {step["case"] for step in steps if "case" in step}
    codes |= set(Requirement.objects.filter(pk__in=requirements).values_list("case__code", flat=True))
    yield from Case.objects.filter(code__in=codes).exclude(pk=case.pk).order_by("pk")


@action
def undo_fix(case: str, *, act: Act) -> Done:
    """Undo the last fix that was applied to a case; refused when what it changed has been changed since."""
    row = lock_case(case)
    need(Right.PLAN, "undo the fix of", row.code, act)
    _lock_day(row)
    line = next(reversed(applied_fixes([row]).get(row.pk, ())), None)
    if line is None:
        sentence = f"Cannot undo the fix of {row.code}: none is applied."
        raise Refused(stop("no-fix", row.code, sentence, "Nothing to do."))
    evidence: dict[str, Any] = line.evidence
    steps: list[Step] = evidence["undo"]
    words = evidence.get("fix") or evidence["asked"]
    if changed := [finding for step in steps for finding in _changed_since(step, row)]:
        raise Refused(*changed)
    for step in reversed(steps):
        _take_back(step, f"undone: {words}", replace(act, key=""))
    write_line(CaseLine, row, "undo_fix", act, evidence={"fix": words, "line": line.pk})
    tell(TOPIC, asked_fixes(act.at), at=act.at)
    for other in _others(steps, row):
        write_line(CaseLine, other, "undo_fix", act, evidence={"fix": words, "case": row.code})
    return Done.of("undo_fix", row, f"Undone for case {row.code}: {words}", "Look at its fixes again.")


def _changed_since(step: Step, case: Case) -> Iterator[Finding]:
    if "case" in step:
        at = Case.objects.get(code=step["case"]).starts_at, datetime.fromisoformat(step["now"])
        found, wanted = (f"{timezone.localtime(moment):%a %d-%b-%Y %H:%M}" for moment in at)
        what = f"case {step['case']} starts"
    else:
        held = Allocation.objects.filter(requirement=step["requirement"]).select_related("tray", "pack").first()
        found, wanted = ("".join(chosen.values()) or "nothing" for chosen in (_held(held), step["now"]))
        what = "what serves it is"
    if found != wanted:
        sentence = f"Cannot undo the fix of {case.code}: {what} {found}, must still be {wanted}."
        yield stop("fix-changed-since", case.code, sentence, "Change it by hand. Nothing was changed.")


def _take_back(step: Step, reason: str, act: Act) -> None:
    if "case" in step:
        move_case(step["case"], datetime.fromisoformat(step["was"]), act=act)
    elif step["was"]:
        allocate(step["requirement"], **step["was"], reason=shorten(reason, LONGEST_REASON), act=act)
    else:
        free(step["requirement"], reason=shorten(reason, LONGEST_REASON), act=act)
