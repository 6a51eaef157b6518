"""The one writer of a pack's state, how pieces enter and leave a pack, and how a version's list is written."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import F, Max

from instruments.models import Part, Piece, Series
from instruments.writer import lock_pieces, move_piece
from journal.actions import Act, locked, move
from journal.findings import Finding, Refused, unknown
from trays.companions import CompanionRule
from trays.matching import Wanted
from trays.models import (
    Carried,
    Pack,
    PackLine,
    SeriesRule,
    Substitute,
    Template,
    TemplateLine,
    TemplateVersion,
    Tray,
)
from trays.states import PACK_MOVES, VersionState

_ASIDE = 10_000  # far above the last place of any list


def lock_packs(codes: Iterable[str]) -> list[Pack]:
    """Packs of these codes, locked in key order.

    Raises:
        Refused: a code that no pack has.
    """
    wanted = set(codes)
    found = list(Pack.objects.select_for_update(of=("self",)).filter(code__in=wanted).order_by("pk"))
    missing = sorted(wanted - {pack.code for pack in found})
    if missing:
        raise Refused(*(unknown("pack", code) for code in missing))
    return found


def lock_pack(code: str) -> Pack:
    """One pack, locked."""
    return lock_packs([code])[0]


def lock_tray(code: str) -> Tray:
    """One tray, locked: its row stands for everything that lies on it.

    Raises:
        Refused: no tray has this code.
    """
    return locked(Tray.objects.select_related("template"), "tray", code)


def move_pack(
    pack: Pack,
    name: str,
    act: Act,
    *,
    facts: Iterable[Finding] = (),
    reason: str = "",
    evidence: dict[str, Any] | None = None,
    **fields: Any,
) -> None:
    """Move a locked pack along its state table.

    Raises:
        Refused: the rule says no; nothing is written.
    """
    move(pack, PACK_MOVES[name], PackLine, act, facts=facts, reason=reason, evidence=evidence, **fields)


def carried_pieces(pack: Pack) -> list[Piece]:
    """The pieces a pack still carries, locked in key order."""
    return lock_pieces(Carried.objects.filter(pack=pack).values_list("piece__code", flat=True))


def give_up(pieces: Iterable[Piece], name: str, act: Act, *, reason: str = "", **fields: Any) -> None:
    """Pieces leave their pack by one move each, as a consequence of what happened to the pack."""
    for piece in pieces:
        move_piece(piece, name, act, reason=reason, follows=True, **fields)
        Carried.objects.filter(piece=piece).delete()


def lock_template(code: str) -> Template:
    """One template, locked: its row stands for its versions and for what its draft holds.

    Raises:
        Refused: no template has this code.
    """
    return locked(Template.objects.all(), "template", code)


def new_draft(template: Template, wanted: Wanted | None = None) -> TemplateVersion:
    """The next version of a locked template, with the list given, or an empty one."""
    newest = template.versions.aggregate(newest=Max("number"))["newest"] or 0
    draft = TemplateVersion.objects.create(template=template, number=newest + 1)
    if wanted is not None:
        write_list(draft, wanted)
    return draft


def write_list(draft: TemplateVersion, wanted: Wanted) -> None:
    """Lines, substitutes and series rules of an empty draft; the codes are those of the catalogue."""
    codes = {code for line in wanted.lines for code in line.ranks}
    parts = {part.code: part for part in Part.objects.filter(code__in=codes)}
    lines = TemplateLine.objects.bulk_create(
        TemplateLine(
            version=draft,
            position=line.position,
            part=parts[line.part_code],
            quantity=line.quantity,
            essential=line.essential,
        )
        for line in wanted.lines
    )
    Substitute.objects.bulk_create(
        Substitute(line=row, part=parts[other.part_code], rank=rank, reason=other.reason)
        for row, line in zip(lines, wanted.lines, strict=True)
        for rank, other in enumerate(line.substitutes, start=1)
    )
    for rule in wanted.rules:
        write_rule(draft, rule)


def write_rule(draft: TemplateVersion, rule: CompanionRule) -> None:
    """A series rule of a draft, in the place of the one that it has for the series."""
    orders = [size.order for size in rule.sizes]
    values = {
        "first_order": orders[0] if orders else None,
        "last_order": orders[-1] if orders else None,
        "wants_sheath": rule.wants_sheath,
        "wants_seal": rule.wants_seal,
    }
    series = Series.objects.get(code=rule.series)
    SeriesRule.objects.update_or_create(version=draft, series=series, defaults=values)


def empty_list(draft: TemplateVersion) -> None:
    """Take everything off a draft."""
    draft.lines.all().delete()
    draft.series_rules.all().delete()


def number_lines(draft: TemplateVersion, in_order: Iterable[int]) -> None:
    """Give the lines of a draft the places from 1 in this order of their keys.

    They step aside first: no two lines hold one place at any moment.
    """
    rows = {row.pk: row for row in draft.lines.all()}
    draft.lines.update(position=F("position") + _ASIDE)
    for place, key in enumerate(in_order, start=1):
        rows[key].position = place
    TemplateLine.objects.bulk_update(rows.values(), ["position"])


def put_in_force(
    template: Template, draft: TemplateVersion, *, note: str, proof: Iterable[Finding], act: Act
) -> TemplateVersion:
    """The draft is published; the version in force until now is superseded."""
    template.versions.filter(state=VersionState.PUBLISHED).update(state=VersionState.SUPERSEDED)
    draft.state, draft.note, draft.published_at, draft.published_by = VersionState.PUBLISHED, note, act.at, act.by
    draft.proof = [finding.as_dict() for finding in proof]
    draft.save(update_fields=["state", "note", "published_at", "published_by", "proof"])
    return draft
