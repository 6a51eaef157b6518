"""The demo unit, loaded once: a list that shows every kind of verdict, and each finding at least once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import transaction
from django.http import QueryDict
from django.utils import timezone

from instruments.fit import Fit
from instruments.forms import FitForm
from instruments.models import Piece, Series
from instruments.reads import against_packing, fit_limits, loans_with_counts, matrix_of, service_plan
from instruments.rulings import RULES, rulings
from instruments.states import PieceState
from journal.findings import Finding, Refused
from journal.reads import policies
from lists.models import TheatreList
from lists.reads import list_readiness
from lists.reads.stock import PACK_STAGES
from lists.states import Readiness
from reprocessing.models import Load
from tests.declared_findings import declared
from trays.companions import BARREL, SEAL, SHEATH
from trays.models import TemplateVersion, Tray
from trays.reads import bench_of, proof_of, single_use_stock
from trays.states import PackState

pytestmark = pytest.mark.django_db

VERDICTS = {
    "L-0401": (Readiness.COMPLETE, ""),
    "L-0402": (Readiness.COMPLETE_BY, "assembled"),
    "L-0403": (Readiness.COMPLETE_BY, "awaiting release"),
    "L-0404": (Readiness.SHORT, "Seal cap, adult 8.0"),
    "L-0405": (Readiness.SHORT, "in repair"),
    "L-0406": (Readiness.SHORT, "sheath"),
    "L-0407": (Readiness.SHORT, "was to be used until"),
    "L-0408": (Readiness.COMPLETE, ""),
    "L-0409": (Readiness.SHORT, "not in stock"),
    "L-0410": (Readiness.COMPLETE_BY, "is with case"),
}

MODULES: dict[str, tuple[str, ...]] = {
    "instruments/life.py": ("piece", "service"),
    "instruments/loans.py": ("piece", "loan"),
    "instruments/reorder.py": ("shelf",),
    "trays/companions.py": ("bench",),
    "trays/matching.py": ("bench",),
    "trays/proving.py": ("proof",),
    "lists/readiness.py": ("list",),
    "lists/gathering.py": ("list",),
    "lists/reads/stock.py": ("list",),
}
"""Modules that find something, and where what they find is seen."""

TESTS = ("function", "insulation")
EXPANDED: dict[str, frozenset[str]] = {
    "f'{name}-test-failed'": frozenset(f"{name}-test-failed" for name in TESTS),
    "f'{name}-test-missing'": frozenset(f"{name}-test-missing" for name in TESTS),
    **{
        f"f'{{tally.kind}}-{what}'": frozenset(f"{kind}-{what}" for kind in (SHEATH, SEAL))
        for what in ("missing", "other-size", "orphan")
    },
    **{
        f"f'{{kind}}-{what}'": frozenset(f"{kind}-{what}" for kind in kinds)
        for what, kinds in {
            "not-made": (BARREL, SHEATH, SEAL),
            "not-listed": (BARREL, SHEATH, SEAL),
            "without-barrel": (SHEATH, SEAL),
        }.items()
    },
    "'fit-' + judgement.fit.replace(' ', '-')": frozenset({"fit-tight", "fit-does-not-fit", "fit-not-measured"}),
    "f'pack-{pack.state}'": frozenset(f"pack-{state}" for state in set(PackState) - set(PACK_STAGES)),
}
"""What slugs that are put together stand for; a part that fits is no finding of a proof."""

ONLY_WHEN_ASKED: dict[str, str] = {
    "count-differs": "refuses to confirm the count of a loan; nothing of it stays",
    "count-open": "refuses to close a loan; nothing of it stays",
    "serves-another-case": "nobody can allocate a pack twice: it is said within “not in stock” only",
    "wash-recalled": "stands only while a recall of a wash is under way; the demo begins without one",
}
"""Findings that no unit at rest can show, and why."""

TOLD_APART: dict[tuple[str, str], str] = {
    ("lists/readiness.py", "expired"): "must be in date on",
    ("lists/reads/stock.py", "expired"): "was to be used until",
}
"""Findings of two modules of one slug and one place, told apart by their words."""

CANNOT_BE: dict[tuple[str, Fit], str] = {
    ("Sheath of the barrel's size", Fit.TIGHT): "sizes are the same or they are not",
    ("Sheath of the barrel's size", Fit.NOT_MEASURED): "it is asked only of two that have a size",
    ("Base and barrel", Fit.TIGHT): "couplings are the same or they are not",
    ("Seal on its port", Fit.TIGHT): "fittings are the same or they are not",
    ("Optical forceps and telescope", Fit.TIGHT): "they are made for each other or they are not",
    **dict.fromkeys(
        (
            (title, Fit.TIGHT)
            for title in ("Sheath ends inside", "Reach past the tip", "Implant's length", "Pusher past the tip")
        ),
        "the catalogue has lengths without a tolerance",
    ),
    ("Implant's length", Fit.DOES_NOT_FIT): "no implant is as long as a barrel",
}
"""Rules of fit, and a verdict that they cannot come to with parts that make sense."""


def load_demo() -> str:
    out = StringIO()
    call_command("load_demo", stdout=out)
    return out.getvalue()


@pytest.fixture(scope="module", autouse=True)
def loaded(django_db_setup: None, django_db_blocker: Any) -> Iterator[str]:
    """The demo, loaded once for every test of this module, which only read; what the command said."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield load_demo()
        transaction.set_rollback(True)


