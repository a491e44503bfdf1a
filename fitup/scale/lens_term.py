"""What the lens may do that the map does not know of: shifts of image points, each of unit variance.

Without a lens profile the lens is anybody's guess: radial shifts about the picture's middle, of one percent
of the radius (standard deviation), alike over a fifth of the half diagonal. That holds lenses whose
distortion rises and falls again on the way out, as a phone's does that was corrected by a few coefficients,
and a little decentring. With a profile it is what the profile leaves open.

What the target's own saddles tell of it is not forgotten: a long strip that fits a plane to a tenth of a
pixel leaves little room for distortion beside it, one that does not leaves much. The guess is therefore
conditioned on the residuals (a Gaussian process at its simplest: C. E. Rasmussen, C. K. I. Williams, Gaussian
Processes for Machine Learning, 2006, chapter 2). The map itself stays as fitted; what the residuals say is
wrong with it counts as uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.scale.lens import Optics

__all__ = ["LensTerm", "lens_term"]

Array = NDArray[np.float64]

_RADIAL_SHARE = 0.01  # of the radius
_ALIKE_OVER = 0.2  # of the half diagonal
_NODES = np.arange(0.0, 1.25, 0.12)  # spaced by 0.6 of that, the sum of squares is even to a thousandth
_DECENTRING_SHARE = 0.001  # of the half diagonal, at the corner
# Cropped pictures: the lens's middle is not the picture's, so that shifts are larger and residuals tell less.
_UNKNOWN_SHARE, _UNKNOWN_RESIDUAL = 2.0, 4.0
# What a profile cannot promise for the next photo, as a share of the radius; order of magnitude, from memory.
_PROFILE_SHARE = 0.0003
# What residuals hold besides noise and radial shifts: paper that is not flat, print, decentring.
_U_RESIDUAL_SHARE, _U_RESIDUAL_LEAST_PX = 1e-4, 0.2  # of the picture's diagonal


@dataclass(frozen=True, kw_only=True, eq=False)
class LensTerm:
    """Possible shifts of image points, told in the pixels of an ideal camera.

    share is the standard deviation of radial shifts over the radius, u_residual_px that of what residuals
    hold besides shifts; optics is the photo's lens by its profile, or None. weights (M, K) mix the K single
    shifts into M that are independent, of unit variance.
    """

    size_px: tuple[int, int]
    share: float
    u_residual_px: float
    optics: Optics | None
    weights: Array | None = None

    def fields(self, ideal_px: Array) -> Array:
        """(M, N, 2) shifts in px of image points (N, 2)."""
        fields = _radial_fields(ideal_px, self.size_px, self.share)
        if self.optics is None:
            fields = np.concatenate((fields, _decentring_fields(ideal_px, self.size_px)))
        else:
            fields = np.concatenate((fields, self.optics.fields(ideal_px)))
        return self.mixed(fields)

    def mixed(self, single: Array) -> Array:
        """What belongs to each single shift (K, ...), as that of the independent ones (M, ...)."""
        return single if self.weights is None else np.tensordot(self.weights, single, axes=1)

    def given(self, left_px: Array, residual_px: Array) -> LensTerm:
        """Return what remains possible once residuals are seen.

        left_px (K, ...) is what the fit of the plane leaves of each shift at the saddles, residual_px (...)
        what it left there indeed. What the residuals say is wrong already comes as one more shift.
        """
        left, residual = left_px.reshape(len(left_px), -1), residual_px.ravel()
        precision = np.eye(len(left)) + left @ left.T / self.u_residual_px**2
        covariance = np.linalg.inv(precision)
        mean = covariance @ (left @ residual) / self.u_residual_px**2
        root = np.linalg.cholesky((covariance + covariance.T) / 2)
        weights = np.concatenate((root.T, mean[None]))
        return replace(self, weights=weights)


def lens_term(size_px: tuple[int, int], camera_known: bool, optics: Optics | None = None) -> LensTerm:
    """Give what the lens may do before residuals are seen."""
    optics = None if optics is None or optics.guessed else optics
    share = _RADIAL_SHARE
    if optics is not None:
        # Over a rectangle the root mean square radius is the half diagonal by the root of three.
        unexplained = optics.left_px * np.sqrt(3.0) / (float(np.hypot(*size_px)) / 2)
        share = float(np.hypot(_PROFILE_SHARE, unexplained))
    u_residual = max(_U_RESIDUAL_SHARE * float(np.hypot(*size_px)), _U_RESIDUAL_LEAST_PX)
    if not camera_known:
        share, u_residual = _UNKNOWN_SHARE * share, _UNKNOWN_RESIDUAL * u_residual
    return LensTerm(size_px=size_px, share=share, u_residual_px=u_residual, optics=optics)


def _radial_fields(px: Array, size_px: tuple[int, int], share: float) -> Array:
    """Bumps over the radius, whose sum with random factors is alike over `_ALIKE_OVER` and even about 0."""
    arm, r = _polar(px, size_px)
    nodes = _NODES[:, None]
    bumps = np.exp(-(((r - nodes) / _ALIKE_OVER) ** 2)) + np.where(
        nodes > 0, np.exp(-(((r + nodes) / _ALIKE_OVER) ** 2)), 0.0
    )
    step = _NODES[1] - _NODES[0]
    each = share * np.sqrt(step / (_ALIKE_OVER * np.sqrt(np.pi / 2)))
    return np.asarray(each * bumps[:, :, None] * arm)


def _decentring_fields(px: Array, size_px: tuple[int, int]) -> Array:
    """(2, N, 2) the tangential terms of OpenCV's lens model."""
    half = float(np.hypot(*size_px)) / 2
    arm, r = _polar(px, size_px)
    x = arm / half
    each = _DECENTRING_SHARE * half / 3.0
    return np.stack([each * (2 * x[:, k, None] * x + (r**2)[:, None] * np.eye(2)[k]) for k in (0, 1)])


def _polar(px: Array, size_px: tuple[int, int]) -> tuple[Array, Array]:
    """Way from the picture's middle (N, 2) px, and its length (N,) over the half diagonal."""
    arm = px - (np.array(size_px) - 1) / 2
    return arm, np.linalg.norm(arm, axis=-1) / (float(np.hypot(*size_px)) / 2)
