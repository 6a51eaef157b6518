"""The fit explorer: its page and its route."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from instruments.models import BasePort, Part, PartKind
from journal.roles import Role
from tests import makers

pytestmark = pytest.mark.django_db

NBSP = "\N{NO-BREAK SPACE}"


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(makers.person(Role.NURSE), backend="django.contrib.auth.backends.ModelBackend")
    return client


def barrel(**fields: Any) -> Part:
    sizes = {"inner_mm": "8.0", "inner_tol": "0.05", "outer_mm": "9.0", "length_mm": "430", "coupling": "C1"}
    return makers.part(PartKind.BARREL, dimensions={**sizes, **fields})


def base() -> Part:
    part = makers.part(PartKind.BASE, dimensions={"coupling": "C1", "stack_mm": "38"})
    BasePort.objects.create(base=part.base, name="axis", fitting="K1", bore_mm="9.4", on_axis=True)
    BasePort.objects.create(base=part.base, name="side", fitting="K2", bore_mm="6.0", way_mm="30")
    return part


def telescope(**fields: Any) -> Part:
    return makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "4.0", "length_mm": "510", **fields})


def forceps(**fields: Any) -> Part:
    return makers.part(PartKind.FORCEPS, dimensions={"shaft_mm": "2.5", "length_mm": "560", **fields})


def seal(fitting: str) -> Part:
    sizes = {"fitting": fitting, "openings": 1, "opening_mm": "5.7", "opening_tol": "0.1", "thickness_mm": "3"}
    return makers.part(PartKind.SEAL, dimensions=sizes)


def page(client: Client, **asked: Any) -> str:
    codes = {
        name: [one.code for one in value] if isinstance(value, list) else getattr(value, "code", value)
        for name, value in asked.items()
    }
    return client.get(reverse("fit"), codes).content.decode().replace(NBSP, " ").replace("&nbsp;", " ")


def test_nothing_is_asked_yet(client: Client) -> None:
    assert "Choose a barrel and what goes through it." in page(client)
    alone = barrel()
    assert f"{alone.name}: choose what is on it" in page(client, bore=alone)
    assert "Choose a barrel" in page(client, shafts=[telescope()])


def test_set_ups_to_begin_with_are_offered_and_hold_what_they_promise(client: Client) -> None:
    tube, below = barrel(), base()
    scope, short = telescope(), telescope(length_mm="200")
    offered = page(client)
    for shaft, verdict in ((scope, "Fits"), (short, "Does not fit")):
        assert f"<b>{verdict}</b> {shaft.name} through {tube.name}, on {below.name}</a>" in offered
        assert f"?bore={tube.code}&amp;base={below.code}&amp;shafts={shaft.code}" in offered
        assert f"<b>{verdict}</b> {tube.name}" in page(client, bore=tube, base=below, shafts=[shaft])


def test_without_a_base_or_with_an_implant_there_is_an_example_too(client: Client) -> None:
    tube = barrel()
    sizes = {"diameter_mm": "14", "compressed_mm": "7.0", "length_mm": "40"}
    stent = makers.part(PartKind.IMPLANT, single_use=True, dimensions=sizes)
    offered = page(client)
    assert f"<b>Fits</b> {stent.name} through {tube.name}</a>" in offered
    assert f"?bore={tube.code}&amp;implant={stent.code}" in offered


def test_a_whole_set_up_fits(client: Client) -> None:
    """4.0 + 2.5 + 3 x 0.2 = 7.1; 510 - (430 + 38 + 3) = 39 and 560 - (430 + 30 + 3) = 97."""
    scope, tool, cap, side = telescope(), forceps(), seal("K1"), seal("K2")
    found = client.get(
        reverse("fit"),
        {
            "bore": barrel().code,
            "base": base().code,
            "shafts": [scope.code, tool.code],
            "seal-axis": cap.code,
            "seal-side": side.code,
            f"port-{tool.code}": "side",
        },
    ).content.decode()
    found = found.replace(NBSP, " ").replace("&nbsp;", " ")
    assert "10 checks: 10 fits." in found
    assert "7.100 mm" in found
    assert f"{scope.name}: 39.0 mm past the tip" in found
    assert f"{tool.name}: 97.0 mm past the tip" in found
    assert "7.5 Fr (2.5 mm)" in found
    assert "At least 2.3 times that of the empty bore" in found  # (64 / 41.75) squared = 2.35
    assert found.count('role="img"') == 2
    assert "Rule: A port takes a seal of its own fitting." in found
    assert found.count("Support for trained staff") == 2


def test_a_straddled_tolerance_is_tight(client: Client) -> None:
    """7.6 + 0.4 = 8.0 in 7.95 to 8.05."""
    found = page(client, bore=barrel(), shafts=[telescope(shaft_mm="7.6")])
    assert "<b>Tight</b>" in found
    assert "only if the tolerances allow" in found
    assert "No base is chosen" in found
    assert "times that of the empty bore with the shaft in the middle" in found


def test_one_that_does_not_fit_and_one_not_measured(client: Client) -> None:
    found = page(client, bore=barrel(), shafts=[telescope(shaft_mm="7.8")])
    assert "<b>Does not fit</b>" in found
    assert "Too narrow by" in found
    unknown = makers.part(PartKind.SUCTION, name="Unknown tube")
    found = page(client, bore=barrel(length_mm=None), shafts=[unknown])
    assert "<b>Not measured</b>" in found
    assert "Unknown tube: Not measured" in found
    assert "No side view" in found


def test_an_optical_forceps_with_its_telescope(client: Client) -> None:
    scope = telescope(lock="L1")
    made_for = {"telescope_mm": "4.0", "telescope_length_mm": "510", "view_deg": 0, "lock": "L1"}
    optical = forceps(shaft_mm="6.5", optical=True, **made_for)
    found = page(client, bore=barrel(), shafts=[scope, optical])
    assert f"{scope.name} is in {optical.name}: they go through as one." in found
    assert "Optical forceps and telescope" in found


def test_a_delivery_and_a_sheath_ticked_as_a_shaft(client: Client) -> None:
    sizes = {"inner_mm": "6.8", "outer_mm": "7.4", "length_mm": "420"}
    sheath = makers.part(PartKind.SHEATH, dimensions=sizes)
    pusher = makers.part(PartKind.PUSHER, dimensions={"shaft_mm": "6.0", "length_mm": "500", "past_tip_mm": "8"})
    implant = makers.part(PartKind.IMPLANT, dimensions={"compressed_mm": "6.4", "length_mm": "40"})
    found = page(client, bore=barrel(), shafts=[sheath, pusher, implant])
    assert "In the sheath at once" in found
    assert "Sheath ends inside" in found
    assert "Pusher past the tip" in found
    other = makers.part(PartKind.SHEATH, dimensions={**sizes, "outer_mm": "3.0", "inner_mm": "2.0"})
    assert f'value="{other.code}" checked' in page(client, bore=barrel(), sheath=sheath, shafts=[other])


def test_bad_questions_are_answered_and_nothing_is_lost(client: Client) -> None:
    tube, scope = barrel(), telescope()
    found = page(client, bore="NO-SUCH", shafts=[scope], gap_mm="-1")
    assert "Cannot find part “NO-SUCH” here" in found
    assert "Cannot judge with this running gap: it is -1.0 mm, must be a number of millimetres from 0 to 3." in found
    assert f'value="{scope.code}" checked' in found
    assert 'value="-1"' in found
    assert "it is no number" in page(client, bore=tube, gap_mm="wide")
    assert "it is missing" in page(client, bore=tube, wanted_mm="")
    assert "Cannot find part “NO-SUCH” here" in page(client, bore=tube, shafts=[scope], base="NO-SUCH")
    assert (
        "Cannot find part “NOT-ONE” here"
        in client.get(reverse("fit"), {"bore": tube.code, "shafts": [scope.code, "NOT-ONE"]}).content.decode()
    )
    asked = {"bore": tube.code, "base": base().code, "shafts": scope.code, f"port-{scope.code}": "back"}
    assert "Cannot use port “back”" in client.get(reverse("fit"), asked).content.decode()


def test_seven_at_once_are_too_many(client: Client) -> None:
    thin = [makers.part(PartKind.SUCTION, dimensions={"shaft_mm": "1.0"}) for _ in range(7)]
    found = page(client, bore=barrel(), shafts=thin)
    assert "Cannot judge 7 at once: it must be at most 6. Take some away." in found
    assert found.count(" checked>") == 7


def test_the_page_asks_as_often_for_many_parts(client: Client, django_assert_max_num_queries: Any) -> None:
    asked = {"bore": barrel().code, "base": base().code, "shafts": telescope().code}
    for _ in range(10):
        telescope(), forceps(), seal("K1")
    with django_assert_max_num_queries(32):
        client.get(reverse("fit"), asked)


@pytest.mark.parametrize(
    ("kind", "link"),
    [
        (PartKind.BARREL, "?bore="),
        (PartKind.TELESCOPE, "?shafts="),
        (PartKind.BASE, "?base="),
        (PartKind.IMPLANT, "?implant="),
        (PartKind.LEAD, None),
    ],
)
def test_a_part_leads_to_the_explorer(client: Client, kind: PartKind, link: str | None) -> None:
    part = makers.part(kind)
    found = client.get(reverse("part", args=[part.code])).content.decode()
    assert (f"{link}{part.code}" in found) if link else "Try in the fit explorer" not in found


def test_the_route_gives_the_same_judgement(client: Client) -> None:
    scope = telescope()
    asked = {"bore": barrel().code, "base": base().code, "shafts": scope.code, "seal-axis": seal("K1").code}
    found = client.get(reverse("api-fit"), asked).json()
    assert found["fit"] == "fits"
    assert [ruling["title"] for ruling in found["rulings"]][:2] == ["In the barrel at once", "Base and barrel"]
    assert found["rulings"][-1]["findings"][0]["numbers"]["past_end_mm"] == 39
    assert found["lumens"][0]["passage"]["required_bore_mm"] == pytest.approx(4.4)
    assert found["lumens"][0]["drop_ratio"] > found["lumens"][0]["least_drop_ratio"] > 1


def test_the_route_says_what_it_cannot_read(client: Client) -> None:
    wrong = client.get(reverse("api-fit"), {"bore": "NO-SUCH"})
    assert wrong.status_code == 400
    assert "Cannot find part" in wrong.json()["bore"][0]
    assert "it has no barrel" in client.get(reverse("api-fit")).json()["bore"][0]


def test_the_explorer_is_only_looked_at(client: Client) -> None:
    assert client.post(reverse("fit")).status_code == 405
    answer = client.get(reverse("fit"), {"bore": barrel().code, "shafts": telescope().code}).content.decode()
    assert '<a href="#choice">Change the choice</a>' in answer
    assert 'id="choice"' in answer
