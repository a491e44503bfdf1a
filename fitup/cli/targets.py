"""`fitup target`: draw the printed target, keep the check of a print."""

from __future__ import annotations

import math
import secrets
from dataclasses import dataclass
from pathlib import Path

from fitup.errors import UsageError

__all__ = ["Readings", "check", "draw"]

_TARGET_SUFFIXES = (".pdf", ".svg", ".png")
_PAPERS = ("A4", "Letter")


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Caliper readings of one print, as written."""

    along: str
    across: str
    instrument: str
    u: str
    drawn_along: str = ""
    drawn_across: str = ""
    thickness: str = ""
    u_thickness: str = ""
    number: str = ""
    date: str = ""
    strip: str = ""


def draw(*, form: str, strip: int, paper: str, out: str) -> int:
    """Draw the sheet of one form into a file; the suffix says which kind."""
    from fitup.cli.screen import print_line
    from fitup.scale.drawing import draw_form
    from fitup.scale.forms import form_layouts

    path = _sound_path(out, _TARGET_SUFFIXES)
    if paper.lower() not in {name.lower() for name in _PAPERS}:
        raise UsageError(f"There is no paper {paper[:40]!r}: give A4 or Letter.")
    paper = next(name for name in _PAPERS if name.lower() == paper.lower())
    numbers = [str(layout.strip_number) for layout in form_layouts(form, strip)]
    draw_form(form, strip, path, paper=paper)
    named = f"number {numbers[0]}" if len(numbers) == 1 else f"numbers {' and '.join(numbers)}"
    then = (
        "keep it whole and glue it flat" if form == "lens-board" else "then fitup target check before cutting"
    )
    print_line(f"{path}: {form} {named} on {paper}; print at 100 %, {then}.")
    return 0


def check(readings: Readings, out: str) -> int:
    """Store one print check."""
    from datetime import date

    from fitup.cli.screen import print_line
    from fitup.scale import PrintRecord, save_print_record
    from fitup.scale.print_check import CROSS_DISTANCE_MM
    from fitup.verdict import parse_length

    path = _sound_path(out, (".json",))
    day = readings.date or date.today().isoformat()
    u_mm = parse_length(readings.u, "the caliper's uncertainty")

    def drawn(text: str, word: str) -> float:
        return parse_length(text, f"the drawn distance {word}") if text else CROSS_DISTANCE_MM

    thickness_mm, u_thickness_mm = _thickness(readings, u_mm)
    record = PrintRecord(
        number=readings.number or _fresh_number(day),
        date=day,
        instrument=readings.instrument,
        u_instrument_mm=u_mm,
        along_mm=parse_length(readings.along, "the reading along"),
        across_mm=parse_length(readings.across, "the reading across"),
        nominal_along_mm=drawn(readings.drawn_along, "along"),
        nominal_across_mm=drawn(readings.drawn_across, "across"),
        strip=readings.strip,
        thickness_mm=thickness_mm,
        u_thickness_mm=u_thickness_mm,
    )
    save_print_record(record, path)
    thick = "" if thickness_mm is None else f" and {thickness_mm:g} mm thick from plate to print"
    print_line(
        f"{path}: print check {record.number}; the print is {_percent(record.along_factor)} along and "
        f"{_percent(record.across_factor)} across{thick}. Use it with --print-record."
    )
    return 0


def _thickness(readings: Readings, u_caliper_mm: float) -> tuple[float | None, float | None]:
    """Thickness from plate to print and its standard uncertainty [mm]; None where it is plain paper."""
    from fitup.scale.print_check import U_SEAT_MM
    from fitup.verdict import parse_length

    if not readings.thickness:
        if readings.u_thickness:
            raise UsageError("--u-thickness belongs to a thickness: give --thickness too.")
        return None, None
    thickness_mm = parse_length(readings.thickness, "the thickness")
    if readings.u_thickness:
        return thickness_mm, parse_length(readings.u_thickness, "the thickness' uncertainty")
    return thickness_mm, min(round(math.hypot(u_caliper_mm, U_SEAT_MM), 4), thickness_mm)


def _fresh_number(day: str) -> str:
    """A number that no other check has, also of the same day and the same readings."""
    return f"P-{day}-{secrets.token_hex(3)}"


def _percent(factor: float) -> str:
    return f"{100 * abs(factor - 1):.2f} % {'too long' if factor >= 1 else 'too short'}"


def _sound_path(out: str, suffixes: tuple[str, ...]) -> Path:
    path = Path(out)
    if path.suffix.lower() not in suffixes or "\0" in out:
        raise UsageError(f"--out needs a file that ends in {' or '.join(suffixes)}, not {path.name[:60]!r}.")
    return path
