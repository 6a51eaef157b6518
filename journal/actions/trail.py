"""The verbs of the trail: put a line right, have all of it checked."""

from __future__ import annotations

from journal.actions.acting import Act, Done, action, need, reason_given, trails, write_line
from journal.findings import Refused, unknown
from journal.models import Verification
from journal.roles import Right


@action
def correct(table: str, line: int, *, reason: str, act: Act) -> Done:
    """Put a mistake in the trail right by a new line that names the old one; nothing is changed or removed.

    Anybody corrects their own lines; those of others take the right of the named decision.
    """
    lines = trails().get(table)
    wrong = None if lines is None else lines._default_manager.filter(pk=line).first()
    if lines is None or wrong is None:
        raise Refused(unknown("line", f"{table} {line}"))
    subject = getattr(wrong, table)
    if wrong.person_id != act.by.pk:
        need(Right.DECIDE, "correct another person's line on", subject.code, act)
    reason = reason_given(reason, "correct a line on", subject.code)
    write_line(lines, subject, "correct", act, reason=reason, evidence={"line": wrong.pk}, corrects=wrong)
    sentence = f"Line {wrong.pk} on {subject.code} ({wrong.verb}) is corrected by a new line."
    return Done.of("correct", subject, sentence)


@action
def verify_trail(*, act: Act) -> Done:
    """Ask for a check of the whole trail against its seals; a job answers it."""
    need(Right.DECIDE, "verify", "the trail", act)
    asked = Verification.objects.filter(night=None, finished_at=None).first()
    if asked is None:
        asked = Verification.objects.create(asked_at=act.at, asked_by=act.by)
    sentence = "The trail is being checked against its seals."
    return Done("verify_trail", "trail", asked.pk, "trail", "", sentence, "Look again in a minute.")
