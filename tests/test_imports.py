"""Importing real files: what is taken, what is refused, and the sentence that the person sees."""

# ruff: noqa: E501 - a sentence stands in one line, as the person sees it

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from instruments.imports import import_catalogue, import_pieces
from instruments.models import BasePort, Part, Piece, Series
from journal.actions import Act
from journal.findings import Refused
from journal.imports import Report
from journal.models import Person
from journal.roles import Role
from journal.tables import FaultyTable
from lists.imports import import_list, import_operators, import_procedures
from lists.models import Case, Procedure
from lists.requirements import EXPECTED
from tests import makers
from trays.imports import import_templates, import_trays
from trays.models import Template, Tray

pytestmark = pytest.mark.django_db

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
DAY = date(2026, 11, 26)


@pytest.fixture
def act() -> Act:
    call_command("loaddata", FIXTURES / "unit.json", verbosity=0)
    return makers.act(makers.everybody())


def load_all(act: Act, *, most_pieces: int = 1000) -> list[Report]:
    """Every fixture; of the register of pieces the first rows only, where a test needs no more."""
    takes: dict[str, Callable[..., Report]] = {
        "catalogue": import_catalogue,
        "pieces": import_pieces,
        "templates": import_templates,
        "trays": import_trays,
        "procedures": import_procedures,
    }
    files = {name: (FIXTURES / f"{name}.csv").read_bytes() for name in takes}
    files["pieces"] = b"\n".join(files["pieces"].split(b"\n")[: most_pieces + 1])
    reports = [take(files[name], act=act) for name, take in takes.items()]
    return [*reports, import_list((FIXTURES / "list.csv").read_bytes(), day=DAY, act=act)]


def test_the_fixtures_are_taken_and_the_same_again_changes_nothing(act: Act) -> None:
    first = load_all(act)
    assert [(report.changed, report.same) for report in first] == [(0, 0)] * 6
    assert Piece.objects.count() == first[1].created > 300
    lines = Piece.objects.order_by("code")[0].lines.count()
    again = load_all(act)
    assert [(report.created, report.changed) for report in again] == [(0, 0)] * 6
    assert [report.same for report in again] == [report.created for report in first]
    assert Piece.objects.order_by("code")[0].lines.count() == lines


def test_a_spreadsheet_of_another_country_reads_the_same(act: Act) -> None:
    """Byte order mark, CRLF, semicolons, decimal commas, upper-case header, columns in another order."""
    text = (FIXTURES / "catalogue.csv").read_text().splitlines()
    rows = list(csv.reader(text))
    order = list(range(len(rows[0])))[::-1]
    out = StringIO()
    writer = csv.writer(out, delimiter=";", lineterminator="\r\n")
    writer.writerow([rows[0][place].upper() for place in order])
    numeric = {place for place, name in enumerate(rows[0]) if name.endswith(("_mm", "_g"))}
    for row in rows[1:]:
        writer.writerow([row[place].replace(".", ",") if place in numeric else row[place] for place in order])
    import_catalogue((FIXTURES / "catalogue.csv").read_bytes(), act=act)
    report = import_catalogue(b"\xef\xbb\xbf" + out.getvalue().encode(), act=act)
    assert (report.created, report.changed, report.same) == (0, 0, Part.objects.count())


def test_a_dry_run_writes_nothing(act: Act) -> None:
    report = import_catalogue((FIXTURES / "catalogue.csv").read_bytes(), dry_run=True, act=act)
    assert report.created > 60
    assert not Part.objects.exists()
    assert not Series.objects.exists()


def test_all_or_nothing_unless_the_good_rows_are_to_be_kept(act: Act) -> None:
    data = b"code,name,kind\nX-1,One,other\nX-2,Two,spoon\n"
    with pytest.raises(FaultyTable):
        import_catalogue(data, act=act)
    assert not Part.objects.exists()
    report = import_catalogue(data, keep_good=True, act=act)
    assert (report.created, len(report.faults)) == (1, 1)
    assert list(Part.objects.values_list("code", flat=True)) == ["X-1"]


