"""The report by command and by page: what it names, what it refuses, who may ask for it."""

from __future__ import annotations

import hashlib
import json
import tomllib
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from config.validation.formulas import leak_rate, p_chart
from config.validation.report import VALUES, as_pdf, report, revision
from journal.roles import Role
from tests import makers
from tests.architecture.tree import ROOT

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 25, 12, tzinfo=UTC)


def test_the_command_writes_both_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("validation_report", pdf=tmp_path / "v.pdf", json=tmp_path / "v.json")
    assert "agree." in capsys.readouterr().out
    assert (tmp_path / "v.pdf").read_bytes().startswith(b"%PDF-")
    document = json.loads((tmp_path / "v.json").read_text())
    assert document["differing"] == 0
    assert document["checks"] == len(document["outcomes"]) > 100
    assert document["versions"]["Table of values"] == _sha256(VALUES)
    assert document["modules"]["reprocessing.lethality"] == _sha256(ROOT / "reprocessing" / "lethality.py")
    assert {"numpy", "biip", "Django", "Python", "Database"} <= set(document["versions"])


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_value_that_differs_is_named_and_ends_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "own.csv"
    head, first, *_ = VALUES.read_text().splitlines()
    table.write_text(f"{head}\n{first.replace(',600,', ',601,')}\n")
    with pytest.raises(SystemExit) as left:
        call_command("validation_report", values=table)
    assert left.value.code == 1
    said = capsys.readouterr().out
    assert "gives 600" in said
    assert "published 601" in said
    assert "1 values computed: 0 agree." in said
    found = report(AT, table)
    assert len(found.differing) == 1
    assert as_pdf(found).startswith(b"%PDF-")


@pytest.mark.parametrize(("content", "says"), [("formula\n", "the column input is not there"), (None, "No such file")])
def test_a_table_that_cannot_be_read(tmp_path: Path, content: str | None, says: str) -> None:
    table = tmp_path / "own.csv"
    if content:
        table.write_text(content)
    with pytest.raises(CommandError, match=says):
        call_command("validation_report", values=table)


def test_a_module_of_the_computation_is_found_through_those_that_import_it() -> None:
    """Leakage reads a trace, and a trace is read by trace_csv: all three compute."""
    modules = dict(report(AT).modules)
    assert {"reprocessing.leakage", "reprocessing.trace", "reprocessing.trace_csv", "journal.merkle"} <= set(modules)


def test_the_version_is_that_of_the_project(settings: Any) -> None:
    assert tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"] == settings.VERSION


def test_the_revision_is_the_sites_own_or_that_of_git_or_not_known(settings: Any, tmp_path: Path) -> None:
    settings.REVISION = "built from 4711"
    assert revision() == "built from 4711"
    settings.REVISION = ""
    assert revision() == "not known" or len(revision().split()[0]) == 40
    settings.BASE_DIR = tmp_path
    assert revision() == "not known"


def test_a_chamber_that_is_never_shut_off_has_no_rate() -> None:
    assert leak_rate(rise_mbar=float("nan")) == "not measured"


def test_no_sample_has_no_limits() -> None:
    assert p_chart(counts=[], of=50, what="mean") == "none"


def test_the_quality_lead_sees_it_and_files_it(client: Client) -> None:
    client.force_login(makers.person(Role.QUALITY))
    page = client.get("/validation/")
    assert page.status_code == HTTPStatus.OK
    assert "values agree with what was published" in " ".join(page.content.decode().split())
    assert client.get("/validation/report.pdf").content.startswith(b"%PDF-")
    assert client.get("/validation/report.json").json()["differing"] == 0


def test_nobody_else_is_let_in(client: Client) -> None:
    client.force_login(makers.person(Role.TECHNICIAN))
    for address in ("/validation/", "/validation/report.pdf", "/validation/report.json"):
        assert client.get(address).status_code == HTTPStatus.FORBIDDEN
