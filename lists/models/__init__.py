"""Theatres, lists, cases, what they need, what was allocated and issued to them, and the messages they came by."""

from lists.models.cases import Case, CaseLine, Requirement, Theatre, TheatreList
from lists.models.messages import OPEN_MESSAGES, Message, MessageState, TheirCode
from lists.models.needs import Procedure, ProcedureNeed, StandingSet
from lists.models.serving import Allocation, Issue

__all__ = [
    "OPEN_MESSAGES",
    "Allocation",
    "Case",
    "CaseLine",
    "Issue",
    "Message",
    "MessageState",
    "Procedure",
    "ProcedureNeed",
    "Requirement",
    "StandingSet",
    "Theatre",
    "TheatreList",
    "TheirCode",
]
