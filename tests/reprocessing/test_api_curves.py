"""The readings of a record by the API, for a closer look at its curves."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from reprocessing import actions
from reprocessing.models import Load
from tests.makers import act
from tests.reprocessing import makers as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(client: Client) -> Client:
    client.force_login(make.technician())
    return client


@pytest.fixture
def load() -> Load:
    ended = make.ended()
    actions.attach_trace(ended.code, file_name="r.csv", content=make.steam_trace(), act=act(make.technician()))
    return ended


def address(load: Load) -> str:
    return reverse("api-load-curves", args=[load.code])


def curves(client: Client, load: Load, **stretch: Any) -> Any:
    answer = client.get(address(load), stretch)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_the_whole_record_comes_with_its_band_and_phases(technician: Client, load: Load) -> None:
    found = curves(technician, load)
    assert found["times_s"][0] == 0
    assert found["times_s"][-1] == found["lasts_s"]
    assert found["band_c"] == [134, 137]  # of the programme that the makers set
    assert "Exposure" in [phase["name"] for phase in found["phases"]]
    assert all(len(column["values"]) == len(found["times_s"]) for column in found["columns"])


def test_a_stretch_comes_with_the_readings_of_its_time_only(technician: Client, load: Load) -> None:
    exposure = next(phase for phase in curves(technician, load)["phases"] if phase["name"] == "Exposure")
    found = curves(technician, load, from_s=exposure["from_s"], to_s=exposure["to_s"])
    assert found["times_s"][0] == exposure["from_s"]
    assert found["times_s"][-1] == exposure["to_s"]
    assert min(value for value in found["columns"][0]["values"] if value) >= found["band_c"][0]


def test_the_reading_is_two_questions_whatever_its_length(
    technician: Client, load: Load, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(6):
        curves(technician, load)


@pytest.mark.parametrize(
    ("stretch", "said"),
    [
        ({"from_s": "soon"}, "A valid number is required."),
        ({"from_s": 60, "to_s": 30}, "The end must be later than the start, 60 s; it is 30 s."),
        ({"from_s": "nan", "to_s": 30}, "A valid number is required."),
    ],
)
def test_a_stretch_that_is_none_is_told(technician: Client, load: Load, stretch: dict[str, Any], said: str) -> None:
    answer = technician.get(address(load), stretch)
    assert answer.status_code == 400
    assert said in answer.content.decode()


def test_a_load_without_a_record_says_so(technician: Client) -> None:
    answer = technician.get(address(make.ended()))
    assert answer.status_code == 404
    assert "has no record with curves" in answer.json()["detail"]


def test_whoever_is_not_signed_in_sees_nothing(client: Client, load: Load) -> None:
    assert client.get(address(load)).status_code in {401, 403}


def test_the_page_offers_the_closer_look_and_ranges_of_each_phase(technician: Client, load: Load) -> None:
    text = technician.get(f"/loads/{load.code}/").content.decode()
    assert f'data-curves="{address(load)}"' in text
    assert "Phase by phase" in text
