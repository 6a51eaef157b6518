"""The frame around every page: navigation, theme, and the pages that say what went wrong."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import path, reverse
from django.views import View

from config.context import Page, page
from journal.models import Person

urlpatterns = [
    path("", View.as_view(), name="day"),
    path("lists/", View.as_view(), name="lists"),
    path("lists/plan/", View.as_view(), name="find"),
    path("trays/", View.as_view(), name="trays"),
    path("fit/", View.as_view(), name="fit"),
]


def frame(address: str, person: Person | None = None, **cookies: str) -> Page:
    request: HttpRequest = RequestFactory().get(address)
    request.user = person or AnonymousUser()
    request.COOKIES.update(cookies)
    around: Page = page(request)["page"]
    return around


@pytest.mark.urls("tests.test_frame")
@pytest.mark.parametrize(
    ("address", "current"),
    [
        ("/", ["Today"]),
        ("/lists/", ["Lists"]),
        ("/lists/7/", ["Lists"]),
        ("/lists/plan/9/", ["Find"]),
        ("/fit/", ["Trays", "Fit"]),
        ("/cases/AB12/", ["Lists"]),
        ("/packs/K000001/", ["Trays"]),
        ("/pieces/P000001/", []),
        ("/else/", []),
    ],
)
def test_navigation_marks_where_the_reader_is(address: str, current: list[str]) -> None:
    navigation = frame(address, Person()).navigation
    assert [section.label for section in navigation] == ["Today", "Lists", "Trays", "Find"]  # no page: left out
    sections = [section.label for section in navigation if section.current]
    pages = [entry.label for section in navigation for entry in section.entries if entry.current]
    assert list(dict.fromkeys(sections + pages)) == current


def test_who_is_not_signed_in_sees_no_navigation() -> None:
    assert frame("/").navigation == ()


def test_master_data_is_offered_to_staff_only() -> None:
    def offered(person: Person) -> list[str]:
        return [entry.url for section in frame("/", person).navigation for entry in section.entries]

    assert reverse("admin:index") in offered(Person(is_staff=True))
    assert reverse("admin:index") not in offered(Person())


@pytest.mark.parametrize(("cookie", "theme"), [("dark", "dark"), ("light", "light"), ('"><script>', ""), ("", "")])
def test_theme_is_one_of_two_or_the_devices(cookie: str, theme: str) -> None:
    assert frame("/", theme=cookie).theme == theme


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_page_needs_nothing_and_says_what_to_do(name: str) -> None:
    text = render_to_string(name)  # Django gives 400 and 500 no context at all
    assert "<h1>" in text
    assert "Go to today" in text
    assert "invalid" not in text.lower()
