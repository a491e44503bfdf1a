"""A moved camera told from a blurred one: three numbers of the print's blur, and the kernel that gives them.

Motion during the exposure draws every point into a line (a box along one direction), on top of what lens and
focus blur alike in all directions (a Gaussian). Edges of two directions show the blur square to either; a
direction between them shows only where black and white corners meet. At such a saddle the light lies midway
between both levels unless the blur is slanted: for a kernel k it is off by E[sign(k·x) sign(k·y)], which for
a Gaussian is 2/π asin ρ (W. F. Sheppard, Phil. Trans. A 192, 1899), and turns with the saddle's polarity,
so that ink spread and tone curve drop out of the difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import edge_step

__all__ = ["QUARTILES", "Kernel", "fit_kernel"]

Array64 = NDArray[np.float64]

QUARTILES = 1.349  # distance of a Gaussian's quartiles in sigmas
# How well widths (relative) and corner levels are known; found on drawn photos.
_U_RATIO, _U_CORNER = 0.05, 0.03
_ANGLES = np.radians(np.linspace(0, 90, 31))
_RATIOS = np.concatenate(([0.0], np.geomspace(0.5, 40, 47)))  # length of the box over the Gaussian's sigma


@dataclass(frozen=True, kw_only=True)
class Kernel:
    """A Gaussian of `sigma_px`, drawn out over `length_px` in the direction (`x`, `y`), a unit vector."""

    sigma_px: float
    length_px: float
    x: float
    y: float

    @property
    def widest_px(self) -> float:
        """Standard deviation along the motion: the longer half axis of the blur's ellipse."""
        return float(np.hypot(self.sigma_px, self.length_px / np.sqrt(12)))


def fit_kernel(width_x_px: float, width_y_px: float, corner: float) -> Kernel:
    """Find the kernel with these widths between quartiles along x and y, over QUARTILES, and corner level.

    `corner` is E[sign(k·x) sign(k·y)], -1..1.
    """
    width_x, width_y, level = _table()
    ratio = np.log(width_x / width_y) - np.log(width_x_px / width_y_px)
    off = (ratio / _U_RATIO) ** 2 + ((level - abs(corner)) / _U_CORNER) ** 2
    angle, length = np.unravel_index(int(off.argmin()), off.shape)
    sigma = float(np.sqrt(width_x_px / width_x[angle, length] * width_y_px / width_y[angle, length]))
    theta = _ANGLES[angle]
    return Kernel(
        sigma_px=sigma,
        length_px=float(sigma * _RATIOS[length]),
        x=float(np.cos(theta)),
        y=float(np.copysign(np.sin(theta), corner)),
    )


@cache
def _table() -> tuple[Array64, Array64, Array64]:
    """(angles, lengths) widths along x and y, and corner levels, of a Gaussian of sigma 1."""
    fine = np.linspace(0, _RATIOS[-1], 400)
    quartiles = _quartile_width(fine) / QUARTILES
    along_x, along_y = (np.outer(side(_ANGLES), _RATIOS) for side in (np.cos, np.sin))
    t = (np.arange(12) + 0.5) / 24  # one half of the box: both give the same
    signs = [2 * edge_step(t[:, None, None] * side) - 1 for side in (along_x, along_y)]
    level = np.asarray((signs[0] * signs[1]).mean(axis=0), np.float64)
    return np.interp(along_x, fine, quartiles), np.interp(along_y, fine, quartiles), level


def _quartile_width(length: Array64) -> Array64:
    """Distance between the quartiles of a box (K,) drawn out of a Gaussian of sigma 1, by bisection."""
    t = (np.arange(16) + 0.5) / 16 - 0.5
    low, high = np.zeros_like(length), length + 2.0
    for _ in range(24):
        middle = (low + high) / 2
        share = edge_step(middle[:, None] - t * length[:, None]).mean(axis=1)
        low, high = np.where(share < 0.75, middle, low), np.where(share < 0.75, high, middle)
    return np.asarray(low + high)
