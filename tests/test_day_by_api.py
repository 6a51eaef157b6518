"""A day of the unit through the API alone: every step is a request over the network, every job the worker's.

On PostgreSQL and Redis the containers' own commands serve and work; on SQLite one process does both, as embedded.
"""

from __future__ import annotations

import json
import random
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from config import embedded
from config.celery import app
from config.demo.work import recorded
from tests.architecture.test_containers import BEHIND_PROXY, container
from tests.conftest import NEEDS
from tests.day import (
    LOT,
    OTHER_STERILISER,
    PASSWORD,
    PEOPLE,
    STERILISER,
    STORE,
    TESTS,
    TRAY,
    WAITING_CASE,
    WASHER,
    open_unit,
    trace,
)
from tests.test_serve import free_port

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

PATIENCE_S = 30
ARGON2 = "django.contrib.auth.hashers.Argon2PasswordHasher"  # what every shape but the tests' own keeps passwords by
Answer = dict[str, Any]


@pytest.fixture
def site(tmp_path: Path, request: pytest.FixtureRequest, settings: Settings, transactional_db: None) -> Iterator[str]:
    """The product at work on the test's database, with its worker: the address of its web server."""
    settings.PASSWORD_HASHERS = [ARGON2]
    if NEEDS["servers"][0]:
        port = free_port()
        with container("web", tmp_path, port), container("worker", tmp_path):
            yield f"http://127.0.0.1:{port}"
    else:
        server = request.getfixturevalue("live_server")
        with embedded.jobs(app, tmp_path / "beat"):
            yield server.url


class Unit:
    """The unit as programs see it: requests by the tokens of its people.

    Args:
        site: where its web server answers.
    """

    def __init__(self, site: str) -> None:
        self.site = site
        self.tokens = {name: self._token(name) for name in PEOPLE}

    def _token(self, name: str) -> str:
        status, answer = self._ask("/api/sign-in/", {}, {"username": name, "password": PASSWORD})
        assert status == 200, answer
        return str(answer["token"])

    def _ask(self, path: str, headers: dict[str, str], body: Answer | None = None) -> tuple[int, Answer]:
        data = None if body is None else json.dumps(body).encode()
        told = {**BEHIND_PROXY, **headers, "Content-Type": "application/json"}
        try:
            with urllib.request.urlopen(urllib.request.Request(self.site + path, data, told)) as answer:
                return answer.status, json.load(answer)
        except urllib.error.HTTPError as other:
            with other:
                return other.code, json.load(other)

    def see(self, name: str, path: str) -> Answer:
        """What a person reads."""
        status, answer = self._ask(f"/api/{path}", {"Authorization": f"Token {self.tokens[name]}"})
        assert status == 200, answer
        return answer

    def rows(self, name: str, path: str) -> list[Answer]:
        """The rows of a list."""
        return list(self.see(name, path)["results"])

    def _post(self, name: str, verb: str, key: str, body: Answer) -> tuple[int, Answer]:
        headers = {"Authorization": f"Token {self.tokens[name]}", "Idempotency-Key": key or str(uuid.uuid4())}
        return self._ask(f"/api/{verb}/", headers, body)

    def do(self, name: str, verb: str, *, key: str = "", **body: Any) -> Answer:
        """What a person does, and the answer."""
        status, answer = self._post(name, verb, key, body)
        assert status == 200, (verb, body, answer)
        return answer

    def refused(self, name: str, verb: str, **body: Any) -> dict[str, str]:
        """What stands against what a person wants to do: the sentences by their slugs."""
        status, answer = self._post(name, verb, "", body)
        assert status == 409, (verb, body, answer)
        return {finding["slug"]: finding["sentence"] for finding in answer["findings"]}


def slugs(answer: Answer) -> list[str]:
    return [finding["slug"] for finding in answer["findings"]]


# The steps of the day


def plan(unit: Unit, reference: str, at: datetime) -> str:
    """A case for today; its code."""
    return str(
        unit.do(
            "coord1",
            "lists/plan-case",
            reference=reference,
            theatre="TH1",
            procedure="BRO-A",
            starts_at=at.isoformat(),
            duration_min=45,
        )["mark"]
    )


