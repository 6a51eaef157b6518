"""What a case needs: sizes round the planned one, the implant and its neighbours, backups, what cannot be told."""

from __future__ import annotations

import itertools

import pytest

from journal.findings import Severity
from lists.requirements import Catalogue, Expansion, ImplantOf, NeedKind, Planned, Stated, Wanted, expand, parse
from trays.companions import SizeOf

ADULT = [SizeOf("ADULT", order, label) for order, label in enumerate(("7.0", "7.5", "8.0", "8.5", "9.0"), 1)]
STENTS = tuple(
    ImplantOf(f"IM-{diameter}-{length}", diameter, length)
    for diameter, length in ((12, 40), (12, 60), (14, 40), (14, 60), (16, 60), (16, 80))
)
KNOWN = Catalogue({"ADULT": ADULT}, STENTS)


def expanded(*texts: str, size: str = "", implant: str = "", known: Catalogue = KNOWN) -> Expansion:
    return expand([parse(text) for text in texts], Planned("K7QF", size, implant), known)


def slugs(found: Expansion) -> list[tuple[str, Severity]]:
    return [(finding.slug, finding.severity) for finding in found.findings]


@pytest.mark.parametrize(
    "text", ["template:AD", "part:TE:2", "backup:TE", "sizes:ADULT:1:2", "sizes:ADULT:0:0", "implant:1:0"]
)
def test_a_need_is_written_as_it_is_read(text: str) -> None:
    assert parse(text).text == text


@pytest.mark.parametrize(
    ("text", "below", "above"),
    [("sizes:ADULT", 1, 1), ("sizes:ADULT:2", 2, 2), ("implant", 1, 1), ("implant:0", 0, 0)],
)
def test_steps_that_are_left_out(text: str, below: int, above: int) -> None:
    assert (parse(text).below, parse(text).above) == (below, above)


@pytest.mark.parametrize(
    "text",
    [
        "", "spoon:X", "template", "template:", "template:AD:0", "template:AD:x", "template:AD:1:1", "part:TE:100",
        "sizes", "sizes:", "sizes:ADULT:1:1:1", "sizes:ADULT:-1", "implant:1:1:1", "implant:x",
    ],
)  # fmt: skip
def test_what_is_no_need_is_refused_with_what_it_must_be(text: str) -> None:
    with pytest.raises(ValueError, match="must be template:CODE, part:CODE or backup:PART"):
        parse(text)


def test_values_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="must have one unless an implant"):
        Stated(NeedKind.IMPLANT, "X")
    with pytest.raises(ValueError, match="must be above 0"):
        ImplantOf("X", 14, 0)


def test_sets_packs_and_backups_one_by_one_with_their_sources() -> None:
    found = expand(
        [parse("template:AD:2"), parse("backup:TE"), parse("part:FO", source="operator OP-2")],
        Planned("K7QF"),
        KNOWN,
    )
    assert found.wants == (
        Wanted("AD", "", "procedure"),
        Wanted("AD", "", "procedure"),
        Wanted("", "TE", "procedure, backup", essential=False),
        Wanted("", "FO", "operator OP-2"),
    )
    assert (found.sizes, found.findings) == ((), ())


def test_sizes_round_the_planned_one_each_with_its_source() -> None:
    found = expanded("sizes:ADULT:1:2", "sizes:ADULT:2:0", size="8.0")
    assert {one.size.label: one.source for one in found.sizes} == {
        "7.5": "procedure, below the planned size",
        "8.0": "procedure, planned size",
        "8.5": "procedure, above the planned size",
        "9.0": "procedure, above the planned size",
        "7.0": "procedure, below the planned size",
    }
    assert found.findings == ()


def test_a_series_that_ends_is_a_note() -> None:
    found = expanded("sizes:ADULT:1:1", size="9.0")
    assert [one.size.label for one in found.sizes] == ["8.5", "9.0"]
    assert slugs(found) == [("window-clipped", Severity.NOTE)]


@pytest.mark.parametrize(
    ("size", "series", "slug", "sentence"),
    [
        ("", "ADULT", "planned-size-missing", "none is planned, one of 7.0, 7.5, 8.0, 8.5, 9.0 must be."),
        ("8.2", "ADULT", "planned-size-unknown", "it is 8.2, must be one of ADULT: 7.0, 7.5, 8.0, 8.5, 9.0."),
        ("8.0", "CHILD", "planned-size-unknown", "it is 8.0, must be one of CHILD: no size."),
    ],
)
def test_a_planned_size_that_cannot_be_told(size: str, series: str, slug: str, sentence: str) -> None:
    found = expanded(f"sizes:{series}:1:1", "template:AD", size=size)
    assert slugs(found) == [(slug, Severity.LOOK)]
    assert found.findings[0].sentence.endswith(sentence)
    assert found.findings[0].remedy
    assert len(found.wants) == 1  # the rest is expanded all the same


@pytest.mark.parametrize("words", ["14 × 60", "14x60", " 14.0 * 60 mm", "IM-14-60"])
def test_an_implant_with_its_neighbours_in_diameter_and_length(words: str) -> None:
    found = expanded("implant:1:1", implant=words)
    assert [(one.part, one.source, one.essential) for one in found.wants] == [
        ("IM-14-60", "procedure, planned implant", True),
        ("IM-12-60", "procedure, narrower than the planned implant", False),
        ("IM-16-60", "procedure, wider than the planned implant", False),
        ("IM-14-40", "procedure, shorter than the planned implant", False),
    ]
    assert [finding.sentence for finding in found.findings] == ["The catalogue has no implant longer than 14 × 60 mm."]
    assert found.findings[0].severity is Severity.NOTE


def test_the_nearest_neighbours_come_first() -> None:
    found = expanded("implant:2:0", implant="16 × 60")
    assert [one.part for one in found.wants] == ["IM-16-60", "IM-14-60", "IM-12-60"]


@pytest.mark.parametrize(
    ("words", "implants", "slug", "sentence"),
    [
        ("", STENTS, "planned-implant-missing", "none is planned"),
        ("15 × 40", STENTS, "planned-implant-unknown", "must be of the catalogue: 12 × 40 mm, 12 × 60 mm"),
        ("large", (), "planned-implant-unknown", "it has no implant with its dimensions"),
        ("14 × 40", (*STENTS, ImplantOf("MADE-14", 14, 40)), "planned-implant-many", "one of IM-14-40, MADE-14."),
    ],
)
def test_an_implant_that_cannot_be_told(words: str, implants: tuple[ImplantOf, ...], slug: str, sentence: str) -> None:
    found = expanded("implant:1:1", implant=words, known=Catalogue({}, implants))
    assert slugs(found) == [(slug, Severity.LOOK)]
    assert sentence in found.findings[0].sentence
    assert found.wants == ()


def test_neighbours_never_leave_their_row_or_column_of_the_catalogue() -> None:
    for below, above, middle in itertools.product(range(3), range(3), STENTS):
        found = expanded(f"implant:{below}:{above}", implant=middle.part)
        for one in found.wants:
            implant = next(stent for stent in STENTS if stent.part == one.part)
            assert implant.diameter_mm == middle.diameter_mm or implant.length_mm == middle.length_mm
        assert len({one.part for one in found.wants}) == len(found.wants) <= 1 + 2 * (below + above)
