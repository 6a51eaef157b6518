"""Limits of low-temperature programmes: lumens, weight, dryness and wraps, at the load and at the start."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from instruments.imports import import_catalogue
from instruments.models import LumenLimit as Row
from instruments.models import Part, PartKind, PartLumen, Programme, ProgrammeKind
from journal.tables import FaultyTable
from reprocessing import actions
from reprocessing.low_temperature import Lumen, LumenLimit, confirmed, light_enough, lumens_reached
from reprocessing.models import Load
from reprocessing.states import LoadState, MachineKind
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import Browser, machine_of_today
from trays.models import Pack

db = pytest.mark.django_db
SHORT = LumenLimit("metal", 1.0, 125.0)
LONG = LumenLimit("metal", 2.0, 400.0, most_count=10)
PLASTIC = LumenLimit("polymer", 1.0, 1000.0, most_count=2)
LIMITS = (SHORT, LONG, PLASTIC)


def slugs(*lumens: Lumen, limits: tuple[LumenLimit, ...] = LIMITS) -> list[str]:
    return [found.slug for found in lumens_reached("load", "T1", "LT", lumens, limits)]


# The pure rule: the numbers are invented; what a steriliser reaches is its maker's to say.


@pytest.mark.parametrize(
    ("lumen", "found"),
    [
        (Lumen("Tube", "metal", 1.0, 125.0), []),
        (Lumen("Tube", "metal", 0.99, 125.0), ["lumen-out-of-reach"]),
        (Lumen("Tube", "metal", 1.0, 125.1), ["lumen-out-of-reach"]),
        (Lumen("Tube", "metal", 2.0, 400.0), []),
        (Lumen("Tube", "metal", 1.99, 400.0), ["lumen-out-of-reach"]),
        (Lumen("Tube", "polymer", 1.0, 1000.0), []),
        (Lumen("Tube", "", 3.0, 100.0), ["lumen-out-of-reach"]),
        (Lumen("Tube", "metal", None, 100.0), ["lumen-out-of-reach"]),
        (Lumen("Tube", "metal", 3.0, None), ["lumen-out-of-reach"]),
        (Lumen("Tube"), ["lumen-out-of-reach"]),
    ],
)
def test_a_lumen_lies_within_a_limit_of_its_material(lumen: Lumen, found: list[str]) -> None:
    assert slugs(lumen) == found
    assert slugs(lumen, limits=()) == []


def test_a_limit_for_any_material_asks_for_none() -> None:
    assert slugs(Lumen("Tube", "", 3.0, 100.0), limits=(LumenLimit("any", 3.0, 100.0),)) == []


def test_the_lumens_of_a_load_are_counted_together() -> None:
    two = Lumen("Line", "polymer", 2.0, 800.0, count=2)
    assert slugs(two) == []
    assert slugs(two, Lumen("Tube", "metal", 1.0, 100.0)) == ["too-many-lumens"]
    # What the short limit reaches needs none that counts.
    assert slugs(Lumen("Tube", "metal", 1.0, 100.0, count=99)) == []


def test_what_is_found_names_the_part_the_finding_and_the_limit_once() -> None:
    (found,) = lumens_reached("load", "T1", "LT 50", [Lumen("Fibre tube", "metal", 0.8, 300.0)] * 3, (LONG,))
    assert found.sentence == (
        "Cannot load T1: a lumen of Fibre tube is metal, 0.8 mm wide, 300 mm long; "
        "in LT 50 it must be metal, from 2 mm wide, to 400 mm long, 10 in a load."
    )


@pytest.mark.parametrize(
    ("masses", "most", "found"),
    [
        ([("A", 400.0), ("B", 600.0)], 1000, []),
        ([("A", 400.0), ("B", 600.1)], 1000, ["load-too-heavy"]),
        ([("A", None), ("A", None)], 1000, ["mass-not-measured"]),
        ([("A", None)], None, []),
    ],
)
def test_a_load_weighs_no_more_than_it_may(
    masses: list[tuple[str, float | None]], most: float | None, found: list[str]
) -> None:
    assert [row.slug for row in light_enough("load", "T1", "LT", masses, most)] == found


def test_what_a_person_has_not_looked_at_stops() -> None:
    asked = [(True, "not-dry", "dryness", ""), (False, "cellulose", "no cellulose", "Wrap anew.")]
    assert [row.slug for row in confirmed("L1", "LT", asked)] == ["cellulose"]


@pytest.mark.parametrize(
    "wrong", [{"material": ""}, {"least_inner_mm": 0.0}, {"most_length_mm": -1.0}, {"most_count": 0}]
)
def test_what_is_no_limit(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="A limit of lumens"):
        LumenLimit(**{"material": "metal", "least_inner_mm": 1.0, "most_length_mm": 1.0, **wrong})


@pytest.mark.parametrize("wrong", [{"inner_mm": 0.0}, {"length_mm": -1.0}, {"count": 0}])
def test_what_is_no_lumen(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="A lumen is"):
        Lumen("Tube", **wrong)


# In a load


def programme() -> Programme:
    return makers.programme("LT", kind=ProgrammeKind.LOW_TEMPERATURE)


def part(*lumens: tuple[float, float, str], kind: PartKind = PartKind.OTHER, mass_g: float | None = 100) -> Part:
    made = makers.part(kind=kind, programmes=[programme()], mass_g=mass_g)
    for inner, length, material in lumens:
        PartLumen.objects.create(part=made, inner_mm=inner, length_mm=length, material=material)
    return made


def packed(of: Part) -> Pack:
    return makers.single(makers.piece(of))


def limited(**more: Any) -> None:
    fields = {"least_inner_mm": 1.0, "most_length_mm": 400.0, "source": "maker's instructions", **more}
    actions.limit_lumens(programme().code, "metal", **fields, act=act())


def opened() -> Load:
    return make.load(make.machine(MachineKind.LOW_TEMPERATURE))


@pytest.mark.storage
@db
def test_6_no_part_goes_into_a_load_whose_programme_does_not_reach_its_lumen() -> None:
    limited()
    load, narrow = opened(), packed(part((0.8, 300.0, "metal")))
    add = partial(actions.add_pack, load.code, narrow.code, act=act())
    assert refused(add) == ["lumen-out-of-reach"]
    for unmeasured in (part(kind=PartKind.SUCTION), part((2.0, 300.0, "polymer"))):
        code = packed(unmeasured).code
        assert refused(partial(actions.add_pack, load.code, code, act=act())) == ["lumen-out-of-reach"]
    actions.add_pack(load.code, packed(part((1.2, 300.0, "metal"))).code, act=act())
    actions.add_pack(load.code, packed(part()).code, act=act())
    assert make.running(load).state == LoadState.RUNNING


@pytest.mark.storage
@db
def test_6_no_load_starts_whose_programme_was_limited_meanwhile() -> None:
    load = opened()
    actions.add_pack(load.code, packed(part((0.8, 300.0, "metal"))).code, act=act())
    limited()
    assert refused(partial(make.running, load)) == ["lumen-out-of-reach"]
    actions.drop_lumen_limit(Row.objects.get().pk, reason="entered for another programme", act=act())
    assert make.running(load).state == LoadState.RUNNING


@db
def test_6_no_load_holds_too_many_lumens_or_is_too_heavy() -> None:
    limited(most_count=1)
    actions.limit_loads(programme().code, most_load_g=150, source="maker's instructions", act=act())
    load, tube = opened(), part((2.0, 300.0, "metal"))
    actions.add_pack(load.code, packed(tube).code, act=act())
    more = packed(tube).code
    assert refused(partial(actions.add_pack, load.code, more, act=act())) == ["too-many-lumens", "load-too-heavy"]
    unweighed = packed(part(mass_g=None)).code
    assert refused(partial(actions.add_pack, load.code, unweighed, act=act())) == ["mass-not-measured"]


@pytest.mark.storage
@db
def test_6_a_programme_that_asks_for_it_starts_dry_and_without_cellulose_only() -> None:
    actions.limit_loads(programme().code, dry_only=True, no_cellulose=True, source="maker", act=act())
    load = opened()
    actions.add_pack(load.code, packed(part()).code, act=act())
    start = partial(actions.start_load, load.code, caps_open=True, act=act())
    assert refused(start) == ["not-dry", "cellulose"]
    assert refused(partial(start, dry=True)) == ["cellulose"]
    start(dry=True, no_cellulose=True)
    said = load.lines.get(verb="start").evidence
    assert (said["dry"], said["no_cellulose"]) == (True, True)


# Entered


@db
@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"material": "glass"}, ["material-unknown"]),
        ({"least_inner_mm": 0.0}, ["no-limit"]),
        ({"most_count": 0}, ["no-limit"]),
        ({"source": " "}, ["reason-missing"]),
        ({"programme": "S134"}, ["no-low-temperature"]),
        ({"programme": "NONE"}, ["unknown-code"]),
    ],
)
def test_what_is_no_limit_of_lumens(said: dict[str, Any], found: list[str]) -> None:
    makers.programme("S134")
    asked: dict[str, Any] = {
        "programme": programme().code,
        "material": "metal",
        "least_inner_mm": 1.0,
        "most_length_mm": 2.0,
    }
    asked |= {"source": "maker", **said}
    assert refused(lambda: actions.limit_lumens(**asked, act=act())) == found
    assert not Row.objects.exists()


@db
def test_limits_are_entered_once_by_who_may_and_stand_in_the_trail_of_the_machines() -> None:
    machine = make.machine(MachineKind.LOW_TEMPERATURE)
    limited()
    assert refused(limited) == ["limit-known"]
    technician = act(make.technician())
    code, row = programme().code, Row.objects.get().pk
    loads = partial(actions.limit_loads, code, source="maker")
    assert refused(lambda: loads(act=technician)) == ["right-missing"]
    assert refused(lambda: loads(most_load_g=0, act=act())) == ["no-mass"]
    loads(most_load_g=5000, act=act())
    drop = partial(actions.drop_lumen_limit, row)
    assert refused(lambda: drop(reason="x", act=technician)) == ["right-missing"]
    assert refused(lambda: drop(reason=" ", act=act())) == ["reason-missing"]
    drop(reason="another chamber", act=act())
    assert refused(lambda: drop(reason="again", act=act())) == ["unknown-code"]
    verbs = list(machine.lines.exclude(verb="record_test").values_list("verb", flat=True))
    assert verbs == ["limit_lumens", "limit_loads", "drop_lumen_limit"]


@db
def test_lumens_come_with_the_catalogue() -> None:
    table = "code,name,kind,lumens\nTB-1,Tube,suction,{}\n"
    take = partial(import_catalogue, act=act())
    take(table.format("1.2:300:2:metal | 0.9:120:1:polymer").encode())
    rows = PartLumen.objects.values_list("inner_mm", "length_mm", "count", "material")
    assert list(rows) == [(1.2, 300.0, 2, "metal"), (0.9, 120.0, 1, "polymer")]
    assert take(table.format("1.2:300:2:metal|0.9:120:1:polymer").encode()).same == 1
    for wrong in ("1.2:300:metal", "0:300:1:metal", "1.2:-3:1:metal", "1.2:300:0:metal", "1.2:300:1:glass", "wide"):
        with pytest.raises(FaultyTable, match="inner_mm:length_mm:count:material"):
            take(table.format(wrong).encode())
    assert PartLumen.objects.count() == 2
    take(table.format("").encode())
    assert not PartLumen.objects.exists()


@db
def test_limits_on_their_page_and_what_a_start_asks() -> None:
    machine = machine_of_today(MachineKind.LOW_TEMPERATURE)
    browser, code = Browser(makers.everybody()), programme().code
    assert "No lumen is limited." in browser.read("/machines/programmes/")
    said = {"material": "metal", "least_inner_mm": "1", "most_length_mm": "400", "most_count": "10", "source": "maker"}
    text = browser.send(f"/machines/programmes/{code}/lumens/", **said)
    assert "Metal at least 1 mm at most 400 mm at most 10 maker" in text
    text = browser.send(f"/machines/programmes/{code}/loads/", most_load_g="9000", dry_only="on", source="maker")
    assert "at most 9000 g; dry, confirmed at the start" in text
    load = make.load(machine, packed(part()))
    assert "Everything is dry, inside each lumen too" in browser.read(f"/loads/{load.code}/")
    text = browser.send(f"/machines/programmes/lumens/{Row.objects.get().pk}/drop/", reason="wrong")
    assert "No lumen is limited." in text
    assert "does not hold the right" in Browser(make.technician()).read("/machines/programmes/")


# What the database refuses


@pytest.mark.storage
@db
@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"material": "glass"}, "lumen_limit_material"),
        ({"least_inner_mm": 0}, "lumen_limit_positive"),
        ({"most_length_mm": 0}, "lumen_limit_positive"),
        ({"most_count": 0}, "lumen_limit_positive"),
        ({"source": ""}, "lumen_limit_has_source"),
    ],
)
def test_what_the_database_refuses_of_a_limit(wrong: dict[str, Any], name: str) -> None:
    limited()
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Row.objects.update(**wrong)


@pytest.mark.storage
@db
@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"material": "any"}, "part_lumen_material_known"),
        ({"inner_mm": 0}, "part_lumen_positive"),
        ({"length_mm": 0}, "part_lumen_positive"),
        ({"count": 0}, "part_lumen_positive"),
    ],
)
def test_what_the_database_refuses_of_a_lumen(wrong: dict[str, Any], name: str) -> None:
    part((1.0, 1.0, "metal"))
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        PartLumen.objects.update(**wrong)


@pytest.mark.storage
@db
@pytest.mark.parametrize(
    ("kind", "wrong", "name"),
    [
        (ProgrammeKind.STEAM, {"most_load_g": 1}, "programme_load_limits_low_temperature"),
        (ProgrammeKind.STEAM, {"dry_only": True}, "programme_load_limits_low_temperature"),
        (ProgrammeKind.STEAM, {"no_cellulose": True}, "programme_load_limits_low_temperature"),
        (ProgrammeKind.LOW_TEMPERATURE, {"most_load_g": 0}, "programme_most_load_positive"),
    ],
)
def test_what_the_database_refuses_of_a_programme(kind: ProgrammeKind, wrong: dict[str, Any], name: str) -> None:
    row = makers.programme("PX", kind=kind)
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Programme.objects.filter(pk=row.pk).update(**wrong)
    limited()
    with pytest.raises(IntegrityError), transaction.atomic():
        Row.objects.create(programme=programme(), material="metal", least_inner_mm=1, most_length_mm=400, source="x")
