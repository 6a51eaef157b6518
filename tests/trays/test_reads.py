"""Questions to templates, trays and packs."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from instruments import actions as instrument_actions
from instruments.models import PartKind, Piece, ProgrammeKind
from instruments.states import PieceState
from tests import makers
from tests.makers import AT, act, refused
from trays.actions import join_closed_set, publish_version
from trays.matching import SizeOf
from trays.models import TemplateVersion, Tray
from trays.reads import items, nearest, published_version, tray_by_mark, tray_count, wanted

pytestmark = pytest.mark.django_db


def queries(run: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        run()
    return len(captured)


# Versions


def test_the_published_version_is_the_one_in_force() -> None:
    template = makers.template()
    makers.version(template, makers.part())
    assert published_version(template).number == 1
    publish_version(template.code, note="second", act=act())
    assert published_version(template).number == 2


def test_without_a_published_version_nothing_is_assembled() -> None:
    template = makers.template()
    template.versions.update(state="superseded")
    assert refused(lambda: published_version(template)) == ["no-version"]


def test_a_version_says_lines_substitutes_and_rules() -> None:
    sizes = makers.series("5.0", "5.5", "6.0")
    other, more = makers.part(name="Other"), makers.part(name="More")
    line = makers.line(makers.part(name="Own"), 2, essential=False, substitutes=[other, more])
    rules = [makers.rule(sizes, "5.0", "5.5", wants_seal=False)]
    asked = wanted(published_version(makers.template(line, rules=rules)))
    (row,) = asked.lines
    assert (row.position, row.part_name, row.quantity, row.essential) == (1, "Own", 2, False)
    assert [one.part_name for one in row.substitutes] == ["Other", "More"]
    (rule,) = asked.rules
    assert rule.sizes == (SizeOf(sizes.code, 1, "5.0"), SizeOf(sizes.code, 2, "5.5"))
    assert rule.kinds == ("sheath",)
    assert asked.mass_limit_g == 10_000


def test_a_rule_without_a_range_names_no_size() -> None:
    asked = wanted(published_version(makers.template(rules=[makers.rule(makers.series())])))
    assert asked.rules[0].sizes == ()


# Pieces as the rules see them


def test_only_sterilising_programmes_for_wrapped_goods_count() -> None:
    steam, plasma = makers.programme("S134"), makers.programme("LT", kind=ProgrammeKind.LOW_TEMPERATURE)
    wash, unwrapped = makers.programme("W90", kind=ProgrammeKind.WASH), makers.programme("F134", immediate=True)
    sizes = makers.series("5.0")
    piece = makers.piece(
        makers.part(PartKind.BARREL, size=makers.size(sizes, "5.0"), programmes=[steam, plasma, wash, unwrapped])
    )
    (item,) = items([piece])
    assert item.programmes == {"S134", "LT"}
    assert item.size == SizeOf(sizes.code, 1, "5.0")
    assert (item.mass_g, item.kind) == (100.0, "barrel")


def test_what_is_not_measured_stays_unknown() -> None:
    (item,) = items([makers.piece(makers.part(mass_g=None, programmes=[]))])
    assert (item.mass_g, item.size, item.programmes) == (None, None, frozenset())


# Counting a tray


def test_a_tray_is_counted_against_the_published_list_or_the_one_named() -> None:
    old, new = makers.part(), makers.part()
    tray = makers.lay(makers.tray(makers.template(old)))
    assert tray_count(tray, at=AT).complete
    first = published_version(tray.template)
    makers.version(tray.template, new)
    publish_version(tray.template.code, note="second", act=act())
    assert [lack.part_code for lack in tray_count(tray, at=AT).lacks] == [new.code]
    assert tray_count(tray, at=AT, version=first).complete


def test_counting_takes_the_same_number_of_queries_for_any_tray() -> None:
    def tray_of(size: int) -> Tray:
        sizes = makers.series(*[f"{number}.0" for number in range(3, 3 + size)])
        lines = [
            makers.line(makers.part(PartKind.BARREL, size=row), substitutes=[makers.part()])
            for row in sizes.sizes.all()
        ]
        lacking = [makers.part() for _ in range(size + 1)]
        template = makers.template(*lines, *lacking, rules=[makers.rule(sizes)])
        tray = makers.tray(template)
        for line in lines:
            makers.lay(tray, makers.piece(line["part"]))
            makers.piece(lacking[0])
        return Tray.objects.select_related("template").get(pk=tray.pk)

    small, large = tray_of(1), tray_of(5)
    assert queries(lambda: tray_count(small, at=AT)) == queries(lambda: tray_count(large, at=AT)) <= 11


# Where is what lacks?


def remedy(tray: Tray) -> str:
    (finding,) = tray_count(tray, at=AT).findings
    assert finding.slug == "missing-line"
    return finding.remedy


def test_a_missing_line_says_where_a_piece_of_it_is() -> None:
    part = makers.part(name="Forceps")
    tray = makers.tray(makers.template(part))
    assert remedy(tray) == "Scan it in. None is free."
    piece = makers.piece(part)
    assert remedy(tray) == f"Scan it in. {piece.code} is inspected, place not recorded."
    stored = makers.piece(part, place=makers.place("Store A"))
    assert remedy(tray) == f"Scan it in. {stored.code} is in Store A."


def test_a_substitute_is_offered_when_no_own_piece_is_free() -> None:
    own, other = makers.part(name="Own"), makers.part(name="Other")
    tray = makers.tray(makers.template(makers.line(own, substitutes=[other])))
    substitute = makers.piece(other, place=makers.place("Store A"))
    assert remedy(tray).endswith(f"Instead {substitute.code} (Other, serves as well) is in Store A.")
    piece = makers.piece(own)
    assert remedy(tray).endswith(f"{piece.code} is inspected, place not recorded.")


def found(part: str, tray: Tray) -> Piece | None:
    near = nearest([part], tray=tray, today=AT.date()).get(part)
    return near.free[0] if near and near.free else None


def test_the_nearest_piece_is_the_one_in_the_trays_own_place() -> None:
    part, home = makers.part(), makers.place("Bench")
    tray = makers.tray(home=home)
    nowhere = makers.piece(part)
    assert found(part.code, tray) == nowhere
    away = makers.piece(part, place=makers.place("Store B"))
    makers.piece(part, place=makers.place("Store C"))
    assert found(part.code, tray) == away
    near = makers.piece(part, place=home)
    assert found(part.code, tray) == near


@pytest.mark.parametrize("state", [PieceState.RETURNED, PieceState.CLEANED])
def test_what_is_not_inspected_is_not_offered(state: PieceState) -> None:
    piece = makers.piece(state=state)
    assert found(piece.part.code, makers.tray()) is None


def test_what_may_not_be_packed_is_not_offered() -> None:
    worn = makers.piece(makers.part(life_limit=3), cycles=3)
    assert found(worn.part.code, makers.tray()) is None


def test_a_closed_set_is_offered_its_own_pieces_and_an_open_one_none_of_them() -> None:
    part = makers.part()
    closed, member = makers.tray(closed=True), makers.piece(part)
    join_closed_set(member.code, closed.code, reason="tissue-risk set", act=act())
    assert found(part.code, closed) == member
    assert found(part.code, makers.tray()) is None
    makers.piece(part)
    assert found(part.code, closed) == member
    assert found(part.code, makers.tray()) != member


def test_a_spent_single_use_item_is_not_offered() -> None:
    piece = Piece.objects.get(carried__pack=makers.single(makers.piece(makers.part(single_use=True))))
    piece.carried.delete()
    makers.move(piece, "use")
    makers.move(piece, "take_back")
    piece.refresh_from_db()
    makers.process(piece)
    assert found(piece.part.code, makers.tray()) is None


# Marks


def test_a_tray_is_found_by_its_code_in_any_case() -> None:
    tray = makers.tray()
    assert tray_by_mark(f" {tray.code.lower()} ") == tray
    named = Tray.objects.create(code="Shelf-7", name="Old tray", template=tray.template)
    assert tray_by_mark("SHELF-7") == named


def test_what_is_no_trays_mark_says_so() -> None:
    piece = makers.piece()
    assert refused(lambda: tray_by_mark(piece.code)) == ["wrong-kind"]
    assert refused(lambda: tray_by_mark("nothing")) == ["unknown-code"]
    assert refused(lambda: tray_by_mark("T000001A"))[0] != "unknown-code"


# Publishing


def test_publishing_supersedes_the_version_in_force() -> None:
    template = makers.template()
    makers.version(template, makers.part())
    done = publish_version(template.code, note=" two lines ", act=act())
    assert (done.kind, done.mark, done.state) == ("template", template.code, "published")
    states = dict(TemplateVersion.objects.filter(template=template).values_list("number", "state"))
    assert states == {1: "superseded", 2: "published"}
    assert published_version(template).note == "two lines"


def test_publishing_wants_a_draft_with_lines_and_the_right() -> None:
    template = makers.template()
    assert refused(lambda: publish_version(template.code, note="", act=act())) == ["no-draft"]
    makers.version(template)
    assert refused(lambda: publish_version(template.code, note="", act=act())) == ["list-empty"]
    nurse = act(makers.person())
    assert refused(lambda: publish_version(template.code, note="", act=nurse)) == ["right-missing"]
    assert refused(lambda: publish_version("NONE", note="", act=act())) == ["unknown-code"]


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_who_publish_at_once_publish_one_draft_once() -> None:
    template, who = makers.template(), act()
    makers.version(template, makers.part())
    answers = makers.at_once(*[lambda: publish_version(template.code, note="as agreed", act=who)] * 8)
    assert sum(answer.__class__.__name__ == "Done" for answer in answers) == 1
    assert list(template.versions.values_list("state", flat=True)) == ["published", "superseded"]


def test_a_piece_in_repair_is_not_offered() -> None:
    piece = makers.piece()
    instrument_actions.send_to_repair(piece.code, reason="bent", act=act())
    assert found(piece.part.code, makers.tray()) is None
