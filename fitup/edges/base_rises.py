"""Stations with about the same gap laid over each other: how the base's light rises in this photo."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit
from fitup.edges.base_light import FACE_ENDS, FACE_SHARE
from fitup.edges.base_shape import BEFORE_PX, FARTHEST, STEP_PX, Rise
from fitup.edges.base_start import glare_weights

__all__ = ["mean_rises", "width_classes"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

GROUPS = 5
LEAST_WIDTH = 1.2  # gap over blur: narrower ones show the blur's shape only
LEAST_STATIONS = 4
CLASSES = 2.0**0.5  # ratio of the gaps of neighbouring classes


def mean_rises(
    x: Array64,
    profiles: Array,
    fit: ArrisFit,
    usable: NDArray[np.bool_],
    sheet_px: Array64,
    count: int = GROUPS,
) -> list[Rise]:
    """Rises of up to `count` groups of stations by gap, narrow to wide; none where too few are usable."""
    told = usable & (fit.width_px > LEAST_WIDTH * fit.blur_px) & (fit.noise < 3 * np.median(fit.noise))
    if told.sum() < LEAST_STATIONS:
        told = usable
    order = np.flatnonzero(told)[np.argsort(fit.width_px[told])]
    groups = [group for group in np.array_split(order, count) if len(group) >= LEAST_STATIONS]
    return [_rise(x, profiles, fit, group, sheet_px) for group in groups]


def _rise(x: Array64, profiles: Array, fit: ArrisFit, group: NDArray[np.intp], sheet_px: Array64) -> Rise:
    width = float(fit.width_px[group].mean())
    before = min(BEFORE_PX, max(float(np.median(sheet_px)) - 3, 2.0))
    away = np.arange(
        -before, min(FARTHEST * width, FACE_ENDS * width + FACE_SHARE * float(np.median(sheet_px))), STEP_PX
    )
    rows = []
    for k in group:
        at = fit.near_px[k] + np.where(away > 0, away * fit.width_px[k] / width, away)
        rows.append(np.interp(at, x, profiles[k]) / max(fit.levels[k, 2], 1e-3))
    light = np.mean(rows, axis=0)
    flank = float(np.median(light[away < -1.0]))
    return Rise(
        x_px=away,
        light=light,
        counts=glare_weights(light, np.asarray(flank)),
        width_px=width,
        sheet_gaps=float(np.median(sheet_px) / width),
        weight=float(len(group)),
    )


def width_classes(width_px: Array64, sheet_px: Array64) -> Array64:
    """A typical width [px] for every station; one for all where no face ends above the gap."""
    if not np.isfinite(sheet_px).all():
        return np.full_like(width_px, np.median(width_px))
    return np.asarray(CLASSES ** np.round(np.log(np.maximum(width_px, 0.5)) / np.log(CLASSES)))
