"""A joint that goes on past the photo: what the photo does not show of it is unseen, and never left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fitup.profile.result import GapProfile
from fitup.profile.second_target import JointShape

__all__ = ["OUTSIDE", "with_unseen_ends"]

OUTSIDE = "outside photo"

LEAST_MISSING_MM = 1.5  # a joint's line begins and ends up to a millimetre inside of what was asked for
_CHORD = 20  # stations whose direction the line keeps past the photo


def with_unseen_ends(
    profile: GapProfile, shape: JointShape, start_mm: float, end_mm: float
) -> tuple[GapProfile, JointShape]:
    """Profile and shape with stations from `start_mm` to `end_mm` along the joint; those added are unseen.

    Stations that are there already stay, also beyond these ends.
    """
    step = profile.step_mm
    before = _stations_in(profile.station_mm[0] - start_mm, step)
    after = _stations_in(end_mm - profile.station_mm[-1], step)
    if not before and not after:
        return profile, shape
    ends = (before, after)
    first, last = profile.station_mm[0], profile.station_mm[-1]
    longer = replace(
        profile,
        station_mm=np.concatenate(
            [
                first - step * np.arange(before, 0, -1),
                profile.station_mm,
                last + step * np.arange(1, after + 1),
            ]
        ),
        gap_mm=_padded(profile.gap_mm, ends),
        u_gap_mm=_padded(profile.u_gap_mm, ends),
        near_mm=_padded(profile.near_mm, ends),
        far_mm=_padded(profile.far_mm, ends),
        near_px=_padded(profile.near_px, ends),
        far_px=_padded(profile.far_px, ends),
        centre_px=_straight_on(profile.centre_px, ends),
        unseen_reason=(OUTSIDE,) * before + profile.unseen_reason + (OUTSIDE,) * after,
        budget=tuple(replace(row, u_mm=_padded(row.u_mm, ends)) for row in profile.budget),
        joins=tuple(join + before for join in profile.joins),
    )
    return longer, replace(
        shape,
        hi_lo_mm=_padded_if(shape.hi_lo_mm, ends),
        u_hi_lo_mm=_padded_if(shape.u_hi_lo_mm, ends),
        near_land_mm=_padded_if(shape.near_land_mm, ends),
        far_land_mm=_padded_if(shape.far_land_mm, ends),
        near_outer_px=_padded_if(shape.near_outer_px, ends),
        far_outer_px=_padded_if(shape.far_outer_px, ends),
    )


def _stations_in(missing_mm: float, step_mm: float) -> int:
    return int(np.floor(missing_mm / step_mm + 0.25)) if missing_mm > LEAST_MISSING_MM else 0


def _padded(values: NDArray[np.float64], ends: tuple[int, int]) -> NDArray[np.float64]:
    """Values (N,) or (N, 2) with NaN before and after."""
    return np.pad(values, (ends, *[(0, 0)] * (values.ndim - 1)), constant_values=np.nan)


def _padded_if(values: NDArray[np.float64] | None, ends: tuple[int, int]) -> NDArray[np.float64] | None:
    return None if values is None else _padded(values, ends)


def _straight_on(points_px: NDArray[np.float64], ends: tuple[int, int]) -> NDArray[np.float64]:
    """Points (N, 2) of a line in the photo, continued straight before its first and after its last."""
    chord = min(_CHORD, len(points_px) - 1)
    lead, follow = (points_px[chord] - points_px[0], points_px[-1] - points_px[-1 - chord])
    steps = [np.arange(-ends[0], 0)[:, None], np.arange(1, ends[1] + 1)[:, None]]
    return np.concatenate(
        [
            points_px[0] + steps[0] * lead / max(chord, 1),
            points_px,
            points_px[-1] + steps[1] * follow / max(chord, 1),
        ]
    )
