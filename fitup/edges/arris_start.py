"""Where the fit of both arrises begins: half levels, levels of the flanks, and which samples count."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisPriors

__all__ = ["NARROW", "Start", "sample_weights", "smooth_along", "start_parameters", "start_values"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

PULL = 0.35  # of the core: how far from the line the gap's middle may lie
FLANK_PX = 12.0  # plate taken into the fit on either side
NARROW = 3.5  # gap over blur sigma up to which grain can be taken for the gap


@dataclass(frozen=True, kw_only=True, eq=False)
class Start:
    """Start values of N stations: edges [px] and levels, in linear light."""

    near: Array64
    far: Array64
    left: Array64
    right: Array64
    floor: Array64
    lit: NDArray[np.bool_]
    deficit: Array64  # missing (or added) light, level times px

    def at(self, pick: NDArray[np.intp]) -> Start:
        """Start values of the picked stations."""
        return Start(**{name: getattr(self, name)[pick] for name in self.__dataclass_fields__})


def start_values(
    x: Array64, profiles: Array, blur_px: float, core_px: float, flanks: tuple[Array64, Array64]
) -> Start:
    """Half-level crossings on either side of the bar, on profiles smoothed over a few stations.

    `flanks` are the seen widths (N,) of left and right flank [px], infinite for plates.
    """
    if not np.isinf(np.concatenate(flanks)).all():
        return _between_lands(x, profiles, blur_px, flanks)
    smooth = cv2.blur(profiles, (3, 5), borderType=cv2.BORDER_REPLICATE).astype(np.float64)
    outer = np.abs(x) > core_px
    left = np.median(smooth[:, outer & (x < 0)], axis=1)
    right = np.median(smooth[:, outer & (x > 0)], axis=1)
    side = np.clip((x + core_px) / (2 * core_px), 0, 1)
    base = left[:, None] + (right - left)[:, None] * side
    core = np.abs(x) <= core_px
    pull = np.exp(-0.5 * (x / (PULL * core_px)) ** 2)  # the line was found with care: stay near it
    below = np.where(core, (base - smooth) * pull, -np.inf)
    above = np.where(core, (smooth - base) * pull, -np.inf)
    lit = _majority(above.max(axis=1) > 1.5 * np.maximum(below.max(axis=1), 0.02 * base.mean(axis=1)))
    sign = np.where(lit, -1.0, 1.0)[:, None]
    depth = sign * (base - smooth)
    peak = np.where(lit, above.argmax(axis=1), below.argmax(axis=1))
    stations = np.arange(len(profiles))
    floor = smooth[stations, peak]
    columns = np.arange(len(x))
    level_left = sign * (smooth - (left + floor)[:, None] / 2)
    level_right = sign * (smooth - (right + floor)[:, None] / 2)
    near = _crossing(x, level_left, (columns < peak[:, None]) & (level_left > 0), from_left=False)
    far = _crossing(x, level_right, (columns > peak[:, None]) & (level_right > 0), from_left=True)
    inside = (x >= near[:, None] - 3 * blur_px) & (x <= far[:, None] + 3 * blur_px)
    deficit = np.where(inside, np.maximum(depth, 0), 0).sum(axis=1)
    return Start(near=near, far=far, left=left, right=right, floor=floor, lit=lit, deficit=deficit)


def _between_lands(x: Array64, profiles: Array, blur_px: float, flanks: tuple[Array64, Array64]) -> Start:
    """Start values where a flank ends within the band: its level is looked for close to the gap.

    Twice: a first crossing at half the brightest light within reach, then one at half the flank's own.
    """
    smooth = cv2.blur(profiles, (3, 5), borderType=cv2.BORDER_REPLICATE).astype(np.float64)
    widths = [np.minimum(flank, FLANK_PX + 2 * blur_px) for flank in flanks]
    reach = float(np.median(np.concatenate(widths))) / 2
    pull = np.exp(-0.5 * (x / max(reach, 3.0)) ** 2)
    ceiling = smooth.max(axis=1, keepdims=True)
    stations = np.arange(len(smooth))
    peak = ((ceiling - smooth) * pull).argmax(axis=1)
    floor = smooth[stations, peak]
    columns = np.arange(len(x))
    sides = []
    for k, width in enumerate(widths):
        beyond = columns < peak[:, None] if k == 0 else columns > peak[:, None]
        away = np.abs(x - x[peak][:, None])
        close = beyond & (away <= (width + 2 * blur_px)[:, None])
        level = np.where(close, smooth, -np.inf).max(axis=1)
        for _ in range(2):
            above = smooth - ((level + floor) / 2)[:, None]
            edge = _crossing(x, above, beyond & (above > 0), from_left=k == 1)
            off = (edge[:, None] - x) if k == 0 else (x - edge[:, None])
            own = (off > np.minimum(1.5 * blur_px, 0.3 * width)[:, None]) & (off < (0.8 * width)[:, None])
            level = np.maximum(_masked_median(smooth, own), floor + 1e-3)
        sides.append((edge, level))
    (near, left), (far, right) = sides
    inside = (x >= near[:, None] - 3 * blur_px) & (x <= far[:, None] + 3 * blur_px)
    depth = np.minimum(left, right)[:, None] - smooth
    deficit = np.where(inside, np.maximum(depth, 0), 0).sum(axis=1)
    lit = np.zeros(len(smooth), dtype=bool)
    return Start(near=near, far=far, left=left, right=right, floor=floor, lit=lit, deficit=deficit)


def _masked_median(values: Array64, mask: NDArray[np.bool_]) -> Array64:
    """Median of each row's masked values, (N,); the row's own median where none is."""
    masked = np.where(mask | ~mask.any(axis=1, keepdims=True), values, np.nan)
    return np.asarray(np.nanmedian(masked, axis=1))


def _majority(flags: NDArray[np.bool_], reach: int = 20) -> NDArray[np.bool_]:
    """Smooth a flag along the joint: a stretch is lit from behind, not a tack that shines."""
    return smooth_along(flags.astype(np.float64), reach) > 0.5


def _crossing(x: Array64, level: Array64, beyond: NDArray[np.bool_], *, from_left: bool) -> Array64:
    """Position where `level` passes zero, at the sample nearest to the bar that lies beyond it."""
    stations = np.arange(len(level))
    last = len(x) - 1
    index = beyond.argmax(axis=1) if from_left else last - beyond[:, ::-1].argmax(axis=1)
    index = np.clip(np.where(beyond.any(axis=1), index, last if from_left else 0), 1, last - 1)
    back = index - 1 if from_left else index + 1
    a, b = level[stations, index], level[stations, back]
    part = np.clip(a / np.where(a - b == 0, 1, a - b), 0, 1)
    return np.asarray(x[index] + part * (x[back] - x[index]))


def sample_weights(
    x: Array64,
    clipped: Array,
    near: Array64,
    far: Array64,
    flanks: tuple[Array64, Array64],
    blur_px: float,
) -> Array:
    """Samples from a flank before the near to a flank behind the far arris; burnt-out ones do not count.

    A land's far end is blurred into what lies beyond it, so that its last samples are left out.
    """
    left, right = (np.minimum(np.maximum(width - 2 * blur_px, 2.0), FLANK_PX)[:, None] for width in flanks)
    window = (x >= near[:, None] - left) & (x <= far[:, None] + right)
    return np.where(clipped > 0.2, 0, window).astype(np.float32)


def start_parameters(start: Start, priors: ArrisPriors) -> Array64:
    """Starting parameters; a narrow gap starts from its missing light, not from its blurred half levels."""
    near, far = start.near, start.far
    plate = (start.left + start.right) / 2
    narrow = far - near < NARROW * np.exp(priors.log_blur)
    floor = np.where(narrow & ~start.lit, priors.floor, start.floor)
    by_light = start.deficit / np.maximum(np.abs(plate - floor), 1e-3)
    width = np.where(narrow, np.clip(by_light, 0.05, far - near), far - near)
    face = np.where(priors.band_px > 0.3, priors.face, floor)
    columns = [(near + far - width) / 2, width, start.left, floor, start.right, face]
    return np.stack([*columns, priors.band_px, priors.log_blur], axis=1)


def smooth_along(values: Array64, reach: int) -> Array64:
    """Mean over 2 reach + 1 stations."""
    row = np.ascontiguousarray(values, np.float64)[None, :]
    return np.asarray(cv2.blur(row, (2 * reach + 1, 1), borderType=cv2.BORDER_REPLICATE)[0])