def test_the_list_of_tomorrow_shows_every_kind_of_verdict() -> None:
    now = timezone.now()
    found = list_readiness(timezone.localdate(now) + timedelta(days=1), at=now)
    shown = {row.case.reference: row.readiness for row in found.rows}
    for reference, (verdict, reason) in VERDICTS.items():
        readiness = shown[reference]
        assert readiness is not None
        assert readiness.verdict == verdict, (reference, readiness)
        words = " ".join(finding.words for need in readiness.needs for finding in need.findings)
        assert reason in words, (reference, words)
    standing = {row.template: (row.sterile, row.minimum) for row in found.standing}
    assert standing == {"EMERG": (2, 2), "OPT-FO": (0, 1)}
    assert Tray.objects.exclude(template__code__startswith="PX-").count() == 12
    cases = {row.case.reference: row.case for row in found.rows}
    assert [str(row.size) for row in cases["L-0401"].sizes_wanted.all()] == ["ADULT 7.5", "ADULT 8.0", "ADULT 8.5"]
    assert [(row.wanted.code, row.source) for row in cases["L-0403"].requirements.all()] == [
        ("STENT", "procedure"),
        ("IM-14-40", "procedure, planned implant"),
        ("IM-12-40", "procedure, narrower than the planned implant"),
        ("IM-14-60", "procedure, longer than the planned implant"),
        ("TE-400", "procedure, backup"),
    ]
    assert "operator OP-2" in {row.source for row in cases["L-0405"].requirements.all()}
    assert shown["L-0408"] is not None
    assert "chain-beside" in {finding.slug for finding in shown["L-0408"].findings}
    assert Piece.objects.filter(state=PieceState.MISSING).count() == 1
    own = Piece.objects.exclude(part__code__startswith="PX-")
    assert own.filter(state=PieceState.QUARANTINED).count() == 1


def test_the_demo_loads_once(loaded: str) -> None:
    assert "airway-unit-demo" in loaded
    before = Load.objects.count()
    assert "there already; nothing was changed" in load_demo()
    assert Load.objects.count() == before


def seen() -> dict[str, list[Finding]]:
    """Everything that the pages of the demo say, by where they say it."""
    at = timezone.now()
    today = timezone.localdate(at)
    terms = policies()
    plan = service_plan(today, days=int(terms["service_soon_days"]), cycles_left=int(terms["cycles_left_soon"]))
    days = [list_readiness(day, at=at) for day in set(TheatreList.objects.values_list("day", flat=True)) | {today}]
    judged = [row.readiness for day in days for row in day.rows if row.readiness]
    return {
        "piece": [finding for piece in Piece.objects.all() for finding in against_packing(piece, today)],
        "service": [finding for row in plan for finding in row.findings],
        "loan": [finding for row in loans_with_counts(today) for finding in row.findings],
        "shelf": [finding for row in single_use_stock(at) for finding in row.forecast.findings],
        "bench": [finding for tray in Tray.objects.all() for finding in _on_the_bench(tray)],
        "proof": [finding for version in TemplateVersion.objects.all() for finding in proof_of(version)],
        "list": [
            *(finding for row in judged for finding in row.findings),
            *(finding for day in days for row in day.standing for finding in row.findings),
        ],
    }


def _on_the_bench(tray: Tray) -> tuple[Finding, ...]:
    try:
        return bench_of(tray, at=timezone.now()).count.findings
    except Refused as refused:  # no version of its list is published
        return refused.findings


def test_each_finding_is_seen_in_the_demo() -> None:
    shown = seen()
    missing, idle = set(), set(ONLY_WHEN_ASKED)
    for module, places in MODULES.items():
        there = [finding for place in places for finding in shown[place]]
        for slug in declared(module, EXPANDED):
            words = TOLD_APART.get((module, slug), "")
            if any(finding.slug == slug and words in finding.sentence for finding in there):
                idle -= {slug}
            elif slug not in ONLY_WHEN_ASKED:
                missing.add((module, slug))
    assert not missing
    assert idle == set(ONLY_WHEN_ASKED), "seen after all"


def test_what_is_of_the_list_but_proved_by_the_bench_is_seen_in_a_proof() -> None:
    slugs = {finding.slug for finding in seen()["proof"]}
    assert {"no-programme", "too-heavy", "mass-not-measured"} <= slugs


LINK = re.compile(r"\]\(\S*?/fit/\?([^)\s]*)\)")
VERDICTS_IN_ORDER = (Fit.FITS, Fit.TIGHT, Fit.DOES_NOT_FIT, Fit.NOT_MEASURED)


def fit_examples() -> dict[tuple[str, Fit], str]:
    """The set-ups that the guide links, by the rule and the verdict that they show."""
    page = (Path(settings.BASE_DIR) / "docs" / "fit-examples.md").read_text()
    titles = {rule.title for rule in RULES}
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in page.splitlines() if line.startswith("|")
    ]
    found = {}
    for title, *cells in rows:
        if title in titles:
            for fit, cell in zip(VERDICTS_IN_ORDER, cells, strict=True):
                if link := LINK.search(cell):
                    found[title, fit] = link[1]
    return found


def test_each_rule_of_fit_is_seen_with_each_verdict_that_it_can_give() -> None:
    examples = fit_examples()
    assert {(rule.title, fit) for rule in RULES for fit in Fit} - set(examples) == set(CANNOT_BE)
    for (title, fit), asked in examples.items():
        form = FitForm(QueryDict(asked), fit_limits())
        assert form.mounting, (title, fit, form.errors)
        found = {(ruling.rule.title, ruling.judgement.fit) for ruling in rulings(form.mounting, form.limits)}
        assert (title, fit) in found, (title, fit, found)


def test_a_matrix_of_fit_has_each_verdict() -> None:
    gap_mm = fit_limits().gap_mm
    matrices = [matrix_of(series, through="barrel", kind="", gap_mm=gap_mm) for series in Series.objects.all()]
    cells = [cell for matrix in matrices for row in matrix.rows for cell in row.cells if cell]
    assert {cell.fit for cell in cells} == set(Fit)
