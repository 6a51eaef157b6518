"""What low-temperature programmes allow into their loads: the limits of lumens, weight, dryness and wraps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from instruments.models import LumenLimit, LumenMaterial, Programme, ProgrammeKind
from journal.actions import Act, Done, action, need, reason_given
from journal.findings import Finding, Refused, stop, unknown
from journal.roles import Right
from reprocessing.low_temperature import ANY
from reprocessing.low_temperature import LumenLimit as Limit
from reprocessing.writer import line_on_each


@action
def limit_loads(
    programme: str,
    *,
    most_load_g: int | None = None,
    dry_only: bool = False,
    no_cellulose: bool = False,
    source: str,
    act: Act,
) -> Done:
    """Say what a low-temperature programme asks of its loads: at most so heavy, dry only, no wrap with cellulose."""
    row, source = _programme(programme, source, act)
    if most_load_g is not None and most_load_g < 1:
        sentence = f"Cannot limit {row.name}: the mass of a load is {most_load_g} g, must be above 0."
        raise Refused(stop("no-mass", row.code, sentence, "Give another mass, or none."))
    row.most_load_g, row.dry_only, row.no_cellulose = most_load_g, dry_only, no_cellulose
    row.save(update_fields=["most_load_g", "dry_only", "no_cellulose"])
    evidence = {"most_load_g": most_load_g, "dry_only": dry_only, "no_cellulose": no_cellulose}
    return _done("limit_loads", row, f"The limits of loads of {row.name} are set.", act, evidence, source)


@action
def limit_lumens(
    programme: str,
    material: str,
    *,
    least_inner_mm: float,
    most_length_mm: float,
    most_count: int | None = None,
    source: str,
    act: Act,
) -> Done:
    """Enter lumens that a low-temperature programme reaches; with one such row it reaches none that lies in no row."""
    row, source = _programme(programme, source, act)
    facts = list(_limit_facts(row, material, least_inner_mm, most_length_mm, most_count))
    same = {"material": material, "least_inner_mm": least_inner_mm, "most_length_mm": most_length_mm}
    if not facts and row.lumen_limits.filter(**same).exists():
        sentence = f"Cannot limit {row.name}: this limit is entered already, must be new."
        facts.append(stop("limit-known", row.code, sentence, "Drop it first to change its number."))
    if facts:
        raise Refused(*facts)
    made = LumenLimit.objects.create(programme=row, most_count=most_count, source=source, **same)
    evidence = {"lumen_limit": made.pk, **same, "most_count": most_count}
    return _done("limit_lumens", row, f"{row.name} reaches lumens of {made}.", act, evidence, source)


def _limit_facts(
    row: Programme, material: str, least_inner_mm: float, most_length_mm: float, most_count: int | None
) -> Iterator[Finding]:
    if material not in (*LumenMaterial, ANY):
        wanted = ", ".join((*LumenMaterial, ANY))
        sentence = f"Cannot limit {row.name}: the material is {material}, must be one of {wanted}."
        yield stop("material-unknown", row.code, sentence, "Choose one of them.")
    try:
        Limit(material or ANY, least_inner_mm, most_length_mm, most_count)
    except ValueError as wrong:
        said = f"from {least_inner_mm:g} mm wide, to {most_length_mm:g} mm long, number {most_count}"
        sentence = f"Cannot limit {row.name}: the limit is {said}, must be one. {wrong}"
        yield stop("no-limit", row.code, sentence, "Look at the maker's instructions.")


@action
def drop_lumen_limit(limit: int, *, reason: str, act: Act) -> Done:
    """Take a limit of lumens back; without any the programme restricts no lumen."""
    found = LumenLimit.objects.select_related("programme").select_for_update(of=("self",)).filter(pk=limit).first()
    if found is None:
        raise Refused(unknown("limit of lumens", str(limit)))
    row, reason = _programme(found.programme.code, reason, act)
    evidence = {"lumen_limit": found.pk, "was": str(found)}
    found.delete()
    return _done(
        "drop_lumen_limit", row, f"The limit {evidence['was']} of {row.name} is dropped.", act, evidence, reason
    )


def _programme(code: str, reason: str, act: Act) -> tuple[Programme, str]:
    """The programme, locked, and where its limit comes from.

    Raises:
        Refused: the right or the reason is missing, or it is no low-temperature programme.
    """
    need(Right.MASTER, "limit", code, act)
    row = Programme.objects.select_for_update().filter(code=code).first()
    if row is None:
        raise Refused(unknown("programme", code))
    if row.kind != ProgrammeKind.LOW_TEMPERATURE:
        sentence = f"Cannot limit {row.name}: it is a {row.kind} programme, must be a low-temperature one."
        raise Refused(stop("no-low-temperature", row.code, sentence, "Choose another programme."))
    return row, reason_given(reason, "limit", row.name)


def _done(verb: str, row: Programme, sentence: str, act: Act, evidence: dict[str, Any], reason: str) -> Done:
    said = {"programme": row.code, **evidence}
    line_on_each(row.machines.order_by("pk"), verb, act, evidence=said, reason=reason)
    return Done(verb, "programme", row.pk, row.code, "", sentence, "Confirm it locally.")
