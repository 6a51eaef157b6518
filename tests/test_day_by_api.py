"""A day of the unit through the API alone: every step is a request over the network, every job the worker's.

On PostgreSQL and Redis the containers' own commands serve and work; on SQLite one process does both, as embedded.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from config.celery import app
from tests.architecture.test_containers import container
from tests.day import OTHER_STERILISER, STERILISER, STORE, TRAY, WAITING_CASE, open_unit, trace
from tests.day_by_requests import (
    ON_SERVERS,
    Unit,
    cases_of,
    first_processing,
    give_tray,
    inspect,
    lay,
    notices,
    numbers,
    plan,
    row_of,
    slugs,
    sterilise,
    until,
    use,
    wash,
    worker,
)
from tests.test_serve import free_port

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

ARGON2 = "django.contrib.auth.hashers.Argon2PasswordHasher"  # what every shape but the tests' own keeps passwords by


@pytest.fixture
def site(tmp_path: Path, request: pytest.FixtureRequest, settings: Settings, transactional_db: None) -> Iterator[str]:
    """The product at work on the test's database, with its worker: the address of its web server."""
    settings.PASSWORD_HASHERS = [ARGON2]
    if ON_SERVERS:
        port = free_port()
        with container("web", tmp_path, port), worker(tmp_path):
            yield f"http://127.0.0.1:{port}"
    else:
        server = request.getfixturevalue("live_server")
        with worker(tmp_path):
            yield server.url


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
    assert slugs(count) == ["take-apart"]
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
