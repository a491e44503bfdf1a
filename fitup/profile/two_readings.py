"""A gap that was read twice: by the light on a base, and by the place of two plates in space.

Each reading may be off by more than its budget says. A sheet is flat to about what clamped plates are level
to, but now and then it is dished between strip and joint, and no strip tells; how the light rises depends on
finishes and lamps that nobody drew. So each has an excess besides its own uncertainty, normal with a
deviation that is itself not known: half-Cauchy, mostly about its scale, seldom many times that. Where both
readings agree, the excess hardly counts; where they do not, either may be right, and the uncertainty spans
both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["weighed"]

Array64 = NDArray[np.float64]

NODES = 24
# Equal shares of a half-Cauchy distribution of scale one.
_EXCESS: Array64 = np.tan((np.arange(NODES) + 0.5) / NODES * np.pi / 2)


def weighed(
    apart: Array64,
    u: tuple[Array64, Array64],
    excess: tuple[Array64 | float, Array64 | float],
) -> tuple[Array64, Array64]:
    """Share (N,) of the second reading in the mean, and what their disagreement adds to its uncertainty.

    Parameters
    ----------
    apart : (N,) second reading less the first
    u : standard uncertainty (N,) of each
    excess : scale of what each may be off besides
    """
    first, second = (
        own**2 + np.square(_EXCESS[:, None] * scale) for own, scale in zip(u, excess, strict=True)
    )
    first, second = first[:, None], second[None]
    both = first + second
    odds = np.exp(-0.5 * apart**2 / both) / np.sqrt(both)
    odds /= odds.sum(axis=(0, 1))
    shares = first / both
    share = (odds * shares).sum(axis=(0, 1))
    spread = (odds * (first * second / both + (shares - share) ** 2 * apart**2)).sum(axis=(0, 1))
    own = ((1 - share) * u[0]) ** 2 + (share * u[1]) ** 2
    return np.asarray(share), np.sqrt(np.maximum(spread - own, 0.0))
