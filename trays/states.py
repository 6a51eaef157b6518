"""The states of a pack and the moves between them."""

from enum import StrEnum

from journal.moves import Move
from journal.roles import Right


class PackState(StrEnum):
    """Where a pack stands between assembly and its end."""

    ASSEMBLED = "assembled"
    IN_STERILISER = "in steriliser"
    AWAITING_RELEASE = "awaiting release"
    STERILE = "sterile"
    ISSUED = "issued"
    OPENED = "opened"
    RETURNED = "returned"
    QUARANTINED = "quarantined"
    RECALLED = "recalled"
    EXPIRED = "expired"
    VOID = "void"


class PackKind(StrEnum):
    """How a pack came to be."""

    TRAY = "tray"
    SINGLE = "single"
    IMMEDIATE = "immediate"
    MAKER = "maker"


class Paper(StrEnum):
    """What is printed for a pack."""

    LABEL = "label"
    COUNT_SHEET = "count sheet"

    @property
    def verb(self) -> str:
        """What the trail calls its printing."""
        return f"print_{self.replace(' ', '_')}"


class VersionState(StrEnum):
    """The life of a template's version."""

    DRAFT = "draft"
    PUBLISHED = "published"
    SUPERSEDED = "superseded"


S = PackState

ENDED: frozenset[PackState] = frozenset({S.RETURNED, S.VOID})
"""A pack in one of these carries nothing any more."""

LABELLED: frozenset[PackState] = frozenset({
    S.ASSEMBLED, S.IN_STERILISER, S.AWAITING_RELEASE, S.STERILE, S.ISSUED
})  # fmt: skip
"""A pack in one of these may carry a label: it is on its way to a case."""

PACK_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("load", frozenset({S.ASSEMBLED}), S.IN_STERILISER, Right.STERILISE, "load"),
        Move("take_off_load", frozenset({S.IN_STERILISER}), S.ASSEMBLED, Right.STERILISE),
        Move("unload", frozenset({S.IN_STERILISER}), S.AWAITING_RELEASE, Right.STERILISE),
        Move("release", frozenset({S.AWAITING_RELEASE}), S.STERILE, Right.RELEASE),
        Move("receive", frozenset({S.ASSEMBLED}), S.STERILE, Right.STORE, "receive from the maker"),
        Move("reject", frozenset({S.IN_STERILISER, S.AWAITING_RELEASE}), S.VOID, Right.RELEASE),
        Move("issue", frozenset({S.STERILE}), S.ISSUED, Right.ISSUE),
        Move("put_back", frozenset({S.ISSUED}), S.STERILE, Right.ISSUE),
        Move("open", frozenset({S.ISSUED}), S.OPENED, Right.ISSUE),
        Move("take_back", frozenset({S.OPENED}), S.RETURNED, Right.RECEIVE),
        Move("take_apart", frozenset({S.ASSEMBLED}), S.VOID, Right.ASSEMBLE),
        Move(
            "quarantine",
            frozenset({S.ASSEMBLED, S.AWAITING_RELEASE, S.STERILE, S.ISSUED}),
            S.QUARANTINED,
            Right.HOLD,
        ),
        Move(
            "recall",
            frozenset({S.ASSEMBLED, S.AWAITING_RELEASE, S.STERILE, S.ISSUED, S.QUARANTINED}),
            S.RECALLED,
            Right.DECIDE,
        ),
        Move("expire", frozenset({S.STERILE}), S.EXPIRED, Right.STORE, "set aside as expired"),
        Move("give_back", frozenset({S.STERILE, S.EXPIRED}), S.VOID, Right.REPAIR, "give back"),
        Move("scrap", frozenset({S.EXPIRED, S.RECALLED}), S.VOID, Right.STORE, "send back to the washer"),
        Move("condemn", frozenset({S.QUARANTINED}), S.VOID, Right.DECIDE, "end the quarantine of"),
    )
}
