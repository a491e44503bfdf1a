"""Make the pictures of the README anew from a demo photo: `python docs/make_pictures.py`.

`result.jpg` is the product's own overlay picture, made smaller; `terminal.png` is what the command prints,
with its colours; `report.jpg` is the first page of the report. `recurring.png` and `outcomes.png` are those
of the archive that `tests/study/invented_archive.py` invents; `gauge-study.png` is the page of the example
readings in `calibration/`. `placing.svg` is drawn by hand.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import matplotlib
import pypdfium2
from PIL import Image, ImageDraw, ImageFont
from rich.console import Console
from rich.style import Style
from rich.text import Text

DOCS = Path(__file__).parent
ROOT = DOCS.parent
PHOTO = "demo_images/02_one_opening.jpg"
SHOWN = ("fitup", "inspect", PHOTO, "--wire", "0.9mm", "--sheet", "1.5mm")
COLUMNS = 88
RESULT_WIDTH_PX = 1200
REPORT_SCALE = 1.55
JPEG_QUALITY = 84
PAGE_SCALE, PAGE_SHARE = 1.35, 0.885
FONT_PX = 20
CHANGED = "2026-04-26"
GROUND, INK = "#1e1e1e", "#e6e6e6"
DIM = 0.6  # share of the ink's lightness that dim letters keep


def main() -> None:
    """Inspect the photo in a folder of its own and keep pictures of what came out."""
    with tempfile.TemporaryDirectory() as folder:
        arguments = [sys.executable, "-m", *SHOWN, "--out", folder]
        surroundings = os.environ | {"FORCE_COLOR": "1", "COLORTERM": "truecolor", "COLUMNS": str(COLUMNS)}
        surroundings |= {"PYTHONIOENCODING": "utf-8"}
        run = subprocess.run(
            arguments, cwd=ROOT, env=surroundings, capture_output=True, encoding="utf-8", check=False
        )
        if not run.stdout:
            sys.exit(run.stderr)
        _smaller(Path(folder) / Path(PHOTO).stem / "overlay.jpg", DOCS / "result.jpg")
        _first_page(folder, DOCS / "report.jpg")
        said = run.stdout.replace(folder, "fitup-results")
    _draw(f"$ {' '.join(SHOWN)}\n" + said, DOCS / "terminal.png")
    _studies()
    _gauge_page(DOCS / "gauge-study.png")


def _studies() -> None:
    """The pictures of both studies of an archive."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        archive = ("--archive", str(folder / "archive"), "--out", str(folder))
        joint = ("--part", "rinse tank", "--joint", "J4", "--changed", CHANGED)
        for words in (
            ("tests.study.invented_archive", str(folder / "archive")),
            ("fitup", "study", "recurring", *joint, *archive),
            ("fitup", "study", "outcomes", *archive),
        ):
            surroundings = os.environ | {"XDG_CACHE_HOME": name}
            subprocess.run([sys.executable, "-m", *words], cwd=ROOT, env=surroundings, check=True)
        for found in (*folder.glob("*/recurring.png"), *folder.glob("outcomes/*.png")):
            with Image.open(found) as picture:
                height = round(picture.height * RESULT_WIDTH_PX / picture.width)
                small = picture.convert("RGB").resize((RESULT_WIDTH_PX, height), Image.Resampling.LANCZOS)
                target = DOCS / f"{found.stem.partition('-')[0]}.png"
                few = small.quantize(240, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
                few.save(target, optimize=True)


def _gauge_page(target: Path) -> None:
    """The page of a gauge study, without its empty foot."""
    with tempfile.TemporaryDirectory() as folder:
        page = str(Path(folder) / "study.pdf")
        asked = ("calibration/gauge-readings-example.csv", "--limit", "0.9mm", "--who", "Petra Lund")
        words = ("fitup", "study", "gauge", *asked, "--out", page)
        subprocess.run([sys.executable, "-m", *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        document = pypdfium2.PdfDocument(page)
        shown = document[0].render(scale=PAGE_SCALE).to_pil().convert("RGB")
        document.close()
    shown = shown.crop((0, 0, shown.width, round(PAGE_SHARE * shown.height)))
    few = shown.quantize(64, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(target, optimize=True)


def _first_page(folder: str, target: Path) -> None:
    report = str(Path(folder) / "report.pdf")
    subprocess.run([sys.executable, "-m", "fitup", "report", folder, "--out", report], cwd=ROOT, check=True)
    document = pypdfium2.PdfDocument(report)
    document[0].render(scale=REPORT_SCALE).to_pil().save(target, quality=JPEG_QUALITY, optimize=True)
    document.close()


def _smaller(source: Path, target: Path) -> None:
    with Image.open(source) as picture:
        height = round(picture.height * RESULT_WIDTH_PX / picture.width)
        small = picture.resize((RESULT_WIDTH_PX, height), Image.Resampling.LANCZOS)
        small.save(target, quality=JPEG_QUALITY, optimize=True)


def _draw(ansi: str, target: Path) -> None:
    """Letters on a grid, so that block characters join as they do in a terminal."""
    fonts = {bold: ImageFont.truetype(_font_file(bold), FONT_PX) for bold in (False, True)}
    left, top, _, bottom = fonts[False].getbbox("█")
    step, height = round(fonts[False].getlength("█")), round(bottom - top)
    lines = [Text.from_ansi(line) for line in ansi.rstrip("\n").split("\n")]
    picture = Image.new("RGB", (step * (COLUMNS + 2), height * (len(lines) + 1)), GROUND)
    pen = ImageDraw.Draw(picture)
    console = Console(width=COLUMNS, color_system="truecolor")
    for row, line in enumerate(lines):
        column = 0
        for segment in line.render(console):
            ink, ground, bold = _look(segment.style or Style())
            for letter in segment.text.rstrip("\n"):
                x, y = step * (column + 1), height * row + height // 2
                if ground != GROUND:
                    pen.rectangle((x, y, x + step, y + height - 1), fill=ground)
                pen.text((x - left, y - top), letter, font=fonts[bold], fill=ink)
                column += 1
    picture.quantize(32).save(target, optimize=True)


def _look(style: Style) -> tuple[str, str, bool]:
    ink = style.color.get_truecolor().hex if style.color and not style.color.is_default else INK
    ground = style.bgcolor.get_truecolor().hex if style.bgcolor and not style.bgcolor.is_default else GROUND
    if style.reverse:
        ink, ground = ground, ink
    if style.dim:
        ink = "#" + "".join(f"{int(int(ink[k : k + 2], 16) * DIM):02x}" for k in (1, 3, 5))
    return ink, ground, bool(style.bold)


def _font_file(bold: bool) -> str:
    name = "DejaVuSansMono-Bold.ttf" if bold else "DejaVuSansMono.ttf"
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name)


if __name__ == "__main__":
    main()
