"""A study of recurring spots as tables for QC (RFC 4180): by position along the joint, and by part."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

import numpy as np

from fitup.evidence.archive.profile_rows import spreadsheet_text
from fitup.study.recurring import Recurring
from fitup.study.recurring_shares import clopper_pearson
from fitup.study.recurring_spots import RecurringSpot

__all__ = ["PART_COLUMNS", "POSITION_COLUMNS", "parts_csv", "positions_csv"]

POSITION_COLUMNS = (
    "position_mm",
    "parts_seen",
    "parts_open",
    "parts_doubtful",
    "share_open",
    "share_low",
    "share_high",
    "median_mm",
    "quarter_below_mm",
    "quarter_above_mm",
    "spread_mm",
    "recurs",
)
"""Shares with their 95 % interval; `spread_mm` is a robust standard deviation."""
PART_COLUMNS = ("entry", "day", "serial", "largest_gap_mm", "at_mm", "seen_share", "chart")
"""`chart` is beyond, in a row, or too little seen."""


def positions_csv(study: Recurring) -> bytes:
    """A row a position; UTF-8, rows ended by CR LF; an empty field where nothing was seen."""
    shown = study.map
    low, high = clopper_pearson(shown.open, shown.seen)
    share = shown.open / np.maximum(shown.seen, 1)
    recurs = _in_spots(shown.position_mm, study.spots)
    rows = []
    for index, position_mm in enumerate(shown.position_mm):
        nothing = not shown.seen[index]
        shares = [math.nan] * 3 if nothing else [share[index], low[index], high[index]]
        gaps = (shown.median_mm, shown.low_mm, shown.high_mm, shown.spread_mm)
        rows.append(
            [
                _field(position_mm, 1),
                *(str(count[index]) for count in (shown.seen, shown.open, shown.doubtful)),
                *(_field(value, 4) for value in shares),
                *(_field(values[index], 4) for values in gaps),
                "yes" if recurs[index] else "",
            ]
        )
    return _csv(POSITION_COLUMNS, rows)


def parts_csv(study: Recurring) -> bytes:
    """A row a part, in the order of time; with a byte order mark, as serial numbers may have any letters."""
    parts, largest = study.parts, study.largest
    word = np.where(largest.counts, "", "too little seen").astype(object)
    for phase in study.phases:
        word[phase.rows[phase.chart.in_a_row]] = "in a row"
        word[phase.rows[phase.chart.beyond]] = "beyond"
    days = parts.day.astype(str)
    rows = (
        [
            str(parts.number[index]),
            days[index],
            spreadsheet_text(parts.serial[index]),
            _field(largest.gap_mm[index], 4),
            _field(largest.at_mm[index], 1),
            _field(largest.seen_share[index], 4),
            word[index],
        ]
        for index in range(len(parts))
    )
    return b"\xef\xbb\xbf" + _csv(PART_COLUMNS, rows)


def _in_spots(position_mm: np.ndarray, spots: Sequence[RecurringSpot]) -> np.ndarray:
    found = np.zeros(len(position_mm), dtype=bool)
    for spot in spots:
        found |= (position_mm >= spot.start_mm) & (position_mm <= spot.end_mm)
    return found


def _field(value: float, digits: int) -> str:
    return f"{round(float(value), digits) + 0.0:.{digits}f}" if math.isfinite(value) else ""


def _csv(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")
