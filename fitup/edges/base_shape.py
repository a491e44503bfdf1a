"""How wide the gap before a base is, from the shape in which the base's light rises, for a whole photo.

How soon the light rises depends on the base's finish and on the lamps as much as on the gap; but both also
make the rise steep or long. Every curve of `base_curves` is therefore laid over the photo's own profiles,
stretched by every factor, and counts by how well it fits: a weighted mean of the factors that fit says where
the base lies, their scatter how well a picture can tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import edge_step
from fitup.edges.base_light import REACH, BaseLights, M

__all__ = ["BaseShape", "Lens", "Rise", "first_shape", "told_shape"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

STRETCHES = np.exp(np.linspace(np.log(0.4), np.log(2.2), 33))
HEIGHT_STEP = 0.1  # of the logarithm of how many gaps high a face is
BEFORE_PX = 5.0
STEP_PX = 1.0
FARTHEST = 4.0  # gaps that a profile is compared over; farther out the base's own shading counts more
GRAIN_MM = 0.25  # grain and shadows on a base hang together over about so much: samples that count
CELLS = 48  # of a curve, when it is compared
MANY = 10_000
FIRST_CURVES = 150
TRIED_SDS = 3.5
UNLIKELY = 10.0  # of the logarithm of the odds: what is that far below the best has no say
MOST_COUNT = 20.0  # samples that count, at most
LEAST_SHARE = 0.04
U_ALONG, ROUGH = 0.08, 0.1  # found on renders, from that roughness on
DEEP, DEEP_SD = 0.05, 0.05  # light deep in the gap as a share of the base's (found on renders)
FIRST_U = 0.25  # relative, when no photo has told anything
LEAST_MISFIT = 0.012  # of the base's light: no curve is truer than that


@dataclass(frozen=True, kw_only=True, eq=False)
class Rise:
    """Mean profile of stations with gaps of about one width.

    `x_px` (J,) from the arris as seen, `light` (J,) as a share of the base's, `counts` (J,) their weights.
    `width_px` is the gap that an earlier reading gave them, `sheet_gaps` the height of the face above the
    gap in such widths, `weight` how much the group counts.
    """

    x_px: Array64
    light: Array64
    counts: Array64
    width_px: float
    sheet_gaps: float
    weight: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Lens:
    """The photo's blur, how far a rounded arris seems to end before its sharp place, a pixel's size."""

    blur_px: float
    rim_px: float
    sample_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseShape:
    """What the photo says: gap over the earlier reading's, its relative uncertainty, and the likely curve.

    `u_along` is how much the rise's place changes along the joint besides, relative: a mirror shows the arris
    whatever the lamps, on a rough base the rise moves as the lamps' directions change.
    """

    stretch: float
    u_relative: float
    u_along: float
    share: Array64  # (K, S) weight of every curve at every stretch
    misfit: float  # of the best curve, as a share of the base's light

    def curve(self, lights: BaseLights, sheet_gaps: float) -> Array64:
        """Likely light at `M` multiples of the gap, under a face of so many gaps' height."""
        out = np.zeros_like(M)
        likely = self.share > LEAST_SHARE * self.share.max()
        for s in np.flatnonzero(likely.any(axis=0)):
            pick = np.flatnonzero(likely[:, s])
            ratio = self.stretch / STRETCHES[s]
            mixed = lights.curves(sheet_gaps * ratio, pick) @ self.share[pick, s]
            out += np.interp(M * ratio, M, mixed)
        return np.asarray(out / self.share[likely].sum())


def first_shape(lights: BaseLights) -> BaseShape:
    """All curves alike, before the photo has told anything."""
    share = np.zeros((len(lights.roughness), len(STRETCHES)))
    share[:, np.abs(np.log(STRETCHES)).argmin()] = 1 / len(share)
    return BaseShape(stretch=1.0, u_relative=FIRST_U, u_along=U_ALONG, share=share, misfit=np.inf)


