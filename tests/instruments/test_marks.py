"""Which piece a mark stands for."""

from __future__ import annotations

import pytest

from instruments.identity import Kind, OwnCode
from instruments.reads import code_by_mark, piece_by_mark
from journal.findings import Refused
from tests import makers

pytestmark = pytest.mark.django_db

MAKERS_MARK = "(01)09504000059118(21)A1"


def slugs(refusal: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [finding.slug for finding in refusal.value.findings]


@pytest.mark.parametrize("own", [True, False])
def test_a_mark_stands_for_its_piece(own: bool) -> None:
    piece = makers.piece(marks=[MAKERS_MARK])
    mark = piece.code if own else MAKERS_MARK
    assert code_by_mark(mark) == (piece.code, ())
    assert piece_by_mark(mark) == (piece, ())


def test_a_code_of_our_own_is_taken_at_its_word_until_its_piece_is_read() -> None:
    gone = OwnCode(Kind.PIECE, 999_999).text
    assert code_by_mark(gone) == (gone, ())
    with pytest.raises(Refused) as refusal:
        piece_by_mark(gone)
    assert slugs(refusal) == ["unknown-code"]


def test_a_makers_mark_on_no_piece_is_refused() -> None:
    with pytest.raises(Refused) as refusal:
        code_by_mark(MAKERS_MARK)
    assert slugs(refusal) == ["unknown-code"]
