"""Made-up profiles of photos along a joint, for tests of comparing and joining."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fitup.profile import GapProfile, Influence
from fitup.profile.joining import PhotoPart

STEP = 0.5


def made_profile(
    start_mm: float,
    end_mm: float,
    gap: Callable[[np.ndarray], np.ndarray],
    *,
    noise_mm: float = 0.01,
    own_mm: float = 0.02,
    shared_mm: float = 0.01,
    seed: int | None = None,
    unseen: tuple[float, float, str] | None = None,
) -> GapProfile:
    """Stations from start to end; `gap` of the station; noise is drawn when there is a seed."""
    station = np.arange(round(start_mm / STEP), round(end_mm / STEP) + 1) * STEP
    value = np.asarray(gap(station), dtype=float).copy()
    if seed is not None:
        value += np.random.default_rng(seed).normal(0, noise_mm, len(station))
    reason = np.full(len(station), "", dtype=object)
    if unseen is not None:
        reason[(station >= unseen[0]) & (station <= unseen[1])] = unseen[2]
    value[reason != ""] = np.nan
    parts = {
        "noise and grain": (noise_mm, False),
        "tone curve": (own_mm, True),
        "arris radius": (shared_mm, True),
    }
    budget = tuple(
        Influence(name=name, u_mm=np.full(len(station), u), common=common, remedy=f"mind the {name}")
        for name, (u, common) in parts.items()
    )
    u_gap = np.sqrt(sum(row.u_mm**2 for row in budget)) + np.where(np.isnan(value), np.nan, 0)
    line = np.column_stack([10 * station, np.full(len(station), 300.0)])
    blank = np.where(np.isnan(value), np.nan, 0.0)[:, None]
    return GapProfile(
        station_mm=station,
        gap_mm=value,
        u_gap_mm=u_gap,
        near_mm=-value / 2,
        far_mm=value / 2,
        near_px=line + np.array([0, 5]) + blank,
        far_px=line - np.array([0, 5]) + blank,
        centre_px=line,
        unseen_reason=tuple(reason),
        budget=budget,
        notes=("made up",),
        step_mm=STEP,
    )


def part(photo: int, strip: int, *args: object, **kwargs: object) -> PhotoPart:
    return PhotoPart(photo=photo, strip_number=strip, profile=made_profile(*args, **kwargs))
