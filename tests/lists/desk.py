"""A coordinator's desk: who sits there, sterile sets in date today, and cases still to come."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from journal.roles import Role
from lists.models import Case
from tests import makers
from tests.lists import makers as m
from tests.reprocessing.pages import Browser
from trays.models import Pack, Tray


def signed_in(*roles: Role) -> Browser:
    """Somebody with these duties at a page."""
    return Browser(makers.person(*roles))


def coordinator() -> Browser:
    """Who plans."""
    return signed_in(Role.COORDINATOR)


def send(browser: Browser, name: str, *args: object, **fields: object) -> str:
    """Send the form of this name and read the page that follows."""
    return browser.send(reverse(name, args=args), **fields)


def queries_of(browser: Browser, address: str) -> int:
    """How often a page asks the database."""
    with CaptureQueriesContext(connection) as asked:
        assert browser.client.get(address).status_code == 200
    return len(asked)


def soon() -> datetime:
    """Ten in the morning of the day after tomorrow: planned for, and not over."""
    day = timezone.localdate() + timedelta(days=2)
    return timezone.make_aware(datetime.combine(day, time(10)))


def day_address(at: datetime) -> str:
    """The page of the day of a moment."""
    return reverse("list-day", args=[timezone.localdate(at)])


def fresh_pack(of: Tray | None = None) -> Pack:
    """A sterile pack that is in date today."""
    pack = m.sterile(makers.pack(of))
    Pack.objects.filter(pk=pack.pk).update(use_by=soon() + timedelta(days=30))
    pack.refresh_from_db()
    return pack


def served_case(starts_at: datetime) -> Case:
    """A case whose tray is sterile and chosen."""
    return m.case_with(m.tray_of(fresh_pack()), starts_at=starts_at, patient_ref="PSEUDONYM-77")
