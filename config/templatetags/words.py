"""How pages say things: states as strips, times, lengths, and what is missing. Built into every template."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from typing import NamedTuple

from django import template
from django.template.context import Context
from django.template.defaulttags import CsrfTokenNode
from django.templatetags.static import static
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from instruments.models import Part
from instruments.outlines import outline as draw_outline
from instruments.reads import shape_of

register = template.Library()

NOT_RECORDED = "Not recorded"
NBSP = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"

# Written out, so that neither the host's locale nor the browser's can change a date.
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

HUNDREDTH = Decimal("0.01")
WHOLE_FROM_MM = 100  # a length of this much or more needs no forced decimal: "330 mm", but "9.0 mm"
MINUTE_S = 60
HOUR_S = 60 * MINUTE_S
DAY_S = 24 * HOUR_S
SECONDS_BELOW_S = 10 * MINUTE_S  # a hold of 3min 30s needs its seconds, a turn-round of 78 minutes does not


class Look(NamedTuple):
    """Edge and glyph of a class of states: the CSS class that draws the edge, and an icon of the sprite."""

    css: str
    icon: str


WAITING = Look("is-waiting", "circle")
UNDERWAY = Look("is-underway", "hourglass")
READY = Look("is-ready", "circle-check")
LOOK_AT = Look("is-look", "triangle-alert")
HOLD = Look("is-hold", "lock")
STOP = Look("is-stop", "octagon-x")
INFORM = Look("is-underway", "info")
UNKNOWN = Look("is-waiting", "circle-question-mark")

# One word has one meaning and one look, whatever it stands on: a returned pack and a returned piece look alike.
STATE_CLASS: dict[str, Look] = {
    # pieces
    "in use": UNDERWAY,
    "returned": WAITING,
    "in washer": UNDERWAY,
    "cleaned": WAITING,
    "inspected": READY,
    "on tray": UNDERWAY,
    "packed": UNDERWAY,
    "in repair": HOLD,
    "on loan": UNDERWAY,
    "missing": STOP,
    "withdrawn": HOLD,
    # loans
    "agreed": WAITING,
    "closed": WAITING,
    # packs
    "assembled": WAITING,
    "in steriliser": UNDERWAY,
    "awaiting release": WAITING,
    "sterile": READY,
    "issued": UNDERWAY,
    "opened": UNDERWAY,
    "quarantined": HOLD,
    "recalled": STOP,
    "expired": STOP,
    "void": WAITING,
    # loads
    "building": UNDERWAY,
    "running": UNDERWAY,
    "released": READY,
    "rejected": STOP,
    # recalls and what they call back
    "to be closed": LOOK_AT,
    "dropped": WAITING,
    "to find": LOOK_AT,
    "found": READY,
    "used": STOP,
    "not found": STOP,
    "ended before": WAITING,
    # quarantine boxes
    "sealed": HOLD,
    "ruled out": READY,
    "destroyed": WAITING,
    # non-conformities
    "open": LOOK_AT,
    # machines and results
    "in service": READY,
    "out of service": STOP,
    "waiting": WAITING,
    "passed": READY,
    "agrees": READY,
    "differs": STOP,
    "failed": STOP,
    # cases and their readiness
    "planned": WAITING,
    "under way": UNDERWAY,
    "ended": WAITING,
    "cancelled": WAITING,
    "complete": READY,
    "complete by": UNDERWAY,
    "short": STOP,
    "late": LOOK_AT,
    "not planned": WAITING,
    # plans of days
    "asked": WAITING,
    # versions of a tray's list
    "draft": WAITING,
    "published": READY,
    "superseded": WAITING,
    # fit
    "fits": READY,
    "tight": LOOK_AT,
    "does not fit": STOP,
    "not measured": WAITING,
    # findings, and the answer to a scan
    "stop": STOP,
    "look": LOOK_AT,
    "note": INFORM,
    "taken": READY,
    "done": READY,
}


def _look(state: object) -> Look:
    return STATE_CLASS.get(str(state).casefold(), UNKNOWN)


def _capitalised(word: str) -> str:
    return word[:1].upper() + word[1:]


@register.filter
def verb(name: object) -> str:
    """A verb or key of the trail as words: “put_on_tray” is “Put on tray”."""
    return _capitalised(str(name).replace("_", " "))


@register.filter
def state_class(state: object) -> str:
    """CSS class that draws the edge of a state; a word that is not in the table looks like waiting."""
    return _look(state).css


@register.filter
def state_icon(state: object) -> str:
    """Name of the glyph of a state; a word that is not in the table gets a question mark."""
    return _look(state).icon


@register.filter
def outline(part: Part, scale: float) -> str:
    """The outline of a part, read with its dimensions; the words when it cannot be drawn."""
    shape = shape_of(part)
    if not shape.is_drawn:
        return "No outline"
    return mark_safe(draw_outline(shape, part.name, scale=scale)) or "Not measured"  # noqa: S308 - escaped there


@register.simple_tag
@cache
def icon(name: str) -> SafeString:
    """An icon of the sprite, written once. It always stands beside a word, so it is hidden from screen readers."""
    return format_html('<svg aria-hidden="true" class="icon"><use href="{}#{}"/></svg>', static("icons.svg"), name)


def _strip(css: str, glyph: str, word: str, fact: object, href: str) -> SafeString:
    inner = format_html(
        '{}<span class="strip-text"><b>{}</b>{}</span>',
        icon(glyph),
        word,
        format_html(" {}", fact) if fact not in (None, "") else "",
    )
    if href:
        return format_html('<a class="strip {}" href="{}">{}</a>', css, href, inner)
    return format_html('<span class="strip {}">{}</span>', css, inner)


@register.simple_tag
def strip(css_class: str, word: object, fact: object = "", href: str = "") -> SafeString:
    """Edge, glyph, word and fact of a class of states, for a word that is no state of the table.

    Args:
        css_class: one of the six classes ("is-ready").
        word: what it is, in one or two words.
        fact: the detail behind the word ("18:52, load S2-2611-04"); plain text or safe HTML.
        href: where the strip leads; without it the strip is no link.
    """
    glyphs = {look.css: look.icon for look in (WAITING, UNDERWAY, READY, LOOK_AT, HOLD, STOP)}
    return _strip(css_class, glyphs.get(css_class, UNKNOWN.icon), str(word), fact, href)


@register.simple_tag
def state(value: object, fact: object = "", href: str = "") -> SafeString:
    """The strip of a state: `{% state pack.state fact=pack.expires_at|when %}`."""
    look = _look(value)
    return _strip(look.css, look.icon, _capitalised(str(value)), fact, href)


@register.simple_tag(takes_context=True)
def form_key(context: Context) -> SafeString:
    """What every form that changes something carries: the CSRF token, and a fresh key so that it counts once."""
    return format_html('{}<input type="hidden" name="key" value="{}">', CsrfTokenNode().render(context), uuid.uuid4())


def _day(value: dt.date) -> str:
    return f"{WEEKDAYS[value.weekday()]} {value.day:02}-{MONTHS[value.month - 1]}-{value.year:04}"


def _time(exact: str, text: str) -> SafeString:
    return format_html('<time datetime="{}">{}</time>', exact, text)


def moment(value: dt.datetime) -> str:
    """Day and time in the unit's own time zone, as a sentence says them: `Tue 24-Nov-2026 15:42`."""
    local = timezone.localtime(value)
    return f"{_day(local)} {local:%H:%M}"


