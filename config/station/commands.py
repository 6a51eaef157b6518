"""What a command card does at a station, so that gloved hands need no screen."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.http import QueryDict

from config.context import address
from config.station.answers import Answer, Press, Result, Scan, question, scanned_again, shown, stop
from config.station.memory import Memory
from config.station.resolve import Thing
from config.station.screen import Mode
from instruments.commands import BY_CARD, Command
from instruments.identity import Kind
from journal.actions import Act

REPAIR = "repair"  # the press that sets a piece aside


def obey(command: Command, mode: Mode, memory: Memory, act: Act) -> Answer:
    """The answer to a command card.

    Raises:
        Refused: there is nothing that the command could be meant for.
    """
    return _RUN[command](mode, memory, act)


def _finish(_mode: Mode, memory: Memory, _act: Act) -> Answer:
    what = "Finished with what was in hand." if memory.held else "Nothing was in hand."
    return Answer(Result.TAKEN, what, "Scan the next.", held={})


def _next_person(_mode: Mode, _memory: Memory, _act: Act) -> Answer:
    return Answer(Result.TAKEN, "Signed out for the next person.", leaves=True)


def _set_aside(mode: Mode, memory: Memory, act: Act) -> Answer:
    """Asked for once and meant when the card is scanned again: a card is easily scanned by mistake."""
    if REPAIR not in mode.presses or "piece" not in memory.held:
        sentence = "Cannot set aside: no piece is in hand, must be one."
        raise stop("nothing-held", mode.slug, sentence, "Scan the piece at Inspect, or at the bench of its tray.")
    piece = memory.held["piece"]
    scan = Scan(Thing(Kind.PIECE, piece, "", None), memory.held, act)
    if scanned_again(scan, "set_aside"):
        fields = QueryDict(mutable=True)
        fields["reason"] = BY_CARD
        return mode.presses[REPAIR](Press(fields, memory.held, act))
    step = "Scan the card again, or write the fault below and press the button."
    return question(f"{piece}: set it aside for repair?", step, piece, shown(scan, "set_aside"))


def _undo_last(mode: Mode, memory: Memory, _act: Act) -> Answer:
    """A question can be taken back; what is recorded is only put right by a new line."""
    last = next(iter(memory.rows), None)
    if last is None or last["result"] == Result.STOP:
        raise stop("nothing-to-undo", mode.slug, "Cannot undo: the last scan changed nothing.", "Go on.")
    if last["asks"]:
        return Answer(Result.TAKEN, "Put down; nothing was recorded.", "Scan the next.", held={})
    sentence = f"Cannot undo here: it is recorded ({last['what'].removesuffix('.')})."
    raise stop("recorded", last["mark"] or mode.slug, sentence, "Open its page, and put it right by a new line there.")


def _help(mode: Mode, _memory: Memory, _act: Act) -> Answer:
    return Answer(Result.TAKEN, "The guide is open.", go=f"{address('help')}#{mode.slug}")


_RUN: Mapping[Command, Callable[[Mode, Memory, Act], Answer]] = {
    Command.FINISH: _finish,
    Command.NEXT_PERSON: _next_person,
    Command.SET_ASIDE: _set_aside,
    Command.UNDO_LAST: _undo_last,
    Command.HELP: _help,
}
