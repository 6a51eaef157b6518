"""The page of a case: its sets and the choice of others, what it was handed, and its verbs."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from journal.roles import Role
from lists import actions
from lists.models import Case
from lists.states import CaseState
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, fresh_pack, queries_of, send, signed_in, soon
from tests.makers import act
from trays.models import Pack, Template, Tray

pytestmark = pytest.mark.django_db


def choice(of: Pack | Tray) -> str:
    return f"{'pack' if isinstance(of, Pack) else 'tray'}:{of.code}"


def two_trays() -> tuple[Tray, Tray, Template]:
    template = makers.template(makers.part())
    trays = [m.tray_of(fresh_pack(makers.tray(template))) for _ in range(2)]
    return trays[0], trays[1], template


def test_another_set_is_chosen_with_a_reason() -> None:
    first, second, template = two_trays()
    case = m.case(template, starts_at=soon())
    other = m.case(template, starts_at=soon() + timedelta(hours=4))
    actions.allocate(m.need(other).pk, tray=second.code, act=act())
    client, need = coordinator(), m.need(case).pk
    send(client, "allocate", need, choice=choice(first))
    page = client.read(reverse("case", args=[case.code]))
    assert f"{first.name} {first.code} · serves it now" in page
    assert f"Also to serve {other.code}" in page
    assert "the reason is not recorded" in send(client, "allocate", need, choice=choice(second))
    page = send(client, "allocate", need, choice=choice(second), reason="stays in its theatre")
    assert f"Set chosen · {second.code} · instead of {first.code}" in page
    assert f"{second.code} no longer serves case {case.code}." in send(client, "free", need)


def test_nothing_is_chosen_without_the_right_to_plan() -> None:
    first, _, template = two_trays()
    case = m.case(template, starts_at=soon())
    nurse = signed_in(Role.NURSE)
    page = nurse.read(reverse("case", args=[case.code]))
    assert "Serve it with" not in page
    assert "Move it to another time" not in page
    assert "does not hold the right" in page  # beside the button that cancels
    assert "does not hold the right" in send(nurse, "allocate", m.need(case).pk, choice=choice(first))
    assert not hasattr(m.need(case), "allocation")


def test_a_case_is_asked_more_of_moved_and_cancelled() -> None:
    case = m.case(makers.template(makers.part()), starts_at=soon())
    single, client = makers.part(), coordinator()
    assert "A set: Name one set or one single pack." in send(client, "add-requirement", case.code)
    assert single.name in send(client, "add-requirement", case.code, part=single.code, reason="spare")
    later = timezone.localtime(soon() + timedelta(hours=1))
    page = send(client, "move-case", case.code, starts_at=f"{later:%Y-%m-%dT%H:%M}")
    assert f"start {later:%a %d-%b-%Y %H:%M}, before {timezone.localtime(soon()):%a %d-%b-%Y %H:%M}" in page
    assert "New start: " in send(client, "move-case", case.code, starts_at="noon")
    assert "the reason is not recorded" in send(client, "case-verb", case.code, "cancel")
    page = send(client, "case-verb", case.code, "cancel", reason="patient unwell")
    assert "Nothing to do here in this state." in page
    assert Case.objects.get(pk=case.pk).state == CaseState.CANCELLED
    assert client.client.post(reverse("case-verb", args=[case.code, "forget"])).status_code == 404


def test_a_case_that_is_under_way_is_ended() -> None:
    case = m.case_of(m.opened())
    nurse = signed_in(Role.NURSE)
    assert "End case" in nurse.read(reverse("case", args=[case.code]))
    page = send(nurse, "case-verb", case.code, "end")
    assert Case.objects.get(pk=case.pk).state == CaseState.ENDED
    assert "must be under way" in send(nurse, "case-verb", case.code, "end")
    assert "What it needs" not in page


def test_a_case_shows_what_it_was_handed_and_what_was_implanted() -> None:
    stent = m.implant(name="Stent 14")
    pack = m.opened(makers.maker_pack(stent), m.case(stent, patient_ref="PSEUDONYM-77"))
    actions.implant_piece(m.pieces_of(pack)[0].code, m.case_of(pack).code, act=act(at=m.NOON))
    page = coordinator().read(reverse("case", args=[m.case_of(pack).code]))
    assert pack.code in page
    assert "Lot LOT-1 · serial Not recorded · to be used until 2028-01-31" in page
    assert "PSEUDONYM-77" not in page
    assert "Patient reference Recorded" in page


def test_a_case_asks_as_often_for_six_packs_as_for_two() -> None:
    template, client = makers.template(makers.part()), coordinator()
    case = m.case(template)

    def hand(number: int) -> None:
        for _ in range(number):
            pack = m.sterile()
            actions.add_requirement(case.code, template=m.tray_of(pack).template.code, act=act())
            m.issued(pack, case)

    hand(2)
    few = queries_of(client, reverse("case", args=[case.code]))
    hand(4)
    assert queries_of(client, reverse("case", args=[case.code])) == few
