"""Lots of detergents and other chemicals: put in use on a machine, and taken out of use."""

from __future__ import annotations

from datetime import date

from django.utils import timezone

from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, stops, unknown
from journal.reads import policy
from reprocessing.models import Machine, MachineLine, MachineLot
from reprocessing.states import MACHINE_STEPS
from reprocessing.supplies import Supply, not_expired
from reprocessing.writer import lock_machine


@action
def put_lot_in_use(
    machine: str, product: str, lot: str, *, expires: date | None = None, opened: date | None = None, act: Act
) -> Done:
    """Connect a lot of a detergent or other chemical to a machine; it takes the place of the product's last lot.

    Every load that runs from now on is linked to it.
    """
    row = lock_machine(machine)
    step = MACHINE_STEPS["put_lot_in_use"]
    need(step.right, step.says, row.name, act)
    product, lot = " ".join(product.split()), lot.strip()
    before = MachineLot.objects.filter(machine=row, product__iexact=product, until=None).first()
    findings = _findings(row, Supply(product, lot, expires) if product and lot else None, before, opened, act)
    if forbidding := stops(findings):
        raise Refused(*forbidding)
    if before is not None:
        _end(before, act)
    made = MachineLot.objects.create(
        machine=row,
        product=before.product if before else product,
        lot=lot,
        expires_on=expires,
        opened_on=opened,
        since=act.at,
        since_by=act.by,
    )
    evidence = {
        "machine_lot": made.pk,
        "product": made.product,
        "lot": lot,
        "expires": str(expires or ""),
        "opened": str(opened or ""),
        "instead_of": before.lot if before else "",
    }
    write_line(MachineLine, row, "put_lot_in_use", act, evidence=evidence)
    return Done.of("put_lot_in_use", row, f"{row.name} draws on {made}.", findings=findings)


def _findings(
    row: Machine, supply: Supply | None, before: MachineLot | None, opened: date | None, act: Act
) -> list[Finding]:
    today = timezone.localdate(act.at)
    if supply is None:
        sentence = f"Cannot put a lot in use on {row.name}: its product or lot is not stated, both must be."
        return [stop("lot-not-named", row.code, sentence, "Write what the container says.")]
    found = list(
        not_expired(
            "put in use",
            row.code,
            row.name,
            [supply],
            today=today,
            forbids=bool(policy("expired_lot_forbids")),
        )
    )
    if before is not None and before.lot.casefold() == supply.lot.casefold():
        sentence = f"Cannot put lot {supply.lot} of {supply.product} in use on {row.name}: it is in use, must be new."
        found.append(stop("lot-in-use", row.code, sentence, "Nothing was changed."))
    if opened is not None and opened > today:
        sentence = f"Cannot put a lot in use on {row.name}: it is opened on {opened}, must be {today} or earlier."
        found.append(stop("opened-later", row.code, sentence, "Look at the date."))
    return found


@action
def take_lot_out_of_use(machine: str, lot_id: int, *, reason: str, act: Act) -> Done:
    """Disconnect a lot from a machine: empty, expired, recalled by its maker."""
    row = lock_machine(machine)
    step = MACHINE_STEPS["take_lot_out_of_use"]
    need(step.right, step.says, row.name, act)
    reason = reason_given(reason, step.says, row.name)
    found = MachineLot.objects.filter(machine=row, pk=lot_id, until=None).first()
    if found is None:
        raise Refused(unknown(f"lot in use on {row.name}", str(lot_id)))
    _end(found, act)
    evidence = {"machine_lot": found.pk, "product": found.product, "lot": found.lot}
    write_line(MachineLine, row, "take_lot_out_of_use", act, reason=reason, evidence=evidence)
    return Done.of("take_lot_out_of_use", row, f"{found} is out of use on {row.name}.", "Connect another one.")


def _end(found: MachineLot, act: Act) -> None:
    found.until, found.until_by = max(act.at, found.since), act.by
    found.save(update_fields=["until", "until_by"])
