"""Light across an opening whose far bound is a face without an arris: an arris, then a rise of known shape.

Before the arris lies a flank; behind it the light rises from the dark of the gap to that of the open face,
and how it rises follows from the gap (`base_light.py`). The model is a staircase of that curve, each step
blurred by the photo's Gaussian. Parameters are those of `arris_model.PARAMETERS`; the cut face's level and
band mean nothing here and stay at their priors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import FLOOR, LEFT, LOG_BLUR, NEAR, RIGHT, WIDTH, step_and_bell

__all__ = ["WIDER", "BaseModel"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

_SQRT_2PI = float(np.sqrt(2 * np.pi))
_SLOPE_CAP = 8.0
LEVELS = 20
WIDER = 1.05


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseModel:
    """A rise from 0 to 1 in steps at `fixed_px` + `edges` widths of the gap from the true arris, (K,) each.

    `rises` (K,) are the steps' heights. A mirrored edge at a known place stays where it is when the gap
    widens, so that it has a fixed part. `rim_px` is how far the arris that is seen lies before the true one.
    """

    edges: Array64
    fixed_px: Array64
    rises: Array64
    rim_px: float = 0.0

    @classmethod
    def of(
        cls, m: Array64, curve: Array64, wider: Array64, *, width_px: float, rim_px: float = 0.0
    ) -> BaseModel:
        """Return the model of a `curve` (M,) over `m` widths of `width_px`; `wider` is it at WIDER such."""
        curve, wider = np.maximum.accumulate(curve), np.maximum.accumulate(wider)
        bounds = np.linspace(0.0, min(curve[-1], wider[-1]), LEVELS + 1)
        levels = (bounds[:-1] + bounds[1:]) / 2
        here, there = (np.interp(levels, light + 1e-9 * m, m) for light in (curve, wider))
        slope = (there * WIDER - here) / (WIDER - 1)
        return cls(edges=slope, fixed_px=(here - slope) * width_px, rises=np.diff(bounds), rim_px=rim_px)

    def evaluate(self, x: NDArray[np.floating], theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """Light (N, M) at positions (M,) [px] for parameters (N, 8) as in `arris_model.PARAMETERS`."""
        return self._parts(x, theta)[0]

    def jacobian(self, x: Array, theta: Array) -> tuple[Array, Array]:
        """Light (N, M) and its derivatives (N, 8, M)."""
        model, steps, bells, z = self._parts(x, theta)
        sharp = np.exp(-theta[:, LOG_BLUR])[:, None]
        heights = self._heights(theta)
        slopes = bells * heights[:, :, None]
        rise = np.einsum("k,nkm->nm", self.rises.astype(np.float32), steps[:, 1:])
        out = np.zeros((len(theta), 8, len(x)), np.float32)
        out[:, NEAR] = -slopes.sum(axis=1) * (sharp / _SQRT_2PI)
        out[:, WIDTH] = -np.einsum("nkm,k->nm", slopes[:, 1:], self.edges.astype(np.float32)) * (
            sharp / _SQRT_2PI
        )
        out[:, LEFT] = 1 - steps[:, 0]
        out[:, RIGHT] = rise
        out[:, FLOOR] = steps[:, 0] - rise
        out[:, LOG_BLUR] = -(slopes * z).sum(axis=1) / _SQRT_2PI
        return model.astype(np.float32, copy=False), out

    def _heights(self, theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """(N, K + 1) rise of the light at the arris and at every step behind it."""
        left, floor, right = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT))
        return np.concatenate([floor - left, (right - floor) * self.rises.astype(theta.dtype)], axis=1)

    def _parts(
        self, x: NDArray[np.floating], theta: NDArray[np.floating]
    ) -> tuple[NDArray[np.floating], ...]:
        """Light (N, M), and steps, bells and their arguments, (N, K + 1, M) each."""
        near, width = theta[:, NEAR, None], theta[:, WIDTH, None]
        fixed = (self.fixed_px + self.rim_px).astype(theta.dtype)
        edges = np.concatenate([near, near + fixed + width * self.edges.astype(theta.dtype)], axis=1)
        z = (x[..., None, :] - edges[:, :, None]) * np.exp(-theta[:, LOG_BLUR])[:, None, None]
        z = np.clip(z.astype(theta.dtype), -_SLOPE_CAP, _SLOPE_CAP)
        steps, bells = step_and_bell(z)
        return theta[:, LEFT, None] + np.einsum("nk,nkm->nm", self._heights(theta), steps), steps, bells, z
