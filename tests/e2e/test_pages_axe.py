"""What axe says of every page of the site, and whether each fits the screen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import NamedTuple

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from config.station.modes import MODES
from instruments.actions import open_box
from instruments.models import Part, PartKind
from journal.actions import Concern, open_channel, tell
from journal.models import Delivery, Notice, Person
from journal.roles import Role
from reprocessing.actions import draft_recall, raise_nonconformity, take_in
from reprocessing.models import Arrival, Load
from tests import makers
from tests.e2e.test_bench import parts, tray_of
from tests.e2e.test_station import check, nurse, sign_in
from tests.lists import makers as theatre
from tests.lists.desk import soon
from tests.reprocessing import makers as make
from trays.actions import start_draft
from trays.models import Tray

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FRAMELESS = ("admin", "api")
"""Parts of the site with pages of their own making, not ours."""
NO_PAGES = {"health", "sign-out", "trail-head", "trail-proof", "fit-matrix-csv"}
"""Addresses that answer with something else than a page, beside files named as such."""
FILES = (".csv", ".pdf", ".json")
SOMETHING = {"str": "x", "slug": "x", "int": 1, "day": date(2030, 1, 1)}
"""A value for each kind of blank in an address."""


class World(NamedTuple):
    """One of each thing that has a page."""

    person: Person
    tray: Tray
    bore: Part
    tube: Part
    load: Load
    recall: str
    nonconformity: str
    notice: int
    codes: dict[str, str]


def world() -> World:
    """A unit in which every page has something to show."""
    of, person = parts(), nurse()
    tray = tray_of(of)
    sizes = {"inner_mm": "8.0", "outer_mm": "9.0", "length_mm": "430", "coupling": "C1"}
    bore = makers.part(PartKind.BARREL, size=of["sheath"].size, dimensions=sizes)
    tube = makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "4.0", "length_mm": "510"})
    start_draft(tray.template.code, act=makers.act(person))
    load = make.released()
    recall = draft_recall((load.code,), ground="a doubt", act=makers.act(person)).mark
    raised = raise_nonconformity(load.code, cause="other", description="a doubt", act=makers.act(person)).mark
    take_in("cycle.csv", make.steam_trace(), load.machine.code)
    codes = {
        "box": open_box("L-0007", ground="suspected", act=makers.act(person)).mark,
        "loan": makers.loan().code,
        "piece": makers.piece(tube).code,
        "pack": makers.single().code,
        "case": theatre.case(tray.template, starts_at=soon()).code,
    }
    return World(person, tray, bore, tube, load, recall, raised, notice_outside(person), codes)


def notice_outside(person: Person) -> int:
    """A notice that has left the unit by one channel and could not be sent by another."""
    for address in ("lead@unit.example", "desk@unit.example"):
        open_channel("e-mail", address, act=makers.act(person))
    tell("cases", [Concern("case:X", Role.COORDINATOR, "Case X lacks a set.")], at=makers.AT)
    now = timezone.now()
    Delivery.objects.filter(channel__address__startswith="lead").update(
        attempts=8, given_up_at=now, answer="No answer"
    )
    return Notice.objects.get(cause="case:X").pk


def _plain(name: str) -> Callable[[World], list[str]]:
    return lambda _: [reverse(name)]


PLAIN = (
    "day", "look-back", "validation", "help", "scan", "scan-check", "station", "notices", "channels", "trail",
    "catalogue",
    "service", "loans", "agree-loan", "stock", "print", "receive", "templates", "trays", "loads", "records",
    "machines", "programmes", "periodic-tests", "protein", "boxes", "reports", "stage-times",
    "quality", "nonconformity-raise", "recalls", "lists", "messages", "needs", "plan-case",
)  # fmt: skip

PAGES: dict[str, Callable[[World], list[str]]] = {
    **{name: _plain(name) for name in PLAIN},
    "find": lambda _: ["/find/?q=part", "/find/"],
    "scan-mode": lambda _: [reverse("scan-mode", args=[slug]) for slug in MODES],
    "notice": lambda of: [reverse("notice", args=[of.notice])],
    "part": lambda of: [reverse("part", args=[of.bore.code])],
    "fit": lambda of: [reverse("fit"), f"{reverse('fit')}?bore={of.bore.code}&shafts={of.tube.code}"],
    "fit-matrix": lambda of: [reverse("fit-matrix", args=[of.bore.size.series.code])],  # type: ignore[union-attr]
    "together": lambda of: [reverse("together", args=[of.bore.code])],
    "loan": lambda of: [reverse("loan", args=[of.codes["loan"]])],
    "template": lambda of: [reverse("template", args=[of.tray.template.code])],
    "template-version": lambda of: [reverse("template-version", args=[of.tray.template.code, 2])],
    "compare-versions": lambda of: [reverse("compare-versions", args=[of.tray.template.code])],
    "publish-template": lambda of: [reverse("publish-template", args=[of.tray.template.code])],
    "tray": lambda of: [reverse("tray", args=[of.tray.code])],
    "tray-bench": lambda of: [reverse("tray-bench", args=[of.tray.code])],
    "load": lambda of: [reverse("load", args=[of.load.code])],
    "machine": lambda of: [reverse("machine", args=[of.load.machine.code])],
    "machine-upkeep": lambda of: [reverse("machine-upkeep", args=[of.load.machine.code])],
    "machine-columns": lambda of: [reverse("machine-columns", args=[of.load.machine.code])],
    "leak-test": lambda of: [reverse("leak-test", args=[Arrival.objects.get(machine=of.load.machine).pk])],
    "box": lambda of: [reverse("box", args=[of.codes["box"]])],
    "nonconformity": lambda of: [reverse("nonconformity", args=[of.nonconformity])],
    "recall": lambda of: [reverse("recall", args=[of.recall])],
    "list-day": lambda _: [reverse("list-day", args=[soon().date()])],
    "list-board": lambda _: [reverse("list-board", args=[soon().date()])],
    "day-plan": lambda _: [reverse("day-plan", args=[soon().date()])],
    "go-day": lambda _: [reverse("go-day", args=[soon().date()])],
    "pick-day": lambda _: [reverse("pick-day", args=[soon().date()])],
    "complete-day": lambda _: [reverse("complete-day", args=[soon().date()])],
    "case": lambda of: [reverse("case", args=[of.codes["case"]])],
    "piece": lambda of: [reverse("piece", args=[of.codes["piece"]])],
    "pack": lambda of: [reverse("pack", args=[of.codes["pack"]])],
}
"""For the name of each page its addresses in that world."""


def addresses(found: list[URLPattern | URLResolver], before: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every address of the site with its whole pattern."""
    for one in found:
        whole = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from addresses(one.url_patterns, whole)
        elif not whole.startswith(FRAMELESS):
            yield whole, one


