"""The fit half of a list's proof: each part with what it needs of the same list, by its dimensions."""

from __future__ import annotations

from typing import Any

import pytest

from instruments.models import BasePort, Part, PartKind, Series
from journal.findings import Severity
from tests import makers
from trays.models import TemplateVersion
from trays.reads import proof_of

pytestmark = pytest.mark.django_db

K = PartKind


def part(kind: PartKind, of: Any = None, **dimensions: Any) -> Part:
    return makers.part(kind, size=of, dimensions=dimensions)


@pytest.fixture
def adult() -> Series:
    return makers.series("7.5", "8.0")


def barrel(of: Any = None, **fields: Any) -> Part:
    return part(K.BARREL, of, **{"inner_mm": "8.0", "outer_mm": "9.0", "length_mm": "430", "coupling": "C1", **fields})


def base(coupling: str = "C1") -> Part:
    row = part(K.BASE, coupling=coupling, stack_mm="38")
    BasePort.objects.create(base=row.base, name="axis", fitting="K1", bore_mm="9.4", on_axis=True)
    return row


def telescope(**fields: Any) -> Part:
    return part(K.TELESCOPE, **{"shaft_mm": "4.0", "length_mm": "510", **fields})


def fits(*parts: Part) -> dict[str, str]:
    """What the proof finds of fit, by the part's name."""
    version = TemplateVersion.objects.get(template=makers.template(*parts))
    return {finding.subject: finding.slug for finding in proof_of(version) if finding.slug.startswith("fit-")}


def test_a_list_whose_parts_go_with_each_other_finds_nothing() -> None:
    """4.0 + 2 × 0.2 of 8.0 mm; 510 is beyond 430 + 38 mm."""
    assert fits(barrel(), base(), telescope()) == {}


def test_a_telescope_that_is_too_wide_stops_and_names_the_nearest() -> None:
    wide, tube = telescope(shaft_mm="8.4"), barrel()
    version = TemplateVersion.objects.get(template=makers.template(tube, wide))
    (stop,) = [finding for finding in proof_of(version) if finding.severity is Severity.STOP]
    assert (stop.slug, stop.subject) == ("fit-does-not-fit", wide.name)
    assert stop.sentence.startswith(f"Nothing on the list suits {wide.name} for certain; the nearest is {tube.name}.")


def test_a_telescope_that_is_too_short_for_the_barrel_on_its_base_stops() -> None:
    """450 mm reach the end of the barrel's 430, and no longer when the base adds its 38 mm."""
    short = telescope(length_mm="450")
    assert fits(barrel(), short) == {}
    assert fits(barrel(), base(), short) == {short.name: "fit-does-not-fit"}


def test_one_barrel_that_suits_is_enough() -> None:
    assert fits(barrel(inner_mm="3.5", outer_mm="4.2"), barrel(), telescope()) == {}


def test_what_is_not_measured_is_a_look() -> None:
    unknown = makers.part(K.SUCTION)
    version = TemplateVersion.objects.get(template=makers.template(barrel(), unknown))
    (look,) = [finding for finding in proof_of(version) if finding.slug.startswith("fit-")]
    assert (look.slug, look.subject, look.severity) == ("fit-not-measured", unknown.name, Severity.LOOK)


def test_a_part_that_needs_nothing_of_this_list_is_not_asked() -> None:
    assert fits(telescope(), makers.part(K.SEAL), makers.part(K.SHEATH), makers.part(K.OTHER)) == {}


def test_a_barrel_couples_to_the_base_of_the_list_or_through_an_adapter() -> None:
    tube, other = barrel(), base("C2")
    assert fits(tube, other) == {tube.name: "fit-does-not-fit"}
    assert fits(tube, other, part(K.ADAPTER, coupling_a="C1", coupling_b="C2")) == {}
    assert fits(tube, other, makers.part(K.ADAPTER)) == {tube.name: "fit-does-not-fit"}


def test_a_sheath_is_asked_about_the_barrel_of_its_own_size(adult: Series) -> None:
    small, large = makers.size(adult, "7.5"), makers.size(adult, "8.0")
    tube = barrel(small, inner_mm="7.5", outer_mm="8.2")
    tight = part(K.SHEATH, small, inner_mm="6.8", outer_mm="7.6", length_mm="480")
    assert fits(tube, tight) == {tight.name: "fit-does-not-fit"}
    assert fits(tube, part(K.SHEATH, large, inner_mm="6.8", outer_mm="7.6", length_mm="480")) == {}


def test_what_delivers_goes_through_a_sheath_and_without_one_through_a_barrel() -> None:
    """The loader's bore of 7.0 mm is no wider than the barrel's 8.0, and wider than the sheath's 6.4."""
    loader = part(K.LOADER, inner_mm="7.0", outer_mm="7.6")
    sheath = part(K.SHEATH, inner_mm="6.4", outer_mm="7.0", length_mm="480")
    assert fits(barrel(), loader) == {}
    assert fits(barrel(), sheath, loader)[loader.name] == "fit-does-not-fit"


def test_optical_forceps_need_a_telescope_of_the_list() -> None:
    made_for = {"optical": True, "telescope_mm": "4.0", "telescope_length_mm": "510", "view_deg": 0, "lock": "L1"}
    forceps = part(K.FORCEPS, shaft_mm="6.0", length_mm="500", **made_for)
    suits, other = telescope(view_deg=0, lock="L1"), telescope(view_deg=30, lock="L2")
    assert fits(barrel(), forceps, suits) == {}
    assert fits(barrel(), forceps, other) == {forceps.name: "fit-does-not-fit"}
