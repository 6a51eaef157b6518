"""Theatres, lists, cases, what they need, and what was allocated and issued to them."""

from lists.models.cases import Case, CaseLine, Requirement, Theatre, TheatreList
from lists.models.needs import Procedure, ProcedureNeed, StandingSet
from lists.models.serving import Allocation, Issue

__all__ = [
    "Allocation",
    "Case",
    "CaseLine",
    "Issue",
    "Procedure",
    "ProcedureNeed",
    "Requirement",
    "StandingSet",
    "Theatre",
    "TheatreList",
]
