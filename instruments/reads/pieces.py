"""Questions to pieces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date

from instruments.carriers import NOT_INDIVIDUAL, Decoded, Scheme, shown
from instruments.identity import Kind, decode, wrong_kind
from instruments.life import fit_to_pack, single_use
from instruments.models import Mark, Piece, PieceLine
from journal.findings import Finding, Refused, Severity, stops, unknown


def code_by_mark(text: str) -> tuple[str, tuple[Finding, ...]]:
    """The code of the piece that carries a scanned or typed mark, our own or its maker's, and what to look at.

    A code of our own is taken at its word: whoever reads its piece finds out when there is none.

    Raises:
        Refused: the mark cannot be read, stands on something else, or is a maker's and on no piece.
    """
    decoded = decode(text)
    if findings := (*stops(decoded.findings), *wrong_kind(decoded, Kind.PIECE)):
        raise Refused(*findings)
    if decoded.scheme is Scheme.OWN:
        return decoded.key, ()
    mark = Mark.objects.select_related("piece").filter(key=decoded.key).first()
    if mark is None:
        raise Refused(*why_not_found(decoded, Kind.PIECE, shown(text.strip())))
    return str(mark.piece.code), replaced_mark(mark)


def piece_by_mark(text: str) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece that carries a scanned or typed mark, and what to look at.

    Raises:
        Refused: the mark cannot be read, stands on something else, or is on no piece.
    """
    code, looks = code_by_mark(text)
    piece = Piece.objects.select_related("part", "place").filter(code=code).first()
    if piece is None:
        raise Refused(unknown("piece", code))
    return piece, looks


def replaced_mark(mark: Mark) -> tuple[Finding, ...]:
    """A look when a mark still leads to its piece, but has been replaced."""
    if mark.current:
        return ()
    sentence = f"The mark {shown(mark.text)} of {mark.piece.code} has been replaced."
    remedy = "Scan its new mark from now on, and have the old one struck out."
    return (Finding("mark-retired", Severity.LOOK, mark.piece.code, sentence, remedy),)


def why_not_found(decoded: Decoded, kind: Kind, mark: str) -> Iterator[Finding]:
    """Why a mark that can be read stands for nothing: what the mark itself says comes first."""
    if decoded.scheme is Scheme.OWN:
        yield unknown(kind.word, decoded.key)
        return
    telling = [finding for finding in decoded.findings if finding.severity is Severity.LOOK]
    for finding in telling:
        yield replace(finding, severity=Severity.STOP)
    if not any(finding.slug == NOT_INDIVIDUAL for finding in telling):
        sentence = f"Cannot find {mark}: nothing of the unit carries this mark."
        remedy = "Scan it again; if it is new, have its mark entered first."
        yield Finding("unknown-code", Severity.STOP, mark, sentence, remedy)


def single_use_facts(pieces: Iterable[Piece], verb: str, subject: str = "") -> Iterator[Finding]:
    """Never 9 for pieces that are to be packed or loaded, from their trail, in one query.

    An item was opened when it was in use, or came sterile from its maker and is no longer in that pack. It
    touched no patient only when each return from use says that it came back unused.

    Args:
        pieces: read with their parts.
        verb: as it stands in a sentence.
        subject: what holds them; each piece by itself when empty.

    Yields:
        At most one stop for each piece.
    """
    for_one_use = [piece for piece in pieces if piece.part.single_use]
    if not for_one_use:
        return
    lines: dict[int, list[PieceLine]] = {piece.pk: [] for piece in for_one_use}
    for line in PieceLine.objects.filter(piece__in=for_one_use, verb__in=["use", "take_back", "receive"]):
        lines[line.piece_id].append(line)
    for piece in for_one_use:
        verbs = [line.verb for line in lines[piece.pk]]
        unused = sum(line.verb == "take_back" and line.evidence.get("unused") is True for line in lines[piece.pk])
        yield from single_use(
            verb,
            subject or piece.code,
            f"{piece.part.name} {piece.code}",
            opened="use" in verbs or "receive" in verbs,
            touched_patient=verbs.count("use") > unused,
            permission=piece.part.reprocess_unused,
        )


def against_packing(piece: Piece, today: date) -> tuple[Finding, ...]:
    """Nevers 4 and 9: whatever in a piece's life, tests and past forbids packing it."""
    return (*fit_to_pack(piece.wear, today), *single_use_facts([piece], "pack"))
