"""What every action shares, and the journal's own verbs."""

from journal.actions.acting import (
    ACTIONS,
    Act,
    Done,
    action,
    action_after,
    locked,
    move,
    need,
    reason_given,
    trails,
    write_line,
)
from journal.actions.notices import acknowledge, close_channel, open_channel, send_again
from journal.actions.trail import correct, verify_trail
from journal.telling import Concern, look_and_tell, tell

__all__ = [
    "ACTIONS",
    "Act",
    "Concern",
    "Done",
    "acknowledge",
    "action",
    "action_after",
    "close_channel",
    "correct",
    "locked",
    "look_and_tell",
    "move",
    "need",
    "open_channel",
    "reason_given",
    "send_again",
    "tell",
    "trails",
    "verify_trail",
    "write_line",
]
