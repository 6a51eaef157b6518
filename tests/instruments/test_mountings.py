"""Parts of the catalogue put together, and how one part goes with a barrel."""

from __future__ import annotations

from typing import Any

import pytest

from instruments.fit import Fit
from instruments.models import BasePort, Part, PartKind
from instruments.reads import adapters_at_hand, fit_limits, judge_with_barrel, mounting_of
from instruments.rulings import Limits, judge
from journal.models import PolicySetting
from tests import makers

pytestmark = pytest.mark.django_db

LIMITS = Limits(0.2, 5.0)


def read(part: Part) -> Part:
    return Part.objects.with_dimensions().prefetch_related("base__ports").get(pk=part.pk)


def barrel(**fields: Any) -> Part:
    sizes = {"inner_mm": "8.0", "outer_mm": "9.0", "length_mm": "430", "coupling": "C1", **fields}
    return read(makers.part(PartKind.BARREL, dimensions=sizes))


def base(coupling: str = "C1") -> Part:
    part = makers.part(PartKind.BASE, dimensions={"coupling": coupling, "stack_mm": "38"})
    for name, fitting, bore, on_axis in (("side", "K2", "6.0", False), ("axis", "K1", "9.4", True)):
        BasePort.objects.create(base=part.base, name=name, fitting=fitting, bore_mm=bore, on_axis=on_axis)
    return read(part)


def seal(fitting: str = "K1") -> Part:
    sizes = {"fitting": fitting, "openings": 1, "opening_mm": "5.7", "thickness_mm": "3"}
    return read(makers.part(PartKind.SEAL, dimensions=sizes))


def telescope(**fields: Any) -> Part:
    return read(makers.part(PartKind.TELESCOPE, dimensions={"shaft_mm": "4.0", "length_mm": "510", **fields}))


def test_a_set_up_of_parts_is_judged() -> None:
    """4.0 + 0.4 of 8.0; 510 - (430 + 38 + 3) = 39."""
    found = judge(mounting_of(barrel(), base=base(), seals={"axis": seal()}, shafts=[(telescope(), "")]), fit_limits())
    assert found.fit is Fit.FITS
    reach = next(finding for finding in found.findings if finding.slug == "reach")
    assert reach.numbers["past_end_mm"] == 39


def test_the_port_on_the_axis_comes_first_and_only_its_way_is_known() -> None:
    mounting = mounting_of(barrel(), base=base())
    assert mounting.base is not None
    assert [(port.name, port.way and port.way.nominal_mm) for port in mounting.base.ports] == [
        ("axis", 38.0),
        ("side", None),
    ]


def test_a_part_without_entered_dimensions_is_not_measured() -> None:
    bare = {kind: read(makers.part(kind)) for kind in PartKind}
    mounting = mounting_of(
        bare[PartKind.BARREL],
        base=bare[PartKind.BASE],
        shafts=[(bare[PartKind.TELESCOPE], "")],
        sheath=bare[PartKind.SHEATH],
        loader=bare[PartKind.LOADER],
        pusher=bare[PartKind.PUSHER],
        implant=bare[PartKind.IMPLANT],
    )
    found = judge(mounting, LIMITS)
    assert found.fit is Fit.NOT_MEASURED
    assert {finding.severity for finding in found.findings} == {"look"}
    assert judge_with_barrel(bare[PartKind.SEAL], bare[PartKind.BARREL], LIMITS, base=base()).fit is Fit.NOT_MEASURED
    assert judge_with_barrel(seal(), bare[PartKind.BARREL], LIMITS, base=bare[PartKind.BASE]).fit is Fit.NOT_MEASURED


def test_an_optical_forceps_and_its_telescope() -> None:
    """They pair, so that only 6.5 + 0.4 of 8.0 is asked."""
    scope = telescope(view_deg=0, lock="L1")
    fields = {"shaft_mm": "6.5", "length_mm": "500", "optical": True, "lock": "L1", "view_deg": 0}
    takes = {"telescope_mm": "4.0", "telescope_length_mm": "510"}
    forceps = read(makers.part(PartKind.FORCEPS, dimensions={**fields, **takes}))
    mounting = mounting_of(barrel(), shafts=[(scope, ""), (forceps, "")])
    assert judge(mounting, LIMITS).fit is Fit.FITS
    assert [shaft.name for shaft in mounting.apart] == [forceps.name]


