"""manage.py export_list: a day's cases as HL7 or FHIR, for another system or as an example."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from lists.intake.appointments import R4B, R5
from lists.intake.emitting import bundle, write_siu
from lists.reads import planned_on

FORMS = ("hl7", "fhir", "fhir-r4b")


class Command(BaseCommand):
    """Export a list; it says nothing of any patient."""

    help = "Write a day's cases as HL7 SIU messages (v2.5) or as a FHIR Bundle of Appointments (R5, R4B)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The day and the form."""
        parser.add_argument("day", type=date.fromisoformat, metavar="YYYY-MM-DD")
        parser.add_argument("--form", choices=FORMS, default="hl7", help="default: %(default)s")

    def handle(self, *, day: date, form: str, **options: Any) -> str:
        """Write them, one after another."""
        at, cases = timezone.localtime(timezone.now().replace(microsecond=0)), planned_on(day)
        if form == "hl7":
            prefix = f"{at:%m%d%H%M%S}"
            return "".join(write_siu(case, at=at, control=f"{prefix}{row:04}") for row, case in enumerate(cases, 1))
        return bundle(cases, at=at, version=R4B if form == "fhir-r4b" else R5)
