"""Lots of chemicals on machines: put in use, expired, linked to loads by time, and traced from."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.utils import timezone

from instruments.models import Piece
from instruments.states import PieceState
from journal.roles import Role
from lists.lineage import Node, Sort
from lists.reads.tracing import of_lot, trace
from reprocessing import actions
from reprocessing.models import Machine, MachineLot
from reprocessing.reads.supplies import loads_of_lot, lots_of_load
from reprocessing.states import LoadState, MachineKind
from reprocessing.supplies import Supply, not_expired
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import Browser, machine_of_today, page

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
TODAY = timezone.localdate(AT)
db = pytest.mark.django_db


def connect(machine: Machine, lot: str = "L-1", product: str = "Mild detergent", **more: Any) -> MachineLot:
    at = more.pop("at", AT - HOUR)
    actions.put_lot_in_use(machine.code, product, lot, **more, act=act(at=at))
    return MachineLot.objects.get(machine=machine, lot=lot)


def returned() -> Piece:
    return makers.piece(state=PieceState.RETURNED)


@pytest.mark.parametrize("blank", [{"product": " "}, {"lot": ""}])
def test_a_supply_has_a_name(blank: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="product and a lot"):
        Supply(**{"product": "Detergent", "lot": "L-1", **blank})


@pytest.mark.parametrize(("expires", "found"), [(None, []), (TODAY, []), (TODAY - DAY, ["lot-expired"])])
@pytest.mark.parametrize("forbids", [True, False])
def test_a_lot_may_be_used_up_to_its_last_day(expires: date | None, found: list[str], *, forbids: bool) -> None:
    supplies = [Supply("Detergent", "L-1", expires)]
    findings = list(not_expired("start", "L1", "Washer", supplies, today=TODAY, forbids=forbids))
    assert [finding.slug for finding in findings] == found
    assert all(finding.severity == ("stop" if forbids else "look") for finding in findings)


@pytest.mark.storage
@db
def test_no_load_starts_on_an_expired_lot_unless_the_unit_only_looks_at_it() -> None:
    load = make.washing(make.washer())
    connect(load.machine, expires=TODAY - DAY, at=AT - 9 * DAY)
    assert refused(partial(make.running, load)) == ["lot-expired"]
    make.policy("expired_lot_forbids", False)
    done = actions.start_load(load.code, caps_open=True, act=act())
    assert [finding["slug"] for finding in done.findings] == ["lot-expired"]
    assert load.lines.get(verb="start").evidence["lots"] == ["Mild detergent, lot L-1"]


@db
def test_a_new_lot_takes_the_place_of_the_last_one_of_its_product() -> None:
    washer = make.washer()
    first = connect(washer, "L-1")
    other = connect(washer, "N-1", "Neutraliser")
    second = connect(washer, "L-2", "mild  DETERGENT", at=AT)
    first.refresh_from_db()
    other.refresh_from_db()
    assert (first.until, second.product, other.until) == (AT, "Mild detergent", None)
    assert washer.lines.filter(verb="put_lot_in_use").latest("id").evidence["instead_of"] == "L-1"


@db
@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"product": " "}, ["lot-not-named"]),
        ({"lot": ""}, ["lot-not-named"]),
        ({"lot": "l-1"}, ["lot-in-use"]),
        ({"expires": TODAY - DAY}, ["lot-expired"]),
        ({"opened": TODAY + DAY}, ["opened-later"]),
    ],
)
def test_what_is_no_lot_to_be_used(said: dict[str, Any], found: list[str]) -> None:
    washer = make.washer()
    connect(washer)
    asked = {"product": "Mild detergent", "lot": "L-2", **said}
    assert refused(lambda: actions.put_lot_in_use(washer.code, **asked, act=act())) == found
    assert MachineLot.objects.get().until is None


@db
def test_a_lot_is_put_in_and_taken_out_of_use_by_who_may_wash() -> None:
    washer = make.washer()
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.put_lot_in_use(washer.code, "D", "L", act=nurse)) == ["right-missing"]
    lot = connect(washer)
    take = partial(actions.take_lot_out_of_use, washer.code, lot.pk)
    assert refused(lambda: take(reason="empty", act=nurse)) == ["right-missing"]
    assert refused(lambda: take(reason=" ", act=act())) == ["reason-missing"]
    take(reason="recalled by its maker", act=act())
    assert refused(lambda: take(reason="again", act=act())) == ["unknown-code"]
    assert not MachineLot.objects.in_use(AT).exists()


@pytest.mark.storage
@db
def test_a_load_is_linked_to_every_lot_that_it_drew_on() -> None:
    """A container changed in the middle of a cycle names both lots; one changed at its end only the first."""
    washer = make.washer()
    connect(washer, "L-1")
    load = make.running(make.washing(washer))
    connect(washer, "L-2", at=AT + HOUR / 2)
    load = make.ended(load)
    connect(washer, "L-3", at=make.ENDED)
    assert [row.lot for row in lots_of_load(load, make.DECIDED)] == ["L-1", "L-2"]
    linked = {lot: list(loads_of_lot(lot).values_list("code", flat=True)) for lot in ("l-1", "L-2", "L-3")}
    assert linked == {"l-1": [load.code], "L-2": [load.code], "L-3": []}
    assert [row.lot for row in lots_of_load(make.washing(washer), make.DECIDED)] == ["L-3"]


@db
def test_a_running_load_is_linked_to_a_lot_connected_after_its_start() -> None:
    washer = machine_of_today(MachineKind.WASHER, timezone.now() - HOUR)
    load = make.running(make.washing(washer), at=timezone.now() - HOUR)
    connect(washer, "L-9", at=timezone.now() - HOUR / 2)
    assert list(loads_of_lot("L-9")) == [load]
    assert not loads_of_lot("L-9").exclude(machine=washer).exists()


@pytest.mark.storage
@db
def test_the_look_forward_from_a_lot_reaches_what_was_washed_with_it() -> None:
    washer, piece, aside = make.washer(), returned(), returned()
    connect(washer)
    make.released(make.load(washer, piece))
    other = make.released(make.load(make.washer(), aside))
    actions_of = {Node(Sort.LOAD, key) for key in loads_of_lot("L-1").values_list("pk", flat=True)}
    assert of_lot("l-1") == actions_of
    reached = {row.code for row in trace(of_lot("L-1"), forward=True, turns=0).rows}
    assert piece.code in reached
    assert not {aside.code, other.code} & reached


@db
def test_lots_on_their_page_and_on_the_page_of_a_load() -> None:
    browser, washer = Browser(make.technician()), make.washer()
    address = f"/machines/{washer.code}/upkeep/"
    assert "None is recorded." in browser.read(address)
    tomorrow = timezone.localdate() + DAY
    text = browser.send(address + "put-lot-in-use/", product="Detergent", lot="L-1", expires=str(tomorrow))
    assert "In date Detergent, lot L-1" in text
    assert "Detergent, lot L-1" in browser.read(f"/machines/{washer.code}/")
    assert "Chemicals Detergent, lot L-1" in browser.read(page(make.washing(washer)))
    key = str(MachineLot.objects.get().pk)
    text = browser.send(address + "take-lot-out-of-use/", lot_id=key, reason="empty")
    assert "None is recorded." in text
    assert "Detergent, lot L-1 , until" in text or "Detergent, lot L-1, until" in text
    nurse = Browser(makers.person(Role.NURSE))
    assert "does not hold the right" in nurse.send(address + "put-lot-in-use/", product="Detergent", lot="L-2")


@db
def test_look_back_by_a_lot_names_the_load() -> None:
    washer = make.washer()
    connect(washer)
    load = make.released(make.washing(washer))
    assert load.state == LoadState.RELEASED
    assert load.code not in Browser(makers.everybody()).read("/look-back/?q=L-2")
    assert "Lot L-1" in Browser(makers.everybody()).read("/look-back/?q=L-1")
