"""Benchmark: `make bench`. Prints tables and writes bench.json, section by section.

A section that is not run keeps what bench.json already holds, so that later parts can add their own.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table

from tests.bench.accuracy import Outcome, figures, measure_all, photo_row, worst_stations
from tests.bench.archive import archive_figures
from tests.bench.bound_ratio import bound_ratios
from tests.bench.kinds import kind_figures, kind_row, kind_truths, measure_kinds
from tests.bench.phone import phone_figures
from tests.bench.remeasuring import remeasuring_figures
from tests.bench.seam import seam_figures, seam_truths
from tests.bench.speed import (
    cold_import_s,
    help_over_import,
    kinds_over_decode,
    peak_mb,
    verdict_over_decode,
)
from tests.bench.study import run_study
from tests.bench.study_archive import learning_figures
from tests.bench.suite_section import run_suite
from tests.bench.truth import Truth, load_truths

ROOT = Path(__file__).resolve().parents[2]
TIMED_PHOTOS = 3
TABLE_WIDTH = 180
SECTIONS = ("accuracy", "kinds", "suite", "speed", "archive", "phone", "study", "learning")


def main(arguments: list[str] | None = None) -> int:
    options = _options(arguments)
    console = Console()
    if console.width < TABLE_WIDTH:  # a cut table says less than a wrapped one
        console = Console(width=TABLE_WIDTH)
    truths = load_truths(options.photos)
    if not truths:
        console.print(f"No photos with truth in {options.photos}: run `make render` first.")
        return 2
    report = json.loads(options.out.read_text()) if options.out.exists() else {}
    report["machine"] = _machine()
    makers: dict[str, Callable[[], Any]] = {
        "accuracy": lambda: _accuracy(truths, console),
        "kinds": lambda: _kinds(options.photos, console),
        "suite": lambda: run_suite(options.cache, console),
        "speed": lambda: _speed(truths, kind_truths(options.photos / "kinds"), console),
        "archive": lambda: _archive(options, truths, console),
        "phone": lambda: _phone(console),
        "study": lambda: run_study(options.study, console),
        "learning": lambda: _learning(options.entries, console),
    }
    for name in SECTIONS:
        if name in options.sections:
            report[name] = makers[name]()
    partial = options.out.with_name(options.out.name + ".part")
    partial.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    partial.replace(options.out)
    console.print(f"Written: {options.out.name}")
    return 0


def _options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--photos", type=Path, default=ROOT / "demo_images", help="folder with truth files")
    parser.add_argument("--out", type=Path, default=ROOT / "bench.json")
    parser.add_argument("--cache", type=Path, default=ROOT / "out" / "suite", help="of the suite's photos")
    parser.add_argument("--study", type=Path, default=ROOT / "out" / "study", help="the gauge study's photos")
    parser.add_argument("--entries", type=int, default=100_000, help="that are searched in the archive")
    parser.add_argument("--filed", type=int, default=2000, help="that are added and verified with files")
    parser.add_argument("--kills", type=int, default=1000, help="of programs that add to an archive")
    parser.add_argument("--sections", nargs="+", choices=SECTIONS, default=list(SECTIONS))
    return parser.parse_args(arguments)


def _machine() -> dict[str, Any]:
    return {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "opencv": cv2.__version__,
        "cores": os.cpu_count(),
    }


def _learning(entries: int, console: Console) -> dict[str, Any]:
    figures = learning_figures(entries)
    console.print_json(json.dumps(figures))
    return figures


# ----------------------------------------------------------------------------------------------- accuracy


def _accuracy(truths: list[Truth], console: Console) -> dict[str, Any]:
    outcomes = measure_all(truths, tell=lambda name: None)
    bound = bound_ratios()
    result = figures(outcomes) | {"bound": bound, "bound_ratio": bound["bound_ratio"]}
    result["by_photo"] = [photo_row(outcome) for outcome in outcomes]
    result["worst_stations"] = worst_stations(outcomes)
    _print_photos(outcomes, console)
    _print_worst(result["worst_stations"], console)
    _print_figures(result, console)
    return result


# heading: (key of the row, format)
PHOTO_COLUMNS = {
    "photo": ("photo", "s"),
    "px/mm": ("px_per_mm", ".1f"),
    "bias": ("bias_mm", "+.3f"),
    "rms": ("rms_mm", ".3f"),
    "p95": ("p95_mm", ".3f"),
    "max": ("max_mm", ".3f"),
    "u": ("mean_u_mm", ".3f"),
    "95%": ("coverage_95", ".3f"),
    "seen": ("seen_share", ".3f"),
    "false\nseen": ("false_seen", "d"),
    "open-\nings": ("openings", "d"),
    "missed": ("missed_openings", "d"),
    "false\nover": ("false_over_spots", "d"),
    "verdict": ("verdict", "s"),
    "script\nrms": ("script_rms_mm", ".3f"),
    "script\nmissed": ("script_missed_openings", "d"),
    "s off": ("station_off_mm", ".2f"),
    "largest influence": ("largest_influence", "s"),
}


def _print_photos(outcomes: list[Outcome], console: Console) -> None:
    table = Table(title="Gap less truth, mm", title_justify="left", box=box.SIMPLE, padding=(0, 1, 0, 0))
    for heading, (_, form) in PHOTO_COLUMNS.items():
        table.add_column(heading, justify="left" if form == "s" else "right", no_wrap=True)
    for outcome in outcomes:
        row = photo_row(outcome)
        if outcome.as_expected is False:
            row["verdict"] += f" (not {row['expected']})"
        table.add_row(*(_cell(row.get(key), form) for key, form in PHOTO_COLUMNS.values()))
    console.print(table)
    for outcome in outcomes:
        if outcome.score is None:
            console.print(f"  {outcome.truth.name}: {outcome.said}")


def _print_worst(rows: list[dict[str, Any]], console: Console) -> None:
    table = Table(title="Farthest outside what they state", title_justify="left", box=box.SIMPLE)
    for heading in rows[0] if rows else ():
        table.add_column(heading, justify="left" if heading == "photo" else "right")
    for row in rows:
        table.add_row(*(_text(value) for value in row.values()))
    console.print(table)


def _cell(value: Any, form: str) -> str:
    return "" if value is None else format(value, form)


def _print_figures(result: dict[str, Any], console: Console) -> None:
    table = _two_columns("Accuracy over all photos")
    for key, value in result.items():
        if isinstance(value, dict):
            for inner, number in value.items():
                if not isinstance(number, list):
                    table.add_row(f"{key}: {inner}", _text(number))
        elif not isinstance(value, list):
            table.add_row(key, _text(value))
    console.print(table)


# -------------------------------------------------------------------------------------------------- kinds


def _kinds(photos: Path, console: Console) -> dict[str, Any]:
    outcomes = measure_kinds(kind_truths(photos / "kinds"))
    rows = kind_figures(outcomes, drawn=True)
    by_photo = [kind_row(outcome) for outcome in outcomes]
    seam = seam_figures(seam_truths(photos / "seam_900"))
    _print_rows("Joint kinds, gap less truth, mm", rows, console)
    _print_rows("Photo by photo", by_photo, console)
    for outcome in outcomes:
        if outcome.score is None:
            console.print(f"  {outcome.truth.name}: {outcome.said}")
    table = _two_columns("Long joint in several photos")
    for key, value in seam.items():
        if not isinstance(value, dict | list):
            table.add_row(key, _text(value))
    console.print(table)
    return {"by_kind": rows, "by_photo": by_photo, "seam": seam}


def _print_rows(title: str, rows: list[dict[str, Any]], console: Console) -> None:
    table = Table(title=title, title_justify="left", box=box.SIMPLE, padding=(0, 1, 0, 0))
    headings = list(dict.fromkeys(key for row in rows for key in row))
    for heading in headings:
        table.add_column(heading.replace("_", "\n", 1))
    for row in rows:
        table.add_row(*(_text(row.get(heading)) for heading in headings))
    console.print(table)


# -------------------------------------------------------------------------------------------------- speed


def _speed(truths: list[Truth], kinds: list[Truth], console: Console) -> dict[str, Any]:
    timed = _spread(truths, TIMED_PHOTOS)
    result: dict[str, Any] = verdict_over_decode(timed)
    result["kinds_over_grey_decode"] = kinds_over_decode(kinds)
    result |= peak_mb(timed[0]) | help_over_import() | cold_import_s(timed[0])
    table = _two_columns("Time and memory")
    for key, value in result.items():
        if isinstance(value, dict):
            for stage, ratio in value.items():
                table.add_row(f"  {stage} over grey decode", _text(ratio))
        elif not isinstance(value, list):
            table.add_row(key, _text(value))
    console.print(table)
    return result


# -------------------------------------------------------------------------------------------------- phone


def _phone(console: Console) -> dict[str, Any]:
    result = phone_figures()
    table = _two_columns("Phone page")
    for key, value in result.items():
        table.add_row(key, _text(value))
    console.print(table)
    return result


# ------------------------------------------------------------------------------------------------ archive


def _archive(options: argparse.Namespace, truths: list[Truth], console: Console) -> dict[str, Any]:
    result = archive_figures(options.entries, options.filed, options.kills)
    with tempfile.TemporaryDirectory(prefix="fitup-bench-") as folder:
        result |= remeasuring_figures(Path(folder), truths)
    table = _two_columns("Archive")
    for key, value in result.items():
        for name, inner in value.items() if isinstance(value, dict) else ((key, value),):
            table.add_row(name if name == key else f"  {key}: {name}", _text(inner))
    console.print(table)
    return result


def _spread(truths: list[Truth], count: int) -> list[Truth]:
    """Some photos from the whole row, of those whose verdict is no refusal."""
    fit = [t for t in truths if t.data.get("expected_verdict") != "retake"] or truths
    picked = np.unique(np.linspace(0, len(fit) - 1, count).round().astype(int))
    return [fit[k] for k in picked]


def _two_columns(title: str) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE)
    table.add_column("figure")
    table.add_column("value", justify="right")
    return table


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.4g}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    sys.exit(main())
