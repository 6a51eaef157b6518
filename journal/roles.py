"""Who may do what: rights as data, roles as named bundles of rights."""

from enum import StrEnum


class Right(StrEnum):
    """A permission that a move asks for."""

    RECEIVE = "receive"  # take used sets back, find and miss pieces
    WASH = "wash"
    INSPECT = "inspect"
    ASSEMBLE = "assemble"
    STERILISE = "sterilise"
    RELEASE = "release"
    STORE = "store"
    ISSUE = "issue"  # hand packs to a case, open them
    REPAIR = "repair"  # out for repair, on loan, withdraw
    HOLD = "hold"  # put into quarantine
    DECIDE = "decide"  # the named decision: out of quarantine, recall, destroy
    TEST = "test"  # machine tests and service state
    PLAN = "plan"  # lists, cases, allocations
    MASTER = "master"  # catalogue, templates, import


class Role(StrEnum):
    """A person's part in the unit."""

    NURSE = "endoscopy nurse"
    TECHNICIAN = "sterile services technician"
    RELEASER = "releasing person"
    COORDINATOR = "coordinator"
    QUALITY = "quality lead"


_NURSE = frozenset({Right.RECEIVE, Right.INSPECT, Right.ASSEMBLE, Right.STORE, Right.ISSUE, Right.HOLD, Right.REPAIR})
_TECHNICIAN = frozenset(
    {
        Right.RECEIVE,
        Right.WASH,
        Right.INSPECT,
        Right.ASSEMBLE,
        Right.STERILISE,
        Right.STORE,
        Right.HOLD,
        Right.REPAIR,
        Right.TEST,
    }
)

RIGHTS: dict[Role, frozenset[Right]] = {
    Role.NURSE: _NURSE,
    Role.TECHNICIAN: _TECHNICIAN,
    Role.RELEASER: _TECHNICIAN | {Right.RELEASE},
    Role.COORDINATOR: frozenset({Right.PLAN, Right.STORE, Right.ISSUE, Right.HOLD}),
    Role.QUALITY: frozenset({Right.DECIDE, Right.HOLD, Right.RELEASE, Right.MASTER, Right.PLAN, Right.TEST}),
}