def test_changed_rows_are_changed_and_a_changed_template_gets_a_version(act: Act) -> None:
    load_all(act, most_pieces=3)
    catalogue = (FIXTURES / "catalogue.csv").read_text().replace("Light lead 2.5 m", "Light lead 3 m")
    assert import_catalogue(catalogue.encode(), act=act).changed == 1
    templates = (
        (FIXTURES / "templates.csv")
        .read_text()
        .replace("AD-BRO,Adult bronchoscopy tray,16,SU-30,2", "AD-BRO,Adult bronchoscopy tray,16,SU-30,3")
    )
    assert import_templates(templates.encode(), act=act).changed == 1
    versions = Template.objects.get(code="AD-BRO").versions.values_list("number", "state")
    assert list(versions) == [(2, "published"), (1, "superseded")]
    moved = (FIXTURES / "list.csv").read_text().replace("07:45", "07:30")
    assert import_list(moved.encode(), day=DAY, act=act).changed == 1
    trays = (FIXTURES / "trays.csv").read_text().replace("Adult tray A", "Adult tray Alpha")
    assert import_trays(trays.encode(), act=act).changed == 1
    needs = (FIXTURES / "procedures.csv").read_text().replace("template:AD-BRO|template:OPT-FO", "template:OPT-FO")
    assert import_procedures(needs.encode(), act=act).changed == 1
    pieces = (FIXTURES / "pieces.csv").read_text().replace("BR-A70-001", "BR-A70-901")
    assert import_pieces(pieces.encode(), act=act).changed == 1


def test_what_operators_ask_for_is_imported_by_version(act: Act) -> None:
    load_all(act, most_pieces=3)
    data = (FIXTURES / "operators.csv").read_bytes()
    assert (import_operators(data, act=act).created, import_operators(data, act=act).same) == (2, 2)
    assert import_operators(data.replace(b"backup:SU-20", b""), act=act).changed == 1
    faulty = b"operator,procedure,needs\nOP-1,NOPE,part:LL-25\nOP-1,,part:NOPE\nOP-1,,spoon\n"
    with pytest.raises(FaultyTable) as refused:
        import_operators(faulty, act=act)
    assert [fault.expected for fault in refused.value.faults] == [
        "the code of a procedure",
        "the code of a part",
        EXPECTED,
    ]


def test_the_way_of_a_port_is_read_and_its_change_is_a_change(act: Act) -> None:
    def take(port: bytes) -> tuple[int, int, int]:
        report = import_catalogue(HEAD + b'coupling,ports\nX,n,base,UC,"axis:CF:9.4:axis|' + port + b'"\n', act=act)
        return report.created, report.changed, report.same

    assert take(b"side:LF:6:30.5") == (1, 0, 0)
    ports = BasePort.objects.filter(base__part__code="X").order_by("name")
    assert list(ports.values_list("name", "on_axis", "way_mm")) == [
        ("axis", True, None),
        ("side", False, Decimal("30.5")),
    ]
    assert take(b"side:LF:6:30,50") == (0, 0, 1)
    assert take(b"side:LF:6:31") == (0, 1, 0)
    assert take(b"side:LF:6") == (0, 1, 0)


def test_new_codes_go_on_after_imported_ones(act: Act) -> None:
    load_all(act, most_pieces=3)
    data = b"part,marks\nLL-25,ZZ-NEW-1\n"
    assert import_pieces(data, act=act).created == 1
    newest = Piece.objects.get(marks__text="ZZ-NEW-1")
    assert newest.code == max(Piece.objects.values_list("code", flat=True))
    assert import_pieces(data, act=act).same == 1


def test_nobody_imports_without_the_right(act: Act) -> None:
    nurse = makers.act(makers.person(Role.NURSE))
    for take in (import_catalogue, import_pieces, import_templates, import_trays, import_procedures, import_list):
        with pytest.raises(Refused, match="your sign-in does not hold the right"):
            take(b"", act=nurse)


CATALOGUE, PIECES, TEMPLATES, TRAYS, PROCEDURES, LIST = (
    import_catalogue,
    import_pieces,
    import_templates,
    import_trays,
    import_procedures,
    import_list,
)
HEAD = b"code,name,kind,"
LIST_HEAD = b"reference,theatre,start,duration_min,procedure\n"

