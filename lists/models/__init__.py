"""Theatres, lists, cases, what they need, what was allocated and issued to them, and the messages they came by."""

from lists.models.cases import Case, CaseLine, Requirement, SizeWanted, Theatre, TheatreList
from lists.models.messages import OPEN_MESSAGES, Message, MessageState, TheirCode
from lists.models.needs import NeedsVersion, Procedure, StandingSet, StatedNeed
from lists.models.plans import DayLook, DayPlanRow, ToPlanAnew
from lists.models.serving import Allocation, Issue
from lists.models.sheets import GoSheet

__all__ = [
    "OPEN_MESSAGES",
    "Allocation",
    "Case",
    "CaseLine",
    "DayLook",
    "DayPlanRow",
    "GoSheet",
    "Issue",
    "Message",
    "MessageState",
    "NeedsVersion",
    "Procedure",
    "Requirement",
    "SizeWanted",
    "StandingSet",
    "StatedNeed",
    "Theatre",
    "TheatreList",
    "TheirCode",
    "ToPlanAnew",
]
