"""What a scan at the bench of a tray of forty lines costs against one at a bench of one line, in a real browser.

Server time is from request to answer; visible time is from the end of the scan to the page as it is then drawn.
"""

from __future__ import annotations

import statistics
from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from tests import makers
from tests.e2e.conftest import base_url, browser_type_launch_args
from tests.e2e.test_bench import scan
from tests.e2e.test_station import nurse, sign_in
from trays.models import Placement, Tray

__all__ = ["base_url", "browser_type_launch_args"]

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LINES = 40
SMALL_TRAYS = 15
MOST_TIMES = 8.0
"""So many times the bench of one line; our proposal."""
WATCH = """() => {
  window.drawn = [];
  let from = 0;
  document.addEventListener("htmx:beforeRequest", () => { from = performance.now(); });
  document.addEventListener("htmx:afterSettle", () => requestAnimationFrame(() => setTimeout(() => {
    const [last] = performance.getEntriesByType("resource").slice(-1);
    window.drawn.push([last.responseEnd - last.requestStart, performance.now() - from]);
  })));
}"""


def p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def scans(page: Page, site: str, tray: Tray, codes: list[str]) -> list[tuple[float, float]]:
    """Server and visible milliseconds of each scan, one after the other."""
    page.goto(f"{site}/trays/{tray.code}/bench/")
    page.evaluate(WATCH)
    for done, code in enumerate(codes, start=1):
        scan(page, code)
        while page.evaluate("window.drawn.length") < done:
            page.wait_for_timeout(5)
    return [(server, drawn) for server, drawn in page.evaluate("window.drawn")]


def tray_of(lines: int) -> tuple[Tray, list[str]]:
    """An empty tray and a free piece for each of its lines."""
    parts = [makers.part() for _ in range(lines)]
    return makers.tray(makers.template(*parts)), [makers.piece(part).code for part in parts]


def test_a_scan_at_a_bench_of_forty_lines(page: Page, live_server: LiveServer, benchmark: Any) -> None:
    small, (large, codes) = [tray_of(1) for _ in range(SMALL_TRAYS)], tray_of(LINES)
    sign_in(page, live_server.url, nurse().username)
    scans(page, live_server.url, *tray_of(1))  # the first answer compiles the templates
    base = [time for tray, piece in small for time in scans(page, live_server.url, tray, piece)]
    found = benchmark.pedantic(scans, args=(page, live_server.url, large, codes), rounds=1)
    assert Placement.objects.filter(tray=large).count() == LINES
    figures = {
        f"{name}_{what}_p95_ms": round(p95([row[place] for row in rows]), 1)
        for name, rows in (("small", base), ("large", found))
        for place, what in enumerate(("server", "visible"))
    }
    times = figures["large_visible_p95_ms"] / figures["small_visible_p95_ms"]
    benchmark.extra_info |= {**figures, "times_small": round(times, 2)}
    assert times <= MOST_TIMES
