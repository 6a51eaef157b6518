"""Labels and count sheets as a printer and a scanner meet them: rendered, rasterised, read back.

The symbol is read by zxing-cpp, which shares no code with the library that lays it out; text and fonts by Poppler.
"""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from weasyprint.urls import FatalURLFetchingError

from instruments.models import Part, PartKind, Piece, Telescope
from journal.models import PolicySetting
from journal.roles import Role
from tests import makers
from tests.makers import AT, act
from tests.trays.printing import (
    cut_off,
    facts,
    overlapping,
    pages,
    poppler,
    said,
    scanned,
    size_of_font,
    symbols,
)
from trays import paper
from trays.actions import finish_tray, pack_single, receive_maker_pack
from trays.models import Content, Pack
from trays.reads import load_of
from trays.symbols import DOT_MM, MATRIX_QUIET_MODULES, QUIET_MODULES, datamatrix_svg, qr_svg

pytestmark = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils")

POINTS_PER_MM = 72 / 25.4
LEAST_CODE_PT = 12  # of the human-readable code on labels of 50 mm and more; our own rule


def read(pack: Pack) -> Pack:
    """A pack as the pages read it for paper."""
    rows = Pack.objects.select_related("tray", "version__template", "assembled_by", "incomplete_second")
    return rows.get(pk=pack.pk)


def incomplete_pack(*lacking: str, name: str = "Adult tray 7") -> Pack:
    """A pack that went out without parts of these names."""
    there = makers.part(name="Forceps, grasping 2.5 mm")
    lines = [makers.line(makers.part(name=part), 2, essential=False) for part in lacking]
    tray = makers.lay(makers.tray(makers.template(there, *lines), name=name), makers.piece(there))
    second = makers.person(Role.TECHNICIAN, name="Technician 2")
    done = finish_tray(tray.code, incomplete_reason="in repair", second=str(second.badge), act=act())
    return read(Pack.objects.get(code=done.mark))


# The symbol


def test_symbol_is_read_back() -> None:
    for dots in (3, 4, 6):
        svg = qr_svg("K000123A", module_dots=dots)
        # 21 modules of the smallest symbol (ISO/IEC 18004) and its quiet zone
        assert f'width="{(21 + 2 * QUIET_MODULES) * dots * DOT_MM:g}mm"' in svg


def test_symbol_escapes_what_it_says() -> None:
    assert 'aria-label="QR code of &lt;&quot;&amp;"' in qr_svg('<"&', module_dots=4)


@pytest.mark.parametrize(("text", "dots"), [("", 4), ("K000123A", 0)])
def test_symbol_of_nothing_is_refused(text: str, dots: int) -> None:
    with pytest.raises(ValueError, match="symbol needs"):
        qr_svg(text, module_dots=dots)


@pytest.mark.parametrize(
    ("text", "gs1", "modules"),
    [
        ("K000123A", False, 12),
        ("(8004)4000001111", True, 14),
        ("(01)09504000059118(17)280131(21)A1", True, 18),
        ("(01)09504000059118(17)280131(21)ABCDEFGHIJ1234567890", True, 22),
    ],
)
def test_datamatrix_is_square_and_small(text: str, gs1: bool, modules: int) -> None:
    # Sides of ISO/IEC 16022, table 7: 10 to 26 modules in steps of two (from memory); the quiet zone is one module.
    svg = datamatrix_svg(text, module_dots=3, gs1=gs1)
    side = modules + 2 * MATRIX_QUIET_MODULES
    assert f'viewBox="0 0 {side} {side}"' in svg
    assert f'width="{side * 3 * DOT_MM:g}mm" height="{side * 3 * DOT_MM:g}mm"' in svg
    assert f'aria-label="{"GS1 " * gs1}DataMatrix of {text}"' in svg