@register.filter
def when(value: dt.datetime | None) -> str:
    """Day and time in the unit's own time zone: `Tue 24-Nov-2026 15:42`."""
    if not value:
        return NOT_RECORDED
    return _time(timezone.localtime(value).isoformat(timespec="seconds"), moment(value))


@register.filter
def beside(value: dt.datetime | None, other: dt.datetime) -> str:
    """The time of day alone when another moment of the same day stands beside it, else with its day."""
    same = value is not None and timezone.localdate(value) == timezone.localdate(other)
    return clock(value) if same else when(value)


@register.filter
def day(value: dt.date | None) -> str:
    """The day: `Tue 24-Nov-2026`; of a moment, the day it was in the unit's own time zone."""
    if not value:
        return NOT_RECORDED
    date = timezone.localdate(value) if isinstance(value, dt.datetime) else value
    return _time(date.isoformat(), _day(date))


@register.filter
def clock(value: dt.datetime | dt.time | None) -> str:
    """The time of day alone, `15:42`, where the day stands beside it already."""
    if value is None or value == "":
        return NOT_RECORDED
    local = timezone.localtime(value) if isinstance(value, dt.datetime) else value
    return _time(local.isoformat(timespec="seconds"), f"{local:%H:%M}")


@register.filter
def duration(value: dt.timedelta | float | None) -> str:
    """How long something took or may take, `1hr 18min`; a bare number is seconds.

    What is finer than the smallest unit shown is cut, so that a hold never looks longer than it was.
    """
    if value is None or value == "":
        return NOT_RECORDED
    total = int(value.total_seconds() if isinstance(value, dt.timedelta) else value)
    sign, seconds = (MINUS, -total) if total < 0 else ("", total)
    parts = (("d", DAY_S), ("hr", HOUR_S), ("min", MINUTE_S), ("s", 1))
    first = next((n for n, (_, size) in enumerate(parts) if seconds >= size), len(parts) - 1)
    shown = parts[first : first + 2]
    if SECONDS_BELOW_S <= seconds < HOUR_S:
        shown = parts[first : first + 1]
    figures: list[str] = []
    for unit, size in shown:
        count, seconds = divmod(seconds, size)
        if count or not figures:
            figures.append(f"{count}{unit}")
    return sign + NBSP.join(figures)


@register.filter
def mm(value: Decimal | float | None) -> str:
    """A length in millimetres, `9.2 mm`: to the hundredth, at least one decimal below 100 mm."""
    if value is None or value == "":
        return NOT_RECORDED
    exact = Decimal(str(value)).quantize(HUNDREDTH, ROUND_HALF_EVEN)
    places = 2 if exact % Decimal("0.1") else int(bool(exact % 1) or abs(exact) < WHOLE_FROM_MM)
    figure = f"{abs(exact):.{places}f}"
    return f"{MINUS if exact < 0 else ''}{figure}{NBSP}mm"


@register.filter
def told(value: object) -> str:
    """A value of the trail's evidence as words: lists in a row, names with their values, “none” for nothing."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        value = [f"{name} {told(of)}" for name, of in value.items()]
    if isinstance(value, list | tuple):
        value = ", ".join(told(item) for item in value)
    return "none" if value is None or value == "" else str(value)


@register.filter
def recorded(value: object) -> object:
    """The value itself, or "Not recorded": a page never shows a blank, a dash or a question mark."""
    return NOT_RECORDED if value is None or value == "" else value
