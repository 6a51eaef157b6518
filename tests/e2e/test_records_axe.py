"""What axe says of the pages of records, columns and leak tests, and of a load with its picture and message."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from reprocessing import actions
from tests.e2e.test_station import check, nurse, sign_in
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.device_messages import device_message
from tests.reprocessing.test_leak_tests import leak_log

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_pages_of_records_are_clean_for_axe_and_no_wider_than_the_screen(
    page: Page, live_server: LiveServer, width: int
) -> None:
    person, load = nurse(), make.complete()
    code = load.machine.code
    message = device_message(sdd_2=code, scd_7="60^s", scd_11="20261124090000+0100")
    actions.attach_trace(load.code, "cycle.hl7", message, act=act(person, at=make.ENDED))
    at = timezone.now() - timedelta(minutes=1)
    actions.take_in("cycle 8.csv", make.steam_trace(), code, at=at)
    actions.take_in("spoilt.hl7", device_message(sdd_2="AC-9"), "", at=at)
    leak = actions.leave_record(code, "leak.csv", leak_log(1.2), act=act(person)).pk
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, person.username)
    for address in (
        f"/loads/{load.code}/",
        "/records/",
        f"/records/{leak}/leak-test/",
        f"/machines/{code}/columns/",
        f"/machines/{code}/",
    ):
        page.goto(f"{live_server.url}{address}")
        check(page, address)
