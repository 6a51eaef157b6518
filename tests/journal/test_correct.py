"""A mistake in the trail is put right by a new line; the old one stays as it was."""

from __future__ import annotations

import pytest

from instruments.models import PieceLine
from journal.actions import correct, trails
from journal.findings import Refused
from journal.roles import Role
from tests import makers
from tests.makers import act

pytestmark = pytest.mark.django_db


def test_every_trail_is_known_by_what_it_is_about() -> None:
    about = {"piece", "loan", "quarantinebox", "pack", "load", "machine", "recall", "nonconformity", "case"}
    assert set(trails()) == about


def a_line() -> PieceLine:
    piece = makers.piece()
    return PieceLine.objects.get(piece=piece, verb="enrol")


def test_a_correction_names_the_old_line_and_leaves_it() -> None:
    wrong = a_line()
    before = {field.name: getattr(wrong, field.name) for field in wrong._meta.fields}
    done = correct("piece", wrong.pk, reason=" scanned the wrong one ", act=act())
    new = PieceLine.objects.get(verb="correct")
    assert (new.corrects, new.reason, new.target) == (wrong, "scanned the wrong one", "")
    assert (done.kind, done.mark, done.state) == ("piece", wrong.piece.code, wrong.piece.state)
    wrong.refresh_from_db()
    assert {field.name: getattr(wrong, field.name) for field in wrong._meta.fields} == before


@pytest.mark.parametrize(("role", "allowed"), [(Role.TECHNICIAN, False), (Role.QUALITY, True)])
def test_lines_of_others_take_the_named_decision(role: Role, *, allowed: bool) -> None:
    wrong, by = a_line(), makers.person(role)
    if allowed:
        assert correct("piece", wrong.pk, reason="typing slip", act=act(by)).verb == "correct"
    else:
        with pytest.raises(Refused) as refusal:
            correct("piece", wrong.pk, reason="typing slip", act=act(by))
        assert refusal.value.code == "right-missing"


@pytest.mark.parametrize(
    ("table", "beyond", "reason", "code"),
    [("piece", 0, " ", "reason-missing"), ("piece", 99, "slip", "unknown-code"), ("tray", 0, "slip", "unknown-code")],
)
def test_what_cannot_be_corrected(table: str, beyond: int, reason: str, code: str) -> None:
    wrong = a_line()
    with pytest.raises(Refused) as refusal:
        correct(table, wrong.pk + beyond, reason=reason, act=act())
    assert refusal.value.code == code
    assert not PieceLine.objects.filter(corrects=wrong).exists()
