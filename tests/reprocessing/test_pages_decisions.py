"""Pages of loads: the signed decisions, recall, doubt; and that a page offers what its doors then take."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from instruments.models import PartKind
from instruments.states import PieceState
from journal.models import Person
from journal.roles import Role
from reprocessing import actions, states
from reprocessing.models import Load
from reprocessing.reads import load_evidence
from reprocessing.views.offers import Asked, Offer, offers
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import PASSWORD, Browser, disabled, page, running_now
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.django_db


@pytest.fixture
def releaser() -> Browser:
    return Browser(make.releaser())


@pytest.fixture
def quality() -> Browser:
    return Browser(makers.person(Role.QUALITY))


def implant_load() -> Load:
    """A load with an implant, its chemical indicator passed, its biological one placed."""
    stent = makers.piece(makers.part(PartKind.IMPLANT, reprocess_unused="maker's sheet 4.2"))
    load = make.complete(make.load(None, makers.single(stent)))
    actions.place_indicator(load.code, "biological", "BI-3", act=act())
    return load


# Release


def test_a_load_is_released_by_a_signature(releaser: Browser) -> None:
    load = make.complete()
    text = releaser.send(page(load) + "release/", password=PASSWORD, reason="all well")
    assert f"{load.code} is released; sterile: 1 pack." in text
    assert "Released Signed by" in text
    load.refresh_from_db()
    assert (load.state, load.decision.reason) == (states.LoadState.RELEASED, "all well")
    assert load.lines.get(verb="release").method == "signature"


@pytest.mark.parametrize("password", ["", "not-the-password"])
def test_without_the_right_password_nothing_is_released(releaser: Browser, password: str) -> None:
    load = make.complete()
    text = releaser.send(page(load) + "release/", password=password)
    assert "Cannot sign as" in text or "Cannot take “Your password”" in text
    load.refresh_from_db()
    assert load.state == states.LoadState.AWAITING_RELEASE


def test_a_release_waits_for_its_evidence_and_says_for_what(releaser: Browser) -> None:
    load = make.ended()
    text = releaser.read(page(load))
    assert "Numbers within limits: not recorded; missing: Cycle record, Chemical indicator." in text
    assert f"Cannot release {load.code}: the cycle record is not recorded" in text
    assert {"Release load"} == disabled(releaser.source(page(load))) & {"Release load", "Reject load"}
    assert "Complete the evidence." in releaser.send(page(load) + "release/", password=PASSWORD)
    load.refresh_from_db()
    assert load.state == states.LoadState.AWAITING_RELEASE


def test_who_may_not_release_is_told_so() -> None:
    load, browser = make.complete(), Browser(make.technician())
    assert {"Release load", "Reject load"} <= disabled(browser.source(page(load)))
    text = browser.send(page(load) + "release/", password=PASSWORD)
    assert "does not hold the right “release”" in text


def test_who_built_alone_states_why_nobody_else_is_there() -> None:
    person = make.releaser()
    load, browser = make.complete(by=person), Browser(person)
    assert "You built this load alone." in browser.read(page(load))
    assert "You built this load alone." not in Browser(make.releaser()).read(page(load))
    text = browser.send(page(load) + "release/", password=PASSWORD)
    assert "Cannot take “Why nobody else can release it”: it is not recorded" in text
    text = browser.send(page(load) + "release/", password=PASSWORD, alone="night, alone on duty")
    assert "Single-staffing exception night, alone on duty" in text
    assert Load.objects.get().decision.alone == "night, alone on duty"


def test_nothing_is_chosen_beforehand() -> None:
    everybody = Browser(makers.everybody())
    loads = [make.ended(), make.running(), make.complete(), make.released(), implant_load()]
    for load in loads:
        source = everybody.source(page(load))
        assert not re.search(r"<input[^>]*\bchecked\b|<option value=\"[^\"]+\" selected", source)


# Rejection


def test_a_load_is_rejected_with_its_reason_and_what_got_wet(releaser: Browser) -> None:
    wet, dry = makers.pack(), makers.pack()
    load = make.complete(make.load(None, wet, dry))
    text = releaser.send(page(load) + "reject/", password=PASSWORD)
    assert "Cannot take “Reason”: it is not recorded" in text
    text = releaser.send(page(load) + "reject/", password=PASSWORD, reason="puddle in the chamber", soiled=[wet.code])
    assert "Rejected Signed by" in text
    assert "Reason puddle in the chamber" in text
    found = {pack.code: {row.piece.state for row in pack.contents.select_related("piece")} for pack in (wet, dry)}
    assert found == {wet.code: {PieceState.RETURNED}, dry.code: {PieceState.INSPECTED}}


def test_a_running_load_is_rejected_as_aborted(releaser: Browser) -> None:
    load = running_now(makers.pack())
    text = releaser.send(page(load) + "reject/", password=PASSWORD, reason="aborted", soiled=["K9"])
    assert "Cannot take “Packs that got wet, dropped or touched”: it is none of the answers" in text
    releaser.send(page(load) + "reject/", password=PASSWORD, reason="aborted")
    assert Load.objects.get().state == states.LoadState.REJECTED


# Implants


def test_an_implant_load_goes_out_by_its_form_and_the_result_stays_due(releaser: Browser) -> None:
    load = implant_load()
    assert "the biological indicator is waiting" in releaser.read(page(load))
    form = {
        "implants": "stent 14 × 40",
        "case_reference": "C77",
        "authorised_by": "Operator 1",
        "reason": "airway closing",
        "avoidable_by": "a second stent in stock",
    }
    text = releaser.send(page(load) + "exception/", password=PASSWORD, **{**form, "reason": ""})
    assert "Cannot take “Why it cannot wait”: it is not recorded" in text
    text = releaser.send(page(load) + "exception/", password=PASSWORD, **form)
    assert "Implants stent 14 × 40 Case C77 Asked for by Operator 1" in text
    text = releaser.send(page(load) + "release/", password=PASSWORD)
    assert "The biological result of" in text
    assert Load.objects.get().state == states.LoadState.RELEASED
    assert "Biological indicator, lot BI-3 What it shows" in Browser(make.technician()).read(page(load))


def test_without_an_implant_there_is_no_such_form(releaser: Browser) -> None:
    assert "Sign exceptional release" not in releaser.read(page(make.complete()))


# Recall and doubt


def test_a_released_load_is_recalled_by_the_quality_lead(quality: Browser, releaser: Browser) -> None:
    load = make.released()
    assert "Recall load" in disabled(releaser.source(page(load)))
    assert "does not hold the right “decide”" in releaser.send(page(load) + "recall/", reason="failed indicator")
    text = quality.send(page(load) + "recall/", reason="failed indicator")
    assert f"{load.code} is recalled: 1 pack called back" in text
    assert Pack.objects.get().state == PackState.RECALLED


def doubtful(load: Load) -> int:
    """A failed test puts the load in doubt; its key."""
    code = load.machine.code
    actions.record_test(code, states.TestKind.STEAM_PENETRATION, passed=False, act=act(at=make.DECIDED))
    return int(load.doubts.get().test_id)


def test_a_load_in_doubt_is_decided_on_and_recalled(quality: Browser, releaser: Browser) -> None:
    load = make.released()
    test = doubtful(load)
    assert "In doubt" in releaser.read(page(load))
    assert "Record decision" in disabled(releaser.source(page(load)))
    fields = {"test_id": test, "decision": "air in the chamber"}
    assert "Cannot take “What follows”: it is not recorded" in quality.send(page(load) + "decide/", **fields)
    quality.send(page(load) + "decide/", recall="yes", **fields)
    assert (Load.objects.get().state, load.doubts.get().decision) == (states.LoadState.RECALLED, "air in the chamber")


def test_what_was_not_released_is_decided_on_without_a_recall(quality: Browser) -> None:
    load = make.complete()
    test = doubtful(load)
    assert "Recall the load" not in quality.read(page(load))
    back = f"/machines/{load.machine.code}/"
    text = quality.send(page(load) + "decide/", test_id=test, decision="tested again, well", back=back)
    assert f"The decision on {load.code} is recorded." in text
    assert f"{load.code} tested again, well" in text  # on the page of the machine, where the form stood


# What a page offers, and what its doors take


def washed() -> Load:
    return make.load(make.washer(), makers.piece(state=PieceState.RETURNED))


def decided(verb: str) -> Load:
    load = make.released() if verb == "recall_load" else make.complete()
    if verb == "reject":
        actions.reject(load.code, reason="wet", act=act(at=make.DECIDED))
    elif verb == "recall_load":
        actions.recall_load(load.code, reason="wet", act=act())
    return load


EVERY_STATE: dict[str, Callable[[], Load]] = {
    "building": lambda: make.load(None, makers.pack()),
    "building, empty": lambda: make.load(make.machine(tested=False)),
    "washer building": washed,
    "running": make.running,
    "awaiting evidence": make.ended,
    "complete": make.complete,
    "washer complete": lambda: make.complete(washed()),
    "implant": implant_load,
    "released": make.released,
    "rejected": lambda: decided("reject"),
    "recalled": lambda: decided("recall_load"),
    "low temperature": lambda: make.load(make.machine(states.MachineKind.LOW_TEMPERATURE)),
}


def holds(load: Load) -> bool:
    return load.load_packs.exists() or load.load_pieces.exists()


def answers(load: Load) -> dict[str, Any]:
    """Whatever the forms of a page may ask for."""
    member = load.load_packs.values_list("pack__code", flat=True).first()
    piece = load.load_pieces.values_list("piece__code", flat=True).first()
    texts = ("reason", "implants", "case_reference", "authorised_by", "avoidable_by", "lot", "cycle_number", "alone")
    return {
        **dict.fromkeys(texts, "text"),
        **dict.fromkeys(load.load_packs.values_list("pack__code", flat=True), "intact"),
        "mark": "K0",
        "pack": member or "K0",
        "piece": piece or "P0",
        "kind": "chemical",
        "recorded": "yes",
        "dosing": "yes",
        "caps_open": "on",
        "password": PASSWORD,
    }


def withheld(load: Load, person: Person) -> list[Offer]:
    """What the page of a load does not let this person do now."""
    row = Load.objects.select_related("machine", "programme").get(pk=load.pk)
    found = offers(Asked(row, person, timezone.now()), load_evidence(row))
    return [offer for offer in found.values() if offer.why_not]


@pytest.mark.parametrize("state", EVERY_STATE)
def test_what_a_page_does_not_offer_its_door_refuses(state: str) -> None:
    load = EVERY_STATE[state]()
    before = load.lines.count()
    for role in Role:
        browser = Browser(person := makers.person(role))
        buttons = disabled(browser.source(page(load)))
        assert withheld(load, person)
        for offer in withheld(load, person):
            nothing_to_take = offer.verb.name in ("take_off", "take_out") and offer.now and not holds(load)
            assert nothing_to_take or offer.verb.label in buttons
            record = SimpleUploadedFile("a.csv", b"t_s,p1_c\n0,20\n5,21\n")
            browser.client.post(offer.address, {**answers(load), "content": record})
            assert load.lines.count() == before, (offer.verb.name, role)
