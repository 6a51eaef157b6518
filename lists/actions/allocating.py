"""Which tray, or which pack, is to serve a requirement."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, look, stop, unknown
from journal.roles import Right
from lists.models import Allocation, Case, CaseLine, Requirement
from lists.reads import suggestions
from lists.states import OPEN_CASES
from lists.writer import lock_case
from trays.models import Content, Pack, Tray
from trays.states import ENDED, PackState
from trays.writer import lock_pack, lock_packs

USELESS = ENDED | {PackState.QUARANTINED, PackState.RECALLED, PackState.EXPIRED}


@action
def allocate(requirement: int, *, tray: str = "", pack: str = "", reason: str = "", act: Act) -> Done:
    """Let a tray or a pack serve a requirement; in place of another only with a reason."""
    return _allocate(requirement, tray=tray, pack=pack, reason=reason, act=act)


def _locked(requirement: int) -> tuple[Requirement, Case]:
    """A requirement and its case; the case's row is locked and stands for all of its requirements."""
    code = Requirement.objects.filter(pk=requirement).values_list("case__code", flat=True).first()
    if code is None:
        raise Refused(unknown("requirement", str(requirement)))
    case = lock_case(code)
    return Requirement.objects.select_related("template", "part", "allocation").get(pk=requirement), case


def _allocate(requirement: int, *, tray: str, pack: str, reason: str, act: Act) -> Done:
    row, case = _locked(requirement)
    need(Right.PLAN, "allocate for", case.code, act)
    if bool(tray) == bool(pack):
        raise Refused(stop("tray-or-pack", case.code, f"Cannot allocate for {case.code}: name one tray or one pack."))
    chosen = _tray(tray) if tray else lock_pack(pack)
    held = Allocation.objects.filter(requirement=row).select_related("tray", "pack").first()
    if held is not None and chosen == held.chosen:
        return Done.of("allocate", case, f"{chosen.code} serves {row} of case {case.code} already.")
    if held is not None:
        reason = reason_given(reason, "allocate another for", case.code)
    facts = tuple(_tray_facts(row, chosen) if isinstance(chosen, Tray) else _pack_facts(row, chosen))
    if findings := (*_case_facts(case), *facts, *_same_case_facts(row, chosen)):
        raise Refused(*findings)
    fields = {"tray": chosen if tray else None, "pack": chosen if pack else None, "reason": reason}
    Allocation.objects.update_or_create(requirement=row, defaults=fields)
    evidence = {"requirement": row.pk, "chosen": chosen.code, "instead_of": held and held.chosen.code}
    write_line(CaseLine, case, "allocate", act, reason=reason, evidence=evidence)
    sentence = f"{chosen.name} {chosen.code} is to serve case {case.code}."
    return Done.of("allocate", case, sentence, findings=_shared(row, chosen))


def _tray(code: str) -> Tray:
    """A tray, not locked: it may be allocated more than once a day."""
    tray = Tray.objects.select_related("template").filter(code=code).first()
    if tray is None:
        raise Refused(unknown("tray", code))
    return tray


def _case_facts(case: Case) -> Iterator[Finding]:
    if case.state not in OPEN_CASES:
        yield stop(
            "wrong-state",
            case.code,
            f"Cannot allocate for {case.code}: it is {case.state}, must be planned or under way.",
            "Nothing was changed.",
        )


def _tray_facts(requirement: Requirement, tray: Tray) -> Iterator[Finding]:
    if requirement.template_id != tray.template_id:
        found = f"it is a {tray.template.name}, must be {requirement}."
        yield stop("wrong-kind", tray.code, f"Cannot allocate {tray.code}: {found}")
    if not tray.in_service:
        yield stop("not-in-service", tray.code, f"Cannot allocate {tray.code}: it is not in service, must be.")