def test_every_page_of_the_site_is_looked_at() -> None:
    client = Client()
    client.force_login(makers.everybody(), backend="django.contrib.auth.backends.ModelBackend")
    found = set()
    for whole, one in addresses(get_resolver().url_patterns):
        if whole.endswith(FILES) or one.name in NO_PAGES:
            continue
        blanks = {
            name: SOMETHING[type(kind).__name__.removesuffix("Converter").lower().replace("string", "str")]
            for name, kind in one.pattern.converters.items()
        }
        if client.get(reverse(str(one.name), kwargs=blanks)).status_code != 405:
            found.add(one.name)
    assert found == {*PAGES, "sign-in"}


TABLES_AND_DRAWINGS = (
    "fit", "fit-matrix", "together", "templates", "template", "compare-versions", "publish-template", "complete-day",
    "list-board", "needs", "print", "scan-check", "trail", "channels",
)  # fmt: skip
"""Pages that change most with the width of the screen."""


@pytest.mark.parametrize(
    ("width", "names"), [(1280, TABLES_AND_DRAWINGS), (768, tuple(PAGES)), (390, TABLES_AND_DRAWINGS)]
)
def test_pages_are_clean_for_axe_and_no_wider_than_the_screen(
    page: Page, live_server: LiveServer, width: int, names: tuple[str, ...]
) -> None:
    of = world()
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{live_server.url}{reverse('sign-in')}")
    check(page, "sign-in")
    sign_in(page, live_server.url, of.person.username)
    faults = []
    for address in (address for name in names for address in PAGES[name](of)):
        answer = page.goto(f"{live_server.url}{address}")
        assert answer is not None
        assert answer.ok, address
        try:
            check(page, address)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, "\n".join(faults)
