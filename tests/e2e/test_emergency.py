"""An emergency in a real browser: three scans at the theatre's station, and the list and the notices know of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from journal.models import Notice, Place
from lists.models import Case, StandingSet
from tests.e2e.test_station import check, nurse, scan, sign_in
from tests.lists import makers as theatre
from trays.models import Pack

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LOOKED_MS = 2_500


def test_a_standing_set_is_issued_in_three_scans(page: Page, live_server: LiveServer) -> None:
    person, pack, room = nurse(), theatre.sterile(), theatre.theatre()
    Place.objects.create(code=room.code, name=room.name)
    Pack.objects.update(use_by=timezone.now() + timedelta(days=30))
    StandingSet.objects.create(template=theatre.tray_of(pack).template, minimum=1)
    sign_in(page, live_server.url, person.username)
    page.goto(f"{live_server.url}/scan/emergency/")
    check(page, "/scan/emergency/")
    scan(page, str(room.code))
    expect(page.locator("#now")).to_contain_text("Emergency in Theatre 1.", timeout=20_000)
    scan(page, pack.code)
    expect(page.locator("#now")).to_contain_text("look at its barrier", timeout=20_000)
    check(page, "/scan/emergency/, asked")
    page.wait_for_timeout(LOOKED_MS)
    scan(page, pack.code)
    expect(page.locator("#now")).to_contain_text("is issued to emergency case", timeout=20_000)
    case = Case.objects.get()
    expect(page.locator("#now")).to_contain_text(case.code)
    expect(page.locator("#still-open")).to_contain_text("No standing set is sterile.")
    page.goto(f"{live_server.url}/lists/{timezone.localdate()}/")
    expect(page.locator(".day-table")).to_contain_text(case.code)
    expect(page.locator(".day-table")).to_contain_text("Emergency")
    assert f"Emergency case {case.code} in Theatre 1" in Notice.objects.get(topic="emergency").sentence
