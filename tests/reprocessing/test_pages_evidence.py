"""Pages of loads: the record of the cycle, indicators, the trail, and what a door does with odd requests."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from instruments.models import ProgrammeKind
from instruments.states import PieceState
from reprocessing import actions
from reprocessing.models import Trace
from reprocessing.states import MachineKind
from tests import makers
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import Browser, page
from tests.reprocessing.test_judgement import told

pytestmark = pytest.mark.django_db
TRACES = Path(__file__).parents[2] / "fixtures" / "traces"


@pytest.fixture
def technician() -> Browser:
    return Browser(make.technician())


# The record and the indicators


@pytest.mark.parametrize("name", sorted(told()))
def test_a_record_is_attached_judged_and_drawn(technician: Browser, name: str) -> None:
    """Verdicts as the table in fixtures/traces/README.md states them."""
    washes = name.startswith("washer")
    makers.programme("W90", kind=ProgrammeKind.WASH, a0_s=3000)
    makers.programme("S134", equilibration_s=15)
    load = make.load(make.washer(), makers.piece(state=PieceState.RETURNED)) if washes else None
    load = make.ended(load)
    content = (TRACES / name).read_bytes()
    text = technician.send(page(load) + "attach/", content=SimpleUploadedFile(name, content, "text/csv"))
    said = "yes" if told()[name][2] == "within limits" else "no"
    assert f"Numbers within limits: {said}." in text
    assert ("Not within limits" in text) == (said == "no")
    assert "A0 speaks of thermal disinfection only" in text if washes else "F0 informs and never decides" in text
    assert Trace.objects.get().content.encode() == content
    source = technician.source(page(load))
    assert source.count("<svg") > source.count('<svg aria-hidden="true"')
    assert 'class="trace-temperature"' in source


def test_a_superheated_cycle_has_a_high_f0_and_is_not_within_limits(technician: Browser) -> None:
    load = make.ended()
    content = SimpleUploadedFile("hot.csv", (TRACES / "steam_134_superheated.csv").read_bytes())
    text = technician.send(page(load) + "attach/", content=content)
    assert "378.3 min" in text  # README of the traces: 378.4, cut and never rounded up
    assert "Numbers within limits: no; missing: Chemical indicator." in text
    assert "Suspect superheated steam" in text
    assert f"Cannot release {load.code}: the cycle record is not within limits (Hold 8s" in Browser(
        make.releaser()
    ).read(page(load))


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("cycle.pdf", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj", "Cannot attach cycle.pdf: it is no text"),
        ("plain.pdf", b"%PDF-1.4\n1 0 obj\n", "Cannot read the header: its columns are %PDF-1.4"),
        ("zero.csv", b"t_s,p1_c\n0,\0\n", "Cannot attach zero.csv: it is no text"),
        ("empty.csv", b"", "Cannot attach the file: it is empty."),
        ("long.csv", b"0" * (3 * 1024**2), "Cannot attach long.csv: it has 3.0 MB, must have at most 2 MB."),
        (f"{'n' * 120}.csv", b"t_s,p1_c\n0,20\n", "its name has 124 characters, must have at most 120"),
    ],
)
def test_a_file_that_is_no_record_is_refused_in_words(
    technician: Browser, name: str, content: bytes, words: str
) -> None:
    load = make.ended()
    assert words in technician.send(page(load) + "attach/", content=SimpleUploadedFile(name, content))
    assert not Trace.objects.exists()


def test_no_file_at_all_is_refused_in_words(technician: Browser) -> None:
    text = technician.send(page(make.ended()) + "attach/")
    assert "Cannot take “The machine’s record”: it is not recorded" in text


def test_a_low_temperature_record_has_no_picture_and_no_lethality(technician: Browser) -> None:
    machine = make.machine(MachineKind.LOW_TEMPERATURE)
    programmes = [makers.programme("W90", kind=ProgrammeKind.WASH), machine.programmes.get()]
    load = make.ended(make.load(machine, makers.single(makers.piece(makers.part(programmes=programmes)))))
    make.phase(load.programme, "exposure", "duration", "min", least=20.0)
    record = SimpleUploadedFile("lt.csv", b"\xef\xbb\xbf" + make.phase_record(30.0).encode())
    text = technician.send(page(load) + "attach/", content=record)
    assert "Exposure: duration 30 min At least 20 min Within limits".lower() in text.lower()
    assert "no lethality can be computed" in text
    assert "trace-temperature" not in technician.source(page(load))


def test_an_indicator_is_placed_and_read(technician: Browser) -> None:
    load = make.ended()
    technician.send(page(load) + "place/", kind="chemical", lot="CI-7")
    text = technician.read(page(load))
    assert "Chemical indicator Waiting (lot CI-7)" in text
    key = load.indicators.get().pk
    assert "Cannot take “What it shows”: it is not recorded" in technician.send(page(load) + "read/", indicator_id=key)
    text = technician.send(page(load) + "read/", indicator_id=key, passed="yes")
    assert "Chemical indicator Passed (lot CI-7) Passed Within limits" in text


def test_an_indicator_of_no_kind_is_refused_in_words(technician: Browser) -> None:
    load = make.ended()
    text = technician.send(page(load) + "place/", kind="magnetic", lot="7")
    assert "Cannot take “Kind of indicator”: it is none of the answers" in text


# History


def test_the_trail_stands_on_the_page_and_a_line_is_corrected(technician: Browser) -> None:
    person = make.technician()
    load = make.running(by=person)
    browser = Browser(person)
    text = browser.read(page(load))
    assert "building to running" in text
    assert "Cycle number: 17" in text
    assert "Caps open: yes" in text
    line = load.lines.get(verb="start")
    text = browser.send(page(load) + "correct/", line=line.pk, reason="the cycle number is 18")
    assert "Corrected the cycle number is 18" in text
    assert "“Start”" in text
    assert load.lines.get(verb="correct").corrects_id == line.pk


def test_lines_of_others_and_of_other_loads_are_not_offered(technician: Browser) -> None:
    load, other = make.load(None, makers.pack()), make.load(None, makers.pack())
    for line in (load.lines.earliest("pk"), other.lines.earliest("pk")):
        text = technician.send(page(load) + "correct/", line=line.pk, reason="wrong")
        assert "Cannot take “Line”: it is none of the answers" in text
    assert not load.lines.filter(verb="correct").exists()


def test_there_is_no_page_of_what_does_not_exist(technician: Browser) -> None:
    load = make.load()
    for address in ("/loads/L9/", "/machines/M9/"):
        assert technician.client.get(address).status_code == 404
    for address in (
        "/loads/L9/start/",
        page(load) + "fly/",
        f"/machines/{load.machine.code}/fly/",
        "/machines/M9/test/",
    ):
        assert technician.client.post(address).status_code == 404
    assert technician.client.get(page(load) + "start/").status_code == 405


def test_a_double_press_counts_once(technician: Browser) -> None:
    load = make.ended()
    for _ in range(2):
        technician.send(page(load) + "place/", kind="chemical", lot="7", key="once")
    assert load.indicators.count() == 1


def test_a_form_sent_without_its_token_is_not_taken() -> None:
    person = make.technician()
    load = make.load(by=person)
    client = Client(enforce_csrf_checks=True)
    client.force_login(person)
    assert client.post(page(load) + "place/", {"kind": "chemical", "lot": "7"}).status_code == 403


def test_the_record_of_another_load_is_named(technician: Browser) -> None:
    first, second, record = make.ended(), make.ended(), make.steam_trace().encode()
    actions.attach_trace(first.code, "a.csv", record.decode(), act=act())
    text = technician.send(page(second) + "attach/", content=SimpleUploadedFile("b.csv", record))
    assert f"it is the record of {first.code}" in text
