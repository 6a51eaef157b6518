"""The states of a load and the moves between them."""

from enum import StrEnum

from journal.moves import Move
from journal.roles import Right


class LoadState(StrEnum):
    """Where a load stands between its first member and its judgement."""

    BUILDING = "building"
    RUNNING = "running"
    AWAITING_RELEASE = "awaiting release"
    RELEASED = "released"
    REJECTED = "rejected"
    RECALLED = "recalled"


class LoadKind(StrEnum):
    """Why a load is run: routine work, a machine test, or requalification."""

    ROUTINE = "routine"
    TEST = "test"
    REQUALIFICATION = "requalification"


class MachineKind(StrEnum):
    """Kinds of machine."""

    WASHER = "washer-disinfector"
    STEAM = "steam steriliser"
    LOW_TEMPERATURE = "low-temperature steriliser"


class MachineState(StrEnum):
    """Whether a machine may run routine loads."""

    IN_SERVICE = "in service"
    OUT_OF_SERVICE = "out of service"


class TestKind(StrEnum):
    """Periodic tests of a machine."""

    STEAM_PENETRATION = "steam penetration"
    AIR_LEAKAGE = "air leakage"
    WARM_UP = "warm-up"
    SELF_TEST = "self-test"


class IndicatorKind(StrEnum):
    """Indicators that go with a load."""

    CHEMICAL = "chemical"
    BIOLOGICAL = "biological"


class Result(StrEnum):
    """What an indicator or a test says."""

    WAITING = "waiting"
    PASSED = "passed"
    FAILED = "failed"


DAY_TESTS: dict[MachineKind, dict[TestKind, int]] = {
    MachineKind.WASHER: {TestKind.SELF_TEST: 24},
    MachineKind.STEAM: {TestKind.STEAM_PENETRATION: 24, TestKind.AIR_LEAKAGE: 7 * 24, TestKind.WARM_UP: 24},
    MachineKind.LOW_TEMPERATURE: {TestKind.SELF_TEST: 24},
}
"""Tests that a machine must have passed before a routine load, each with its validity [h], counted from the
start of the machine day it was done on. Steam penetration only where steam removes the air.
Daily and weekly: common practice, no source; confirm locally."""

ENDS_SERVICE: frozenset[TestKind] = frozenset({TestKind.STEAM_PENETRATION, TestKind.AIR_LEAKAGE})
"""A failed test of these kinds takes the machine out of service."""

S = LoadState

LOAD_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move("start", frozenset({S.BUILDING}), S.RUNNING, Right.STERILISE),
        Move("unload", frozenset({S.RUNNING}), S.AWAITING_RELEASE, Right.STERILISE),
        Move("release", frozenset({S.AWAITING_RELEASE}), S.RELEASED, Right.RELEASE),
        Move("reject", frozenset({S.RUNNING, S.AWAITING_RELEASE}), S.REJECTED, Right.RELEASE),
        Move("recall", frozenset({S.RELEASED}), S.RECALLED, Right.DECIDE),
    )
}

MACHINE_MOVES: dict[str, Move] = {
    move.name: move
    for move in (
        Move(
            "take_out_of_service",
            frozenset({MachineState.IN_SERVICE}),
            MachineState.OUT_OF_SERVICE,
            Right.TEST,
        ),
        Move("return_to_service", frozenset({MachineState.OUT_OF_SERVICE}), MachineState.IN_SERVICE, Right.TEST),
    )
}

BUILDING_VERBS: frozenset[str] = frozenset({"add_pack", "add_piece", "add_returned_set", "start", "unload"})
"""Lines of a load's trail whose person counts as a builder of it."""
