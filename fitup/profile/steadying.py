"""Neighbouring stations that agree are averaged; where they do not, the joint itself changes.

Three stations of 0.5 mm are averaged only where their gaps differ by no more than noise explains. An opening
of a single station therefore stays as it was read, if it stands out of the noise; one that does not is
lowered by up to two thirds of what it differs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["steadied"]

Array64 = NDArray[np.float64]

AGREE_SIGMAS = 2.5  # difference of two stations over its standard deviation up to which they agree
NOISE_LEFT = 0.75  # of the noise, after averaging: 1/√3 were neighbours independent, which grain forbids


def steadied(
    near_mm: Array64, far_mm: Array64, noise_mm: Array64, seen: NDArray[np.bool_]
) -> tuple[Array64, Array64, Array64]:
    """Average both arrises (N,) over three seen stations that agree; give them and the noise left [mm]."""
    if len(near_mm) < 3:
        return near_mm, far_mm, noise_mm
    gap = far_mm - near_mm
    before, here, after = slice(None, -2), slice(1, -1), slice(2, None)
    bound = AGREE_SIGMAS * np.sqrt(2) * noise_mm[here]
    agree = seen[before] & seen[here] & seen[after]
    for one, other in ((before, here), (here, after), (before, after)):
        agree &= np.abs(gap[one] - gap[other]) <= bound
    near, far, noise = near_mm.copy(), far_mm.copy(), noise_mm.copy()
    for values, mean in ((near_mm, near), (far_mm, far)):
        mean[here] = np.where(agree, (values[before] + values[here] + values[after]) / 3, values[here])
    noise[here] = np.where(agree, NOISE_LEFT * noise[here], noise[here])
    return near, far, noise
