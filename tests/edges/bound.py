"""How well a gap can be measured at all: the Cramér–Rao bound, derived here and independent of fitup.

Light across a gap of width w whose near arris lies at e, blurred by a Gaussian of sigma s (all px):

    I(x) = L + (F - L) Φ((x - e)/s) + (R - F) Φ((x - e - w)/s)

sampled at every pixel with white Gaussian noise of standard deviation σ. Fisher's information matrix is
JᵀJ/σ², J being the derivatives of I by the parameters (e, w, L, F, R, log s). No unbiased estimator has a
covariance below its inverse (C. R. Rao 1945, H. Cramér 1946). What is known beforehand about a parameter with
standard deviation p adds 1/p² on the diagonal; the bound then holds for the error averaged over truths drawn
from that prior (H. L. van Trees 1968).

Closed forms, for samples so dense that the sum over pixels is the integral (s of some 0.7 px suffices):

one arris, all else known     ∫ (∂I/∂e)² dx = ΔA²/(2 √π s), hence  sd(e) = (σ/ΔA) √(2 √π s)
width, all else known         the two arrises' derivatives overlap by exp(-w²/4s²), hence
                              sd(w) = 2 (σ/ΔA) √(√π s / (1 + exp(-w²/4s²))), √2 sd(e) for wide gaps
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["Slot", "arris_bound_px", "bound_covariance", "light", "samples", "width_bound_px", "width_sd_px"]

Array = NDArray[np.float64]

PARAMETERS = ("near", "width", "left", "floor", "right", "log_blur")


@dataclass(frozen=True, kw_only=True)
class Slot:
    """A gap as the bound sees it: px, levels of linear light, noise of one sample."""

    width_px: float
    blur_px: float
    left: float = 0.40
    floor: float = 0.012
    right: float = 0.31
    noise: float = 0.002
    flank_px: float = 12.0
    floor_sd: float = np.inf
    log_blur_sd: float = np.inf


def samples(slot: Slot) -> Array:
    """Pixel positions (M,) from a flank before to a flank behind a gap whose middle lies within ±0.5 px."""
    reach = np.ceil(slot.width_px / 2 + slot.flank_px)
    return np.arange(-reach, reach + 1)


def light(x: Array, near: Array, slot: Slot, *, floor: Array | None = None) -> Array:
    """Noise-free profiles (N, M) for near arrises at `near` (N,)."""
    level = np.asarray(slot.floor if floor is None else floor)[..., None]
    first = ndtr((x - near[:, None]) / slot.blur_px)
    second = ndtr((x - near[:, None] - slot.width_px) / slot.blur_px)
    return slot.left + (level - slot.left) * first + (slot.right - level) * second


def bound_covariance(slot: Slot, near: float) -> Array:
    """Smallest possible covariance (6, 6) in the order of PARAMETERS, for one position of the near arris."""
    information = fisher_information(slot, near)
    information[3, 3] += 1 / slot.floor_sd**2
    information[5, 5] += 1 / slot.log_blur_sd**2
    return np.linalg.inv(information)


def fisher_information(slot: Slot, near: float) -> Array:
    """Fisher's information matrix (6, 6) of the samples alone."""
    x = samples(slot)
    z1, z2 = (x - near) / slot.blur_px, (x - near - slot.width_px) / slot.blur_px
    p1, p2 = (np.exp(-z * z / 2) / (np.sqrt(2 * np.pi) * slot.blur_px) for z in (z1, z2))
    d1, d2 = (slot.floor - slot.left) * p1, (slot.right - slot.floor) * p2
    by = np.stack(
        [
            -(d1 + d2),
            -d2,
            1 - ndtr(z1),
            ndtr(z1) - ndtr(z2),
            ndtr(z2),
            -(d1 * z1 + d2 * z2) * slot.blur_px,
        ]
    )
    return by @ by.T / slot.noise**2


def width_sd_px(slot: Slot, phases: int = 8) -> float:
    """Bound on the width's standard deviation, averaged over the gap's position between the pixels."""
    middles = (np.arange(phases) + 0.5) / phases - 0.5
    variances = [bound_covariance(slot, m - slot.width_px / 2)[1, 1] for m in middles]
    return float(np.sqrt(np.mean(variances)))


def arris_bound_px(noise: float, step: float, blur_px: float) -> float:
    """Closed form: one arris between known levels `step` apart, known blur."""
    return noise / step * float(np.sqrt(2 * np.sqrt(np.pi) * blur_px))


def width_bound_px(noise: float, step: float, blur_px: float, width_px: float) -> float:
    """Closed form: width between alike plates, all else known."""
    overlap = 1 + np.exp(-(width_px**2) / (4 * blur_px**2))
    return 2 * noise / step * float(np.sqrt(np.sqrt(np.pi) * blur_px / overlap))