def _pack_facts(requirement: Requirement, pack: Pack) -> Iterator[Finding]:
    suits = (
        pack.tray is not None and pack.tray.template_id == requirement.template_id
        if requirement.template_id
        else pack.tray_id is None and Content.objects.filter(pack=pack, piece__part=requirement.part_id).exists()
    )
    if not suits:
        yield stop("wrong-kind", pack.code, f"Cannot allocate {pack.code}: it is {pack.name}, must be {requirement}.")
    if pack.state in USELESS:
        yield stop("wrong-state", pack.code, f"Cannot allocate {pack.code}: it is {pack.state}, must be on its way.")
    other = Allocation.objects.filter(pack=pack, requirement__case__state__in=OPEN_CASES)
    for allocation in other.exclude(requirement__case=requirement.case_id).select_related("requirement__case"):
        holder = allocation.requirement.case.code
        found = f"it is to serve case {holder}, must be free."
        yield stop(
            "pack-taken", pack.code, f"Cannot allocate {pack.code}: {found}", "Free it there, or choose another."
        )


def _same_case_facts(requirement: Requirement, chosen: Tray | Pack) -> Iterator[Finding]:
    kind = "tray" if isinstance(chosen, Tray) else "pack"
    again = Allocation.objects.filter(requirement__case=requirement.case_id, **{kind: chosen})
    if again.exclude(requirement=requirement).exists():
        yield stop(
            "serves-this-case",
            chosen.code,
            f"Cannot allocate {chosen.code}: it serves this case already, must be free.",
        )


def _shared(requirement: Requirement, chosen: Tray | Pack) -> list[Finding]:
    """Other open cases that the same tray is to serve: it can, if it is back in time."""
    if isinstance(chosen, Pack):
        return []
    rows = Allocation.objects.filter(tray=chosen, requirement__case__state__in=OPEN_CASES)
    codes = rows.exclude(requirement=requirement).values_list("requirement__case__code", flat=True)
    return [
        look(
            "tray-shared",
            chosen.code,
            f"{chosen.name} is also to serve case {code}.",
            "Look at the list: it says when the set can be back.",
        )
        for code in codes
    ]


@action
def free(requirement: int, *, reason: str = "", act: Act) -> Done:
    """Take back what was allocated to a requirement."""
    row, case = _locked(requirement)
    need(Right.PLAN, "free the set of", case.code, act)
    held = Allocation.objects.filter(requirement=row).select_related("tray", "pack").first()
    if held is None:
        raise Refused(
            stop(
                "not-allocated",
                case.code,
                f"Cannot free {row} of {case.code}: nothing is allocated.",
                "Nothing to do.",
            )
        )
    chosen = held.chosen
    held.delete()
    write_line(CaseLine, case, "free", act, reason=reason, evidence={"requirement": row.pk, "freed": chosen.code})
    return Done.of("free", case, f"{chosen.code} no longer serves case {case.code}.", "Allocate another.")


@action
def allocate_list(day: date, *, theatre: str = "", act: Act) -> Done:
    """Give free sets to a day's requirements that have none, first come by start."""
    need(Right.PLAN, "allocate for", f"the lists of {day:%d-%b-%Y}", act)
    list(Case.objects.select_for_update(of=("self",), no_key=True).filter(list__day=day).order_by("pk"))
    rows = suggestions(day, at=act.at, theatre=theatre)
    lock_packs(row.pack for row in rows if row.pack)
    given = [row for row in rows if row.tray or row.pack]
    left = [row for row in rows if not (row.tray or row.pack)]
    for row in given:
        _allocate(row.requirement, tray=row.tray, pack=row.pack, reason="", act=act)
    findings = tuple(
        look(
            "nothing-free",
            row.case,
            f"Nothing is free for {row.wants} of case {row.case}.",
            "Swap, borrow or call for a loan.",
        ).as_dict()
        for row in left
    )
    sentence = f"{len(given)} allocated, {len(left)} left without."
    return Done("allocate_list", "list", 0, day.isoformat(), "", sentence, findings=findings)