def row_of(unit: Unit, day: date, reference: str) -> Answer:
    """A case as the list of its day shows it."""
    rows = unit.see("coord1", f"lists/{day}/")["rows"]
    return next(row for row in rows if row["reference"] == reference)


def give_tray(unit: Unit, day: date, reference: str) -> None:
    """The coordinator lets the tray serve the case's one need."""
    (need,) = row_of(unit, day, reference)["needs"]
    unit.do("coord1", "lists/allocate", requirement=need["requirement"], tray=TRAY)


def wash(unit: Unit, pieces: list[str], record: str) -> tuple[str, Answer]:
    """Wash pieces; the load's code and what its record is judged to show."""
    load = unit.do("tech1", "reprocessing/open-load", machine=WASHER, programme="W90")["mark"]
    for piece in pieces:
        unit.do("tech1", "reprocessing/add-piece", load=load, piece=piece)
    unit.do("tech1", "reprocessing/start-load", load=load, caps_open=True)
    unit.do("tech1", "reprocessing/unload", load=load, dosing_recorded=True)
    judged = unit.do("tech1", "reprocessing/attach-trace", load=load, file_name=f"{load}.csv", content=record)
    unit.do("release1", "reprocessing/release", load=load)
    return load, judged


def inspect(unit: Unit, pieces: list[str]) -> None:
    """Every piece is clean and passes the tests that its part asks for."""
    parts = {part["code"]: part for part in unit.rows("tech2", "parts/")}
    of_piece = {piece["code"]: parts[piece["part"]] for piece in unit.rows("tech2", "pieces/")}
    for code in pieces:
        tests = {"function": "function_test", "insulation": "insulated"}
        passed: Answer = {name: True for name, asked in tests.items() if of_piece[code][asked]}
        unit.do("tech2", "instruments/inspect", piece=code, clean=True, **passed)


def lay(unit: Unit, *pieces: str) -> None:
    """Pieces onto the tray."""
    for piece in pieces:
        unit.do("nurse1", "trays/put-on-tray", piece=piece, tray=TRAY)


def sterilise(unit: Unit, by: str, machine: str, pack: str, record: str) -> tuple[str, Answer]:
    """A pack through a steriliser up to its decision; the load's code and what its record is judged to show."""
    load = unit.do(by, "reprocessing/open-load", machine=machine, programme="S134")["mark"]
    unit.do(by, "reprocessing/add-pack", load=load, pack=pack)
    unit.do(by, "reprocessing/place-indicator", load=load, kind="chemical", lot=LOT)
    unit.do(by, "reprocessing/start-load", load=load, caps_open=True)
    unit.do(by, "reprocessing/unload", load=load)
    judged = unit.do(by, "reprocessing/attach-trace", load=load, file_name=f"{load}.csv", content=record)
    (indicator,) = unit.see(by, f"loads/{load}/")["indicators"]
    unit.do(by, "reprocessing/read-indicator", load=load, indicator_id=indicator["id"], passed=True)
    return load, judged


def use(unit: Unit, pack: str, case: str) -> None:
    """A nurse issues the pack to the case and opens it."""
    unit.do("nurse1", "lists/issue", pack=pack, case=case, barrier_intact=True)
    unit.do("nurse1", "lists/open-pack", pack=pack, case=case)


def numbers(unit: Unit, load: str) -> dict[str, float]:
    """The figures of a load's record."""
    (kept,) = unit.see("release1", f"loads/{load}/")["traces"]
    return dict(kept["judgement"]["numbers"])


def cases_of(unit: Unit, piece: str) -> list[str]:
    """The cases that a piece was used at, by its own trail."""
    lines = unit.see("quality1", f"pieces/{piece}/")["lines"]
    return [line["evidence"]["case"] for line in lines if line["verb"] == "use"]


def notices(unit: Unit, name: str, words: str) -> list[Answer]:
    """A person's open notices that say this."""
    return [notice for notice in unit.rows(name, "notices/") if words in notice["sentence"]]


def until(true: Callable[[], bool]) -> None:
    """Wait for the worker."""
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.2)


# The day


