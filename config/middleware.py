"""What no request may carry."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse

NUL = "\x00"
SCANNED = ("code", "mark")
"""Fields of what a scanner read: they may hold anything, and the page says what is wrong with it."""


def without_nul(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: a NUL character anywhere in an address or a form is a slip, and no text of PostgreSQL holds one."""

    def handle(request: HttpRequest) -> HttpResponse:
        if any(NUL in text for text in _texts(request)):
            raise SuspiciousOperation
        return answer(request)

    return handle


def _texts(request: HttpRequest) -> Iterator[str]:
    yield request.path_info
    for form in (request.GET, request.POST):  # a JSON body has no form: its serializer looks for itself
        for name, values in form.lists():
            if form is request.GET or name not in SCANNED:
                yield from (name, *(str(value) for value in values))
