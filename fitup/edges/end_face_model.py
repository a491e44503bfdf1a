"""Light across a gap in which the end face of the far plate is seen, lit through the gap alone.

In a flush corner or an edge joint the far plate's cut face lies square to the opening plane and ends at its
arris. A place on it, at depth d behind an opening of height g, sees of the sky in front only what is lower
than the opening's edge, so that a matte face (a cut one is) has there

    E(d) = 1 - d / √(d² + g²)

of its light at the opening (a long slot under an even sky; the view factor of a strip, as in any textbook of
heat transfer, from memory). From a camera whose view angle has the tangent τ, the depth d is seen at the
share u = d |τ| / g of the gap, counted from the face: E = 1 - u / √(u² + τ²). The model is a staircase of
that curve, each step blurred by the photo's Gaussian, and a line of light on the far arris: its rim turns
through all slants between two lit faces, and one of them glints. The glint takes the place of the cut face's
band among the parameters, as light times px.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import BAND, FACE, FLOOR, LEFT, LOG_BLUR, NEAR, RIGHT, WIDTH, step_and_bell

__all__ = ["EndFace"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

SLICES = 6
_SQRT_2PI = float(np.sqrt(2 * np.pi))
_SLOPE_CAP = 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class EndFace:
    """`levels` (K,) light of K even slices of the face, from its front inwards, as a share of its front's."""

    levels: Array64

    @classmethod
    def matte(cls, tangent: float) -> EndFace:
        """Return the end face seen under the angle of this tangent (either sign)."""
        u = (np.arange(SLICES) + 0.5) / SLICES
        return cls(levels=1 - u / np.hypot(u, max(abs(tangent), 1e-3)))

    def evaluate(self, x: NDArray[np.floating], theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """Light (N, M) at positions (M,) [px] for parameters (N, 8) as in `arris_model.PARAMETERS`."""
        return self._parts(x, theta)[0]

    def jacobian(self, x: Array, theta: Array) -> tuple[Array, Array]:
        """Light (N, M) and its derivatives (N, 8, M)."""
        model, steps, bells, z = self._parts(x, theta)
        sharp = np.exp(-theta[:, LOG_BLUR])[:, None, None]
        slopes = bells * self._heights(theta)[:, :, None] * (sharp / _SQRT_2PI)
        share = self._share_of_width().astype(np.float32)
        shade = self.levels[::-1].astype(np.float32)  # from the near edge on
        out = np.zeros((len(theta), 8, len(x)), np.float32)
        line = bells[:, -1] * (sharp[:, 0] / _SQRT_2PI)
        glint = theta[:, BAND, None] * line
        moving = glint * z[:, -1] * sharp[:, 0]  # minus its derivative for the place where it is seen
        out[:, BAND] = line
        out[:, NEAR] = moving - slopes.sum(axis=1)
        out[:, WIDTH] = moving - np.einsum("nkm,k->nm", slopes, share)
        out[:, LEFT] = 1 - steps[:, 0]
        out[:, RIGHT] = steps[:, -1]
        inside = np.einsum("nkm,k->nm", steps[:, :-1] - steps[:, 1:], shade)
        out[:, FACE] = inside
        out[:, FLOOR] = steps[:, 0] - steps[:, -1] - inside
        out[:, LOG_BLUR] = -(slopes * z).sum(axis=1) / sharp[:, 0] + glint * (z[:, -1] ** 2 - 1)
        return model.astype(np.float32, copy=False), out

    def _share_of_width(self) -> Array64:
        """Where the K + 1 edges lie, as shares of the width from the near edge."""
        return np.linspace(0.0, 1.0, len(self.levels) + 1)

    def _heights(self, theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """(N, K + 1) rise of the light at every edge."""
        floor, face = theta[:, FLOOR, None], theta[:, FACE, None]
        inside = floor + (face - floor) * self.levels[::-1].astype(theta.dtype)
        levels = np.concatenate([theta[:, LEFT, None], inside, theta[:, RIGHT, None]], axis=1)
        return np.asarray(np.diff(levels, axis=1))

    def _parts(
        self, x: NDArray[np.floating], theta: NDArray[np.floating]
    ) -> tuple[NDArray[np.floating], ...]:
        """Light (N, M), and steps, bells and their arguments, (N, K + 1, M) each."""
        share = self._share_of_width().astype(theta.dtype)
        edges = theta[:, NEAR, None] + theta[:, WIDTH, None] * share
        z = (x[..., None, :] - edges[:, :, None]) * np.exp(-theta[:, LOG_BLUR])[:, None, None]
        z = np.clip(z, -_SLOPE_CAP, _SLOPE_CAP)
        steps, bells = step_and_bell(z)
        rise = np.einsum("nk,nkm->nm", self._heights(theta), steps)
        sharp = np.exp(-theta[:, LOG_BLUR, None])
        glint = theta[:, BAND, None] * bells[:, -1] * (sharp / _SQRT_2PI)
        return theta[:, LEFT, None] + rise + glint, steps, bells, z
