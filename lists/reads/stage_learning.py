"""How long each stage took at this unit of late, by its trails."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from instruments.models import PieceLine
from lists.learning import Learned, Span, learned, once, worked_min
from lists.models import CaseLine, Issue
from lists.reads.readiness import stage_times
from reprocessing.models import LoadLine
from reprocessing.states import LoadKind, MachineKind

Spans = list[Span]

DAYS = 180  # how far back it is looked; our own rule
SHORTEST_POLICY_MIN = 1.0  # a stage that takes no time by the policy is held to a minute, for its logarithm


@dataclass(frozen=True, slots=True)
class StageRow:
    """A stage: what is measured of it, what was learned, and how many records were of no use."""

    name: str
    measured: str
    known: Learned
    left_out: int


def learned_stages(*, at: datetime) -> tuple[StageRow, ...]:
    """Every stage that leaves two lines in a trail, in the order a set passes them."""
    since, times = at - timedelta(days=DAYS), stage_times()
    cleaning, assembling = _at_benches(since)
    washing, sterilising, releasing = _in_machines(since)
    rows = (
        ("Back from the theatre", "end of the case to taken back", times.return_min, _from_theatre(since)),
        ("Pre-clean", "taken back to put in the washer, waiting included", times.preclean_min, cleaning),
        ("Washer-disinfector", "start of the load to unloading", times.wash_min, washing),
        ("Inspection and assembly", "first inspection of its pieces to packing", times.assemble_min, assembling),
        ("Steriliser", "start of the load to unloading", times.sterilise_min, sterilising),
        (
            "Cooling and release",
            "unloading of the steriliser to release",
            times.cooling_min + times.release_min,
            releasing,
        ),
    )
    return tuple(_row(name, measured, policy_min, spans) for name, measured, policy_min, spans in rows)


def _row(name: str, measured: str, policy_min: float, spans: Spans) -> StageRow:
    local = once((timezone.localtime(began), timezone.localtime(ended)) for began, ended in spans)
    minutes = worked_min(local)
    known = learned(minutes, policy_min=max(policy_min, SHORTEST_POLICY_MIN))
    return StageRow(name, measured, known, len(local) - len(minutes))


def _from_theatre(since: datetime) -> Spans:
    """From the end of a case to each moment at which packs of it were taken back."""
    ends = dict(CaseLine.objects.filter(verb="end", occurred_at__gte=since).values_list("case_id", "occurred_at"))
    back = Issue.objects.filter(returned_at__gte=since, case_id__in=list(ends)).values_list("case_id", "returned_at")
    return [(ends[case], returned_at) for case, returned_at in back if returned_at]


def _at_benches(since: datetime) -> tuple[Spans, Spans]:
    """From back to washer for each piece; from the first inspection to the pack for what was packed at once."""
    verbs = ("take_back", "put_in_washer", "inspect", "pack")
    lines = PieceLine.objects.filter(verb__in=verbs, occurred_at__gte=since)
    last: dict[tuple[int, str], datetime] = {}
    cleaning: Spans = []
    inspected: dict[datetime, list[datetime]] = defaultdict(list)
    for piece, verb, moment in lines.order_by("occurred_at", "id").values_list("piece_id", "verb", "occurred_at"):
        if verb == "put_in_washer" and (piece, "take_back") in last:
            cleaning.append((last.pop((piece, "take_back")), moment))
        elif verb == "pack" and (piece, "inspect") in last:
            inspected[moment].append(last.pop((piece, "inspect")))
        else:
            last[piece, verb] = moment
    return cleaning, [(_first_that_day(begins, packed), packed) for packed, begins in inspected.items()]


def _first_that_day(begins: Iterable[datetime], packed: datetime) -> datetime:
    """What lay inspected since the day before was not begun with this pack."""
    begins = sorted(begins)
    day = timezone.localdate(packed)
    return next((began for began in begins if timezone.localdate(began) == day), begins[0])


def _in_machines(since: datetime) -> tuple[Spans, Spans, Spans]:
    """Routine loads: in the washer, in the steriliser, and from its unloading to release."""
    lines = LoadLine.objects.filter(
        verb__in=("start", "unload", "release"), occurred_at__gte=since, load__kind=LoadKind.ROUTINE
    )
    moments: dict[tuple[int, bool], dict[str, datetime]] = defaultdict(dict)
    columns = ("load_id", "load__machine__kind", "verb", "occurred_at")
    for load, kind, verb, moment in lines.order_by("occurred_at", "id").values_list(*columns):
        moments[load, kind == MachineKind.WASHER][verb] = moment
    washing: Spans = []
    sterilising: Spans = []
    releasing: Spans = []
    for (_, is_washer), found in moments.items():
        if "start" in found and "unload" in found:
            (washing if is_washer else sterilising).append((found["start"], found["unload"]))
        if not is_washer and "unload" in found and "release" in found:
            releasing.append((found["unload"], found["release"]))
    return washing, sterilising, releasing
