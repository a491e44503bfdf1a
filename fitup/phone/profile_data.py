"""What a phone draws a result from: gaps, states and places in the photo, as short lists.

Lengths are in mm, places in the photo in px of the upright photo, `null` where nothing was seen. One letter a
station tells its state.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.judged_record import AnyRecord, judged_joint
from fitup.evidence.record import InspectionRecord
from fitup.phone.result_view import result_view
from fitup.verdict.settled import SettledVerdict

__all__ = ["profile_data"]

Array64 = NDArray[np.float64]

_LETTERS = {"within": "w", "over": "o", "doubtful": "d", "unseen": "u"}


def profile_data(record: AnyRecord, settled: SettledVerdict | None = None) -> dict[str, Any]:
    """The data of `profile.json`; with `settled`, states and spots are those after the feeler readings."""
    joint, view = judged_joint(record), result_view(record, settled)
    states = settled.stations.states if settled else joint.states
    photo = _photo(record) if isinstance(record, InspectionRecord) else None
    return {
        "word": view.word,
        "limit_mm": joint.limit_mm,
        "step_mm": joint.step_mm,
        "start_mm": _rounded(float(joint.cell_start_mm[0]), 3),
        "end_mm": _rounded(float(joint.cell_end_mm[-1]), 3),
        "at": [_rounded(value, 3) for value in joint.station_mm],
        "gap": [_rounded(value, 4) for value in joint.gap_mm],
        "u": [_rounded(value, 4) for value in joint.u_gap_mm],
        "state": "".join(_LETTERS[str(state)] for state in states),
        "photo": photo,
        "spots": [
            {
                "number": spot.number,
                "state": spot.state,
                "start": _rounded(spot.start_mm, 3),
                "end": _rounded(spot.end_mm, 3),
            }
            for spot in view.spots
        ],
    }


def _photo(record: InspectionRecord) -> dict[str, Any]:
    middles, halves = _along_the_joint(record)
    return {
        "width": record.photo.width_px,
        "height": record.photo.height_px,
        "px_per_mm": round(record.scale.sampling_at_joint_px_per_mm, 3),
        "line": [[round(u, 1), round(v, 1)] for u, v in middles.tolist()],
        "across": [[round(u, 2), round(v, 2)] for u, v in halves.tolist()],
    }


def _along_the_joint(record: InspectionRecord) -> tuple[Array64, Array64]:
    """(N, 2) middle of the gap and (N, 2) way from there to the near arris at all stations [px].

    Between and beside those that were seen, places are interpolated: they say where to look, no more.
    """
    stations = record.profile.stations
    at = np.array([one.station_mm for one in stations])
    near = np.array([one.near_px or (np.nan, np.nan) for one in stations], dtype=float)
    far = np.array([one.far_px or (np.nan, np.nan) for one in stations], dtype=float)
    seen = np.isfinite(near).all(axis=1) & np.isfinite(far).all(axis=1)
    if np.count_nonzero(seen) < 2:
        return _given_line(record, len(at)), np.zeros((len(at), 2))
    middles = _filled(at, (near + far) / 2, seen)
    halves = np.stack([np.interp(at, at[seen], (near - far)[seen, k] / 2) for k in (0, 1)], axis=1)
    return middles, halves


def _filled(at: Array64, places: Array64, seen: NDArray[np.bool_]) -> Array64:
    """Places at all stations; before the first and behind the last one seen, straight on."""
    inside = (at >= at[seen][0]) & (at <= at[seen][-1])
    filled = np.empty_like(places)
    for k in (0, 1):
        slope, offset = np.polyfit(at[seen], places[seen, k], 1)
        filled[:, k] = np.where(inside, np.interp(at, at[seen], places[seen, k]), slope * at + offset)
    return filled


def _given_line(record: InspectionRecord, count: int) -> Array64:
    """The line that was searched along, in equal parts: all there is where no gap was seen."""
    line = np.array(record.joint.points_px, dtype=float).reshape(-1, 2)
    if len(line) == 0:
        return np.zeros((count, 2))
    share = np.linspace(0, len(line) - 1, count)
    return np.stack([np.interp(share, np.arange(len(line)), line[:, k]) for k in (0, 1)], axis=1)


def _rounded(value: float, decimals: int) -> float | None:
    return round(float(value), decimals) + 0.0 if np.isfinite(value) else None
