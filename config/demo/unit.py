"""The unit itself: places, machines, people, catalogue, pieces, templates, trays, procedures."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.core.management import call_command

from instruments.identity import Kind
from instruments.imports import import_catalogue, import_pieces
from instruments.writer import new_code
from journal.actions import Act
from journal.models import Duty, Person
from journal.roles import Role
from lists.actions import keep_standing
from lists.imports import import_operators, import_procedures
from trays.imports import import_templates, import_trays

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
PASSWORD = "airway-unit-demo"  # noqa: S105 - printed by the demo, used nowhere else

PEOPLE: tuple[tuple[str, str, tuple[Role, ...]], ...] = (
    ("nurse1", "Endoscopy nurse 1", (Role.NURSE,)),
    ("nurse2", "Endoscopy nurse 2", (Role.NURSE,)),
    ("tech1", "Technician 1", (Role.TECHNICIAN,)),
    ("tech2", "Technician 2", (Role.TECHNICIAN,)),
    ("release1", "Releasing person 1", (Role.RELEASER,)),
    ("coord1", "Coordinator 1", (Role.COORDINATOR,)),
    ("quality1", "Quality lead 1", (Role.QUALITY,)),
)
MASTER = "quality1"

STANDING = (("EMERG", 2), ("OPT-FO", 1))
"""Templates, and how many of each must be sterile at all times."""


def load_unit(at: datetime) -> dict[str, Person]:
    """Enter the unit; people by their sign-in names."""
    call_command("loaddata", FIXTURES / "unit.json", verbosity=0)
    people = {sign_in: _person(sign_in, name, roles) for sign_in, name, roles in PEOPLE}
    act = Act(by=people[MASTER], at=at, method="command")
    for take, name in (
        (import_catalogue, "catalogue"),
        (import_pieces, "pieces"),
        (import_templates, "templates"),
        (import_trays, "trays"),
        (import_procedures, "procedures"),
        (import_operators, "operators"),
    ):
        take((FIXTURES / f"{name}.csv").read_bytes(), act=act)
    for template, minimum in STANDING:
        keep_standing(template, minimum, act=act)
    return people


def _person(sign_in: str, name: str, roles: tuple[Role, ...]) -> Person:
    person = Person(username=sign_in, display_name=name, badge=new_code(Kind.BADGE))
    person.set_password(PASSWORD)
    person.is_staff = person.is_superuser = sign_in == MASTER
    person.save()
    Duty.objects.bulk_create(Duty(person=person, role=role) for role in roles)
    return person
