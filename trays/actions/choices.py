"""What a draft allows instead of a line's own part, and what it wants beside the barrels of a series."""

from __future__ import annotations

from instruments.models import Series
from journal.actions import Act, Done, action, reason_given
from journal.findings import Finding, Refused, stop, unknown
from trays.actions.drafts import draft_done, line_of, lock_draft, part_of_catalogue
from trays.changes import rule_words
from trays.companions import CompanionRule, SizeOf
from trays.limits import BAR, REASON, out_of_range
from trays.models import Substitute, TemplateLine
from trays.writer import write_rule


@action
def name_substitute(
    template: str, part: str, substitute: str, *, reason: str, rank: int | None = None, act: Act
) -> Done:
    """Name a part that may stand in for a line's own, with its rank and the reason; named again, change both."""
    draft = lock_draft(template, "name a substitute on", act)
    line, other = line_of(draft, part), part_of_catalogue(substitute)
    reason = reason_given(reason, "name a substitute for", line.part.name)
    others = list(line.substitutes.exclude(part=other))
    place = len(others) + 1 if rank is None else rank
    findings = [
        *_reason_facts(line, reason),
        *out_of_range("rank", place, (1, len(others) + 1), f"let {other.name} stand in on", str(draft)),
    ]
    if other.pk == line.part_id:
        sentence = f"Cannot let {other.name} stand in: it is the line's own part, must be another."
        findings.append(stop("own-part", other.code, sentence, "Choose another part."))
    if findings:
        raise Refused(*findings)
    row, _ = Substitute.objects.update_or_create(line=line, part=other, defaults={"reason": reason})
    _rank([*others[: place - 1], row, *others[place - 1 :]])
    return draft_done("name_substitute", draft, f"{other.name} may stand in for {line.part.name} on {draft}.")


def _reason_facts(line: TemplateLine, reason: str) -> tuple[Finding, ...]:
    if len(reason) <= REASON and BAR not in reason and reason.isprintable():
        return ()
    sentence = (
        f"Cannot name a substitute for {line.part.name}: its reason is “{reason[:40]}”, "
        f"must be at most {REASON} characters in one line, without a bar."
    )
    return (stop("reason-unfit", line.part.code, sentence, "Write a shorter or plainer reason."),)


def _rank(in_order: list[Substitute]) -> None:
    for rank, row in enumerate(in_order, start=1):
        row.rank = rank
    Substitute.objects.bulk_update(in_order, ["rank"])


@action
def drop_substitute(template: str, part: str, substitute: str, *, act: Act) -> Done:
    """A part may no longer stand in for a line's own."""
    draft = lock_draft(template, "drop a substitute on", act)
    line = line_of(draft, part)
    row = line.substitutes.select_related("part").filter(part__code=substitute).first()
    if row is None:
        sentence = f"Cannot drop {substitute} on {draft}: it may not stand in for {line.part.name}, it must."
        raise Refused(stop("no-substitute", substitute, sentence, "Look at the list as it is now."))
    row.delete()
    _rank(list(line.substitutes.all()))
    return draft_done(
        "drop_substitute", draft, f"{row.part.name} may no longer stand in for {line.part.name} on {draft}."
    )


@action
def set_series_rule(
    template: str, series: str, *, first: str = "", last: str = "", sheath: bool = True, seal: bool = True, act: Act
) -> Done:
    """Want the sheath and the seal of each barrel of a series that is present, or of each size of a range."""
    draft = lock_draft(template, "set a series rule on", act)
    family = Series.objects.filter(code=series).first()
    if family is None:
        raise Refused(unknown("series", series))
    sizes = [SizeOf(series, size.order, size.label) for size in family.sizes.order_by("order")]
    findings = _rule_facts(family, [size.label for size in sizes], first, last, wanted=sheath or seal)
    if findings:
        raise Refused(*findings)
    ends = [size.order for size in sizes if size.label in (first, last)]
    inside = tuple(size for size in sizes if ends and ends[0] <= size.order <= ends[-1])
    rule = CompanionRule(series, family.name, inside, sheath, seal)
    write_rule(draft, rule)
    return draft_done("set_series_rule", draft, f"{draft} wants, for {rule_words(rule)}.")


def _rule_facts(family: Series, labels: list[str], first: str, last: str, *, wanted: bool) -> tuple[Finding, ...]:
    known = all(end in labels for end in (first, last))
    if not wanted:
        sentence = f"Cannot set a rule for {family.name}: it wants nothing, must want the sheath, the seal or both."
        return (stop("rule-empty", family.code, sentence, "Choose at least one."),)
    if first or last:
        span = f"{first or 'nothing'} to {last or 'nothing'}"
        expected = f"must be two of {', '.join(labels)}, the smaller first"
        if not known or labels.index(first) > labels.index(last):
            sentence = f"Cannot set a rule for {family.name}: its range is {span}, {expected}."
            return (stop("range-unfit", family.code, sentence, "Choose both ends, or none for the barrels present."),)
    return ()


@action
def drop_series_rule(template: str, series: str, *, act: Act) -> Done:
    """The draft no longer wants companions of a series."""
    draft = lock_draft(template, "drop a series rule of", act)
    row = draft.series_rules.select_related("series").filter(series__code=series).first()
    if row is None:
        sentence = f"Cannot drop the rule for {series} on {draft}: it has none, must have one."
        raise Refused(stop("no-rule", series, sentence, "Look at the list as it is now."))
    row.delete()
    return draft_done("drop_series_rule", draft, f"{draft} no longer has a rule for {row.series.name}.")
