"""A study of recurring spots as one JSON object, for machines."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from fitup import __version__
from fitup.study.change import Change, ChangedPlace
from fitup.study.recurring import Recurring
from fitup.study.recurring_spots import FALSE_RATE, RecurringSpot

__all__ = ["recurring_summary"]


def recurring_summary(study: Recurring, about: dict[str, str]) -> dict[str, Any]:
    """All that was found; what is not known is null.

    Parameters
    ----------
    about : what the study is of: archive, part, joint, ...
    """
    parts, gaps = study.parts, study.largest.gap_mm[study.largest.counts]
    data = {
        "kind": "recurring",
        "program": f"fitup {__version__}",
        "about": about,
        "parts": len(parts),
        "first_day": str(parts.day[0]),
        "last_day": str(parts.day[-1]),
        "left_out": parts.left_out,
        "without_serial": parts.without_serial,
        "limit_mm": study.limit_mm,
        "other_limits_mm": list(study.other_limits_mm),
        "false_rate": FALSE_RATE,
        "open_share": study.open_share,
        "median_largest_gap_mm": float(np.median(gaps)) if len(gaps) else math.nan,
        "spots": [_spot(spot) for spot in study.spots],
        "spots_before": [_spot(spot) for spot in study.former],
        "change": None if study.change is None else _change(study.change),
        "changes_found": [asdict(one) for one in study.found],
        "chart": [
            {
                "parts": len(phase.rows),
                "centre_mm": phase.chart.centre_mm,
                "lower_mm": phase.chart.lower_mm,
                "upper_mm": phase.chart.upper_mm,
                "beyond": parts.number[phase.rows[phase.chart.beyond]].tolist(),
                "in_a_row": parts.number[phase.rows[phase.chart.in_a_row]].tolist(),
            }
            for phase in study.phases
        ],
    }
    known: dict[str, Any] = _without_nan(data)
    return known


def _spot(spot: RecurringSpot) -> dict[str, Any]:
    return {**asdict(spot), "share": spot.share}


def _change(change: Change) -> dict[str, Any]:
    return {**asdict(change), "word": change.word, "places": [_place(place) for place in change.places]}


def _place(place: ChangedPlace) -> dict[str, Any]:
    return {**asdict(place), "better": place.better}


def _without_nan(value: Any) -> Any:
    """JSON has no word for what is not a number."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {name: _without_nan(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(one) for one in value]
    return value
