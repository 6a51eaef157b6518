"""The states of a load and the moves between them."""

from dataclasses import dataclass
from enum import StrEnum

from instruments.states import PIECE_MOVES
from journal.moves import Move
from journal.roles import Right
from trays.states import PACK_MOVES


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


class Condition(StrEnum):
    """How a pack was found on unloading."""

    INTACT = "dry and intact"
    WET = "wet"
    TORN = "torn or open"
    DROPPED = "dropped"


WASHED_AGAIN: frozenset[Condition] = frozenset({Condition.WET, Condition.DROPPED})
"""A pack in such a condition sends its pieces before the washer; of a torn one they are checked and wrapped anew."""


class Result(StrEnum):
    """What an indicator or a test says."""

    WAITING = "waiting"
    PASSED = "passed"
    FAILED = "failed"


DAY_TESTS: dict[MachineKind, tuple[TestKind, ...]] = {
    MachineKind.WASHER: (TestKind.SELF_TEST,),
    MachineKind.STEAM: (TestKind.STEAM_PENETRATION, TestKind.AIR_LEAKAGE, TestKind.WARM_UP),
    MachineKind.LOW_TEMPERATURE: (TestKind.SELF_TEST,),
}
"""Tests that a machine must have passed before a routine load. Steam penetration only where steam removes the air."""

TEST_VALIDITY: dict[TestKind, str] = {
    TestKind.STEAM_PENETRATION: "steam_penetration_h",
    TestKind.AIR_LEAKAGE: "air_leakage_h",
    TestKind.WARM_UP: "warm_up_h",
    TestKind.SELF_TEST: "self_test_h",
}
"""The policy of how long each counts [h], from the start of the machine day it was done on."""

OPENS: dict[MachineKind, Right] = {
    MachineKind.WASHER: Right.WASH,
    MachineKind.STEAM: Right.STERILISE,
    MachineKind.LOW_TEMPERATURE: Right.STERILISE,
}
"""What a person must hold to open a load of a machine."""

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


@dataclass(frozen=True, slots=True)
class Step:
    """A verb that leaves a load or a machine in its state.

    Args:
        says: the verb as it stands in a sentence ("attach a record to").
        states: states in which it may happen.
        right: what the acting person must hold.
    """

    says: str
    states: tuple[StrEnum, ...]
    right: Right


LOAD_STEPS: dict[str, Step] = {
    "add_pack": Step("add to", (S.BUILDING,), PACK_MOVES["load"].right),
    "add_piece": Step("add to", (S.BUILDING,), PIECE_MOVES["put_in_washer"].right),
    "take_off_load": Step("take off", (S.BUILDING,), PACK_MOVES["take_off_load"].right),
    "take_out_of_load": Step("take out", (S.BUILDING,), PIECE_MOVES["take_out_of_washer"].right),
    "split_load": Step("split", (S.BUILDING,), Right.STERILISE),
    "merge_loads": Step("merge", (S.BUILDING,), Right.STERILISE),
    "attach_trace": Step("attach a record to", (S.RUNNING, S.AWAITING_RELEASE), Right.STERILISE),
    "place_indicator": Step("place an indicator in", (S.BUILDING, S.RUNNING, S.AWAITING_RELEASE), Right.STERILISE),
    "read_indicator": Step(
        "read an indicator of", (S.AWAITING_RELEASE, S.RELEASED, S.REJECTED, S.RECALLED), Right.STERILISE
    ),
    "record_dosing": Step("record the doses of", (S.AWAITING_RELEASE,), Right.WASH),
    "sign_exceptional_release": Step("sign the exceptional release of", (S.AWAITING_RELEASE,), Right.RELEASE),
    "decide_doubt": Step("decide on", tuple(S), Right.DECIDE),
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

MACHINE_STEPS: dict[str, Step] = {
    "record_test": Step("record a test of", tuple(MachineState), Right.TEST),
    "set_device_number": Step("say the device number of", tuple(MachineState), Right.TEST),
    "plan_closure": Step("plan a closure of", tuple(MachineState), Right.TEST),
    "lift_closure": Step("lift a closure of", tuple(MachineState), Right.TEST),
    "record_periodic_test": Step("record a periodic test of", tuple(MachineState), Right.TEST),
    "put_lot_in_use": Step("put a lot in use on", tuple(MachineState), Right.WASH),
    "take_lot_out_of_use": Step("take a lot out of use on", tuple(MachineState), Right.WASH),
    "set_columns": Step("say how to read the records of", tuple(MachineState), Right.TEST),
}

BUILDING_VERBS: frozenset[str] = frozenset(
    {"add_pack", "add_piece", "add_returned_set", "split_load", "merge_loads", "start", "unload"}
)
"""Lines of a load's trail whose person counts as a builder of it."""
