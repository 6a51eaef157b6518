"""Generated documents are what the code would write today. `make docs` writes them."""

from io import StringIO

import pytest
from django.core.management import call_command

from tests.architecture.tree import ROOT


@pytest.mark.parametrize(
    ("name", "command", "options"),
    [("states.md", "states", {}), ("openapi.yaml", "spectacular", {"validate": True, "fail_on_warn": True})],
)
def test_generated_document_is_fresh(name: str, command: str, options: dict[str, bool]) -> None:
    written = StringIO()
    call_command(command, stdout=written, **options)
    assert written.getvalue().strip() == (ROOT / "docs" / name).read_text().strip()
