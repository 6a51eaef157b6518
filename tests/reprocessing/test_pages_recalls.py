"""Pages of recalls: drafted, looked at, issued, worked off by scanning, closed by two; table and report."""

from __future__ import annotations

import csv
import io

import pytest

from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Recall
from reprocessing.recall_states import RecallState
from reprocessing.states import IndicatorKind
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import PASSWORD, Browser, disabled
from trays.models import Tray

pytestmark = pytest.mark.django_db


def test_a_recall_from_draft_to_closure() -> None:
    pack, lost = makers.pack(), makers.pack()
    load = make.released(make.load(None, pack, lost))
    lead, second = Browser(makers.person(Role.QUALITY)), Browser(makers.person(Role.RELEASER))
    page = lead.send("/recalls/draft/", loads=f" {load.code.lower()} ", ground="wrong programme")
    row = Recall.objects.get()
    address = f"/recalls/{row.code}/"
    assert "Packs 2 · 2 sterile" in page
    assert "the password does not match" in lead.send(f"{address}issue/", reason="wrong programme", password="no")
    page = lead.send(f"{address}issue/", reason="wrong programme", password=PASSWORD)
    assert "1 load, 2 things to answer for, 2 to find" in page
    nurse = Browser(makers.person(Role.NURSE))
    assert f"{pack.code} is found. Still to find: 1." in nurse.send(
        f"{address}settle/", thing=Tray.objects.get(packs=pack).code, outcome="found"
    )
    nurse.send(f"{address}settle/", thing=lost.code, outcome="not found", note="store searched")
    lead.send(f"{address}propose/", reason="all answered for", password=PASSWORD)
    assert "Cannot close" in lead.send(f"{address}close/", password=PASSWORD)
    assert "is closed" in second.send(f"{address}close/", password=PASSWORD)
    assert Recall.objects.get().state == RecallState.CLOSED
    rows = list(csv.reader(io.StringIO(lead.source(f"{address}list.csv"))))
    assert rows[0][:4] == ["Recall", row.code, "State", "closed"]
    assert {line[1]: line[5] for line in rows[2:]} == {pack.code: "found", lost.code: "not found"}
    assert lead.client.get(f"{address}report.pdf").content.startswith(b"%PDF")
    assert "Closed" in lead.read("/recalls/")


def test_who_may_not_decide_reads_why_and_a_draft_that_fell_behind_says_so() -> None:
    on = make.machine()
    bad = make.complete(make.load(on, makers.pack()))
    key = make.indicator(bad, IndicatorKind.BIOLOGICAL)
    make.released(bad)
    actions.read_indicator(bad.code, key, passed=False, act=act(at=make.DECIDED))
    row = Recall.objects.get()
    make.released(make.load(on, makers.pack()))
    nurse, lead = Browser(makers.person(Role.NURSE)), Browser(makers.person(Role.QUALITY))
    assert "Issue recall" in disabled(nurse.source(f"/recalls/{row.code}/"))
    page = lead.read(f"/recalls/{row.code}/")
    assert "Fallen behind" in page
    assert "Repeat the biological indicator in 3 consecutive cycles" in page
    assert "Fallen behind" not in lead.send(f"/recalls/of-machine/{on.code}/")
    assert lead.client.post(f"/recalls/{row.code}/unheard-of/").status_code == 404
    assert "is dropped" in lead.send(f"/recalls/{row.code}/drop/", reason="vial mixed up")
    assert "ST79" in lead.read("/recalls/")