def first_processing(unit: Unit) -> tuple[str, dict[str, list[str]]]:
    """Everything new is washed and inspected, the tray packed, sterilised and stored: its pack, and pieces by part."""
    for machine, tests in TESTS.items():
        for test in tests:
            unit.do("tech1", "reprocessing/record-test", machine=machine, kind=test, passed=True)
    by_part: dict[str, list[str]] = {}
    for piece in unit.rows("tech1", "pieces/"):
        by_part.setdefault(piece["part"], []).append(piece["code"])
    everything = [piece for pieces in by_part.values() for piece in pieces]
    dice = random.Random(1)
    wash(unit, everything, recorded("washer_good", dice))
    inspect(unit, everything)
    for row in unit.see("nurse1", f"trays/{TRAY}/count/")["rows"]:
        lay(unit, *by_part[row["part"]][: row["quantity"]])
    pack = unit.do("nurse1", "trays/finish-tray", tray=TRAY)["mark"]
    load, _ = sterilise(unit, "tech1", STERILISER, pack, recorded("steam_134_good", dice))
    unit.do("release1", "reprocessing/release", load=load)
    unit.do("tech1", "trays/store", pack=pack, place=STORE)
    return pack, by_part


def comes_back_with_one_missing(unit: Unit, pack: str, lost: str) -> list[str]:
    """Each piece is counted; what is not there is named at once, and missing when the count is closed."""
    inside = [row["piece"] for row in unit.see("tech1", f"packs/{pack}/")["contents"]]
    unit.do("tech1", "lists/take-back", pack=pack)
    counted = [piece for piece in inside if piece != lost]
    for piece in counted:
        answer = unit.do("tech1", "lists/count-piece", piece=piece)
    assert f"1 of {len(inside)} pieces are still to be counted." in answer["sentence"]
    assert lost in answer["findings"][0]["sentence"]
    closed = unit.do("tech1", "lists/close-count", pack=pack)
    assert closed["sentence"] == f"The count of {pack} is closed: 1 missing: {lost}."
    assert unit.see("tech1", f"pieces/{lost}/")["state"] == "missing"
    return counted


def worker_tells(unit: Unit, lost: str) -> None:
    """The timetable's job writes a notice to those who can look for it, and only one when it runs again."""
    for _ in range(2):
        app.send_task("lists.tasks.watch_cases")
    until(lambda: all(notices(unit, name, f"{lost} is missing") for name in ("nurse1", "tech1")))
    assert len(notices(unit, "tech1", f"{lost} is missing")) == 1
    assert not notices(unit, "coord1", f"{lost} is missing")


def assemble_with_two_mistakes(unit: Unit, by_part: dict[str, list[str]], lost: str) -> str:
    """A sheath of another size and a seal that lacks are found, both are put right, and the tray is finished."""
    mistaken = {"SH-A80": by_part["SH-A90"], "SE-A85": []}
    for row in unit.see("nurse1", f"trays/{TRAY}/count/")["rows"]:
        there = mistaken.get(row["part"], [piece for piece in by_part[row["part"]] if piece != lost])
        lay(unit, *there[: row["quantity"]])
    (wrong,), (sheath,), (seal,) = by_part["SH-A90"], by_part["SH-A80"], by_part["SE-A85"]
    count = unit.see("nurse1", f"trays/{TRAY}/count/")
    said = {finding["slug"]: finding["sentence"] for finding in count["findings"]}
    assert not count["complete"]
    assert f"sheath {wrong} is of size 9.0, must be of size 8.0." in said["sheath-other-size"]
    assert "0 of 1 × seal of this size on the tray, must be 1." in said["seal-missing"]
    assert {"sheath-other-size", "seal-missing"} <= unit.refused("nurse1", "trays/finish-tray", tray=TRAY).keys()
    unit.do("nurse1", "trays/take-off-tray", piece=wrong)
    lay(unit, sheath, seal)
    count = unit.see("nurse1", f"trays/{TRAY}/count/")
    assert count["complete"]
    assert not slugs(count)
    key = str(uuid.uuid4())
    first, again = (unit.do("nurse1", "trays/finish-tray", key=key, tray=TRAY) for _ in range(2))
    assert first == again
    packs = [pack for pack in unit.rows("nurse1", "packs/?state=assembled") if pack["tray"] == TRAY]
    assert [pack["code"] for pack in packs] == [first["mark"]]
    return str(first["mark"])


