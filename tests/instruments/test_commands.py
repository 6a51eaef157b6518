"""Command cards: each has a mark of its own, and nothing else is taken for one."""

from __future__ import annotations

import pytest

from instruments.commands import Command, command_of
from instruments.identity import own_code


def test_marks_as_they_are_printed() -> None:
    # Check characters by python-stdnum's iso7064.mod_37_36.calc_check_digit. A card once printed keeps its meaning.
    assert {command.value: command.code for command in Command} == {
        "Finish": "D0000010",
        "Next person": "D000002Y",
        "Set aside": "D000003W",
        "Undo last": "D000004U",
        "Help": "D000005S",
    }


@pytest.mark.parametrize("command", Command)
def test_a_card_is_read_back(command: Command) -> None:
    assert command_of(f" ]d1{command.code.lower()}\r") is command


@pytest.mark.parametrize("text", ["", "D0000011", own_code("D", 99), own_code("P", 1), "Finish", "\x00"])
def test_nothing_else_is_a_command(text: str) -> None:
    assert command_of(text) is None
