"""The unit whose day the journeys work: imported by the commands from the fixtures, with people who sign in."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import date
from io import StringIO
from pathlib import Path

from django.conf import settings
from django.core.management import call_command

from journal.models import Duty, Person
from journal.roles import Role

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
TRACES = FIXTURES / "traces"
PASSWORD = "a-shift-has-eight-hours"

PEOPLE: dict[str, tuple[str, Role]] = {
    "nurse1": ("Endoscopy nurse 1", Role.NURSE),
    "tech1": ("Technician 1", Role.TECHNICIAN),
    "tech2": ("Technician 2", Role.TECHNICIAN),
    "release1": ("Releasing person 1", Role.RELEASER),
    "release2": ("Releasing person 2", Role.RELEASER),
    "coord1": ("Coordinator 1", Role.COORDINATOR),
    "quality1": ("Quality lead 1", Role.QUALITY),
}

TRAY = "T000001N"
TRAY_NAME = "Adult tray A"
TEMPLATE = "AD-BRO"
SPARES = {"SU-30": 1, "SH-A90": 1, "FO-G25": 1}
"""Beside the pieces of one tray: one for the piece that goes missing, a sheath of another size, one wrapped alone."""

WASHER, STERILISER, OTHER_STERILISER = "M000001V", "M000003R", "M000004P"
TESTS = {
    WASHER: ("self-test",),
    STERILISER: ("steam penetration", "air leakage", "warm-up"),
    OTHER_STERILISER: ("steam penetration", "air leakage", "warm-up"),
}
STORE, LOT = "STORE-A", "CI-2611"
WAITING_CASE = "L-0401"
"""The list system's own number of the case of the list that waits for the tray."""


def open_unit(folder: Path, day: date) -> None:
    """Enter the unit as its master-data person would: by the commands, with the list of that day.

    Of the register of pieces only those of one tray and its spares are taken, as a file of their own.
    """
    call_command("loaddata", FIXTURES / "unit.json", verbosity=0)
    for sign_in, (name, role) in PEOPLE.items():
        person = Person.objects.create_user(username=sign_in, password=PASSWORD, display_name=name)
        Duty.objects.create(person=person, role=role)
    for table in ("catalogue", "pieces", "templates", "trays", "procedures", "list"):
        file = _register(folder) if table == "pieces" else FIXTURES / f"{table}.csv"
        more = {"day": day} if table == "list" else {}
        call_command(f"import_{table}", file, by="quality1", stdout=StringIO(), **more)


def _register(folder: Path) -> Path:
    """The rows of the register for the pieces of one tray and the spares, header and all."""
    wanted = Counter(SPARES)
    for row in csv.DictReader((FIXTURES / "templates.csv").read_text().splitlines()):
        if row["template"] == TEMPLATE:
            wanted[row["part"]] += int(row["quantity"])
    header, *lines = (FIXTURES / "pieces.csv").read_text().splitlines()
    taken = []
    for line in lines:
        part = line.split(",")[0]
        if wanted[part]:
            wanted[part] -= 1
            taken.append(line)
    file = folder / "pieces.csv"
    file.write_text("\n".join([header, *taken]) + "\n")
    return file


def trace(name: str) -> str:
    """A recorded-looking trace, as a logger wrote it."""
    return (TRACES / f"{name}.csv").read_text()
