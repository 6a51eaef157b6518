"""`manage.py states`: every state table as a diagram; its output is docs/states.md."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from instruments.box_states import BOX_MOVES
from instruments.states import LOAN_MOVES, PIECE_MOVES
from journal.moves import Move, as_mermaid
from lists.states import CASE_MOVES
from reprocessing.quality_states import QUALITY_MOVES
from reprocessing.recall_states import RECALL_MOVES
from reprocessing.states import LOAD_MOVES, MACHINE_MOVES
from trays.states import PACK_MOVES

TABLES: dict[str, dict[str, Move]] = {
    "Piece": PIECE_MOVES,
    "Loan": LOAN_MOVES,
    "Quarantine box": BOX_MOVES,
    "Pack": PACK_MOVES,
    "Load": LOAD_MOVES,
    "Machine": MACHINE_MOVES,
    "Recall": RECALL_MOVES,
    "Non-conformity": QUALITY_MOVES,
    "Case": CASE_MOVES,
}
PREFACE = """\
# States and moves

Drawn from the state tables of the code by `make docs`. An arrow is a move that an action may make;
whoever makes it needs the right beside it in the table.
"""


def rights(moves: dict[str, Move]) -> str:
    """Each move of a table with the right that it asks for."""
    rows = [f"| {move.words} | {move.right} |" for move in moves.values()]
    return "\n".join(["| Move | Right |", "|---|---|", *rows, ""])


def document() -> str:
    """All tables, one chapter each."""
    chapters = [as_mermaid(title, moves.values()) + "\n" + rights(moves) for title, moves in TABLES.items()]
    return "\n".join([PREFACE, *chapters])


class Command(BaseCommand):
    """Print the document."""

    help = "Print every state table as a Mermaid diagram with the rights that its moves ask for."
    requires_system_checks = []

    def handle(self, *args: Any, **options: Any) -> None:
        """Write it to standard output."""
        self.stdout.write(document(), ending="")
