"""Command cards at the bench: what a gloved hand scans in place of a button."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from instruments.commands import BY_CARD, Command
from instruments.models import PieceLine
from instruments.states import PieceState
from journal.models import Person
from journal.roles import Role
from tests import makers
from tests.trays.pages import bench, post, signed_in, swap, two_lines
from trays.actions import put_on_tray
from trays.models import Pack, Placement

pytestmark = pytest.mark.django_db


def test_undo_takes_off_what_the_same_person_laid_last() -> None:
    tray, laid, loose = two_lines()
    client = signed_in()
    swap(client, "tray-put", tray, code=loose.code)
    answer = swap(client, "tray-put", tray, code=Command.UNDO_LAST.code)
    assert answer.context["said"].what == f"Suction tube {loose.code} taken off."
    assert answer.context["hand"] == loose
    assert [row.piece for row in Placement.objects.all()] == [laid]
    loose.refresh_from_db()
    assert loose.state == PieceState.INSPECTED


def test_undo_leaves_what_another_laid_and_what_lies_there_longer() -> None:
    """The tray's first piece was laid long ago and by somebody else."""
    tray, _, loose = two_lines()
    another = makers.person(Role.TECHNICIAN)
    put_on_tray(loose.code, tray.code, act=makers.act(another))
    for who in (makers.everybody(), another):
        answer = swap(signed_in(who), "tray-put", tray, code=Command.UNDO_LAST.code)
        assert answer.status_code == 409
        assert answer.context["said"].what == f"Cannot undo: you laid nothing on {tray.name} in the last 2 minutes."
    assert Placement.objects.count() == 2


def test_undo_works_within_two_minutes_only(monkeypatch: pytest.MonkeyPatch) -> None:
    tray, _, loose = two_lines()
    client = signed_in()
    swap(client, "tray-put", tray, code=loose.code)
    later = Placement.objects.get(piece=loose).at + timedelta(minutes=2, seconds=1)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    assert swap(client, "tray-put", tray, code=Command.UNDO_LAST.code).status_code == 409
    assert Placement.objects.filter(piece=loose).exists()


def test_next_person_signs_out_and_comes_back_to_the_same_tray() -> None:
    tray, *_ = two_lines()
    client = signed_in()
    sign_in = f"{reverse('sign-in')}?next={bench(tray)}"
    answer = swap(client, "tray-put", tray, code=Command.NEXT_PERSON.code)
    assert answer.headers["HX-Redirect"] == sign_in
    assert client.get(bench(tray)).headers["Location"] == sign_in


def test_cards_that_lead_away_work_without_javascript() -> None:
    tray, *_ = two_lines()
    client = signed_in()
    for card, to in (
        (Command.HELP, f"{reverse('help')}#assemble"),
        (Command.NEXT_PERSON, f"{reverse('sign-in')}?next={bench(tray)}"),
    ):
        answer = client.post(reverse("tray-put", args=[tray.code]), {"code": card.code})
        assert (answer.status_code, answer.headers["Location"]) == (303, to)


def test_help_opens_the_guide_at_the_bench() -> None:
    tray, *_ = two_lines()
    client = signed_in()
    answer = swap(client, "tray-put", tray, code=Command.HELP.code)
    assert answer.headers["HX-Redirect"] == f"{reverse('help')}#assemble"
    assert 'id="assemble"' in client.get(reverse("help")).content.decode()


def test_finish_by_card_makes_the_pack() -> None:
    tray, _, loose = two_lines()
    client = signed_in()
    swap(client, "tray-put", tray, code=loose.code)
    answer = swap(client, "tray-put", tray, code=Command.FINISH.code, version="1")
    assert answer.headers["HX-Redirect"] == reverse("pack", args=[Pack.objects.get(tray=tray).code])


def test_finish_by_card_is_refused_as_the_button_is() -> None:
    tray, *_ = two_lines()
    answer = swap(signed_in(), "tray-put", tray, code=Command.FINISH.code, version="1")
    assert answer.status_code == 409
    assert not Pack.objects.exists()


def test_finish_by_card_carries_the_reason_and_the_badge_that_stand_in_the_form() -> None:
    tray, *_ = two_lines(essential=False)
    second: Person = makers.person(Role.TECHNICIAN, badge="B-SECOND")
    swap(
        signed_in(),
        "tray-put",
        tray,
        code=Command.FINISH.code,
        version="1",
        incomplete_reason="The tube is in repair",
        second="b-second",
    )
    assert Pack.objects.get(tray=tray).incomplete_second == second


def test_set_aside_takes_the_piece_in_hand() -> None:
    tray, laid, _ = two_lines()
    answer = swap(signed_in(), "tray-put", tray, code=Command.SET_ASIDE.code, hand=laid.code)
    assert answer.context["said"].what == f"Forceps {laid.code} goes to repair."
    assert answer.context["said"].next_step == f"Lacks now: 1 × Forceps. None is free: {laid.code} is in repair."
    line = PieceLine.objects.filter(piece=laid).last()
    assert line is not None
    assert line.reason == BY_CARD


def test_nothing_in_hand_cannot_be_set_aside() -> None:
    tray, laid, _ = two_lines()
    client = signed_in()
    answer = swap(client, "tray-put", tray, code=Command.SET_ASIDE.code)
    assert answer.status_code == 409
    assert answer.context["said"].what == "Cannot set aside: no piece is in hand, one must be."
    assert post(client, "tray-put", tray.code, code=Command.SET_ASIDE.code) == [
        "Cannot set aside: no piece is in hand, one must be. Scan the piece on the tray once more, then the card."
    ]
    laid.refresh_from_db()
    assert laid.state == PieceState.ON_TRAY


def test_a_part_that_is_taken_apart_is_a_note_that_stops_nothing() -> None:
    part = makers.part(name="Optical forceps", take_apart="jaw from handle")
    tray = makers.lay(makers.tray(makers.template(makers.line(part, 2))), makers.piece(part), makers.piece(part))
    page = signed_in().get(bench(tray))
    (note,) = page.context["notes"]
    assert note.sentence == "Optical forceps goes through wash and steriliser taken apart: jaw from handle."
    assert note.sentence in page.content.decode()
    assert page.context["findings"] == []
    assert page.context["tally"] == ""
