"""Assembly: pieces onto trays and off them, trays and single pieces into packs."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest

from instruments.models import PartKind, Piece, PieceLine, ProgrammeKind
from instruments.states import PieceState
from journal.findings import Refused
from journal.models import PolicySetting, Receipt
from journal.roles import Role
from tests import makers
from tests.makers import AT, act, refused
from trays.actions import (
    finish_tray,
    pack_single,
    publish_version,
    put_on_tray,
    set_aside,
    take_off_tray,
)
from trays.models import Carried, Lack, Pack, PackLine, Placement
from trays.states import PackKind, PackState

pytestmark = pytest.mark.django_db


def short_tray(*, essential: bool = False) -> Any:
    """A tray of two lines with the second one lacking."""
    there, lacking = makers.part(), makers.part()
    tray = makers.tray(makers.template(there, makers.line(lacking, essential=essential)))
    return makers.lay(tray, makers.piece(there))


# Onto the tray and off it


def test_an_inspected_piece_goes_on_a_tray() -> None:
    piece, tray = makers.piece(), makers.tray()
    done = put_on_tray(piece.code, tray.code, act=act())
    piece.refresh_from_db()
    assert (done.kind, done.mark, done.state) == ("piece", piece.code, PieceState.ON_TRAY)
    assert piece.placement.tray == tray
    assert PieceLine.objects.filter(piece=piece, verb="put_on_tray").get().evidence == {"tray": tray.code}


def test_what_is_due_soon_is_said_on_laying() -> None:
    part = makers.part(life_limit=50)
    piece = makers.piece(part, cycles=46, service_due=AT.date() + timedelta(days=3))
    done = put_on_tray(piece.code, makers.tray().code, act=act())
    assert [finding["slug"] for finding in done.findings] == ["life-ends-soon", "service-due-soon"]


def test_a_piece_comes_off_and_stays_inspected() -> None:
    piece = makers.piece()
    makers.lay(makers.tray(), piece)
    assert take_off_tray(piece.code, act=act()).state == PieceState.INSPECTED
    assert not Placement.objects.exists()


def test_a_faulty_piece_is_set_aside_from_its_tray_or_from_the_bench() -> None:
    laid, loose = makers.piece(), makers.piece()
    makers.lay(makers.tray(), laid)
    for piece in (laid, loose):
        assert set_aside(piece.code, reason="jaw loose", act=act()).state == PieceState.IN_REPAIR
    assert not Placement.objects.exists()
    assert refused(lambda: set_aside(makers.piece().code, reason=" ", act=act())) == ["reason-missing"]


def test_a_tray_out_of_service_takes_nothing() -> None:
    tray = makers.tray(in_service=False)
    assert refused(lambda: put_on_tray(makers.piece().code, tray.code, act=act())) == ["tray-out-of-service"]


def test_a_packed_tray_takes_nothing() -> None:
    tray = makers.tray()
    makers.pack(tray)
    assert refused(lambda: put_on_tray(makers.piece().code, tray.code, act=act())) == ["tray-packed"]
    assert refused(lambda: finish_tray(tray.code, act=act()))[0] == "tray-packed"


def test_codes_that_nothing_has_are_refused() -> None:
    piece, tray = makers.piece(), makers.tray()
    assert refused(lambda: put_on_tray("P999999X", tray.code, act=act())) == ["unknown-code"]
    assert refused(lambda: put_on_tray(piece.code, "T999999X", act=act())) == ["unknown-code"]


@pytest.mark.parametrize("role", [None, Role.COORDINATOR, Role.QUALITY])
def test_assembling_needs_its_right(role: Role | None) -> None:
    nobody = makers.person(*([role] if role else []))
    piece, laid = makers.piece(), makers.piece()
    tray = makers.lay(makers.tray(makers.template(laid.part)), laid)
    for call in (
        lambda: put_on_tray(piece.code, tray.code, act=act(nobody)),
        lambda: take_off_tray(laid.code, act=act(nobody)),
        lambda: set_aside(laid.code, reason="dull", act=act(nobody)),
        lambda: finish_tray(tray.code, act=act(nobody)),
        lambda: pack_single(piece.code, act=act(nobody)),
    ):
        assert refused(call) == ["right-missing"]
    assert PieceLine.objects.filter(person=nobody).count() == 0


# Finishing


def test_a_complete_tray_becomes_a_pack_with_frozen_contents() -> None:
    part, beside = makers.part(name="Forceps"), makers.part()
    tray = makers.tray(makers.template(makers.line(part, 2)))
    pieces = [makers.piece(part), makers.piece(part), makers.piece(beside)]
    makers.lay(tray, *pieces)
    done = finish_tray(tray.code, version=1, act=act())
    pack = Pack.objects.get(code=done.mark)
    assert (pack.state, pack.kind, pack.tray, pack.incomplete) == (PackState.ASSEMBLED, PackKind.TRAY, tray, False)
    assert list(pack.contents.values_list("piece__code", "position", "part_name").order_by("piece")) == [
        (pieces[0].code, 1, "Forceps"),
        (pieces[1].code, 1, "Forceps"),
        (pieces[2].code, 0, beside.name),
    ]
    assert set(Carried.objects.filter(pack=pack).values_list("piece", flat=True)) == {piece.pk for piece in pieces}
    assert set(Piece.objects.values_list("state", flat=True)) == {PieceState.PACKED}
    assert not Placement.objects.exists()
    assert [finding["slug"] for finding in done.findings] == ["surplus"]
    assert PackLine.objects.get(pack=pack).evidence == {"tray": tray.code, "version": 1}


def test_the_shelf_life_ends_with_the_last_day_that_policy_allows() -> None:
    PolicySetting.objects.create(name="shelf_life_days", value=30, reason="local")
    pack = makers.pack()
    assert pack.use_by.astimezone(AT.tzinfo).strftime("%d-%b-%Y %H:%M") == "24-Dec-2026 23:59"


def test_a_tray_with_an_implant_makes_a_pack_that_says_so() -> None:
    implant = makers.part(PartKind.IMPLANT)
    assert makers.pack(makers.tray(makers.template(implant, makers.part()))).holds_implant
    assert not makers.pack().holds_implant


def test_a_tray_without_a_published_list_is_not_finished() -> None:
    tray = makers.tray()
    tray.template.versions.update(state="superseded")
    assert refused(lambda: finish_tray(tray.code, act=act())) == ["no-version"]


def test_a_list_that_changed_in_between_is_looked_at_first() -> None:
    part = makers.part()
    tray = makers.lay(makers.tray(makers.template(part)), makers.piece(part))
    makers.version(tray.template, makers.line(part, essential=False))
    publish_version(tray.template.code, note="second", act=act())
    assert refused(lambda: finish_tray(tray.code, version=1, act=act())) == ["list-changed"]
    assert finish_tray(tray.code, version=2, act=act()).state == PackState.ASSEMBLED


def test_an_empty_tray_is_no_pack() -> None:
    tray = makers.tray(makers.template(makers.line(makers.part(), essential=False)))
    second = makers.person(Role.NURSE)
    call = partial(finish_tray, tray.code, incomplete_reason="none left", second=second.badge or "", act=act())
    assert refused(call) == ["tray-empty"]


def test_what_stops_the_tray_stops_the_finish() -> None:
    sizes = makers.series("5.0")
    barrel = makers.part(PartKind.BARREL, size=makers.size(sizes, "5.0"))
    tray = makers.tray(makers.template(barrel, rules=[makers.rule(sizes, wants_seal=False)]))
    makers.lay(tray)
    assert refused(lambda: finish_tray(tray.code, act=act())) == ["sheath-missing"]
    assert not Pack.objects.exists()


def test_an_essential_lack_is_never_signed_away() -> None:
    tray = short_tray(essential=True)
    second = makers.person(Role.NURSE)
    call = partial(finish_tray, tray.code, incomplete_reason="in repair", second=second.badge or "", act=act())
    with pytest.raises(Refused, match="which is essential"):
        call()
    assert refused(call) == ["missing-line"]


def test_an_optional_lack_needs_a_reason_and_a_second_person() -> None:
    tray = short_tray()
    me, unfit, second = makers.person(Role.NURSE), makers.person(Role.COORDINATOR), makers.person(Role.TECHNICIAN)
    assert refused(lambda: finish_tray(tray.code, act=act(me))) == ["missing-line"]
    assert refused(lambda: finish_tray(tray.code, incomplete_reason="  ", second=second.badge or "", act=act(me))) == [
        "missing-line"
    ]
    for badge, words in (
        ("", "no second person has signed"),
        ("NOBODY", "no second person has signed"),
        (me.badge, "is your own"),
        (unfit.badge, "may not assemble"),
    ):
        with pytest.raises(Refused, match=words) as caught:
            finish_tray(tray.code, incomplete_reason="in repair", second=badge or "", act=act(me))
        assert caught.value.code == "second-person-missing"
    assert not Pack.objects.exists()


def test_an_incomplete_pack_says_why_and_what_it_lacks() -> None:
    tray, second = short_tray(), makers.person(Role.TECHNICIAN, name="Technician 2")
    badge = f" {str(second.badge).lower()} "
    done = finish_tray(tray.code, incomplete_reason=" in repair ", second=badge, act=act())
    pack = Pack.objects.get(code=done.mark)
    assert (pack.incomplete, pack.incomplete_reason, pack.incomplete_second) == (True, "in repair", second)
    assert list(Lack.objects.filter(pack=pack).values_list("quantity", flat=True)) == [1]
    line = PackLine.objects.get(pack=pack)
    assert (line.reason, line.evidence["second"]) == ("in repair", "Technician 2")


def test_a_reason_given_for_a_complete_tray_leaves_no_mark() -> None:
    tray = makers.lay(makers.tray())
    done = finish_tray(tray.code, incomplete_reason="in repair", act=act())
    assert not Pack.objects.get(code=done.mark).incomplete


# One piece by itself


def test_a_single_piece_is_wrapped() -> None:
    pack = makers.single()
    assert (pack.kind, pack.state, pack.contents.get().position) == (PackKind.SINGLE, PackState.ASSEMBLED, 0)


def test_a_piece_on_a_tray_is_not_wrapped_by_itself() -> None:
    piece = makers.piece()
    makers.lay(makers.tray(), piece)
    assert refused(lambda: pack_single(piece.code, act=act())) == ["on-a-tray"]


def test_a_refusal_after_the_first_write_leaves_nothing_behind() -> None:
    piece = makers.piece(state=PieceState.CLEANED)
    lines = PieceLine.objects.count()
    assert refused(lambda: pack_single(piece.code, act=act(key="once"))) == ["wrong-state"]
    assert (Pack.objects.count(), PackLine.objects.count(), Receipt.objects.count()) == (0, 0, 0)
    assert PieceLine.objects.count() == lines
    assert makers.single().code.startswith("K000001")


def immediate_part() -> Any:
    flash = makers.programme("F134", immediate=True)
    return makers.part(programmes=[flash])


def test_immediate_use_is_off_until_policy_turns_it_on() -> None:
    piece = makers.piece(immediate_part())
    call = partial(pack_single, piece.code, immediate=True, reason="dropped", patient_ref="K7QF", act=act())
    assert refused(call) == ["immediate-use-off"]
    PolicySetting.objects.create(name="immediate_use", value=True, reason="local")
    pack = Pack.objects.get(code=call().mark)
    assert (pack.kind, pack.use_by) == (PackKind.IMMEDIATE, AT + timedelta(days=1))
    line = PackLine.objects.get(pack=pack)
    assert (line.reason, line.evidence) == ("dropped", {"patient_ref": "K7QF"})


def test_immediate_use_is_for_no_implant_and_wants_programme_reason_and_reference() -> None:
    PolicySetting.objects.create(name="immediate_use", value=True, reason="local")
    implant = makers.piece(makers.part(PartKind.IMPLANT))
    assert refused(lambda: pack_single(implant.code, immediate=True, act=act())) == [
        "immediate-use-implant",
        "programme-not-validated",
        "reason-missing",
        "patient-missing",
    ]


def test_wash_programmes_make_no_tray_sterilisable() -> None:
    wash = makers.programme("W90", kind=ProgrammeKind.WASH)
    parts = [
        makers.part(programmes=[wash, makers.programme("S134")]),
        makers.part(programmes=[wash, makers.programme("LT", kind=ProgrammeKind.LOW_TEMPERATURE)]),
    ]
    tray = makers.lay(makers.tray(makers.template(*parts)))
    assert refused(lambda: finish_tray(tray.code, act=act())) == ["no-programme"]


def test_the_day_of_the_unit_decides_about_dates() -> None:
    """Half past midnight in the unit is still the day before in UTC."""
    piece = makers.piece(expires=date(2026, 11, 24))
    late = act(at=AT.replace(day=25, hour=0, minute=30))
    assert refused(lambda: pack_single(piece.code, act=late)) == ["expired"]