BROKEN: list[tuple[str, Callable[..., Report], bytes, str]] = [
    ("empty file", CATALOGUE, b"", "Cannot take the file: it is nothing, must be a table with a header line."),
    ("header alone", CATALOGUE, b"code,name,kind\n", "Cannot take the file: it is “a header without rows”, must be a table with at least one row."),
    ("a spreadsheet's own format", CATALOGUE, b"PK\x03\x04\xff\xfe\x00", "Cannot take line 1: it is “ff”, must be text in UTF-8."),
    ("Latin-1", CATALOGUE, "code,name,kind\nX,Röhre,barrel\n".encode("latin-1"), "Cannot take line 2: it is “f6”, must be text in UTF-8."),
    ("UTF-16", CATALOGUE, "code,name,kind\n".encode("utf-16"), "Cannot take line 1: it is “ff”, must be text in UTF-8."),
    ("NUL", CATALOGUE, b"code,name,kind\nX\x00,n,other\n", "Cannot take line 2: it is “a NUL character”, must be text."),
    ("open quotation mark", CATALOGUE, b'code,name,kind\nX,"open,other\n', "Cannot take the file: it is “a quotation mark that is not closed”, must be cells with quotation marks in pairs."),
    ("unknown column", PIECES, b"part,colour\nX,red\n", "Cannot take line 1, column colour: it is “colour”, must be one of the columns part, code, marks, serial, lot, expires, service_due, cycles, place."),
    ("column missing", CATALOGUE, b"code,kind\nX,other\n", "Cannot take line 1, column name: it is nothing, must be a column of that name."),
    ("column twice", CATALOGUE, b"code,name,kind,code\nX,n,other,Y\n", "Cannot take line 1, column code: it is “the same column twice”, must be each column once."),
    ("too many cells", CATALOGUE, b"code,name,kind\nX,n,other,more\n", "Cannot take line 2: it is “4 cells”, must be 3 cells, as in the header."),
    ("cell empty", CATALOGUE, b"code,name,kind\nX,,other\n", "Cannot take line 2, column name: it is nothing, must be filled in."),
    ("code too long", CATALOGUE, b"code,name,kind\n" + b"X" * 31 + b",n,other\n", f"Cannot take line 2, column code: it is “{'X' * 31}”, must be at most 30 characters."),
    ("cell far too long", CATALOGUE, b"code,name,kind\nX," + b"n" * 501 + b",other\n", f"Cannot take line 2, column name: it is “{'n' * 40} and so on”, must be at most 500 characters."),
    ("tab within a cell", CATALOGUE, b'code,name,kind\nX,"a\tb",other\n', "Cannot take line 2, column name: it is “a\tb”, must be text without control characters."),
    ("unknown kind", CATALOGUE, b"code,name,kind\nX,n,spoon\n", "Cannot take line 2, column kind: it is “spoon”, must be one of barrel, base, seal, sheath, telescope, forceps, suction, loader, pusher, implant, adapter, lead, container, other."),
    ("not a number", CATALOGUE, HEAD + b"inner_mm\nX,n,barrel,wide\n", "Cannot take line 2, column inner_mm: it is “wide”, must be a number over 0."),
    ("no length", CATALOGUE, HEAD + b"inner_mm\nX,n,barrel,0\n", "Cannot take line 2, column inner_mm: it is “0”, must be a number over 0."),
    ("infinite", CATALOGUE, HEAD + b"mass_g\nX,n,other,Infinity\n", "Cannot take line 2, column mass_g: it is “Infinity”, must be a number over 0."),
    ("thousands and decimals", CATALOGUE, HEAD + b'mass_g\nX,n,other,"1.234,5"\n', "Cannot take line 2, column mass_g: it is “1.234,5”, must be a number over 0."),
    ("tolerance below 0", CATALOGUE, HEAD + b"inner_mm,inner_tol_mm\nX,n,barrel,8,-0.1\n", "Cannot take line 2, column inner_tol_mm: it is “-0.1”, must be a number of at least 0."),
    ("tolerance wider than the bore", CATALOGUE, HEAD + b"inner_mm,inner_tol_mm\nX,n,barrel,8,9\n", "Cannot take line 2, column inner_tol_mm: it is “9”, must be under inner_mm, which is 8."),
    ("tube without a wall", CATALOGUE, HEAD + b"inner_mm,outer_mm\nX,n,barrel,9,8\n", "Cannot take line 2, column inner_mm: it is “9”, must be under outer_mm, which is 8."),
    ("dimension of another kind", CATALOGUE, HEAD + b"shaft_mm\nX,n,barrel,4\n", "Cannot take line 2, column shaft_mm: it is “4”, must be empty for a barrel."),
    ("implant used again", CATALOGUE, HEAD + b"single_use\nX,n,implant,no\n", "Cannot take line 2, column single_use: it is “no”, must be yes for an implant."),
    ("half a yes", CATALOGUE, HEAD + b"single_use\nX,n,other,maybe\n", "Cannot take line 2, column single_use: it is “maybe”, must be yes or no."),
    ("size without series", CATALOGUE, HEAD + b"size\nX,n,barrel,7.5\n", "Cannot take line 2, column size: it is “7.5”, must be given together with series, or neither."),
    ("two sizes in one place", CATALOGUE, HEAD + b"series,size,size_order\nX,n,barrel,S,7,1\nY,n,barrel,S,8,1\n", "Cannot take line 3, column size_order: it is “1”, must be a free place for the new size 8."),
    ("unknown programme", CATALOGUE, HEAD + b"programmes\nX,n,other,S999\n", "Cannot take line 2, column programmes: it is “S999”, must be one of the programmes LT50, S121, S134, W90."),
    ("port half written", CATALOGUE, HEAD + b"coupling,ports\nX,n,base,UC,axis:CF\n", "Cannot take line 2, column ports: it is “axis:CF”, must be name:fitting:bore_mm, and :axis for the port on the axis."),
    ("bore in words", CATALOGUE, HEAD + b"coupling,ports\nX,n,base,UC,side:LF:wide:30\n", "Cannot take line 2, column ports: it is “side:LF:wide:30”, must be a bore, and a length of the way or “axis”, that is a number over 0."),
    ("way of no length", CATALOGUE, HEAD + b"coupling,ports\nX,n,base,UC,side:LF:6:0\n", "Cannot take line 2, column ports: it is “side:LF:6:0”, must be a bore, and a length of the way or “axis”, that is a number over 0."),
    ("two ways of a port", CATALOGUE, HEAD + b"coupling,ports\nX,n,base,UC,side:LF:6:30:axis\n", "Cannot take line 2, column ports: it is “side:LF:6:30:axis”, must be name:fitting:bore_mm, and :axis for the port on the axis."),
    ("part unknown", PIECES, b"part,marks\nNONE,M1\n", "Cannot take line 2, column part: it is “NONE”, must be the code of a part in the catalogue."),
    ("piece without a mark", PIECES, b"part\nLL-25\n", "Cannot take line 2, column code: it is nothing, must be a code, or at least one mark, by which the piece is found again."),
    ("day that does not exist", PIECES, b"part,marks,expires\nLL-25,M1,2026-02-30\n", "Cannot take line 2, column expires: it is “2026-02-30”, must be a day written YYYY-MM-DD."),
    ("part of a piece changed", PIECES, b"part,code\nTG-1,P000001H\n", "Cannot take line 2, column part: it is “TG-1”, must be BR-A70, the part of P000001H."),
    ("tray's code on a piece", PIECES, b"part,code\nLL-25,T000001N\n", "Cannot take line 2, column code: it is “T000001N”, must be a piece's code, beginning with P."),
    ("place unknown", PIECES, b"part,marks,place\nLL-25,M1,ATTIC\n", "Cannot take line 2, column place: it is “ATTIC”, must be the code of a place of the unit."),
    ("position twice", TEMPLATES, b"template,name,position,part\nT,t,1,LL-25\nT,t,1,TG-1\n", "Cannot take line 3, column position: it is “1”, must be a position of its own in the template."),
    ("companions of no series", TEMPLATES, b"template,name,position,part,companions\nT,t,1,LL-25,NOPE\n", "Cannot take line 2, column companions: it is “NOPE”, must be a series, series:planned size, or series:first size:last size."),
    ("companions the wrong way round", TEMPLATES, b"template,name,position,part,companions\nT,t,1,LL-25,ADULT:8.0:7.0\n", "Cannot take line 2, column companions: it is “ADULT:8.0:7.0”, must be the smaller size first."),
    ("tray of no template", TRAYS, b"name,template\nA,NOPE\n", "Cannot take line 2, column template: it is “NOPE”, must be the code of a template."),
    ("need of nothing", PROCEDURES, b"code,name,needs\nP,p,spoon:X\n", "Cannot take line 2, column needs: it is “spoon:X”, must be template:CODE, part:CODE or backup:PART, with :quantity where it is not one; sizes:SERIES:below:above; or implant:below:above."),
    ("theatre unknown", LIST, LIST_HEAD + b"R1,TH9,08:00,60,BRO-A\n", "Cannot take line 2, column theatre: it is “TH9”, must be the code of a theatre."),
    ("time that does not exist", LIST, LIST_HEAD + b"R1,TH1,25:00,60,BRO-A\n", "Cannot take line 2, column start: it is “25:00”, must be a time written HH:MM or YYYY-MM-DD HH:MM."),
    ("duration in words", LIST, LIST_HEAD + b"R1,TH1,08:00,an hour,BRO-A\n", "Cannot take line 2, column duration_min: it is “an hour”, must be a whole number from 1 to 1440."),
]  # fmt: skip


