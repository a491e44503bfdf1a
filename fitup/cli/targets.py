"""`fitup target`: draw the printed target, keep the check of a print."""

from __future__ import annotations

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
    number: str = ""
    date: str = ""
    strip: str = ""


def draw(*, form: str, strip: int, paper: str, out: str) -> int:
    """Draw one target into a file; the suffix says which kind."""
    from fitup.cli.screen import print_line
    from fitup.scale import target_layout
    from fitup.scale.drawing import draw_target

    path = _sound_path(out, _TARGET_SUFFIXES)
    if paper.lower() not in {name.lower() for name in _PAPERS}:
        raise UsageError(f"There is no paper {paper[:40]!r}: give A4 or Letter.")
    paper = next(name for name in _PAPERS if name.lower() == paper.lower())
    draw_target(target_layout(strip, form), path, paper=paper)
    print_line(f"{path}: {form} number {strip} on {paper}; print at 100 %, then fitup target check.")
    return 0


def check(readings: Readings, out: str) -> int:
    """Store one print check."""
    from datetime import date

    from fitup.cli.screen import print_line
    from fitup.scale import PrintRecord, save_print_record
    from fitup.verdict import parse_length

    path = _sound_path(out, (".json",))
    day = readings.date or date.today().isoformat()
    record = PrintRecord(
        number=readings.number or f"P-{day}",
        date=day,
        instrument=readings.instrument,
        u_instrument_mm=parse_length(readings.u, "the caliper's uncertainty"),
        along_mm=parse_length(readings.along, "the reading along"),
        across_mm=parse_length(readings.across, "the reading across"),
        strip=readings.strip,
    )
    save_print_record(record, path)
    print_line(
        f"{path}: print check {record.number}; the print is {_percent(record.along_factor)} along and "
        f"{_percent(record.across_factor)} across. Use it with --print-record."
    )
    return 0


def _percent(factor: float) -> str:
    return f"{100 * abs(factor - 1):.2f} % {'too long' if factor >= 1 else 'too short'}"


def _sound_path(out: str, suffixes: tuple[str, ...]) -> Path:
    path = Path(out)
    if path.suffix.lower() not in suffixes or "\0" in out:
        raise UsageError(f"--out needs a file that ends in {' or '.join(suffixes)}, not {path.name[:60]!r}.")
    return path
