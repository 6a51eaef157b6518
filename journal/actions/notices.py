"""The verbs of notices and of the channels by which they leave the unit."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from journal.actions.acting import Act, Done, action, need
from journal.findings import Refused, stop, unknown
from journal.models import LONGEST_ADDRESS, Channel, Notice
from journal.outside import ChannelKind, webhook_fault
from journal.reads import unsent
from journal.roles import Right, Role
from journal.telling import send_soon, withdraw


@action
def acknowledge(notice: int, *, act: Act) -> Done:
    """Say that a notice is seen and taken on: it climbs no further for a while, and still closes with its cause.

    Whom it is shown to may do it, and may do it again.
    """
    row = Notice.objects.shown_to(act.by).select_for_update().filter(pk=notice).first()
    if row is None:
        raise Refused(unknown("notice for your roles", str(notice)))
    if row.closed_at is not None:
        found = f"Cannot acknowledge the notice {row.cause}: it is closed, must be open."
        raise Refused(stop("notice-closed", row.cause, found, "Nothing is left to do."))
    row.acknowledged_at, row.acknowledged_by = max(act.at, row.opened_at), act.by
    row.save(update_fields=["acknowledged_at", "acknowledged_by"])
    withdraw([row.pk], at=act.at)
    return Done("acknowledge", "notice", row.pk, row.cause, "acknowledged", f"You have taken on: {row.sentence}")


@action
def open_channel(kind: str, address: str, *, role: str = "", every_topic: bool = False, act: Act) -> Done:
    """Have notices of a role, or of each, leave the unit to an e-mail address or a webhook from now on.

    `every_topic`: also those that can wait for a working day.
    """
    need(Right.MASTER, "open", f"a channel to {address}", act)
    address = address.strip()
    found = _fault(kind, address, role)
    if found:
        sentence = f"Cannot open the channel to {address or 'nowhere'}: {found}."
        raise Refused(stop("channel-unfit", address, sentence))
    given = {"kind": kind, "address": address, "role": role}
    row, new = Channel.objects.in_use().get_or_create(
        **given, defaults={"every_topic": every_topic, "opened_at": act.at, "opened_by": act.by}
    )
    if not new:
        sentence = f"Cannot open the channel {row}: it is open already, must be new."
        raise Refused(stop("channel-open", address, sentence, "Close the other one first."))
    next_step = "Give its secret to the other side: manage.py webhook_secret" if kind == ChannelKind.WEBHOOK else ""
    return _done(
        "open_channel", row, f"Notices leave by {row} from now on.", f"{next_step} {row.pk}" * bool(next_step)
    )


def _fault(kind: str, address: str, role: str) -> str:
    """What stands against a channel, as found and expected."""
    if kind not in list(ChannelKind):
        return f"its kind is {kind or 'not said'}, must be {' or '.join(ChannelKind)}"
    if role and role not in list(Role):
        return f"its role is {role}, must be one of {', '.join(Role)}, or none for each"
    if len(address) > LONGEST_ADDRESS:
        return f"its address has {len(address)} characters, must have at most {LONGEST_ADDRESS}"
    if kind == ChannelKind.WEBHOOK:
        return webhook_fault(address, settings.WEBHOOK_HOSTS)
    try:
        validate_email(address)
    except ValidationError:
        return "it is no e-mail address, must be one like lead@unit.example"
    return ""


@action
def close_channel(channel: int, *, act: Act) -> Done:
    """Have no notice leave by a channel from now on; what was not sent yet is withdrawn."""
    row = _locked_channel(channel, "close", act)
    row.closed_at, row.closed_by = act.at, act.by
    row.save(update_fields=["closed_at", "closed_by"])
    row.deliveries.still_open().update(withdrawn_at=act.at)
    return _done("close_channel", row, f"No notice leaves by {row} any more.")


@action
def send_again(channel: int, *, act: Act) -> Done:
    """Send what could not be sent by a channel of notices that are still open, with the same references."""
    row = _locked_channel(channel, "send again by", act)
    number = unsent(act.at).filter(channel=row).update(given_up_at=None, attempts=0, due_at=act.at)
    if not number:
        sentence = f"Cannot send again by {row}: nothing is unsent, must be something."
        raise Refused(stop("nothing-unsent", row.address, sentence, "Nothing is left to do."))
    send_soon()
    return _done("send_again", row, f"{number} notice{'' if number == 1 else 's'} will be sent again by {row}.")


def _locked_channel(channel: int, verb: str, act: Act) -> Channel:
    need(Right.MASTER, verb, f"channel {channel}", act)
    row: Channel | None = Channel.objects.in_use().select_for_update(of=("self",)).filter(pk=channel).first()
    if row is None:
        raise Refused(unknown("open channel", str(channel)))
    return row


def _done(verb: str, row: Channel, sentence: str, next_step: str = "") -> Done:
    return Done(verb, "channel", row.pk, row.address, "closed" if row.closed_at else "open", sentence, next_step)
