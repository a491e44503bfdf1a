"""Light across a joint: plate, floor of the gap, the visible cut face, plate, blurred by one Gaussian."""

from __future__ import annotations

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
    "edge_step",
    "evaluate",
    "jacobian",
    "profile_model",
]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

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
    y = np.abs(z) * z.dtype.type(0.7071067811865476)
    t = 1 / (1 + z.dtype.type(0.3275911) * y)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    half = (0.5 * poly * np.exp(-y * y)).astype(z.dtype, copy=False)
    return np.asarray(np.where(z < 0, half, 1 - half))


def profile_model(x_px: Array64, parameters: Array64) -> Array64:
    """Light across the joint for parameters (N, 8) at positions (M,) → (N, M), linear light."""
    return np.asarray(evaluate(x_px.astype(np.float64), parameters.astype(np.float64))[0])


def evaluate(x: NDArray[np.floating], theta: NDArray[np.floating]) -> tuple[NDArray[np.floating], ...]:
    """Model (N, M) and what its derivatives need."""
    near, far = theta[:, NEAR, None], (theta[:, NEAR] + theta[:, WIDTH])[:, None]
    middle = np.maximum(near, far - theta[:, BAND, None])
    sharp = np.exp(-theta[:, LOG_BLUR, None])
    z = [np.clip((x - edge) * sharp, -_SLOPE_CAP, _SLOPE_CAP) for edge in (near, middle, far)]
    left, floor, right, face = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT, FACE))
    steps = [edge_step(zk) for zk in z]
    model = left + (floor - left) * steps[0] + (face - floor) * steps[1] + (right - face) * steps[2]
    return (model, *steps, *z, sharp)


def jacobian(x: Array, theta: Array) -> tuple[Array, Array]:
    """Model (N, M) and its derivatives (N, 8, M)."""
    model, s1, s2, s3, z1, z2, z3, sharp = evaluate(x, theta)
    left, floor, right, face = (theta[:, k, None] for k in (LEFT, FLOOR, RIGHT, FACE))
    g1, g2, g3 = (np.exp(-0.5 * z * z) * (sharp / _SQRT_2PI) for z in (z1, z2, z3))
    d1, d2, d3 = (floor - left) * g1, (face - floor) * g2, (right - face) * g3
    hidden = theta[:, BAND] >= theta[:, WIDTH]  # the face covers the floor: the middle edge is the near one
    moves = np.where(hidden, 0, 1).astype(np.float32)[:, None]
    out = np.empty((len(theta), 8, len(x)), np.float32)
    out[:, NEAR] = -(d1 + d2 + d3)
    out[:, WIDTH] = -(d2 * moves + d3)
    out[:, LEFT] = 1 - s1
    out[:, FLOOR] = s1 - s2
    out[:, RIGHT] = s3
    out[:, FACE] = s2 - s3
    out[:, BAND] = d2 * moves
    out[:, LOG_BLUR] = -(d1 * z1 + d2 * z2 + d3 * z3) / sharp
    return model.astype(np.float32, copy=False), out
