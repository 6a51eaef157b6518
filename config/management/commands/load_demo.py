"""manage.py load_demo: enter the invented demo unit into an empty database."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from config.demo.history import FIRST_DAY, first_processing, months, traps
from config.demo.loans import loans
from config.demo.practice import practice
from config.demo.tomorrow import tomorrow
from config.demo.unit import PASSWORD, PEOPLE, load_unit
from config.demo.upkeep import upkeep
from config.demo.work import Unit
from instruments.models import Part
from journal.models import Person

SEED = 20


class Command(BaseCommand):
    """Load the demo unit."""

    help = "Enter the invented demo unit, six months of its work and tomorrow's list. Only into an empty database."

    def handle(self, **options: Any) -> str:
        """Load once; a unit that is there already stays as it is."""
        if Person.objects.filter(username=PEOPLE[0][0]).exists():
            return self._sign_ins("The demo unit is there already; nothing was changed.")
        if Part.objects.exists():
            raise CommandError(
                "Cannot load the demo unit: the database holds a catalogue of its own, must be empty. "
                "Point LUMENKEEP_DATA at another folder and try again."
            )
        with transaction.atomic():
            began = timezone.now() - timedelta(days=FIRST_DAY + 1)
            unit = Unit(load_unit(began), began, random.Random(SEED))  # noqa: S311 - no secret
            first_processing(unit)
            traps(unit)
            months(unit)
            practice(unit)
            loans(unit)
            upkeep(unit)
            tomorrow(unit)
        return self._sign_ins("The demo unit is loaded.")

    def _sign_ins(self, first: str) -> str:
        rows = [f"  {sign_in:<10} {name}" for sign_in, name, _ in PEOPLE]
        return "\n".join([first, f"Sign in with the password {PASSWORD} as", *rows])
