"""A piece that is dropped or fails in a case: its set is short by record, and a single pack takes its place.

That it is replaced by a single pack, and its set expected back without it: common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.findings import Refused
from journal.models import Notice
from journal.roles import Role
from lists import actions, tasks
from lists.models import Case, CaseLine, Issue
from lists.reads import count_sheet, dropped, still_to_count
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON
from tests.makers import act
from tests.reprocessing.makers import refused
from trays.models import Carried, Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db


class Theatre(NamedTuple):
    """A set of two pieces that is open at its case, and a sterile single pack of the same part as the first."""

    case: Case
    pack: Pack
    fell: Piece
    other: Piece
    single: Pack


def theatre() -> Theatre:
    parts = makers.part(), makers.part()
    pack = m.opened(m.sterile(makers.pack(makers.tray(makers.template(*parts)))))
    fell, other = (Piece.objects.get(part=part, carried__pack=pack) for part in parts)
    single = m.sterile(makers.single(makers.piece(parts[0])))
    case = Issue.objects.get(pack=pack).case
    return Theatre(case, pack, fell, other, single)


def drop(of: Theatre, fault: str = "dropped") -> None:
    actions.drop_piece(of.fell.code, fault, act=act(at=NOON))


def take_place(of: Theatre, **fields: bool) -> None:
    actions.replace_piece(of.fell.code, of.single.code, **{"barrier_intact": True, **fields}, act=act(at=NOON))


def verbs(of: Theatre) -> list[str]:
    return list(CaseLine.objects.filter(case=of.case).order_by("pk").values_list("verb", flat=True))


def test_the_piece_and_the_pack_in_its_place_stand_in_the_record_of_the_case() -> None:
    of = theatre()
    done = actions.drop_piece(of.fell.code, "failed", note="jaw does not close", act=act(at=NOON))
    assert f"{of.pack.name} comes back short of it" in done.sentence
    take_place(of)
    assert verbs(of)[-4:] == ["drop", "issue", "open", "replace"]
    line = CaseLine.objects.get(case=of.case, verb="replace")
    assert line.evidence == {"piece": of.fell.code, "pack": of.single.code}
    assert PieceLine.objects.get(piece=of.fell, verb="drop").reason == "jaw does not close"
    of.single.refresh_from_db()
    assert of.single.state == PackState.OPENED
    assert Issue.objects.get(pack=of.single).case == of.case


def test_the_count_closes_without_it_and_it_is_counted_when_it_comes_by_itself() -> None:
    of = theatre()
    drop(of)
    assert [finding.numbers["left"] for finding in still_to_count(of.pack)] == [1]
    actions.take_back(of.pack.code, act=act(at=NOON))
    done = actions.count_piece(of.other.code, act=act(at=NOON))
    assert "nothing is missing, and it is short by record" in done.sentence
    assert [row["slug"] for row in done.findings] == ["piece-dropped"]
    assert done.next_step == "Bring them to be washed."
    assert Issue.objects.get(pack=of.pack).count_closed_at is not None
    assert {row.piece: row.outcome for row in count_sheet(of.pack).rows} == {
        of.fell.code: "dropped in the case, comes by itself",
        of.other.code: "counted",
    }
    done = actions.count_piece(of.fell.code, act=act(at=NOON))
    assert "The count of its pack was closed without it." in done.sentence
    of.fell.refresh_from_db()
    assert of.fell.state == PieceState.RETURNED
    assert not Carried.objects.filter(piece=of.fell).exists()
    assert CaseLine.objects.filter(case=of.case, verb="close_count").count() == 1
    assert not dropped(of.pack).exists()


def test_one_that_comes_with_its_set_after_all_is_counted_with_it() -> None:
    of = theatre()
    drop(of)
    actions.take_back(of.pack.code, act=act(at=NOON))
    actions.count_piece(of.fell.code, act=act(at=NOON))
    done = actions.count_piece(of.other.code, act=act(at=NOON))
    assert done.sentence.endswith("The count is closed: nothing is missing.")


def test_what_was_dropped_is_not_missing_when_the_count_is_closed_by_hand() -> None:
    of = theatre()
    drop(of)
    actions.take_back(of.pack.code, act=act(at=NOON))
    done = actions.close_count(of.pack.code, act=act(at=NOON))
    assert [row["slug"] for row in done.findings] == ["piece-missing", "piece-dropped"]
    of.fell.refresh_from_db()
    of.other.refresh_from_db()
    assert (of.fell.state, of.other.state) == (PieceState.IN_USE, PieceState.MISSING)


def test_sterile_services_are_told_until_it_is_back() -> None:
    of = theatre()
    drop(of)
    tasks.watch_cases()
    (notice,) = Notice.objects.filter(cause=f"dropped:{of.fell.code}").still_open()
    assert notice.role == Role.TECHNICIAN
    assert (
        f"comes back short of {of.fell.part.name} {of.fell.code}, which was dropped in case {of.case.code}."
        in notice.sentence
    )
    actions.take_back(of.pack.code, act=act(at=NOON))
    actions.count_piece(of.fell.code, act=act(at=NOON))
    tasks.watch_cases()
    assert not Notice.objects.filter(cause=f"dropped:{of.fell.code}").still_open()


def test_what_is_refused_of_a_piece() -> None:
    of = theatre()
    unopened = m.issued()
    inside = Carried.objects.get(pack=unopened).piece
    assert refused(lambda: actions.drop_piece(of.fell.code, "lost", act=act(at=NOON))) == ["not-listed"]
    assert refused(lambda: actions.drop_piece(inside.code, "dropped", act=act(at=NOON))) == ["not-in-the-case"]
    loose = makers.piece(makers.part())
    assert refused(lambda: actions.drop_piece(loose.code, "dropped", act=act(at=NOON))) == ["not-in-use"]
    nobody = act(makers.person(), at=NOON)
    assert refused(lambda: actions.drop_piece(of.fell.code, "dropped", act=nobody)) == ["right-missing"]
    drop(of)
    assert refused(lambda: drop(of)) == ["dropped-already"]
    assert PieceLine.objects.filter(verb="drop").count() == 1


def test_what_is_refused_of_the_pack_in_its_place_and_nothing_is_half_written() -> None:
    of = theatre()
    assert refused(lambda: take_place(of)) == ["not-dropped"]
    drop(of)
    before = verbs(of)
    with pytest.raises(Refused):
        take_place(of, barrier_intact=False)
    whole = m.sterile()
    call = actions.replace_piece
    assert refused(lambda: call(of.fell.code, whole.code, barrier_intact=True, act=act(at=NOON))) == ["not-single"]
    of.single.refresh_from_db()
    assert (of.single.state, verbs(of)) == (PackState.STERILE, before)


def test_a_single_pack_that_was_to_serve_another_case_is_taken_and_that_is_said() -> None:
    of = theatre()
    drop(of)
    other = m.case(of.fell.part, starts_at=m.TOMORROW)
    actions.allocate(m.need(other).pk, pack=of.single.code, act=act())
    done = actions.replace_piece(of.fell.code, of.single.code, barrier_intact=True, act=act(at=NOON))
    assert "taken-from-case" in {row["slug"] for row in done.findings}
