"""Where the fit of both arrises begins: half levels, levels of the flanks, and which samples count."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisPriors

__all__ = [
    "CLEAR_BLURS",
    "NARROW",
    "Start",
    "flank_used",
    "flattened",
    "near_edges",
    "running_median",
    "sample_weights",
    "shortened_flanks",
    "smooth_along",
    "start_parameters",
    "start_values",
]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

PULL = 0.35  # of the core: how far from the line the gap's middle may lie
CLEAR_BLURS = 3.0  # off an edge, from where on there is plate alone
FLANK_PX = 12.0  # plate taken into the fit on either side
LAND_PX = 4.0  # of a land, beyond the blurred edge: farther out its light rises with the sky it sees
# Relative rise of a land's light over its length: 0.7 to 1 under an even sky near a square corner's root (the
# other land hides half of it there); what is steeper is the edge of a shadow and says nothing of the root.
STEEPEST_RISE = 0.7
EARLY_END, STRONGER = 0.75, 1.5  # a land that ends before that share of its length, and how sure that must be
SLOPE_STRETCH = 10  # stations to either side that share the slope of a land's light
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
    left, right = _beside(x, smooth, near, -1, blur_px), _beside(x, smooth, far, 1, blur_px)
    return Start(near=near, far=far, left=left, right=right, floor=floor, lit=lit, deficit=deficit)


def _beside(x: Array64, smooth: Array64, edge: Array64, side: int, blur_px: float) -> Array64:
    """Light (N,) of the plate right beside an edge: a shadow may end some millimetres off the joint."""
    steps = CLEAR_BLURS * blur_px + np.arange(FLANK_PX)
    columns = np.rint(edge - x[0])[:, None] + side * np.rint(steps)
    columns = np.clip(columns.astype(np.intp), 0, len(x) - 1)
    return np.asarray(np.median(np.take_along_axis(smooth, columns, axis=1), axis=1))


def _between_lands(x: Array64, profiles: Array, blur_px: float, flanks: tuple[Array64, Array64]) -> Start:
    """Start values where a flank ends within the band, from all edges of the joint at once.

    Beside the gap a land may be darker than the plate behind it, so that neither the darkest place nor the
    strongest edge is the gap's. The gap's two edges and the lands' outer ones, which follow at known
    distances, are looked for together.
    """
    smooth = cv2.GaussianBlur(profiles, (0, 0), sigmaX=1.0, sigmaY=1.5).astype(np.float64)
    # Edges between dark lands count as much as those of bright plates: slopes of the root of the light.
    column, width = _best_edges(np.gradient(np.sqrt(np.maximum(smooth, 0)), axis=1), flanks)
    near = x[column]
    far = near + width
    left_px, right_px = (np.minimum(flank, FLANK_PX)[:, None] for flank in flanks)
    before, behind = near[:, None] - x, x - far[:, None]
    left = _masked_median(smooth, (before > 0.25 * left_px) & (before < 0.8 * left_px))
    right = _masked_median(smooth, (behind > 0.25 * right_px) & (behind < 0.8 * right_px))
    between = (before < 0) & (behind < 0)
    floor = np.where(between, smooth, np.inf).min(axis=1)
    floor = np.where(np.isfinite(floor), floor, np.minimum(left, right))
    inside = (before <= 3 * blur_px) & (behind <= 3 * blur_px)
    depth = np.minimum(left, right)[:, None] - smooth
    deficit = np.where(inside, np.maximum(depth, 0), 0).sum(axis=1)
    lit = np.zeros(len(smooth), dtype=bool)
    return Start(near=near, far=far, left=left, right=right, floor=floor, lit=lit, deficit=deficit)


def _best_edges(slope: Array64, flanks: tuple[Array64, Array64]) -> tuple[NDArray[np.intp], Array64]:
    """Column of the near edge and width [px] of the gap whose edges, and its lands', are the strongest.

    The square root keeps one strong edge from outvoting the others.
    """
    scale = np.percentile(np.abs(slope), 90, axis=1, keepdims=True) + 1e-6
    falls, rises = (np.sqrt(np.clip(side * slope / scale, 0, 4)) for side in (-1, 1))
    either = np.sqrt(np.clip(np.abs(slope) / scale, 0, 4))
    outer_near = _shifted(either, -flanks[0])
    outer_far = _shifted(either, flanks[1])
    widest = slope.shape[1] // 3
    best = np.full(len(slope), -np.inf)
    where, width = np.zeros(len(slope), np.intp), np.zeros(len(slope))
    for gap in range(1, widest):
        far = rises + outer_far
        score = np.full_like(slope, -np.inf)
        score[:, :-gap] = (falls + outer_near)[:, :-gap] + far[:, gap:]
        column = score.argmax(axis=1)
        top = score[np.arange(len(slope)), column]
        better = top > best
        best, where, width = (np.where(better, a, b) for a, b in ((top, best), (column, where), (gap, width)))
    return where, width


def _shifted(values: Array64, by_px: Array64) -> Array64:
    """Values (N, M) read `by_px` (N,) further along; nothing for an infinite shift."""
    if not np.isfinite(by_px).all():
        return np.zeros_like(values)
    columns = np.arange(values.shape[1]) + np.rint(by_px).astype(np.intp)[:, None]
    inside = (columns >= 0) & (columns < values.shape[1])
    return np.asarray(np.take_along_axis(values, np.clip(columns, 0, values.shape[1] - 1), axis=1) * inside)


def flattened(
    x: Array64, profiles: Array, start: Start, flanks: tuple[Array64, Array64], blur_px: float
) -> Array:
    """Profiles with the even rise of a land's light away from the gap taken off it.

    Deep between two plates a land gets less light than at its outer arris; a step between two even levels
    would put its edge on that slope. The slope is one for a stretch of joint, so that grain does not count.
    """
    flat = profiles.astype(np.float64)
    for side, edge, flank in ((-1, start.near, flanks[0]), (1, start.far, flanks[1])):
        if not np.isfinite(flank).all():
            continue
        away = side * (x - edge[:, None])
        width = np.minimum(flank - 1.5 * blur_px, LAND_PX + 2 * blur_px)[:, None]
        own = (away > 2 * blur_px) & (away < width)
        slope = _slope(away, np.log(np.maximum(flat, 1e-3)), own)
        steady = running_median(slope, SLOPE_STRETCH)[:, None]
        steady = np.clip(steady, -STEEPEST_RISE / flank[:, None], STEEPEST_RISE / flank[:, None])
        flat *= np.exp(-steady * np.clip(away, 0.0, flank[:, None]))
    return flat.astype(np.float32)


def _slope(away: Array64, light: Array64, own: NDArray[np.bool_]) -> Array64:
    """Slope (N,) of the light over the masked samples, zero where they are too few to tell."""
    count = np.maximum(own.sum(axis=1), 1)
    off = np.where(own, away - ((away * own).sum(axis=1) / count)[:, None], 0.0)
    spread = (off * off).sum(axis=1)
    return np.where(spread > 4.0, (off * light).sum(axis=1) / np.maximum(spread, 1.0), 0.0)


def running_median(values: Array64, reach: int) -> Array64:
    """Median over 2 reach + 1 stations."""
    padded = np.pad(values, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.median(windows, axis=1))


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
    left, right = (flank_used(width, blur_px)[:, None] for width in flanks)
    window = (x >= near[:, None] - left) & (x <= far[:, None] + right)
    return np.where(clipped > 0.2, 0, window).astype(np.float32)


def shortened_flanks(
    x: Array64, profiles: Array, start: Start, flanks: tuple[Array64, Array64], blur_px: float
) -> tuple[Array64, Array64]:
    """Flanks (N,) [px], cut where a land ends early: at an edge far stronger than any at its due end."""
    smooth = cv2.GaussianBlur(profiles, (0, 0), sigmaX=1.0, sigmaY=2.0).astype(np.float64)
    rise = np.abs(np.gradient(np.sqrt(np.maximum(smooth, 0)), axis=1))
    rows = np.arange(len(rise))
    cut = []
    for side, edge, flank in ((-1, start.near, flanks[0]), (1, start.far, flanks[1])):
        if not np.isfinite(flank).all():
            cut.append(flank)
            continue
        away = side * (x - edge[:, None])
        share = away / flank[:, None]
        early = np.where((away > 2.5 * blur_px) & (share < EARLY_END), rise, 0.0)
        due = np.where(np.abs(share - 1) < 1 - EARLY_END, rise, 0.0).max(axis=1)
        at = early.argmax(axis=1)
        short = early[rows, at] > STRONGER * due
        short &= running_median(short.astype(np.float64), 4) > 0.5
        cut.append(np.where(short, away[rows, at], flank))
    return cut[0], cut[1]


def near_edges(x: Array64, profiles: Array, flank_px: Array64, reach_px: float) -> Array64:
    """Place (N,) [px] of the near arris alone: the light falls, a land's width behind another edge."""
    smooth = cv2.GaussianBlur(profiles, (0, 0), sigmaX=1.0, sigmaY=1.5).astype(np.float64)
    slope = np.gradient(np.sqrt(np.maximum(smooth, 0)), axis=1)
    scale = np.percentile(np.abs(slope), 90, axis=1, keepdims=True) + 1e-6
    falls = np.sqrt(np.clip(-slope / scale, 0, 4))
    outer = _shifted(np.sqrt(np.clip(np.abs(slope) / scale, 0, 4)), -flank_px)
    score = (falls + outer) * np.exp(-0.5 * (x / reach_px) ** 2)  # the line was found with care: stay near it
    usual = running_median(x[score.argmax(axis=1)], SLOPE_STRETCH)
    close = np.abs(x - usual[:, None]) <= reach_px / 2
    return np.asarray(x[np.where(close, score, -np.inf).argmax(axis=1)])


def flank_used(width: Array64, blur_px: float) -> Array64:
    """How much of a flank (N,) [px] is taken into the fit: a land only close to the gap."""
    short = np.minimum(np.maximum(width - 2 * blur_px, 2.0), LAND_PX + 2 * blur_px)
    return np.where(np.isinf(width), FLANK_PX, short)


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
