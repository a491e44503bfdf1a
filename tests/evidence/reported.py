"""Folders of results for the tests of reports: made up, altered at will."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from fitup.evidence.report.model import Badge, Facts, Lines, Report, Table, Verdict
from fitup.evidence.saving import save_inspection
from tests.evidence.builders import NOON, make_filing, make_inspection

__all__ = ["altered", "as_seam", "as_sides", "made_up", "texts"]


def made_up(out: Path, *, name: str = "bench_03.png", minutes: int = 0, **filed: str) -> Path:
    """A folder of results with every state and kind of spot, filed some minutes after noon."""
    later = NOON + timedelta(minutes=minutes)
    filing = replace(make_filing(), clock=lambda: later, **filed)
    return save_inspection(make_inspection(name=name), out, filing=filing).folder


def altered(folder: Path, to: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    """A copy of a folder whose record was changed."""
    shutil.copytree(folder, to)
    record = json.loads((to / "record.json").read_text(encoding="utf-8"))
    change(record)
    (to / "record.json").write_text(json.dumps(record, ensure_ascii=False), encoding="utf-8")
    return to


def as_seam(record: dict[str, Any]) -> None:
    """Turn the record of one photo into that of a joint of two, both of them that photo."""
    both = _taken_apart(record, "seam")
    for k, one in enumerate(both):
        one.update(strips=[k + 1], start_mm=100.0 * k, end_mm=100.0 * k + 110)
    for station in record["profile"]["stations"]:
        station.update(strip_number=1, on_strip_mm=station["station_mm"], u_station_mm=0.1, photos=[0, 1])
    for spot in record["verdict"]["spots"]:
        spot.update(start_strip=1, start_on_strip_mm=spot["start_mm"], end_strip=2, photos=[0])
        spot.update(end_on_strip_mm=spot["end_mm"])
    strips = [
        {"strip_number": k, "place_mm": 230.0 * (k - 1), "u_place_mm": 0.1 * (k - 1), "touches_next": k == 1}
        for k in (1, 2)
    ]
    overlap = {"first": 0, "second": 1, "start_mm": 100.0, "end_mm": 110.0, "stations": 20}
    overlap |= {"mean_difference_mm": 0.004, "u_mean_difference_mm": 0.01, "chi_square": 3.2}
    record.update(
        named_strips=None,
        chain={"form": "strip-30x5", "paper_pitch_mm": 230.0, "strips": strips, "links": []},
        overlaps=[{**overlap, "degrees_of_freedom": 4}],
        faults=[
            {"name": "blurred.jpg", "strips": [2], "reason": "no joint", "error": "the joint was not found"}
        ],
        holes=[{"start_mm": 210.0, "end_mm": 220.0, "advice": "photograph strip 2", "meant": []}],
    )


def as_sides(record: dict[str, Any]) -> None:
    """Turn the record of one photo into that of a joint from both sides."""
    both = _taken_apart(record, "sides")
    for one, side, view in zip(both, ("the strip's side", "beyond the joint"), (-15.0, 14.0), strict=True):
        one.update(camera_side=side, view_deg=view, budget=record["profile"]["budget"])
    for station in record["profile"]["stations"]:
        station.update(apparent_gap_mm=[0.3, 0.5], u_apparent_gap_mm=[0.02, 0.02], view_tangent=[-0.27, 0.25])
        station.update(step_mm=0.2, u_step_mm=0.03)
    step = {"median_mm": 0.2, "u_median_mm": 0.03, "largest_mm": 0.25, "u_largest_mm": 0.04}
    record.update(step={**step, "largest_at_mm": 12.0}, not_measurable=None, judged=None)


def _taken_apart(record: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    """What belongs to each photo moves into a list of two."""
    scale = record["scale"]
    record.update(kind=kind, schema_version=2, notes=["told of several photos"])
    record.update(print_check=scale["print_check"], print_check_sentence=scale["print_check_sentence"])
    parts = {name: record.pop(name) for name in ("photo", "scale", "joint", "camera_response")}
    for name in ("shape", "quality"):
        record.pop(name)
    record["photos"] = [json.loads(json.dumps(parts)) for _ in range(2)]
    for k, one in enumerate(record["photos"]):
        one["photo"].update(name=f"photo {k + 1}.jpg", sha256=64 * str(k))
    photos: list[dict[str, Any]] = record["photos"]
    return photos


def texts(report: Report) -> Iterator[str]:
    """All that a report says in words."""
    for sheet in report.sheets:
        yield from (sheet.title, sheet.beside)
        for section in sheet.sections:
            yield section.title
            for block in section.blocks:
                if isinstance(block, Verdict):
                    yield from (block.word, block.sentence, block.advice, *block.careful, block.care)
                    yield from (text for pair in block.figures for text in pair)
                elif isinstance(block, Facts):
                    yield from (text for pair in block.rows for text in pair)
                elif isinstance(block, Table):
                    yield from block.heads
                    for row in block.rows:
                        yield from (cell.word if isinstance(cell, Badge) else cell for cell in row)
                elif isinstance(block, Lines):
                    yield from block.texts
