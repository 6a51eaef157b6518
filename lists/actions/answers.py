"""How the verbs of lists answer: what happened to a case, a pack or a piece, and what stands against it."""

from __future__ import annotations

from collections.abc import Iterable

from instruments.models import Piece
from journal.actions import Done
from journal.findings import Finding, Severity
from lists.models import Case
from trays.models import Pack


def look(slug: str, subject: str, sentence: str, remedy: str = "") -> Finding:
    """A finding that asks for eyes."""
    return Finding(slug, Severity.LOOK, subject, sentence, remedy)


def _plain(findings: Iterable[Finding]) -> tuple[dict[str, object], ...]:
    return tuple(finding.as_dict() for finding in findings)


def case_done(verb: str, case: Case, sentence: str, next_step: str = "", findings: Iterable[Finding] = ()) -> Done:
    """The answer about a case."""
    return Done(verb, "case", case.pk, case.code, case.state, sentence, next_step, _plain(findings))


def pack_done(verb: str, pack: Pack, sentence: str, next_step: str = "", findings: Iterable[Finding] = ()) -> Done:
    """The answer about a pack."""
    return Done(verb, "pack", pack.pk, pack.code, pack.state, sentence, next_step, _plain(findings))


def piece_done(verb: str, piece: Piece, sentence: str, next_step: str = "", findings: Iterable[Finding] = ()) -> Done:
    """The answer about a piece."""
    return Done(verb, "piece", piece.pk, piece.code, piece.state, sentence, next_step, _plain(findings))
