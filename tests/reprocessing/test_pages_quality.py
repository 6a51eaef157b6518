"""Pages of non-conformities: raised from a thing or by one press, worked off, closed by two."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Nonconformity
from reprocessing.quality_states import Cause, QualityState
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import PASSWORD, Browser, disabled

pytestmark = pytest.mark.django_db


def test_from_the_page_of_a_pack_to_closed() -> None:
    pack = makers.pack()
    nurse, lead = Browser(makers.person(Role.NURSE)), Browser(makers.person(Role.QUALITY))
    second = Browser(makers.person(Role.RELEASER))
    assert f"/quality/raise/?thing={pack.code}" in nurse.source(f"/packs/{pack.code}/")
    assert f'value="{pack.code}"' in nurse.source(f"/quality/raise/?thing={pack.code}&cause=other")
    said = {"thing": f" {pack.code.lower()} ", "cause": Cause.WRONG_CONTENTS, "description": "two telescopes"}
    assert "is raised on" in nurse.send("/quality/raise/", **said)
    row = Nonconformity.objects.get()
    address = f"/quality/{row.code}/"
    assert row.code in nurse.read(f"/packs/{pack.code}/")
    assert disabled(nurse.source(address))
    lead.send(f"{address}action/", what="recount", role=Role.NURSE, due=str(row.due_on))
    assert "Corrective action 1" in nurse.send(f"{address}done/1/", note="recounted")
    assert "0 of 0" not in nurse.read("/quality/")
    assert "the password does not match" in lead.send(f"{address}propose/", reason="done", password="no")
    lead.send(f"{address}propose/", reason="done", password=PASSWORD)
    assert "Cannot close" in lead.read(address)
    assert "is closed" in second.send(f"{address}close/", password=PASSWORD)
    assert Nonconformity.objects.get().state == QualityState.CLOSED
    assert row.code not in lead.read("/quality/?show=open")
    assert row.code in lead.read("/quality/?show=closed")
    assert row.code not in lead.read("/quality/?show=overdue")


def test_a_rejected_load_is_raised_by_one_press() -> None:
    load = make.ended(None, by=make.technician())
    actions.reject(load.code, reason="door opened", act=act(at=make.DECIDED))
    lead = Browser(makers.person(Role.QUALITY))
    assert "Nothing was raised on it" in lead.read(f"/loads/{load.code}/")
    said = {"thing": load.code, "cause": Cause.REJECTED_LOAD, "description": "Load rejected: door opened"}
    lead.send("/quality/raise/", **said)
    assert Nonconformity.objects.get().load == load
    assert Nonconformity.objects.get().code in lead.read(f"/loads/{load.code}/")


def test_what_is_not_there_and_what_lacks() -> None:
    lead = Browser(makers.person(Role.QUALITY))
    assert lead.client.get("/quality/?show=mine").status_code == 404
    assert lead.client.get("/quality/Q0/").status_code == 404
    assert "it is not recorded" in lead.send("/quality/raise/", thing="", cause="other", description="a")
    code = actions.raise_nonconformity(makers.piece().code, cause="other", description="a", act=act()).mark
    assert lead.client.post(f"/quality/{code}/forget/").status_code == 404


def test_the_list_asks_the_same_however_many_there_are() -> None:
    lead = Browser(makers.person(Role.QUALITY))

    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            lead.read("/quality/")
        return len(asked)

    code = makers.piece().code
    actions.raise_nonconformity(code, cause="other", description="a", act=act())
    once = count()
    for _ in range(3):
        actions.raise_nonconformity(makers.piece().code, cause="other", description="a", act=act())
    assert count() == once