@pytest.mark.parametrize(
    ("text", "dots", "words"), [("", 4, "needs a text"), ("(21)1", 0, "one dot"), ("none", 3, "AI")]
)
def test_datamatrix_of_nothing_is_refused(text: str, dots: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        datamatrix_svg(text, module_dots=dots, gs1=True)


# Labels


@pytest.mark.django_db
@pytest.mark.parametrize("size", paper.LABEL_SIZES.values(), ids=paper.LABEL_SIZES)
def test_label_is_one_page_of_its_size_and_is_read_back(size: paper.LabelSize) -> None:
    pack = read(makers.pack())
    for copied_at in (None, AT):
        document = paper.label(pack, size, copied_at=copied_at)
        about = facts(document)
        width_mm, height_mm = (int(side) for side in size.name.split("x"))
        width_pt, height_pt = (float(side) for side in re.findall(r"[\d.]+", about["Page size"])[:2])
        assert (width_pt / POINTS_PER_MM, height_pt / POINTS_PER_MM) == pytest.approx((width_mm, height_mm), abs=0.05)
        assert (about["Pages"], about["Tagged"]) == ("1", "yes")
        own = ("]d1" if size.is_pouch else "]Q1", pack.code)
        assert symbols(document) == symbols(document, dpi=203) == {own}
        assert (overlapping(document), cut_off(document)) == ([], [])


@pytest.mark.django_db
@pytest.mark.parametrize("name", paper.LABEL_SIZES)
def test_code_can_be_read_by_eye(name: str, tmp_path: Path) -> None:
    for pack in (read(makers.pack()), incomplete_pack("Telescope guard")):
        document = paper.label(pack, paper.LABEL_SIZES[name])
        assert size_of_font(document, pack.code, tmp_path / "label.pdf") >= LEAST_CODE_PT


@pytest.mark.django_db
def test_label_says_what_it_stands_on_and_until_when() -> None:
    by = makers.person(Role.NURSE, name="Endoscopy nurse 1")
    pack = read(makers.pack(makers.tray(name="Adult tray 7"), by=by))
    text = said(paper.label(pack, paper.usual_size(pack)))
    for words in (
        pack.code,
        "Adult tray 7",
        "Use by Sun 23-May-2027",
        "Assembled Tue 24-Nov-2026 09:00, Endoscopy nurse 1",
        f"{pack.tray.template.code} version 1",  # type: ignore[union-attr]
        "Load",
        "Programme",
    ):
        assert words in text
    assert "Copy" not in text
    assert "INCOMPLETE" not in text


@pytest.mark.django_db
def test_copy_says_so_and_when() -> None:
    pack = read(makers.pack())
    later = AT + timedelta(hours=3)
    texts = {name: said(paper.label(pack, size, copied_at=later)) for name, size in paper.LABEL_SIZES.items()}
    assert "Copy, printed Tue 24-Nov-2026 12:00" in texts["76x38"]
    assert "Copy, printed Tue 24-Nov-2026 12:00" in texts["50x25"]
    assert "Copy, 24-Nov-2026" in texts["32x12"]


@pytest.mark.django_db
def test_incomplete_label_lists_what_lacks_or_counts_it() -> None:
    pack = incomplete_pack("Telescope guard", "Suction tube 3.0 mm")
    texts = {name: said(paper.label(pack, size)) for name, size in paper.LABEL_SIZES.items()}
    assert "INCOMPLETE lacks 2 × Telescope guard; 2 × Suction tube 3.0 mm" in texts["76x38"]
    assert "INCOMPLETE lacks 2 × Telescope guard and 1 part more, see count sheet" in texts["50x25"]
    assert "INCOMPLETE" in texts["32x12"]


@pytest.mark.django_db
@pytest.mark.parametrize("size", paper.LABEL_SIZES.values(), ids=paper.LABEL_SIZES)
@pytest.mark.parametrize("letters", [30, 45, 80])
def test_nothing_overlaps_however_much_is_said(size: paper.LabelSize, letters: int) -> None:
    name = (
        "Emergency airway tray for children with optical forceps, telescope and both suction tubes"[:letters]
    ).strip()
    pack = incomplete_pack("Biopsy forceps 1.8 mm, child, double action", "Suction tube 3.0 mm", "Lead", name=name)
    document = paper.label(pack, size, copied_at=AT)
    assert facts(document)["Pages"] == "1"
    assert scanned(document) == [pack.code]
    assert (overlapping(document), cut_off(document)) == ([], [])
    assert "Use by" in said(document)
    if not size.is_pouch:
        assert name in said(document)


@pytest.mark.django_db
def test_label_of_a_single_piece_names_piece_and_lot() -> None:
    bought = read(makers.maker_pack(makers.part(PartKind.IMPLANT, name="Stent 14 × 40 mm")))
    text = said(paper.label(bought, paper.usual_size(bought)))
    assert f"{bought.contents.get().piece.code}, lot LOT-1" in text
    assert "Received" in text
    assert paper.usual_size(bought).name == "50x25"


GTIN = "09504000059118"  # a sample of GS1: check digit by weights 3 and 1


@pytest.mark.django_db
@pytest.mark.parametrize("size", ["76x38", "50x25"])
@pytest.mark.parametrize(
    "name", ["Silicone airway stent 12 × 40 mm", "Stent 14 × 40 mm, covered, for the trachea, adult"]
)
@pytest.mark.parametrize(
    ("mark", "sent"),
    [
        (f"01{GTIN}1728013121Serial/7", f"01{GTIN}1728013121Serial/7"),
        (f"01{GTIN}10LOT-1\x1d1728013121Serial/7", f"01{GTIN}1728013121Serial/7"),
        (f"01{GTIN}1728013110LOT-1", f"01{GTIN}1728013110LOT-1"),
    ],
)
def test_the_makers_identity_stands_beside_our_code(size: str, name: str, mark: str, sent: str) -> None:
    """A symbol that says GS1 of itself (]d2) and holds no separator that a scanner could lose."""
    part = makers.part(single_use=True, name=name)
    done = receive_maker_pack(
        part.code, expires=date(2028, 1, 31), lot="LOT-1", mark=f"]d2{mark}", barrier_intact=True, act=act()
    )
    pack = read(Pack.objects.get(code=done.mark))
    for copied_at in (None, AT):
        document = paper.label(pack, paper.LABEL_SIZES[size], copied_at=copied_at)
        assert symbols(document) == symbols(document, dpi=203) == {("]Q1", pack.code), ("]d2", sent)}
        assert (overlapping(document), cut_off(document)) == ([], [])
        assert "Maker’s mark" in said(document)


@pytest.mark.django_db
def test_labels_are_black_and_white_and_carry_no_symbol_of_a_maker() -> None:
    pack = incomplete_pack("Telescope guard")
    for size in paper.LABEL_SIZES.values():
        operators = poppler("pdftocairo", "-svg", "-", "-", document=paper.label(pack, size)).decode()
        assert set(re.findall(r'(?:fill|stroke)="(rgb[^"]*)"', operators)) <= {
            "rgb(0%, 0%, 0%)", "rgb(100%, 100%, 100%)",
        }  # fmt: skip
        assert "CE" not in said(paper.label(pack, size)).split()


@pytest.mark.django_db
def test_label_names_the_load_that_the_pack_is_in() -> None:
    pack = read(makers.pack())
    for verb, evidence, load in (("load", "L000007K", "L000007K"), ("take_off_load", "L000007K", "")):
        pack.lines.create(occurred_at=AT, verb=verb, evidence={"load": evidence})
        assert load_of(pack) == load
        assert ("L000007K" in said(paper.label(pack, paper.usual_size(pack)))) == bool(load)


@pytest.mark.django_db
def test_no_paper_names_a_patient() -> None:
    PolicySetting.objects.create(name="immediate_use", value=True, reason="local")
    piece = makers.piece(makers.part(programmes=[makers.programme("F134", immediate=True)]))
    done = pack_single(piece.code, immediate=True, reason="dropped", patient_ref="PT-77", act=act())
    pack = read(Pack.objects.get(code=done.mark))
    for document in (paper.label(pack, paper.usual_size(pack)), paper.count_sheet(pack)):
        assert pack.code in said(document)
        assert "PT-77" not in said(document)


# Count sheets


@pytest.mark.django_db
def test_count_sheet_lists_each_piece_and_is_read_back() -> None:
    pack = incomplete_pack("Telescope guard")
    document = paper.count_sheet(pack)
    assert scanned(document) == [pack.code]
    assert facts(document)["Tagged"] == "yes"
    text = said(document)
    piece = pack.contents.get().piece
    for words in (
        "Adult tray 7",
        f"1 Forceps, grasping 2.5 mm No outline {piece.code}",
        "2 Telescope guard No outline 2 lack: not in the pack",
        "INCOMPLETE: in repair (second person Technician 2)",
        "lacks 2 × Telescope guard",
        "At opening At closing On return",
        "Counted at closing by",
        "Case code",
        "Write no patient data on this sheet",
        "Page 1 of 1",
    ):
        assert words in text
    assert "Copy, printed Tue 24-Nov-2026 09:00" in said(paper.count_sheet(pack, copied_at=AT))


@pytest.mark.django_db
def test_count_sheet_says_what_stands_in_and_what_lies_beside() -> None:
    own, other, beside = makers.part(name="Telescope 0°"), makers.part(name="Telescope 30°"), makers.part(name="Ruler")
    tray = makers.tray(makers.template(makers.line(own, substitutes=[other])))
    text = said(paper.count_sheet(read(makers.pack(makers.lay(tray, makers.piece(other), makers.piece(beside))))))
    assert re.search(r"1 Telescope 30° in place of Telescope 0° No outline P\w+", text)
    assert re.search(r"\+ Ruler No outline P\w+", text)
    assert "2 pieces" in text


@pytest.mark.django_db
def test_check_list_has_a_box_for_each_piece_and_nothing_filled_in() -> None:
    own, other = makers.part(name="Telescope 0°"), makers.part(name="Telescope 30°")
    lines = [makers.line(own, 2, substitutes=[other]), makers.line(makers.part(name="Lead"), essential=False)]
    tray = makers.tray(makers.template(*lines, name="Adult list"), name="Adult tray 7")
    version = tray.template.versions.get()
    document = paper.check_list(tray, version)
    assert scanned(document) == [tray.code]
    text = said(document)
    for words in ("Adult tray 7", f"Adult list, {version}", "3 pieces in 2 lines", "Lead optional",
                  "or Telescope 30°: serves as well"):  # fmt: skip
        assert words in text


@pytest.mark.django_db
def test_long_names_wrap() -> None:
    name = "Forceps, optical, " + "very" * 20 + " long"
    part = makers.part(PartKind.TELESCOPE, name=name)
    Telescope.objects.update_or_create(part=part, defaults={"shaft_mm": 4, "length_mm": 350, "view_deg": 30})
    document = paper.count_sheet(read(makers.pack(makers.lay(makers.tray(makers.template(part)), makers.piece(part)))))
    assert cut_off(document) == []
    assert overlapping(document) == []
    assert "very" * 20 in said(document).replace(" ", "")


@pytest.mark.django_db
def test_four_hundred_lines_have_their_head_on_every_page() -> None:
    kind = PartKind.TELESCOPE
    parts = Part.objects.bulk_create(Part(code=f"N-{n}", name=f"Part number {n}", kind=kind) for n in range(1, 401))
    Telescope.objects.bulk_create(Telescope(part=part, shaft_mm=4, length_mm=350) for part in parts[1:])
    tray = makers.tray(makers.template(*parts))
    pack = Pack.objects.create(
        code="K000400X", name=tray.name, tray=tray, version=tray.template.versions.get(),
        assembled_at=AT, assembled_by=makers.person(), use_by=AT,
    )  # fmt: skip
    pieces = Piece.objects.bulk_create(Piece(code=f"X{one.code}", part=one) for one in parts)
    Content.objects.bulk_create(
        Content(pack=pack, piece=piece, position=n, part_code=piece.part.code, part_name=piece.part.name)
        for n, piece in enumerate(pieces, start=1)
    )
    found = pages(paper.count_sheet(read(pack)))
    assert 5 < len(found) < 25
    assert "Part number 1 " in found[0]  # nothing jumps to the second page
    assert [text.count("Not measured") for text in found[:2]] == [1, 0]
    for number, text in enumerate(found, start=1):
        assert f"Page {number} of {len(found)}" in text
        assert pack.code in text
        if re.search(r"XN-\d+", text):
            assert re.search(r"Line +Part +Outline, half size +Piece +At opening", text)
    rows = re.findall(r"^ *(\d+) +Part number (\d+) +(?:Not measured +)?XN-(\d+)", "\n".join(found), re.MULTILINE)
    assert [row for row in rows if len(set(row)) == 1] == [(str(n),) * 3 for n in range(1, 401)]


# What paper may fetch


@pytest.mark.parametrize(
    "address",
    [
        "https://example.test/x.css",
        "file:///etc/hostname",
        "file:///../../etc/hostname",
        "file:///css/../../settings/base.py",
        "data:text/css,p{}",
    ],
)
def test_paper_fetches_nothing_but_our_own_files(address: str) -> None:
    with pytest.raises(FatalURLFetchingError, match="not one of our own files"):
        paper.OwnFiles().fetch(address)


def test_paper_finds_its_style_sheet() -> None:
    found: Any = paper.OwnFiles().fetch("file:///css/paper.css")
    assert found.content_type == "text/css"
    assert found.read() == Path("config/static/css/paper.css").read_bytes()
