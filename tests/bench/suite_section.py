"""The benchmark's section `suite`: makes what is missing of the photos, measures all, prints and draws."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table

from tests.bench.suite import measure_suite
from tests.bench.suite_figures import suite_figures, suite_row
from tests.bench.suite_photos import build, plan, tidy
from tests.bench.suite_picture import draw_suite
from tests.bench.suite_scenes import demo_sources, hostile_sources, render_missing

__all__ = ["run_suite"]

# heading: (key of the row, format)
COLUMNS = {
    "factor": ("factor", "s"),
    "photos": ("photos", "d"),
    "re-\nfused": ("refused", "d"),
    "re-\ntakes": ("retakes", "d"),
    "stations": ("stations", "d"),
    "bias": ("bias_mm", "+.3f"),
    "rms": ("rms_mm", ".3f"),
    "u": ("mean_u_mm", ".3f"),
    "95%": ("coverage_95", ".3f"),
    "95% as\nrendered": ("coverage_as_rendered", ".3f"),
    "err/u\nmean": ("mean_err_over_u", "+.2f"),
    "err/u\nrms": ("rms_err_over_u", ".2f"),
    "open-\nings": ("openings", "d"),
    "missed": ("missed", "d"),
    "partly\nwithin": ("partly_within", "d"),
    "joint\nwithin": ("within_wrong", "d"),
    "false\nover": ("false_over", "d"),
    "seen": ("seen_share", ".3f"),
}


def run_suite(cache: Path, console: Console) -> dict[str, Any]:
    """Figures for bench.json; photos and the picture (`suite.png`) lie in the folder `cache`."""
    start = time.perf_counter()
    note = render_missing(cache / "linear")
    if note:
        console.print(note)
    photos = plan([*demo_sources(), *hostile_sources(cache / "linear")], cache / "photos")
    tidy(photos, cache / "photos")
    made = build(photos, tell=lambda scene: None)
    built = time.perf_counter()
    result = suite_figures(measure_suite(photos, tell=lambda name: None))
    checked = [photo for photo in photos if "print_check" in photo.truth.data]
    unchecked = measure_suite(checked, tell=lambda name: None, print_checks=False)
    result["prints_not_checked"] = [
        suite_row(f"print not checked: {scene}", [one for one in unchecked if one.scene == scene])
        for scene in sorted({one.scene for one in unchecked})
    ]
    print_suite(result, console)
    draw_suite(result, cache / "suite.png")
    console.print(
        f"{made} photos made in {built - start:.0f} s, {len(photos)} measured in "
        f"{time.perf_counter() - built:.0f} s; picture: {cache.name}/suite.png"
    )
    return result


def print_suite(result: dict[str, Any], console: Console) -> None:
    title = f"Coverage suite: {result['photos']} photos, {result['scenes']} scenes, gap less truth, mm"
    table = _table(title, [(heading, form == "s") for heading, (_, form) in COLUMNS.items()])
    beside = result["prints_not_checked"]
    for part in ([result["overall"], result["good"]], result["by_factor"], result["by_level"], beside):
        for row in part:
            table.add_row(*(_cell(row.get(key), form) for key, form in COLUMNS.values()))
        table.add_section()
    console.print(table)
    console.print(f"  retakes: {', '.join(f'{k} {n}' for k, n in result['retakes'].items()) or 'none'}")
    for line in result["unexpected"]:
        console.print(f"  not allowed by the truth: {line}")
    _print_rows("What the suite must show", result["targets"], console)
    _print_rows("Photos farthest outside what they state", result["worst_photos"], console)


def _print_rows(title: str, rows: list[dict[str, Any]], console: Console) -> None:
    table = _table(title, [(heading, k == 0) for k, heading in enumerate(rows[0] if rows else ())])
    for row in rows:
        table.add_row(*(str(value) for value in row.values()))
    console.print(table)


def _table(title: str, headings: list[tuple[str, bool]]) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE, padding=(0, 1, 0, 0))
    for heading, words in headings:
        table.add_column(heading, justify="left" if words else "right", no_wrap=True)
    return table


def _cell(value: Any, form: str) -> str:
    return "" if value is None else format(value, form)
