"""The unit as programs see it: requests of its people over the API, the steps of a day, and the jobs' worker."""

from __future__ import annotations

import json
import random
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, datetime
from pathlib import Path
from typing import Any

from config import embedded
from config.celery import app
from config.demo.work import recorded
from tests.architecture.test_containers import BEHIND_PROXY, container
from tests.conftest import NEEDS
from tests.day import LOT, PASSWORD, PEOPLE, STERILISER, STORE, TESTS, TRAY, WASHER

PATIENCE_S = 30
ON_SERVERS, _ = NEEDS["servers"]
Answer = dict[str, Any]


def worker(folder: Path) -> AbstractContextManager[object]:
    """A Celery worker for the length of the block: the container's where there is a broker, else as embedded."""
    return container("worker", folder) if ON_SERVERS else embedded.jobs(app, folder / "beat")


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
