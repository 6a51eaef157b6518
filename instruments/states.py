"""The states of a piece and of a loan, and the moves between them."""

from enum import StrEnum

from journal.moves import Move
from journal.roles import Right


class PieceState(StrEnum):
    """Where a piece stands in the loop, or beside it."""

    IN_USE = "in use"
    RETURNED = "returned"
    IN_WASHER = "in washer"
    CLEANED = "cleaned"
    INSPECTED = "inspected"
    ON_TRAY = "on tray"
    PACKED = "packed"
    QUARANTINED = "quarantined"
    IN_REPAIR = "in repair"
    ON_LOAN = "on loan"
    MISSING = "missing"
    WITHDRAWN = "withdrawn"


S = PieceState

CLEAN: frozenset[PieceState] = frozenset({S.INSPECTED, S.ON_TRAY, S.PACKED})
"""States that a piece may hold only when it was cleaned and inspected since its last use."""

PIECE_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("use", frozenset({S.PACKED}), S.IN_USE, Right.ISSUE),
        Move("take_back", frozenset({S.IN_USE}), S.RETURNED, Right.RECEIVE),
        Move("find", frozenset({S.MISSING}), S.RETURNED, Right.RECEIVE),
        Move("not_come_back", frozenset({S.IN_USE}), S.MISSING, Right.RECEIVE, "close the count without"),
        Move(
            "miss",
            frozenset({S.RETURNED, S.CLEANED, S.INSPECTED, S.ON_LOAN}),
            S.MISSING,
            Right.RECEIVE,
            "report missing",
        ),
        Move("put_in_washer", frozenset({S.RETURNED}), S.IN_WASHER, Right.WASH),
        Move("take_out_of_washer", frozenset({S.IN_WASHER}), S.RETURNED, Right.WASH),
        Move("pass_wash", frozenset({S.IN_WASHER}), S.CLEANED, Right.RELEASE, "pass the wash of"),
        Move("fail_wash", frozenset({S.IN_WASHER}), S.RETURNED, Right.RELEASE, "fail the wash of"),
        Move("inspect", frozenset({S.CLEANED, S.INSPECTED}), S.INSPECTED, Right.INSPECT),
        Move("find_soiled", frozenset({S.CLEANED, S.INSPECTED}), S.RETURNED, Right.INSPECT, "send back"),
        Move("put_on_tray", frozenset({S.INSPECTED}), S.ON_TRAY, Right.ASSEMBLE),
        Move("take_off_tray", frozenset({S.ON_TRAY}), S.INSPECTED, Right.ASSEMBLE),
        Move("pack", frozenset({S.ON_TRAY, S.INSPECTED}), S.PACKED, Right.ASSEMBLE),
        Move("unpack", frozenset({S.PACKED}), S.INSPECTED, Right.ASSEMBLE),
        Move("send_back", frozenset({S.PACKED}), S.RETURNED, Right.STORE, "send back to the washer"),
        Move(
            "send_to_repair",
            frozenset({S.RETURNED, S.CLEANED, S.INSPECTED}),
            S.IN_REPAIR,
            Right.REPAIR,
        ),
        Move("take_from_repair", frozenset({S.IN_REPAIR}), S.RETURNED, Right.REPAIR, "take back from repair"),
        Move("lend", frozenset({S.CLEANED, S.INSPECTED}), S.ON_LOAN, Right.REPAIR),
        Move("take_from_loan", frozenset({S.ON_LOAN}), S.RETURNED, Right.REPAIR, "take back from loan"),
        Move("give_back", frozenset({S.CLEANED, S.INSPECTED, S.WITHDRAWN}), S.WITHDRAWN, Right.REPAIR, "give back"),
        Move("give_back_sealed", frozenset({S.PACKED}), S.WITHDRAWN, Right.REPAIR, "give back unopened"),
        Move("receive_again", frozenset({S.WITHDRAWN}), S.RETURNED, Right.REPAIR, "receive again"),
        Move(
            "quarantine",
            frozenset({S.RETURNED, S.CLEANED, S.INSPECTED}),
            S.QUARANTINED,
            Right.HOLD,
        ),
        Move("clear", frozenset({S.QUARANTINED}), S.RETURNED, Right.DECIDE, "clear from quarantine"),
        Move("destroy", frozenset({S.QUARANTINED}), S.WITHDRAWN, Right.DECIDE),
        Move("discard", frozenset({S.IN_USE, S.PACKED}), S.WITHDRAWN, Right.RECEIVE),
        Move("implant", frozenset({S.IN_USE}), S.WITHDRAWN, Right.ISSUE),
        Move(
            "withdraw",
            frozenset({S.RETURNED, S.CLEANED, S.INSPECTED, S.IN_REPAIR, S.ON_LOAN, S.MISSING}),
            S.WITHDRAWN,
            Right.REPAIR,
        ),
    )
}


class LoanState(StrEnum):
    """How far a loan is, whichever way it goes."""

    AGREED = "agreed"
    ON_LOAN = "on loan"
    CLOSED = "closed"
    CANCELLED = "cancelled"


L = LoanState

OPEN_LOANS: frozenset[LoanState] = frozenset({L.AGREED, L.ON_LOAN})

LOAN_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("confirm_count", frozenset({L.AGREED}), L.ON_LOAN, Right.REPAIR, "confirm the count of"),
        Move("cancel", frozenset({L.AGREED}), L.CANCELLED, Right.REPAIR),
        Move("close", frozenset({L.ON_LOAN}), L.CLOSED, Right.REPAIR),
        Move("close_short", frozenset({L.ON_LOAN}), L.CLOSED, Right.DECIDE, "close short"),
    )
}
