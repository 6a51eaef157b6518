"""Recall, look-back and look-forward over a long history agree with a walk over every row that knows nothing of them.

Two thousand packs here; the command of `tests.benchmarks.recall_by_trial` takes as many as it is asked for.
"""

from __future__ import annotations

from random import Random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from reprocessing.models import Load
from reprocessing.reads.recalls import members_of
from tests.benchmarks.recall_by_trial import called, since_settled
from tests.benchmarks.recall_compared import Compared

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def test_two_thousand_packs_by_both_policies_and_both_ways() -> None:
    compared = Compared(seed=11, packs=2000)
    compared.recalls()
    compared.members()
    compared.traces(Random(11), questions=9, share=0.2)
    assert compared.asked > 1000
    assert compared.wrong == []
    assert queries_for(10) == queries_for(200)


def queries_for(loads: int) -> int:
    """How many queries it takes to tell what so many loads answer for."""
    rows = list(Load.objects.filter(pk__lte=loads).select_related("machine"))
    with CaptureQueriesContext(connection) as asked:
        members_of(rows)
    return len(asked)


def test_the_walk_over_every_row_on_the_worked_example() -> None:
    """ANSI/AAMI ST79 as quoted in training text, and CDC Guideline 2008, table 12: as in test_recall.py."""
    signs = [(number, sign, number == 3) for number, sign in enumerate("-..+.+-", start=1)]
    assert called(signs, every_positive=True) == called(signs, every_positive=False) == [2, 3, 4, 5, 6]
    assert called(signs[:4], every_positive=True) == [2, 3, 4]
    assert called(signs[:4], every_positive=False) == [3]
    assert since_settled([(n, sign, False) for n, sign in enumerate("+---.+.", start=1)]) == 3
