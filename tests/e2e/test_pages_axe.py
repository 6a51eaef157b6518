"""What axe says of the pages of fit, templates, cards, completion and trail, and whether they fit the screen."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from instruments.models import PartKind
from tests import makers
from tests.e2e.test_bench import parts, tray_of
from tests.e2e.test_station import check, nurse, sign_in
from tests.lists.desk import day_address, soon
from trays.actions import start_draft

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_pages_are_clean_for_axe_and_no_wider_than_the_screen(page: Page, live_server: LiveServer, width: int) -> None:
    of, person = parts(), nurse()
    tray = tray_of(of)
    template = tray.template
    sizes = {"inner_mm": "8.0", "outer_mm": "9.0", "length_mm": "430", "coupling": "C1"}
    bore = makers.part(PartKind.BARREL, size=of["sheath"].size, dimensions=sizes)
    tube = makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "4.0", "length_mm": "510"})
    start_draft(template.code, act=makers.act(person))
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server.url, person.username)
    for address in (
        f"/fit/?bore={bore.code}&shafts={tube.code}",
        f"/fit/matrix/{of['barrel'].size.series.code}/",  # type: ignore[union-attr]
        f"/fit/together/{bore.code}/",
        "/templates/",
        f"/templates/{template.code}/",
        f"/templates/{template.code}/compare/",
        f"/templates/{template.code}/publish/",
        f"{day_address(soon())}complete/",
        "/lists/times/",
        f"{day_address(soon())}board/",
        "/needs/",
        "/print/",
        "/scan/check/",
        "/trail/",
        "/validation/",
        "/quality/",
        "/quality/raise/",
        "/boxes/",
        "/reports/",
    ):
        page.goto(f"{live_server.url}{address}")
        check(page, address)