def sheath(**fields: Any) -> dict[str, Any]:
    return {"inner_mm": "6.8", "outer_mm": "7.4", "length_mm": "462", **fields}


@pytest.mark.parametrize(
    ("kind", "dimensions", "fit"),
    [
        (PartKind.TELESCOPE, {"shaft_mm": "4.0", "length_mm": "510"}, Fit.FITS),
        (PartKind.TELESCOPE, {"shaft_mm": "7.7", "length_mm": "510"}, Fit.DOES_NOT_FIT),
        (PartKind.TELESCOPE, {"shaft_mm": "4.0", "length_mm": "370"}, Fit.DOES_NOT_FIT),
        (PartKind.TELESCOPE, {"shaft_mm": "4.0"}, Fit.NOT_MEASURED),
        (PartKind.SUCTION, {"shaft_mm": "3.0", "length_mm": "300"}, Fit.FITS),
        (PartKind.SUCTION, None, Fit.NOT_MEASURED),
        (PartKind.BARREL, {"outer_mm": "7.6"}, Fit.FITS),
        (PartKind.SHEATH, sheath(), Fit.FITS),
        (PartKind.SHEATH, sheath(outer_mm="7.5", inner_tol="0.1", outer_tol="0.2"), Fit.TIGHT),
        (PartKind.SHEATH, sheath(length_mm="470"), Fit.DOES_NOT_FIT),
        (PartKind.LOADER, {"inner_mm": "8.2"}, Fit.DOES_NOT_FIT),
        (PartKind.PUSHER, {"shaft_mm": "6.0", "length_mm": "500", "past_tip_mm": "8"}, Fit.FITS),
        (PartKind.IMPLANT, {"compressed_mm": "8.0", "length_mm": "40"}, Fit.FITS),
        (PartKind.LEAD, None, Fit.FITS),
    ],
)
def test_one_part_with_a_barrel(kind: PartKind, dimensions: dict[str, Any] | None, fit: Fit) -> None:
    part = read(makers.part(kind, dimensions=dimensions))
    assert judge_with_barrel(part, barrel(), LIMITS, base=base()).fit is fit


def test_a_seal_goes_with_a_barrel_through_a_base() -> None:
    assert judge_with_barrel(seal("K2"), barrel(), LIMITS, base=base()).fit is Fit.FITS
    assert judge_with_barrel(seal("K9"), barrel(), LIMITS, base=base()).fit is Fit.DOES_NOT_FIT
    assert judge_with_barrel(seal(), barrel(), LIMITS).fit is Fit.NOT_MEASURED


def test_a_base_couples_or_an_adapter_bridges() -> None:
    assert judge_with_barrel(base(), barrel(), LIMITS).fit is Fit.FITS
    assert judge_with_barrel(base("C2"), barrel(), LIMITS).fit is Fit.DOES_NOT_FIT
    makers.part(PartKind.ADAPTER, dimensions={"coupling_a": "C1", "coupling_b": "C2"})
    assert judge_with_barrel(base("C2"), barrel(), LIMITS, adapters=adapters_at_hand()).fit is Fit.FITS


def test_a_sheath_of_another_size_is_refused() -> None:
    series = makers.series("7.5", "8.0")
    tube = makers.part(PartKind.SHEATH, size=makers.size(series, "7.5"), dimensions=sheath())
    eight = makers.part(PartKind.BARREL, size=makers.size(series, "8.0"), dimensions={"inner_mm": "8.0"})
    found = judge_with_barrel(read(tube), read(eight), LIMITS, base=base())
    assert "sheath-size" in [finding.slug for finding in found.findings if finding.severity == "stop"]


def test_limits_are_the_units_policies() -> None:
    assert fit_limits() == Limits(0.2, 5.0)
    PolicySetting.objects.create(name="reach_past_tip_mm", value=12.0, reason="long jaws")
    assert fit_limits() == Limits(0.2, 12.0)


def test_judging_asks_the_database_nothing_more(django_assert_num_queries: Any) -> None:
    parts = [barrel(), base(), seal(), telescope()]
    with django_assert_num_queries(0):
        for part in parts:
            judge_with_barrel(part, parts[0], LIMITS, base=parts[1])
