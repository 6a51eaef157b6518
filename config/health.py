"""`/health/`: is this process able to do its work; asked by container engines and monitors, without sign-in."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from journal import append_only
from journal.reads import tail


@never_cache
@login_not_required
@require_safe
def health(_request: HttpRequest) -> JsonResponse:
    """200 while the database answers and the trail is guarded, else 503; with what was found.

    `unsealed` tells how far the jobs are behind; that is no fault of this process.
    """
    if found := _findings():
        return JsonResponse({"healthy": False, "findings": found}, status=HTTPStatus.SERVICE_UNAVAILABLE)
    waiting = tail()
    age_s = round(waiting.age(timezone.now()).total_seconds())
    return JsonResponse({"healthy": True, "findings": [], "unsealed": {"rows": waiting.rows, "oldest_s": age_s}})


def _findings() -> list[str]:
    try:
        tables = set(connection.introspection.table_names())
        missing = append_only.missing(connection)
    except DatabaseError:
        return ["The database does not answer."]
    if not tables.issuperset(append_only.guarded_tables()):
        return ["The database lacks tables. Run `manage.py migrate`."]
    if missing:
        return [f"{len(missing)} guards are missing from the database. Run `manage.py migrate`."]
    return []
