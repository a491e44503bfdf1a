"""Light across a joint: plate, floor of the gap, the visible cut face, plate, blurred by one Gaussian."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BAND",
    "FACE",
    "FLOOR",
    "LEFT",
    "LOG_BLUR",
    "NEAR",
    "PARAMETERS",
    "RIGHT",
    "WIDTH",
    "ProfileModel",
    "edge_step",
    "evaluate",
    "jacobian",
    "profile_model",
    "step_and_bell",
]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]


class ProfileModel(Protocol):
    """Another light across a joint with the same parameters, for sections of other kinds."""

    def evaluate(self, x: NDArray[np.floating], theta: NDArray[np.floating]) -> NDArray[np.floating]:
        """Light (N, M) at positions (M,) [px] for parameters (N, 8)."""
        ...

    def jacobian(self, x: NDArray[np.float32], theta: NDArray[np.float32]) -> tuple[Array, Array]:
        """Light (N, M) and its derivatives (N, 8, M)."""
        ...


# Columns of the parameter array. The near arris is the one on the side where the face is NOT seen; callers
# that see the other face hand in mirrored profiles.
PARAMETERS = ("near", "width", "left", "floor", "right", "face", "band", "log_blur")
NEAR, WIDTH, LEFT, FLOOR, RIGHT, FACE, BAND, LOG_BLUR = range(8)

_SQRT_2PI = float(np.sqrt(2 * np.pi))
_SLOPE_CAP = 8.0  # beyond 8 sigmas a step is flat to single precision


def edge_step(z: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return the normal distribution function of z, in the precision of z, without a scipy import.

    Abramowitz and Stegun 7.1.26 for erf, absolute error below 1.5e-7.
    """
    return step_and_bell(z)[0]


def step_and_bell(z: NDArray[np.floating]) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Return the normal distribution function and exp(-z²/2), which both need; in place: the hot spot."""
    bell = np.exp(-0.5 * z * z)
    t = np.abs(z)
    t *= 0.3275911 * 0.7071067811865476
    t += 1
    np.reciprocal(t, out=t)
    half = t * 1.061405429
    for coefficient in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        half += coefficient
        half *= t
    half *= bell
    half *= 0.5
    return np.asarray(np.where(z < 0, half, 1 - half)), bell


def profile_model(x_px: Array64, parameters: Array64) -> Array64:
    """Light across the joint for parameters (N, 8) at positions (M,) → (N, M), linear light."""
    return np.asarray(evaluate(x_px.astype(np.float64), parameters.astype(np.float64))[0])


def evaluate(x: NDArray[np.floating], theta: NDArray[np.floating]) -> tuple[NDArray[np.floating], ...]:
    """Model (N, M), and its steps, their bells and arguments (3, N, M each), near, middle and far edge."""
    near, far = theta[:, NEAR, None], (theta[:, NEAR] + theta[:, WIDTH])[:, None]
    edges = np.stack([near, np.maximum(near, far - theta[:, BAND, None]), far])
    z = np.clip((x - edges) * np.exp(-theta[:, LOG_BLUR, None]), -_SLOPE_CAP, _SLOPE_CAP)
    left, floor, right, face = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT, FACE))
    steps, bells = step_and_bell(z)
    model = left + (floor - left) * steps[0] + (face - floor) * steps[1] + (right - face) * steps[2]
    return model, steps, bells, z


def jacobian(x: Array, theta: Array) -> tuple[Array, Array]:
    """Model (N, M) and its derivatives (N, 8, M)."""
    model, steps, bells, z = evaluate(x, theta)
    left, floor, right, face = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT, FACE))
    sharp = np.exp(-theta[:, LOG_BLUR, None])
    heights = np.stack([floor - left, face - floor, right - face]) * (sharp / _SQRT_2PI)
    slopes = heights * bells
    hidden = theta[:, BAND] >= theta[:, WIDTH]  # the face covers the floor: the middle edge is the near one
    moving = slopes[1] * np.where(hidden, 0, 1).astype(np.float32)[:, None]
    out = np.empty((len(theta), 8, len(x)), np.float32)
    out[:, NEAR] = -slopes.sum(axis=0)
    out[:, WIDTH] = -(moving + slopes[2])
    out[:, LEFT] = 1 - steps[0]
    out[:, FLOOR] = steps[0] - steps[1]
    out[:, RIGHT] = steps[2]
    out[:, FACE] = steps[1] - steps[2]
    out[:, BAND] = moving
    out[:, LOG_BLUR] = -(slopes * z).sum(axis=0) / sharp
    return model.astype(np.float32, copy=False), out
