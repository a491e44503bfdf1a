"""The lands as part of the joint's shape: kept where the gap was seen, and a note where they were not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises, Lands
from fitup.profile.result import GapProfile
from fitup.profile.second_target import JointShape
from fitup.scale import ScaleMap

__all__ = ["with_lands"]

Array64 = NDArray[np.float64]

NOTED_MM = 10.0  # an unbroken stretch without a land seen that is worth a note; shorter ones are specks


def with_lands(
    shape: JointShape, lands: Lands, arrises: Arrises, profile: GapProfile, scale: ScaleMap
) -> JointShape:
    """Add both lands; beside a gap that was not seen no land counts as seen."""
    section, seen = arrises.section, profile.seen
    near = np.where(seen, lands.near_mm, np.nan) if lands.near_expected else None
    far = np.where(seen, lands.far_mm, np.nan) if lands.far_expected else None
    near_px = _outer_px(arrises, scale, near, arrises.near_mm, -section.near_flank_mm)
    far_px = _outer_px(arrises, scale, far, arrises.far_mm, section.far_flank_mm)
    notes = [
        _note(side, land, seen, profile.step_mm)
        for side, land in zip(shape.sides, (near, far), strict=True)
        if land is not None
    ]
    return replace(
        shape,
        near_land_mm=near,
        far_land_mm=far,
        near_outer_px=near_px,
        far_outer_px=far_px,
        notes=(*shape.notes, *(note for note in notes if note)),
    )


def _outer_px(
    arrises: Arrises, scale: ScaleMap, land: Array64 | None, inner_mm: Array64, flank_mm: Array64
) -> Array64 | None:
    """Image points (N, 2) of an outer arris: as far across the opening plane as its land is long."""
    if land is None or arrises.sheet_mm is None:
        return None
    across = inner_mm + flank_mm * land / arrises.sheet_mm
    known = np.isfinite(across)
    points = scale.to_px(arrises.band.points_mm(np.where(known, across, inner_mm)))
    return np.where(known[:, None], points, np.nan)


def _note(side: str, land: Array64, seen: NDArray[np.bool_], step_mm: float) -> str:
    """What was not seen of a land beside a gap that was."""
    missing = seen & ~np.isfinite(land)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], missing, [False]))))
    longest_mm = float(np.max(edges[1::2] - edges[::2], initial=0)) * step_mm
    if longest_mm <= NOTED_MM:
        return ""
    return (
        f"Land {side}: not measurable in this photo over {missing.sum() * step_mm:.0f} of "
        f"{seen.sum() * step_mm:.0f} mm, its outer arris does not show; look at it there, or light it from "
        "another side and photograph again."
    )