def superheated_load_is_not_released(unit: Unit, piece: str) -> None:
    """A high F0 is no proof: the record is outside its limits, the release refused, the load rejected."""
    pack = unit.do("nurse1", "trays/pack-single", piece=piece)["mark"]
    load, judged = sterilise(unit, "tech1", OTHER_STERILISER, pack, trace("steam_134_superheated"))
    assert judged["sentence"] == "Numbers within limits: no."
    assert "superheat-suspected" in slugs(judged)
    assert numbers(unit, load)["f0_min"] == pytest.approx(378.4, abs=0.1)  # fixtures/traces/README.md
    refusal = unit.refused("release1", "reprocessing/release", load=load)
    assert list(refusal) == ["trace-failed"]
    unit.do("release1", "reprocessing/reject", load=load, reason="superheated steam")
    assert unit.see("tech1", f"packs/{pack}/")["state"] == "void"


def released_by_a_second_person(unit: Unit, pack: str) -> str:
    """A good load: not released by the one who built it alone, but by another."""
    load, judged = sterilise(unit, "release2", STERILISER, pack, trace("steam_134_good"))
    assert judged["sentence"] == "Numbers within limits: yes."
    assert numbers(unit, load)["f0_min"] == pytest.approx(99.7, abs=0.1)  # fixtures/traces/README.md
    refusal = unit.refused("release2", "reprocessing/release", load=load)
    assert list(refusal) == ["built-alone"]
    unit.do("release1", "reprocessing/release", load=load)
    assert unit.see("tech1", f"loads/{load}/")["decision"]["by"] == "Releasing person 1"
    return load


def found_again(unit: Unit, lost: str) -> None:
    """The missing piece turns up; its notices close with the next run of the job."""
    unit.do("tech1", "instruments/find", piece=lost)
    app.send_task("lists.tasks.watch_cases")
    until(lambda: not any(notices(unit, name, f"{lost} is missing") for name in ("nurse1", "tech1")))
    assert unit.see("tech1", f"pieces/{lost}/")["state"] == "returned"


def test_a_day_by_the_api_alone(site: str, tmp_path: Path) -> None:
    now = timezone.localtime()
    today, tomorrow = now.date(), now.date() + timedelta(days=1)
    open_unit(tmp_path, tomorrow)
    unit = Unit(site)
    old_pack, by_part = first_processing(unit)
    first_case = plan(unit, "T-0001", now)
    give_tray(unit, today, "T-0001")
    give_tray(unit, tomorrow, WAITING_CASE)
    use(unit, old_pack, first_case)
    unit.do("nurse1", "lists/end-case", case=first_case)

    lost = by_part["SU-30"][0]
    pieces = comes_back_with_one_missing(unit, old_pack, lost)
    worker_tells(unit, lost)
    assert row_of(unit, tomorrow, WAITING_CASE)["verdict"] == "Complete by"
    wash_load, judged = wash(unit, pieces, trace("washer_good"))
    assert judged["sentence"] == "Numbers within limits: yes."
    assert numbers(unit, wash_load)["a0_s"] == pytest.approx(5006, abs=1)  # fixtures/traces/README.md
    inspect(unit, pieces)
    pack = assemble_with_two_mistakes(unit, by_part, lost)
    superheated_load_is_not_released(unit, by_part["FO-G25"][-1])
    load = released_by_a_second_person(unit, pack)
    unit.do("tech1", "trays/store", pack=pack, place=STORE)

    waiting = row_of(unit, tomorrow, WAITING_CASE)
    assert waiting["verdict"] == "Complete"
    use(unit, pack, waiting["case"])
    history = unit.see("quality1", f"cases/{waiting['case']}/")
    (served,) = history["packs"]
    assert (served["pack"], served["loads"]) == (pack, [load])
    assert wash_load in served["washes"]
    inside = [row["piece"] for row in unit.see("quality1", f"packs/{pack}/")["contents"]]
    assert sorted(served["pieces"]) == sorted(inside)
    assert len(inside) == len(pieces) + 1
    for piece in inside:
        assert cases_of(unit, piece)[-1] == waiting["case"]
    found_again(unit, lost)
