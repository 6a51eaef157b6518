"""Where the demo unit is not loaded."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from tests import makers

pytestmark = pytest.mark.django_db


def test_a_unit_of_its_own_is_not_mixed_with_the_demo() -> None:
    makers.part()
    with pytest.raises(CommandError, match="holds a catalogue of its own, must be empty"):
        call_command("load_demo")
