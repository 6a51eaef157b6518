"""Every constraint of messages and of the codes of others, hit directly."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from lists.intake.scheduling import Form
from lists.models import Message, MessageState, TheirCode
from tests.lists import makers as m
from tests.makers import AT, everybody

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def message(**fields: Any) -> Message:
    """A message that was applied."""
    plain: dict[str, Any] = {
        "form": Form.HL7,
        "sender": "PLAN",
        "control": "1",
        "fingerprint": "a" * 64,
        "content": "MSH|",
        "came_at": AT,
        "reference": "L-1",
        "verb": "new",
        "sent_at": AT,
        "booking": {"reference": "L-1"},
        "state": MessageState.APPLIED,
        "sentence": "Planned.",
    }
    return Message.objects.create(**plain | fields)


def test_a_message_that_keeps_the_rules_is_kept() -> None:
    message()
    message(fingerprint="b", state=MessageState.REFUSED, booking=None, sent_at=None, reference="")
    message(fingerprint="c", state=MessageState.SET_ASIDE, reason="a trial", decided_at=AT, decided_by=everybody())
    assert Message.objects.count() == 3


@pytest.mark.parametrize(
    ("broken", "fields"),
    [
        ("message_state_known", {"state": "lost"}),
        ("message_set_aside_by_name", {"state": MessageState.SET_ASIDE}),
        ("message_set_aside_by_name", {"reason": "none"}),
        ("message_applied_was_read", {"booking": None}),
        ("message_applied_was_read", {"reference": ""}),
        ("message_applied_was_read", {"state": MessageState.WAITING, "sent_at": None}),
    ],
)
def test_the_database_refuses(broken: str, fields: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError, match=broken), transaction.atomic():
        message(**fields)


def test_one_message_is_kept_once() -> None:
    message()
    with pytest.raises(IntegrityError, match="fingerprint"), transaction.atomic():
        message(control="2")


def test_a_code_of_others_means_one_thing() -> None:
    theatre, procedure = m.theatre(), m.procedure()
    TheirCode.objects.create(sender="PLAN", code="7", theatre=theatre)
    TheirCode.objects.create(sender="PLAN", code="7", procedure=procedure)
    both, neither = {"theatre": theatre, "procedure": procedure}, {"theatre": None}
    for fields in (both, neither, {"theatre": theatre}, {"procedure": procedure}):
        with pytest.raises(IntegrityError), transaction.atomic():
            TheirCode.objects.create(sender="PLAN", code="7", **fields)
