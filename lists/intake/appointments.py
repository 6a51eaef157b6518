"""FHIR Appointment, R4B and R5, as plain JSON: read as a booking, and written.

What R5 has otherwise than R4B: `serviceType` holds CodeableReferences, their code one level deeper under `concept`;
`cancelationReason` became `cancellationReason`; `participant.required` is yes or no instead of a word; `priority` is a
concept instead of a number; the patient may stand in `subject`. Both have `minutesDuration`.
Source: HL7 FHIR, resource Appointment, 4.3.0 and 5.0.0.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from lists.intake.scheduling import (
    MISSING,
    NOT_IN_TABLE,
    NOT_KEPT,
    TAKES_OFF,
    Fault,
    Form,
    Reading,
    Secrets,
    Unreadable,
    Verb,
    reading_of,
)

R4B, R5 = "4.3", "5.0"
VERSIONS = {"4.0": R4B, "4.3": R4B, "5.0": R5}
"""The parameter fhirVersion of the content type; R4 and R4B have the same Appointment."""
STATUSES = {
    "booked": Verb.NEW,
    "arrived": Verb.MODIFY,
    "checked-in": Verb.MODIFY,
    "cancelled": Verb.CANCEL,
    "entered-in-error": Verb.CANCEL,
    "noshow": Verb.NO_SHOW,
}
EXTENSIONS = {
    "planned_size": "urn:lumenkeep:planned-size",
    "planned_implant": "urn:lumenkeep:planned-implant",
    "operator": "urn:lumenkeep:operator",
}
"""The extensions for the label of the planned size, the diameter and length of the planned implant and the operator's
pseudonymous code: an agreement of this unit."""
LONGEST_MIN = 24 * 60
SHORTEST_NUMBER = 6
DEEPEST = 12
"""So many levels deep nothing is asked for."""
KEPT = {
    "resourceType", "id", "meta", "identifier", "status", "start", "end", "minutesDuration", "created", "versionId",
    "lastUpdated", "source", "system", "value", "serviceType", "concept", "coding", "code", "cancelationReason",
    "cancellationReason", "extension", "url", "valueString", "participant", "actor", "reference", "type",
}  # fmt: skip
"""Elements that are kept; every other may hold something of the patient and is blanked."""
PLACES = {
    "sender": "Appointment.identifier.system",
    "control": "Appointment.id",
    "verb": "Appointment.status",
    "reference": "Appointment.identifier.value",
    "theatre": "Appointment.participant.actor",
    "procedure": "Appointment.serviceType",
    **dict.fromkeys(EXTENSIONS, "Appointment.extension"),
    "reason": "Appointment.cancellationReason",
}


def appointments_in(data: bytes) -> list[dict[str, Any]]:
    """The appointments of a file or a request: one, or those of a Bundle.

    Raises:
        Unreadable: it is no JSON, or holds something else.
    """
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        raise Unreadable(Fault("the content", "no JSON", "a FHIR resource as JSON in UTF-8")) from None
    kind = found.get("resourceType", "") if isinstance(found, dict) else ""
    rows = [found]
    if kind == "Bundle":
        entries = found.get("entry")
        rows = [_of(entry, "resource") for entry in entries] if isinstance(entries, list) else []
    kinds = [row.get("resourceType") if isinstance(row, dict) else None for row in rows]
    if not rows or any(one != "Appointment" for one in kinds):
        other = next((str(one) for one in kinds if one != "Appointment" and one), kind)
        raise Unreadable(Fault("resourceType", other, "Appointment, or a Bundle of nothing else"))
    return rows


def read_appointment(appointment: Mapping[str, Any], *, sender: str, at: datetime) -> Reading:
    """Read one appointment.

    Args:
        appointment: the resource, from `appointments_in`.
        sender: who sent it, where it does not say so itself.
        at: when it came, where it does not say when it was last changed; aware.

    Returns:
        A booking, or every element that cannot be read.
    """
    who = list(_patients(appointment))
    secrets = Secrets(word for one in who for word in _words(one, _text(appointment, "id")))
    faults: list[Fault] = []
    identifier = _first(appointment, "identifier")
    meta = _of(appointment, "meta")
    version = _text(meta, "versionId")
    values: dict[str, Any] = {
        "sender": _text(meta, "source") or _text(identifier, "system") or sender,
        "control": f"{_text(appointment, 'id')}/{version}".strip("/"),
        "reference": _text(identifier, "value") or _text(appointment, "id"),
        "sequence": int(version) if version.isascii() and version.isdigit() and len(version) < 16 else None,
        **{name: _extension(appointment, url) for name, url in EXTENSIONS.items()},
        "reason": _reason(appointment),
    }
    if not values["reference"]:
        faults.append(Fault(PLACES["reference"], "", "the number of the appointment, or an id", MISSING))
    for name, read in _FIELDS.items():
        try:
            values[name] = read(appointment, at)
        except Unreadable as wrong:
            faults += wrong.faults
    return reading_of(
        Form.FHIR,
        values,
        faults,
        kept=json.dumps(_kept(appointment), ensure_ascii=False, indent=1),
        secrets=secrets,
        patient=next(filter(None, map(_identity, who)), ""),
        places=PLACES,
    )


def original_of(appointment: Mapping[str, Any], *, at: datetime) -> bytes:
    """What an appointment is known again by: its content, and when it came where it does not say when it was changed.

    Else one that is changed and changed back would be taken for a repetition of the first.
    """
    text = json.dumps(appointment, sort_keys=True)
    return (text if _text(_of(appointment, "meta"), "lastUpdated") else f"{text} {at.isoformat()}").encode()


def _of(node: Any, name: str) -> Any:
    """An element of an object; an empty object where there is none."""
    return node.get(name, {}) if isinstance(node, dict) else {}


def _rows(node: Any, name: str) -> list[Any]:
    found = _of(node, name)
    return found if isinstance(found, list) else []


def _first(node: Any, name: str) -> Any:
    rows = _rows(node, name)
    return rows[0] if rows else {}


def _text(node: Any, name: str) -> str:
    found = _of(node, name)
    return found.strip() if isinstance(found, str) else ""


def _patients(appointment: Mapping[str, Any]) -> Iterator[Any]:
    """The references to the patient."""
    yield _of(appointment, "subject")
    for participant in _rows(appointment, "participant"):
        actor = _of(participant, "actor")
        if not _is_a("Location", actor):
            yield actor


def _is_a(kind: str, reference: Any) -> bool:
    return _text(reference, "type") == kind or f"{kind}/" in _text(reference, "reference")


def _words(reference: Any, own_id: str) -> Iterator[str]:
    """Whatever of a reference names a person: its number, its name in one and in parts.

    The running number that a server gave it counts only where it is long enough to be one of a patient: short ones
    are those of rooms and appointments as well.
    """
    yield _text(_of(reference, "identifier"), "value")
    running = _text(reference, "reference").rpartition("/")[2]
    if len(running) >= SHORTEST_NUMBER and running != own_id:
        yield running
    display = _text(reference, "display")
    yield display
    yield from (word for word in display.replace(",", " ").split() if len(word) > 2)


def _identity(reference: Any) -> str:
    """Who gave the number, and the number; else the reference itself."""
    if not _is_a("Patient", reference):
        return ""
    identifier = _of(reference, "identifier")
    number = _text(identifier, "value")
    return f"{_text(identifier, 'system')}|{number}" if number else _text(reference, "reference")


def _coded(concept: Any) -> str:
    return next(filter(None, (_text(coding, "code") for coding in _rows(concept, "coding"))), "")


def _extension(appointment: Any, url: str) -> str:
    """What an extension says; an appointment is always sent whole, so what it does not say is not there."""
    return next((_text(row, "valueString") for row in _rows(appointment, "extension") if _text(row, "url") == url), "")


def _reason(appointment: Any) -> str:
    return _coded(_of(appointment, "cancellationReason")) or _coded(_of(appointment, "cancelationReason"))


def _verb(appointment: Any, _at: datetime) -> Verb:
    status = _text(appointment, "status")
    if status not in STATUSES:
        expected = f"one of {', '.join(STATUSES)}: what is not booked is not planned"
        raise Unreadable(Fault(PLACES["verb"], status, expected, NOT_IN_TABLE))
    return STATUSES[status]


def _moment(node: Any, place: str) -> datetime | None:
    text = _text(node, place.rpartition(".")[2])
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise Unreadable(Fault(place, text, "an instant with its zone, such as 2027-01-12T08:00:00+01:00"))


def _sent_at(appointment: Any, at: datetime) -> datetime:
    """When it was last changed, else when it came: `created` never changes and says nothing of the order."""
    return _moment(_of(appointment, "meta"), "Appointment.meta.lastUpdated") or at


def _starts_at(appointment: Any, _at: datetime) -> datetime | None:
    start = _moment(appointment, "Appointment.start")
    if start is None:
        _only_if_off(appointment, "Appointment.start", "the start")
    return start


def _only_if_off(appointment: Any, place: str, what: str) -> None:
    """Something is not stated: an appointment that is off need not, one that is booked must."""
    if STATUSES.get(_text(appointment, "status"), Verb.NEW) not in TAKES_OFF:
        raise Unreadable(Fault(place, "", f"{what} of a booked appointment", MISSING))


def _duration_min(appointment: Any, _at: datetime) -> int | None:
    place, minutes = "Appointment.minutesDuration", appointment.get("minutesDuration")
    if minutes is None:
        place = "Appointment.end"
        start, end = _moment(appointment, "Appointment.start"), _moment(appointment, place)
        if start is None or end is None:
            _only_if_off(appointment, place, "the end, or minutesDuration,")
            return None
        minutes = round((end - start).total_seconds() / 60)
    if type(minutes) is not int or not 0 < minutes <= LONGEST_MIN:
        raise Unreadable(Fault(place, str(minutes), f"a duration of 1 to {LONGEST_MIN} min"))
    return minutes


def _theatre(appointment: Any, _at: datetime) -> str | None:
    """Of the first participant that is a place its number, else the last part of its reference."""
    for actor in (_of(row, "actor") for row in _rows(appointment, "participant")):
        code = _text(_of(actor, "identifier"), "value") or _text(actor, "reference").rpartition("/")[2]
        if _is_a("Location", actor) and code:
            return code
    _only_if_off(appointment, PLACES["theatre"], "a Location among the participants")
    return None


def _procedure(appointment: Any, _at: datetime) -> str | None:
    service = _first(appointment, "serviceType")
    code = _coded(service) or _coded(_of(service, "concept"))
    if not code:
        _only_if_off(appointment, PLACES["procedure"], "the code")
    return code or None


def _kept(node: Any, depth: int = 0) -> Any:
    """The resource with everything blanked that is not asked for; of the participants only places stay."""
    if depth > DEEPEST:
        return NOT_KEPT
    if isinstance(node, list):
        return [_kept(one, depth + 1) for one in node]
    if not isinstance(node, dict):
        return node
    if _text(node, "url") not in ("", *EXTENSIONS.values()):
        return NOT_KEPT
    hidden = () if _is_a("Location", node.get("actor")) else ("actor",)
    return {
        name: _kept(value, depth + 1) if name in KEPT and name not in hidden else NOT_KEPT
        for name, value in node.items()
    }


_FIELDS: dict[str, Callable[[Any, datetime], Any]] = {
    "verb": _verb,
    "sent_at": _sent_at,
    "starts_at": _starts_at,
    "duration_min": _duration_min,
    "theatre": _theatre,
    "procedure": _procedure,
}