def told_shape(
    rises: list[Rise],
    lights: BaseLights,
    lens: Lens,
    *,
    before: tuple[float, float],
    curves: int = MANY,
) -> BaseShape:
    """Weigh the first so many `curves`, and stretches, by what the rises say.

    `before` is what is known of the stretch beforehand: its expected value, and the standard deviation of its
    logarithm.
    """
    if not rises:
        return first_shape(lights)
    mean, sd = before
    tried = np.flatnonzero(np.abs(np.log(STRETCHES / mean)) < TRIED_SDS * sd + 0.05)
    count = min(curves, len(lights.roughness))
    length = sum(rise.x_px[-1] - rise.x_px[0] for rise in rises) * lens.sample_mm
    # A standing plate's curves are the same for every rise and stretch.
    asked: dict[tuple[float, int], Array] = {}

    def odds_of(columns: NDArray[np.intp], count: int) -> Array64:
        squares = _squares(rises, lights, lens, STRETCHES[columns], count, asked)
        odds = -0.5 * min(length / GRAIN_MM, MOST_COUNT) * np.log(squares + LEAST_MISFIT**2)
        return np.asarray(odds - 0.5 * (np.log(STRETCHES[columns] / mean) / sd) ** 2)

    # Some curves at every third stretch tell which stretches are worth asking at all.
    coarse = np.arange(0, len(tried), 3)
    first = odds_of(tried[coarse], min(count, FIRST_CURVES)).max(axis=0)
    likely = coarse[first > first.max() - UNLIKELY]
    near = np.unique(np.clip(likely[:, None] + np.arange(-2, 3), 0, len(tried) - 1))
    odds = np.full((count, len(tried)), -np.inf)
    odds[:, near] = odds_of(tried[near], count)
    curve, place = np.unravel_index(int(odds.argmax()), odds.shape)
    misfit = _squares(rises, lights, lens, STRETCHES[tried[[place]]], count, asked)[curve, 0]
    share = np.zeros((len(lights.roughness), len(STRETCHES)))
    share[:count, tried] = np.exp(odds - odds.max())
    share /= share.sum()
    by_stretch = share.sum(axis=0)
    told = float(np.exp(by_stretch @ np.log(STRETCHES)))
    spread = float(np.sqrt(by_stretch @ (np.log(STRETCHES) - np.log(told)) ** 2))
    rough = float(share.sum(axis=1) @ lights.roughness)
    return BaseShape(
        stretch=told,
        u_relative=spread,
        u_along=U_ALONG * min(rough / ROUGH, 1.0),
        share=share,
        misfit=float(np.sqrt(misfit)),
    )


def _squares(
    rises: list[Rise],
    lights: BaseLights,
    lens: Lens,
    stretches: Array64,
    count: int,
    asked: dict[tuple[float, int], Array],
) -> Array64:
    """Mean square (K, S) of what the first `count` curves at all stretches leave of all rises."""
    total = sum(rise.weight for rise in rises)
    squares = np.zeros((count, len(stretches)))
    for rise in rises:
        told = _Told.by(rise, lens)
        heights = np.array([_about(rise.sheet_gaps / stretch) for stretch in stretches])
        for height in np.unique(heights):
            if (height, count) not in asked:
                asked[height, count] = _cells(lights.curves(height, slice(count)))
            alike = heights == height
            squares[:, alike] += (
                rise.weight / total * _mean_squares(rise, told, asked[height, count], stretches[alike], lens)
            )
    return squares


def _cells(curves: Array) -> Array:
    """Return curves (M, K) as means over `CELLS` cells."""
    return np.asarray(curves.reshape(CELLS, -1, curves.shape[1]).mean(axis=1))


def _about(height: float) -> float:
    """Return the height to some per cent: the face's far end is mirrored out of focus."""
    return float(np.exp(np.round(np.log(height) / HEIGHT_STEP) * HEIGHT_STEP))


def _mean_squares(rise: Rise, told: _Told, curves: Array, stretches: Array64, lens: Lens) -> Array64:
    """Mean square (K, S) of what every curve leaves of a rise, the levels on both sides of the arris free."""
    seen = told.counts * _seen_cells(rise, stretches, lens)
    # The levels are taken out of the cells, which are few, not of the curves, which are many.
    light = (seen - told.free @ (told.free.T @ seen)) @ curves
    power = np.maximum(np.einsum("sjk,sjk->sk", light, light), 1e-9)
    along = np.maximum(told.light @ light, 0.0)
    return np.asarray(((told.light @ told.light - along**2 / power) / len(told.light)).T, np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """A rise's samples (J + 1,) with the gap's dark as one more: weights (J + 1, 1), an orthonormal base
    (J + 1, 2) of the levels on both sides, and the light without them."""

    counts: Array
    free: Array
    light: Array

    @classmethod
    def by(cls, rise: Rise, lens: Lens) -> _Told:
        arris = np.asarray(edge_step(rise.x_px / lens.blur_px))
        counts = np.sqrt(np.append(rise.counts, 1.0))[:, None]
        firm = LEAST_MISFIT / DEEP_SD * np.sqrt(len(arris) / MOST_COUNT)
        levels = counts * np.stack([np.append(1 - arris, 0.0), np.append(arris, firm)], axis=1)
        # A picture in which no sample counts has no levels: a little of nothing keeps that regular.
        free = np.linalg.qr(np.concatenate([levels, 1e-6 * np.eye(2)]))[0][: len(levels)]
        light = counts[:, 0] * np.append(rise.light, firm * DEEP)
        light -= free @ (free.T @ light)
        return cls(**{name: v.astype(np.float32) for name, v in
                      (("counts", counts), ("free", free), ("light", light))})  # fmt: skip


def _seen_cells(rise: Rise, stretches: Array64, lens: Lens) -> Array:
    """(S, J + 1, CELLS) what a rise's samples see of a curve's cells; the last one sees none."""
    cell = np.linspace(0.0, REACH, CELLS + 1) * (rise.width_px * stretches[:, None]) + lens.rim_px
    z = (rise.x_px[:, None] - cell[:, None, :]) / lens.blur_px
    steps = np.asarray(edge_step(z.astype(np.float32)))
    seen = np.zeros((len(stretches), len(rise.x_px) + 1, CELLS), np.float32)
    np.subtract(steps[..., :-1], steps[..., 1:], out=seen[:, :-1])
    seen[:, :-1, -1] += steps[..., -1]
    return seen
