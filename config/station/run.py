"""One scan or one button at a station, answered once whatever the line does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from config.station.answers import Answer, Press, Scan, did, refused, with_looks
from config.station.commands import obey
from config.station.memory import Memory
from config.station.resolve import resolve
from config.station.screen import Mode
from instruments.commands import command_of
from instruments.reads import scanner_doubt
from journal.actions import Act, Done
from journal.findings import Refused
from journal.models import Receipt


def take_scan(mode: Mode, memory: Memory, text: str, act: Act) -> dict[str, Any]:
    """The answer to a scanned or typed mark."""
    return _once(memory, text, act, lambda: _scan(mode, memory, text, act))


def take_press(mode: Mode, memory: Memory, name: str, press: Press) -> dict[str, Any]:
    """The answer to a button."""
    return _once(memory, f"press {name}", press.act, lambda: mode.presses[name](press))


def _scan(mode: Mode, memory: Memory, text: str, act: Act) -> Answer:
    if command := command_of(text):
        return obey(command, mode, memory, act)
    if act.station is not None and (finding := scanner_doubt(text, act.station, act.at)):
        raise Refused(finding)
    thing = resolve(text)
    return with_looks(mode.take(Scan(thing, memory.held, act)), thing.looks)


def _once(memory: Memory, asked: str, act: Act, run: Callable[[], Answer]) -> dict[str, Any]:
    """A key that was answered gets the same answer; a refusal is an answer, too."""
    given = memory.given(act.key)
    if given is not None and given["asked"] == asked:
        return given
    try:
        answer = run()
    except Refused as refusal:
        answer = _recorded(act.key, refusal) or refused(refusal)
    return memory.keep(answer, key=act.key, asked=asked, at=act.at)


def _recorded(key: str, refusal: Refused) -> Answer | None:
    """The answer of the step that this key took already, when the session was lost before it could be kept."""
    if not key or refusal.code == "key-reused":
        return None
    receipt = Receipt.objects.filter(key=key).first()
    return did(Done.from_dict(receipt.answer)) if receipt else None