@pytest.mark.parametrize(("take", "data", "sentence"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_a_broken_file_is_refused_with_its_sentence(
    act: Act, take: Callable[..., Report], data: bytes, sentence: str
) -> None:
    load_all(act, most_pieces=3)
    counts = [model.objects.count() for model in (Part, Piece, Template, Tray, Procedure, Case)]
    with pytest.raises(FaultyTable) as refused:
        take(data, act=act, **({"day": DAY} if take is import_list else {}))
    assert refused.value.faults[0].sentence == sentence
    assert [model.objects.count() for model in (Part, Piece, Template, Tray, Procedure, Case)] == counts


def test_a_wrong_check_character_says_which_it_must_be(act: Act) -> None:
    load_all(act, most_pieces=3)
    with pytest.raises(FaultyTable, match="its check character is K, must be H"):
        import_pieces(b"part,code\nLL-25,P000001K\n", act=act)


def test_a_clock_time_needs_its_day(act: Act) -> None:
    load_all(act, most_pieces=3)
    with pytest.raises(FaultyTable, match="written with its day, or the import told the day"):
        import_list(LIST_HEAD + b"R1,TH1,08:00,60,BRO-A\n", act=act)


def run(*words: str) -> str:
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def test_the_commands_say_what_they_did(act: Act) -> None:
    name = act.by.username
    said = run("import_catalogue", str(FIXTURES / "catalogue.csv"), "--by", name, "--dry-run")
    assert "new, 0 changed, 0 as before. Dry run: nothing was written." in said
    for what in ("catalogue", "pieces", "templates", "trays", "procedures"):
        assert "new, 0 changed" in run(f"import_{what}", str(FIXTURES / f"{what}.csv"), "--by", name)
    assert "Cases: 10 new" in run("import_list", str(FIXTURES / "list.csv"), "--by", name, "--day", "2026-11-26")


def test_the_commands_refuse_in_words(act: Act, tmp_path: Path) -> None:
    broken = tmp_path / "broken.csv"
    broken.write_bytes(b"code,name,kind\nX,n,spoon\nY,,other\n")
    with pytest.raises(CommandError, match=r"line 2, column kind.*\n.*line 3, column name.*\nNothing was imported\."):
        run("import_catalogue", str(broken), "--by", act.by.username)
    with pytest.raises(CommandError, match="nobody signs in by that name"):
        run("import_catalogue", str(broken), "--by", "nobody")
    with pytest.raises(CommandError, match=r"Cannot read .*absent\.csv"):
        run("import_catalogue", str(tmp_path / "absent.csv"), "--by", act.by.username)
    Person.objects.create(username="outsider", display_name="Outsider")
    with pytest.raises(CommandError, match="does not hold the right"):
        run("import_catalogue", str(broken), "--by", "outsider")
