"""The fit matrix of a series, its export, and what goes through one part together."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from instruments.models import Part, PartKind, Series
from journal.roles import Role
from tests import makers
from tests.instruments.test_pages import signed_in

pytestmark = pytest.mark.django_db

NBSP = "\N{NO-BREAK SPACE}"


@pytest.fixture
def series() -> Series:
    """Two sizes with a barrel each, and a sheath of the first."""
    made = makers.series("7.0", "7.5")
    for label, inner in (("7.5", "7.5"), ("7.0", "7.0")):
        makers.part(
            PartKind.BARREL, code=f"BR-{label}", size=makers.size(made, label),
            dimensions={"inner_mm": inner, "inner_tol": "0.05", "outer_mm": float(inner) + 1},
        )  # fmt: skip
    makers.part(
        PartKind.SHEATH, code="SH-7.0", size=makers.size(made, "7.0"),
        dimensions={"inner_mm": "6.0", "outer_mm": "6.6", "outer_tol": "0.05"},
    )  # fmt: skip
    return made


def scope(width: str, **fields: Any) -> Part:
    return makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": width}, **fields)


def page(name: str, code: str, **asked: str) -> str:
    return signed_in(Role.NURSE).get(reverse(name, args=[code]), asked).content.decode()


def test_nobody_looks_without_signing_in(series: Series) -> None:
    for name, code in (("fit-matrix", series.code), ("fit-matrix-csv", series.code), ("together", "BR-7.0")):
        assert Client().get(reverse(name, args=[code])).status_code == 302


def test_the_matrix_has_bores_in_size_order_and_every_class(series: Series) -> None:
    scope("5.5")
    makers.part(PartKind.SUCTION, dimensions={})
    text = page("fit-matrix", series.code)
    assert text.index("BR-7.0") < text.index("BR-7.5")
    for word in ("Fits", "Tight", "Does not fit", "Not measured", "Same part"):
        assert f"{word}</span>" in text
    # 7.0 - 5.5 - 2 * 0.2 for the telescope; 7.5 - 8.0 - 0.4 for the barrel of the size below
    assert "<b>1.10</b>" in text
    assert "<b>\N{MINUS SIGN}0.90</b>" in text
    assert f"19.8{NBSP}Fr (6.6{NBSP}±{NBSP}0.05{NBSP}mm)" in text
    assert f"{reverse('fit')}?bore=BR-7.0&amp;shafts=SH-7.0&amp;gap_mm=0.2" in text


def test_the_matrix_narrows_by_kind_bore_and_gap(series: Series) -> None:
    scope("5.5", code="SCOPE-55")
    text = page("fit-matrix", series.code, kind="telescope", through="sheath", gap_mm="0.1")
    assert 'scope="row"' in text
    assert text.count('class="cell') == 1  # one telescope in one sheath
    assert "<b>0.30</b>" in text  # 6.0 - 5.5 - 2 * 0.1
    assert "gap_mm=0.1" in text
    assert "SH-7.0" not in page("fit-matrix", series.code, kind="telescope", through="loader")  # the series has none


def test_a_gap_that_cannot_be_is_told_and_the_units_own_is_used(series: Series) -> None:
    text = page("fit-matrix", series.code, gap_mm="-1")
    assert "greater than or equal to 0" in text
    assert f"running gap of 0.2{NBSP}mm" in text


def test_an_empty_series_and_an_empty_kind_say_so(series: Series) -> None:
    assert "no barrel, sheath or loader yet" in page("fit-matrix", makers.series("9.0").code)
    assert "no part of this kind" in page("fit-matrix", series.code, kind="implant")
    assert signed_in(Role.NURSE).get(reverse("fit-matrix", args=["NONE"])).status_code == 404


def test_the_matrix_asks_as_often_for_many_parts(series: Series, django_assert_num_queries: Any) -> None:
    client, address = signed_in(Role.NURSE), reverse("fit-matrix", args=[series.code])
    for number in (0, 10):
        for _ in range(number):
            scope("4.0")
        with django_assert_num_queries(6):  # session, person, series, policy, parts, other series
            client.get(address)


def test_the_export_has_a_line_for_each_part_in_each_bore(series: Series) -> None:
    makers.part(PartKind.SUCTION, dimensions={}, name="=1+1")
    answer = signed_in(Role.NURSE).get(reverse("fit-matrix-csv", args=[series.code]))
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    lines = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert len(lines) == 2 * 4
    by_pair = {(line["bore_part"], line["part"]): line for line in lines}
    tight = by_pair["BR-7.0", "SH-7.0"]
    assert (tight["fit"], tight["size"], tight["bore_mm"], tight["width_mm"]) == ("tight", "7.0", "7.0", "6.6")
    assert [float(tight[f"{name}clearance_mm"]) for name in ("", "least_", "greatest_")] == pytest.approx(
        [0, -0.1, 0.1]
    )
    assert by_pair["BR-7.0", "BR-7.0"]["fit"] == "same part"
    unknown = next(line for line in lines if line["kind"] == "suction")
    assert (unknown["fit"], unknown["width_mm"], unknown["clearance_mm"]) == ("not measured", "", "")
    assert unknown["name"] == "'=1+1"


def test_together_lists_what_fits_first_and_the_widest_first(series: Series) -> None:
    wide, thin = scope("4.0", name="Wide scope"), scope("2.7", name="Thin scope")
    makers.part(PartKind.FORCEPS, dimensions={"shaft_mm": "2.4", "shaft_tol": "0.05"}, name="Forceps")
    makers.part(PartKind.FORCEPS, dimensions={"shaft_mm": "6.5", "optical": True}, name="Optical")
    makers.part(PartKind.SUCTION, dimensions={}, name="Unknown suction")
    makers.part(PartKind.SUCTION, dimensions={"shaft_mm": "2.0"}, name="Suction")
    text = page("together", "BR-7.0")
    pairs = text[text.index("Telescope + forceps<") : text.index("Telescope + suction<")]
    # 7.0 - 4.0 - 2.4 - 3 * 0.2 = 0: the tolerances decide; 7.0 - 2.7 - 2.4 - 0.6 = 1.3 fits and stands first
    assert pairs.index("Thin scope") < pairs.index("Wide scope")
    assert "Fits: 1. Tight: 1. Does not fit: 0." in pairs
    assert f"1.3{NBSP}mm" in pairs
    optical = text[text.index("Optical forceps + suction<") :]
    assert "Fits: 0. Tight: 0. Does not fit: 1." in optical
    assert "Unknown suction" in text[text.index("Not measured</h2>") :]
    only = page("together", "BR-7.0", beside=thin.code, gap_mm="0.1")
    assert f"shafts={thin.code}" in only
    assert f"shafts={wide.code}" not in only
    assert "Optical forceps + suction" not in only


def test_together_is_limited_and_counted(series: Series) -> None:
    makers.part(PartKind.SUCTION, dimensions={"shaft_mm": "2.0"})
    for _ in range(13):
        scope("2.7")
    text = page("together", "BR-7.0")
    assert text.count('data-label="Fit"') == 12
    assert "12 of 13 shown." in text
    every = page("together", "BR-7.0", all="yes")
    assert every.count('data-label="Fit"') == 13
    assert "shown." not in every


def test_together_through_what_is_not_measured_or_has_no_bore() -> None:
    unknown = makers.part(PartKind.BARREL, dimensions={})
    text = page("together", unknown.code)
    assert "its inner diameter is not recorded, must be" in text
    bare = makers.part(PartKind.BARREL, dimensions={"inner_mm": "7.0", "outer_mm": "8.0"})
    assert "no measured parts that are used together" in page("together", bare.code)
    assert signed_in(Role.NURSE).get(reverse("together", args=[scope("4.0").code])).status_code == 404


def test_together_asks_as_often_for_many_parts(series: Series, django_assert_num_queries: Any) -> None:
    client, address = signed_in(Role.NURSE), reverse("together", args=["BR-7.0"])
    for number in (0, 10):
        for _ in range(number):
            scope("4.0")
            makers.part(PartKind.SUCTION, dimensions={"shaft_mm": "2.0"})
        with django_assert_num_queries(5):  # session, person, part, policy, parts
            client.get(address)


def test_part_and_catalogue_lead_to_the_fit_pages(series: Series) -> None:
    text = page("part", "BR-7.0")
    for address in (
        reverse("together", args=["BR-7.0"]),
        f"{reverse('fit-matrix', args=[series.code])}?through=barrel",
        f"{reverse('fit')}?bore=BR-7.0",
    ):
        assert f'href="{address}"' in text
    assert reverse("together", args=["X"])[:-2] not in page("part", scope("4.0").code)
    catalogue = signed_in(Role.NURSE).get(reverse("catalogue")).content.decode()
    assert f'href="{reverse("fit-matrix", args=[series.code])}"' in catalogue
