"""How a refusal is said over HTTP."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler

from journal.findings import Refused


def api_answer(exc: Exception, context: dict[str, Any]) -> Response | None:
    """The API's answer to an exception: a refusal is a conflict with its findings, the rest is DRF's.

    Args:
        exc: what the view raised.
        context: the view and its request, as DRF hands them over.

    Returns:
        409 `{code, detail, findings}` for a refusal; None for what DRF does not know either, which is then a fault.
    """
    if not isinstance(exc, Refused):
        return exception_handler(exc, context)
    findings = [finding.as_dict() for finding in exc.findings]
    return Response({"code": exc.code, "detail": str(exc), "findings": findings}, status=HTTPStatus.CONFLICT)
