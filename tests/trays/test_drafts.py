"""The draft of a template's next version: written line by line, thrown away, taken from a table, published."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from instruments.models import Part, PartKind
from journal.actions import Done
from journal.findings import Refused
from journal.roles import Role
from tests import makers
from tests.makers import act, refused
from trays import actions
from trays.changes import fingerprint
from trays.imports import export_lists
from trays.models import SeriesRule, Substitute, Template, TemplateLine, TemplateVersion
from trays.reads import published_version, wanted

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def draft_of(template: Template) -> TemplateVersion:
    return template.versions.get(state="draft")


def opened(*parts: Part) -> Template:
    """A template with a draft that is a copy of its list."""
    template = makers.template(*parts)
    actions.start_draft(template.code, act=act())
    return template


def codes(template: Template) -> list[str]:
    return list(draft_of(template).lines.values_list("part__code", flat=True))


# Opening and throwing away


def test_a_draft_is_a_copy_of_the_list_in_force() -> None:
    family = makers.series()
    barrel, other = makers.part(PartKind.BARREL, size=makers.size(family, "5.0")), makers.part()
    template = makers.template(
        makers.line(barrel, 2, essential=False, substitutes=[other]), rules=[makers.rule(family, "5.0", "5.5")]
    )
    done = actions.start_draft(template.code, act=act())
    assert (done.kind, done.mark, done.state) == ("template", template.code, "draft")
    assert wanted(draft_of(template)) == wanted(published_version(template))
    assert refused(lambda: actions.start_draft(template.code, act=act())) == ["draft-open"]


def test_a_draft_may_begin_empty_and_is_thrown_away() -> None:
    template = makers.template()
    actions.start_draft(template.code, empty=True, act=act())
    assert not draft_of(template).lines.exists()
    actions.discard_draft(template.code, act=act())
    assert list(template.versions.values_list("number", "state")) == [(1, "published")]
    assert refused(lambda: actions.discard_draft(template.code, act=act())) == ["no-draft"]


def test_a_new_template_has_an_empty_draft() -> None:
    actions.enter_template(" NEW-1 ", name="New tray", act=act())
    template = Template.objects.get(code="NEW-1")
    assert draft_of(template).number == 1
    assert refused(lambda: actions.enter_template("new-1", name="Again", act=act())) == ["template-there"]
    assert refused(lambda: actions.enter_template("a/b", name="", act=act())) == ["code-unfit", "name-unfit"]
    actions.discard_draft("NEW-1", act=act())
    assert "empty" in actions.start_draft("NEW-1", act=act()).sentence


# Lines


def test_a_line_is_added_at_its_place_changed_moved_and_removed() -> None:
    one, two, three = makers.part(), makers.part(), makers.part()
    template = opened(one, two)
    actions.add_line(template.code, three.code, quantity=2, essential=False, position=1, act=act())
    assert codes(template) == [three.code, one.code, two.code]
    actions.change_line(template.code, three.code, quantity=4, essential=True, act=act())
    line = draft_of(template).lines.get(part=three)
    assert (line.quantity, line.essential, line.position) == (4, True, 1)
    actions.move_line(template.code, three.code, to=3, act=act())
    assert codes(template) == [one.code, two.code, three.code]
    actions.remove_line(template.code, one.code, act=act())
    assert list(draft_of(template).lines.values_list("part__code", "position")) == [(two.code, 1), (three.code, 2)]
    actions.add_line(template.code, one.code, act=act())
    assert codes(template)[-1] == one.code


def test_what_a_draft_cannot_hold_is_refused_and_leaves_it_as_it_was() -> None:
    one, two = makers.part(), makers.part()
    template = opened(one, two)
    before = wanted(draft_of(template))
    code = template.code
    calls: list[tuple[Any, list[str]]] = [
        (lambda: actions.add_line(code, one.code, act=act()), ["line-there"]),
        (lambda: actions.add_line(code, "NONE", act=act()), ["unknown-code"]),
        (lambda: actions.add_line(code, makers.part().code, quantity=0, act=act()), ["quantity-out-of-range"]),
        (lambda: actions.add_line(code, makers.part().code, position=9, act=act()), ["place-out-of-range"]),
        (
            lambda: actions.change_line(code, one.code, quantity=51, essential=True, act=act()),
            ["quantity-out-of-range"],
        ),
        (lambda: actions.change_line(code, "NONE", quantity=1, essential=True, act=act()), ["no-line"]),
        (lambda: actions.remove_line(code, "NONE", act=act()), ["no-line"]),
        (lambda: actions.move_line(code, one.code, to=3, act=act()), ["place-out-of-range"]),
    ]
    for call, slugs in calls:
        assert refused(call) == slugs
    assert wanted(draft_of(template)) == before


# Substitutes and rules


def test_substitutes_have_a_rank_and_a_reason() -> None:
    one, two, three = makers.part(), makers.part(), makers.part()
    template = opened(one)
    code = template.code
    actions.name_substitute(code, one.code, two.code, reason="as good", act=act())
    actions.name_substitute(code, one.code, three.code, reason="better", rank=1, act=act())
    row = Substitute.objects.filter(line__version=draft_of(template))
    assert list(row.values_list("part__code", "rank", "reason")) == [
        (three.code, 1, "better"),
        (two.code, 2, "as good"),
    ]
    actions.name_substitute(code, one.code, two.code, reason="in short supply", rank=1, act=act())
    assert list(row.values_list("part__code", "rank")) == [(two.code, 1), (three.code, 2)]
    actions.drop_substitute(code, one.code, two.code, act=act())
    assert list(row.values_list("part__code", "rank")) == [(three.code, 1)]


def test_what_cannot_stand_in_is_refused() -> None:
    one, two = makers.part(), makers.part()
    code = opened(one).code

    def name(**given: Any) -> list[str]:
        values = {"part": one.code, "substitute": two.code, "reason": "as good", **given}
        return refused(lambda: actions.name_substitute(code, **values, act=act()))

    assert name(substitute=one.code) == ["own-part"]
    assert name(reason=" ") == ["reason-missing"]
    assert name(reason="this | that") == ["reason-unfit"]
    assert name(reason="x" * 201) == ["reason-unfit"]
    assert name(rank=2) == ["rank-out-of-range"]
    assert name(substitute="NONE") == ["unknown-code"]
    assert refused(lambda: actions.drop_substitute(code, one.code, two.code, act=act())) == ["no-substitute"]
    assert not Substitute.objects.exists()


def test_a_series_rule_is_set_for_the_barrels_present_or_a_range() -> None:
    family, template = makers.series(), opened(makers.part())
    actions.set_series_rule(template.code, family.code, act=act())
    done = actions.set_series_rule(template.code, family.code, first="5.0", last="5.5", seal=False, act=act())
    assert "each size of Adult from 5.0 to 5.5: its sheath" in done.sentence
    row = SeriesRule.objects.get(version=draft_of(template))
    assert (row.first_order, row.last_order, row.wants_sheath, row.wants_seal) == (1, 2, True, False)
    actions.drop_series_rule(template.code, family.code, act=act())
    assert not SeriesRule.objects.exists()


def test_a_rule_that_says_nothing_is_refused() -> None:
    family, code = makers.series(), opened(makers.part()).code

    def rule(**given: Any) -> list[str]:
        return refused(lambda: actions.set_series_rule(code, **{"series": family.code, **given}, act=act()))

    assert rule(series="NONE") == ["unknown-code"]
    assert rule(sheath=False, seal=False) == ["rule-empty"]
    assert rule(first="5.0") == ["range-unfit"]
    assert rule(first="5.0", last="9.9") == ["range-unfit"]
    assert rule(first="6.0", last="5.0") == ["range-unfit"]
    assert refused(lambda: actions.drop_series_rule(code, family.code, act=act())) == ["no-rule"]


# Who, and what is frozen


def test_every_verb_takes_the_right_to_master_data_and_a_draft() -> None:
    one, template = makers.part(), makers.template()
    nurse = act(makers.person(Role.NURSE))
    verbs: list[Any] = [
        lambda by: actions.discard_draft(template.code, act=by),
        lambda by: actions.add_line(template.code, one.code, act=by),
        lambda by: actions.change_line(template.code, one.code, quantity=1, essential=True, act=by),
        lambda by: actions.remove_line(template.code, one.code, act=by),
        lambda by: actions.move_line(template.code, one.code, to=1, act=by),
        lambda by: actions.name_substitute(template.code, one.code, one.code, reason="x", act=by),
        lambda by: actions.drop_substitute(template.code, one.code, one.code, act=by),
        lambda by: actions.set_series_rule(template.code, "X", act=by),
        lambda by: actions.drop_series_rule(template.code, "X", act=by),
        lambda by: actions.publish_version(template.code, note="x", act=by),
    ]
    for verb in verbs:
        assert refused(lambda verb=verb: verb(nurse)) == ["right-missing"]  # type: ignore[misc]
        assert refused(lambda verb=verb: verb(act())) == ["no-draft"]  # type: ignore[misc]
    assert refused(lambda: actions.start_draft(template.code, act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.import_draft(template.code, table="", act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.enter_template("X", name="X", act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.start_draft("NONE", act=act())) == ["unknown-code"]


def frozen_rows() -> list[Any]:
    family, other = makers.series(), makers.part()
    template = makers.template(makers.line(makers.part(), substitutes=[other]), rules=[makers.rule(family)])
    version = published_version(template)
    line = version.lines.get()
    return [version, line, line.substitutes.get(), version.series_rules.get()]


def test_a_published_version_is_frozen_in_the_database() -> None:
    version, line, substitute, rule = frozen_rows()
    changes: list[Any] = [
        lambda: TemplateVersion.objects.filter(pk=version.pk).update(note="other"),
        lambda: TemplateVersion.objects.filter(pk=version.pk).update(state="draft"),
        lambda: TemplateVersion.objects.create(
            template=makers.template(), number=9, state="superseded", published_at=makers.AT
        ),
        lambda: TemplateLine.objects.filter(pk=line.pk).update(quantity=9),
        lambda: TemplateLine.objects.create(version=version, position=9, part=makers.part()),
        lambda: Substitute.objects.filter(pk=substitute.pk).update(rank=9),
        lambda: Substitute.objects.create(line=line, part=makers.part(), reason="x"),
        lambda: SeriesRule.objects.filter(pk=rule.pk).update(wants_seal=False),
        lambda: SeriesRule.objects.create(version=version, series=makers.series()),
        substitute.delete,
        rule.delete,
        line.delete,
        version.delete,
    ]
    for change in changes:
        with pytest.raises(IntegrityError, match="is frozen here: write a new draft"), transaction.atomic():
            change()
    TemplateVersion.objects.filter(pk=version.pk).update(state="superseded")
    with pytest.raises(IntegrityError, match="is frozen here"), transaction.atomic():
        TemplateVersion.objects.filter(pk=version.pk).update(state="published")


def test_a_line_of_a_draft_is_not_slipped_into_a_published_version() -> None:
    version = frozen_rows()[0]
    line = makers.version(makers.template(), makers.part()).lines.get()
    with pytest.raises(IntegrityError, match="is frozen here"), transaction.atomic():
        TemplateLine.objects.filter(pk=line.pk).update(version=version, position=7)


@pytest.mark.django_db(transaction=True)
@pytest.mark.servers  # SQLite has no TRUNCATE
def test_lists_are_not_emptied_at_once() -> None:
    frozen_rows()
    with pytest.raises(IntegrityError), connection.cursor() as cursor:
        cursor.execute("TRUNCATE trays_templateline CASCADE")


# Tables


def test_a_list_that_is_exported_and_taken_into_another_draft_is_the_same() -> None:
    family = makers.series()
    one, two, three = makers.part(), makers.part(), makers.part()
    rules = [makers.rule(family, "5.0", "5.5", wants_seal=False), makers.rule(makers.series(name="Child"))]
    first = makers.template(makers.line(one, 3, essential=False, substitutes=[two, three]), two, rules=rules)
    long = "; ".join(["a reason, with comma and “quotes”"] * 5)
    actions.start_draft(first.code, act=act())
    actions.name_substitute(first.code, one.code, two.code, reason=long, rank=2, act=act())
    table = export_lists([draft_of(first)])
    second = opened(makers.part())
    done = actions.import_draft(second.code, table=table.replace(first.code, second.code), act=act())
    assert "2 lines" in done.sentence
    assert wanted(draft_of(second)) == wanted(draft_of(first))


def test_a_table_opens_a_draft() -> None:
    template, part = makers.template(), makers.part()
    table = f"template,name,position,part\n{template.code},X,1,{part.code}\n"
    actions.import_draft(template.code, table=table, act=act())
    assert codes(template) == [part.code]


def test_a_bad_table_is_told_cell_by_cell_and_leaves_the_draft_as_it_was() -> None:
    family, one = makers.series(), makers.part()
    template = opened(one)
    before = fingerprint(wanted(draft_of(template)))
    head = "template,name,position,part,quantity,substitutes,companions"
    rows = [
        f"{template.code},X,1,NONE,1,,",
        f"{template.code},X,2,{one.code},1,{one.code}:itself,",
        f"{template.code},X,2,{one.code},1,,{family.code}:9.9:5.0",
        f"{template.code},X,3,{makers.part().code},1,,{family.code}:5.5:5.0",
        f"{template.code},X,4,{makers.part().code},1,NONE:x,",
        f"{template.code},X,5,{makers.part().code},1,{one.code}:{'x' * 201},",
    ]
    with pytest.raises(Refused) as caught:
        actions.import_draft(template.code, table="\n".join([head, *rows]), act=act())
    said = [finding.sentence for finding in caught.value.findings]
    assert [sentence.split(":")[0] for sentence in said] == [
        "Cannot take line 2, column part",
        "Cannot take line 3, column substitutes",
        "Cannot take line 4, column companions",
        "Cannot take line 5, column companions",
        "Cannot take line 6, column substitutes",
        "Cannot take line 7, column substitutes",
    ]
    other = f"{head}\nOTHER,X,0,{one.code},1,,\nOTHER,X,1,{one.code},1,,"
    assert refused(lambda: actions.import_draft(template.code, table=other, act=act())) == ["faulty-cell"] * 2
    assert fingerprint(wanted(draft_of(template))) == before


# Publishing


def test_a_draft_that_changed_after_it_was_looked_at_is_not_published() -> None:
    template = opened(makers.part())
    seen = fingerprint(wanted(draft_of(template)))
    assert refused(lambda: actions.publish_version(template.code, note="x", seen=seen, act=act())) == [
        "nothing-changed"
    ]
    actions.add_line(template.code, makers.part().code, act=act())
    assert refused(lambda: actions.publish_version(template.code, note="x", seen=seen, act=act())) == ["draft-changed"]
    seen = fingerprint(wanted(draft_of(template)))
    assert actions.publish_version(template.code, note="x", seen=seen, act=act()).state == "published"
    version = published_version(template)
    assert version.published_by == makers.everybody()
    assert {finding["slug"] for finding in version.proof} == {"too-few-owned"}


def test_what_the_proof_asks_to_look_at_is_answered_in_the_note() -> None:
    template = opened(makers.part())
    actions.add_line(template.code, makers.part().code, act=act())
    assert refused(lambda: actions.publish_version(template.code, note=" ", act=act())) == ["looks-unanswered"]
    assert refused(lambda: actions.publish_version(template.code, note="x" * 201, act=act())) == ["note-unfit"]
    assert published_version(template).number == 1


def test_a_list_that_fails_its_proof_is_not_published() -> None:
    steam, cold = makers.programme("S134"), makers.programme("LT50", kind="low temperature")
    template = opened(makers.part(programmes=[steam]))
    actions.add_line(template.code, makers.part(programmes=[cold]).code, act=act())
    assert refused(lambda: actions.publish_version(template.code, note="x", act=act())) == ["no-programme"]
    assert published_version(template).number == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_two_at_one_draft_never_publish_what_one_of_them_did_not_see() -> None:
    template, extra, who = opened(makers.part()), makers.part(), act()
    actions.add_line(template.code, makers.part().code, act=who)
    seen = fingerprint(wanted(draft_of(template)))
    answers = makers.at_once(
        lambda: actions.publish_version(template.code, note="x", seen=seen, act=who),
        lambda: actions.add_line(template.code, extra.code, act=who),
    )
    done = [answer for answer in answers if isinstance(answer, Done)]
    assert len(done) == 1
    if done[0].verb == "publish_version":
        assert not published_version(template).lines.filter(part=extra).exists()
        assert answers[1].code == "no-draft"
    else:
        assert answers[0].code == "draft-changed"
        assert published_version(template).number == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_who_write_one_draft_at_once_lose_no_line() -> None:
    template, who = opened(makers.part()), act()
    parts = [makers.part() for _ in range(8)]
    makers.at_once(
        *[lambda part=part: actions.add_line(template.code, part.code, position=1, act=who) for part in parts]
    )
    assert list(draft_of(template).lines.values_list("position", flat=True)) == list(range(1, 10))
    assert set(codes(template)) >= {part.code for part in parts}
