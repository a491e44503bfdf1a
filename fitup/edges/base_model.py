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

from fitup.edges.arris_model import FLOOR, LEFT, LOG_BLUR, NEAR, PARAMETERS, RIGHT, WIDTH, step_and_bell

__all__ = ["WIDER", "BaseModel"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

_SQRT_2PI = float(np.sqrt(2 * np.pi))
_SLOPE_CAP = 5.5  # beyond so many sigmas a step is flat to single precision
_BLOCK = 64  # stations
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
        """Light (N, M) at positions (M,) or (N, M) [px] for parameters (N, 8) as in `PARAMETERS`."""
        model = np.empty((len(theta), x.shape[-1]), theta.dtype)
        for block in _blocks(len(theta)):
            steps = self._steps(x if x.ndim == 1 else x[block], theta[block])[0]
            heights = self._heights(theta[block])
            model[block] = theta[block, LEFT, None] + (heights[:, None] @ steps)[:, 0]
        return model

    def jacobian(self, x: Array, theta: Array) -> tuple[Array, Array]:
        """Light (N, M) and its derivatives (N, 8, M)."""
        model = np.empty((len(theta), len(x)), np.float32)
        out = np.zeros((len(theta), len(PARAMETERS), len(x)), np.float32)
        for block in _blocks(len(theta)):
            model[block] = self._derivatives(x, theta[block], out[block])
        return model, out

    def _derivatives(self, x: Array, theta: Array, out: Array) -> Array:
        """Light (B, M) of some stations; its derivatives go into `out` (B, 8, M)."""
        steps, bells, z = self._steps(x, theta)
        heights, shares = self._heights(theta), np.zeros((len(theta), steps.shape[1]), np.float32)
        shares[:, 1:] = self.rises
        light, rise = _summed(steps, heights, shares)
        shares[:, 1:] = heights[:, 1:] * self.edges
        sharp = np.exp(-theta[:, LOG_BLUR, None]) / np.float32(-_SQRT_2PI)
        pull, widening = _summed(bells, heights, shares)
        bells *= z
        out[:, NEAR], out[:, WIDTH] = pull * sharp, widening * sharp
        out[:, LOG_BLUR] = _summed(bells, heights)[0] / np.float32(-_SQRT_2PI)
        out[:, LEFT] = 1 - steps[:, 0]
        out[:, RIGHT] = rise
        out[:, FLOOR] = steps[:, 0] - rise
        return np.asarray(theta[:, LEFT, None] + light, np.float32)

    def _heights(self, theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """(B, K + 1) rise of the light at the arris and at every step behind it."""
        left, floor, right = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT))
        return np.concatenate([floor - left, (right - floor) * self.rises.astype(theta.dtype)], axis=1)

    def _steps(
        self, x: NDArray[np.floating], theta: NDArray[np.floating]
    ) -> tuple[NDArray[np.floating], ...]:
        """Steps, their bells and arguments, (B, K + 1, M) each."""
        near, width = theta[:, NEAR, None], theta[:, WIDTH, None]
        fixed = (self.fixed_px + self.rim_px).astype(theta.dtype)
        edges = np.concatenate([near, near + fixed + width * self.edges.astype(theta.dtype)], axis=1)
        z = (x[..., None, :] - edges[:, :, None]).astype(theta.dtype, copy=False)
        z *= np.exp(-theta[:, LOG_BLUR])[:, None, None]
        # Most samples lie far from most steps: only the others are worth working out.
        near_step = np.flatnonzero(np.abs(z) < _SLOPE_CAP)
        steps, bells = (z > 0).astype(theta.dtype), np.zeros_like(z)
        steps.reshape(-1)[near_step], bells.reshape(-1)[near_step] = step_and_bell(z.reshape(-1)[near_step])
        return steps, bells, z


def _blocks(count: int) -> list[slice]:
    """Stations by some dozens: their steps stay in the processor's cache, which takes a third of the time."""
    return [slice(first, first + _BLOCK) for first in range(0, count, _BLOCK)]


def _summed(parts: NDArray[np.floating], *shares: NDArray[np.floating]) -> NDArray[np.floating]:
    """Sums (S, B, M) of parts (B, K, M) by S shares (B, K)."""
    return np.asarray((np.stack(shares, axis=1) @ parts).transpose(1, 0, 2))
