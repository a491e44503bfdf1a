"""The report as PDF: an archive file by an independent library, the same bytes again, nothing off paper."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pdfplumber
import pikepdf
import pypdfium2
import pytest
from matplotlib import font_manager

from fitup.errors import StorageError, UsageError
from fitup.evidence.palette import contrast
from fitup.evidence.report import build_report, save_report
from fitup.evidence.report.fonts import faces
from fitup.evidence.report.model import Area, Chart, Report, Stroke, Words
from fitup.evidence.report.pdf import report_pdf
from fitup.evidence.report.style import CAREFUL_GROUND, FINE_PRINT, INK, PAPER
from fitup.evidence.report.swatches import swatch
from tests.evidence.pdfa_checks import archive_faults, embedded
from tests.evidence.reported import altered, made_up

# Names of an invented job, in scripts that run to the left, join, stack, or are not in the fonts.
NAMES = {
    "who": "Иванов К. М., محمد, דוד",
    "job": "水槽 RT-40",
    "part": 400 * "W",
    "joint": "Mối hàn x\u0304\u0323 J4 {nb} \u202e(evil)",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_up(tmp_path_factory.mktemp("plain"))


@pytest.fixture(scope="module")
def report(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Report:
    """Two joints, one of them named as only a test names things."""
    out = tmp_path_factory.mktemp("part")

    def rename(record: dict[str, Any]) -> None:
        record["filing"].update(NAMES)
        record["photo"].update(name=f"{400 * 'x'}.jpg")

    altered(folder, out / "1", lambda record: None)
    altered(folder, out / "2", rename)
    return build_report([str(out)])


@pytest.fixture(scope="module")
def content(report: Report) -> bytes:
    return report_pdf(report, faces())


@pytest.fixture
def pdf(content: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(content))


def test_it_keeps_the_rules_of_an_archive_file(pdf: pikepdf.Pdf) -> None:
    assert archive_faults(pdf) == []


def _descriptor(pdf: pikepdf.Pdf) -> Any:
    return pdf.pages[0].Resources.Font["/F1"].DescendantFonts[0].FontDescriptor


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda pdf: pdf.Root.__delitem__("/OutputIntents"), None),
        (lambda pdf: pdf.Root.AF.__delitem__(0), "associated"),
        (lambda pdf: _descriptor(pdf).__delitem__("/FontFile2"), "embedded"),
        (lambda pdf: pdf.Root.__setitem__("/AA", pikepdf.Dictionary()), "/AA"),
    ],
)
def test_the_checks_themselves_find_faults(
    pdf: pikepdf.Pdf, spoil: Callable[[pikepdf.Pdf], None], fault: str | None
) -> None:
    spoil(pdf)
    if fault is None:
        with pytest.raises(AttributeError):
            archive_faults(pdf)
    else:
        assert any(fault in one for one in archive_faults(pdf))


def test_records_and_tables_are_inside_byte_for_byte(pdf: pikepdf.Pdf, report: Report) -> None:
    assert embedded(pdf) == {file.name: file.content for file in report.attachments}
    names = [name for name in embedded(pdf) if name.endswith("record.json")]
    assert len(names) == 2


def test_the_file_begins_as_a_binary_pdf(content: bytes) -> None:
    first, second = content.split(b"\n")[:2]
    assert first == b"%PDF-1.7"
    assert second[:1] == b"%"
    assert sum(byte > 127 for byte in second) >= 4


def test_the_same_record_gives_the_same_bytes_later(folder: Path) -> None:
    once = report_pdf(build_report([str(folder)]), faces())
    time.sleep(1.1)
    assert report_pdf(build_report([str(folder)]), faces()) == once


def test_times_in_the_file_are_the_records_own(content: bytes) -> None:
    dates = set(re.findall(rb"D:(\d{14})|CreateDate>([^<]+)<|ModifyDate>([^<]+)<", content))
    assert {next(filter(None, date)) for date in dates} == {b"20260304120000", b"2026-03-04T12:00:00+00:00"}


def test_nothing_is_off_the_paper(content: bytes) -> None:
    with pdfplumber.open(io.BytesIO(content)) as opened:
        for page in opened.pages:
            assert page.chars
            assert min(char["x0"] for char in page.chars) > 30
            assert max(char["x1"] for char in page.chars) < page.width - 30
            assert max(char["bottom"] for char in page.chars) < page.height - 20


def test_pages_say_the_verdict_first_and_their_number(content: bytes) -> None:
    opened = pypdfium2.PdfDocument(content)
    pages = [page.get_textpage().get_text_range() for page in opened]
    assert pages[0].index("RE-FIXTURE") < pages[0].index("largest gap")
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in text
        assert "releases nothing for welding" in text
    whole = "\n".join(pages)
    for word in ("Иванов", "J4 {nb}", "□□[2] RT-40", "U+6C34 U+69FD", "U+202E"):
        assert word in whole
    opened.close()


def test_pages_are_drawn_and_states_differ_in_grey(content: bytes) -> None:
    opened = pypdfium2.PdfDocument(content)
    for page in opened:
        grey = np.asarray(page.render(scale=0.5, grayscale=True).to_numpy())
        assert 0.002 < np.mean(grey < 128) < 0.6
    opened.close()
    patterns = ("band", "limit", "earlier", "within", "doubtful", "over", "unseen", "short land")
    shapes = [tuple(_shape(mark) for mark in swatch(pattern)) for pattern in patterns]
    assert len(set(shapes)) == len(patterns)


def _shape(mark: Stroke | Area) -> tuple[object, ...]:
    """A mark without its colour."""
    return (mark.places, mark.width_mm, mark.dash) if isinstance(mark, Stroke) else (mark.places,)


def test_inks_are_dark_enough(report: Report) -> None:
    assert contrast(FINE_PRINT, PAPER) >= 7
    assert contrast(INK, CAREFUL_GROUND) >= 7
    charts = [
        block
        for sheet in report.sheets
        for section in sheet.sections
        for block in section.blocks
        if isinstance(block, Chart)
    ]
    words = {mark.colour for chart in charts for mark in chart.marks if isinstance(mark, Words)}
    assert words
    assert min(contrast(colour, PAPER) for colour in words) >= 4.5
    for pattern in ("limit", "earlier", "within", "doubtful", "over", "unseen", "short land"):
        assert max(contrast(mark.colour, PAPER) for mark in swatch(pattern)) >= 3


def test_a_chart_holds_its_marks(report: Report) -> None:
    for sheet in report.sheets[1:]:
        chart = next(block for block in sheet.sections[0].blocks if isinstance(block, Chart))
        places = np.array([p for mark in chart.marks if not isinstance(mark, Words) for p in mark.places])
        assert np.isfinite(places).all()
        assert (places >= -1e-9).all()
        assert (places <= [chart.width_mm + 1e-9, chart.height_mm + 1e-9]).all()
        assert any(isinstance(mark, Words) and mark.text == "limit 0.90 mm" for mark in chart.marks)


# ------------------------------------------------------------------------------------------ fonts and files


def test_a_font_of_ones_own_adds_its_letters(folder: Path, tmp_path: Path) -> None:
    own = font_manager.findfont("STIXGeneral", fallback_to_default=False)
    more = faces(own).known - faces().known
    letter = chr(min(more))

    def rename(record: dict[str, Any]) -> None:
        record["filing"].update(joint=f"J{letter}")

    report = build_report([str(altered(folder, tmp_path / "copy", rename))])
    without, with_own = report_pdf(report, faces()), report_pdf(report, faces(own))
    assert _text(without).count("Letters shown as") == 1
    assert letter in _text(with_own)
    assert "Letters shown as" not in _text(with_own)
    with pikepdf.open(io.BytesIO(with_own)) as opened:
        assert archive_faults(opened) == []


def _text(content: bytes) -> str:
    opened = pypdfium2.PdfDocument(content)
    text = "\n".join(page.get_textpage().get_text_range() for page in opened)
    opened.close()
    return text


@pytest.mark.parametrize("spoil", [lambda b: b"", lambda b: b"no font", lambda b: b[:3000], lambda b: b[7:]])
def test_files_that_are_no_fonts_are_refused(tmp_path: Path, spoil: Callable[[bytes], bytes]) -> None:
    whole = Path(font_manager.findfont("STIXGeneral", fallback_to_default=False)).read_bytes()
    (tmp_path / "f.ttf").write_bytes(spoil(whole))
    with pytest.raises(UsageError, match="no font that can be embedded"):
        faces(str(tmp_path / "f.ttf"))
    with pytest.raises(UsageError, match="cannot be read"):
        faces(str(tmp_path / "none.ttf"))


def test_a_font_that_forbids_embedding_is_refused(tmp_path: Path) -> None:
    from fontTools.ttLib import TTFont

    font = TTFont(font_manager.findfont("STIXGeneral", fallback_to_default=False))
    font["OS/2"].fsType = 2
    font.save(tmp_path / "f.ttf")
    with pytest.raises(UsageError, match="does not allow embedding"):
        faces(str(tmp_path / "f.ttf"))


def test_papers_and_endings_that_there_are_not(report: Report, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="written as"):
        save_report(report, str(tmp_path / "report.txt"))
    with pytest.raises(UsageError, match="A4 or Letter"):
        save_report(report, str(tmp_path / "report.pdf"), paper="A3")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_the_earlier_report(
    report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fitup.evidence import writing

    target = tmp_path / "report.pdf"
    target.write_bytes(b"earlier")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing, "_write_through", full)
    with pytest.raises(StorageError, match="no space left"):
        save_report(report, str(target), html=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"report.pdf": b"earlier"}
