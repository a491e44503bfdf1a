"""Tone curves of phones' picture chains, as families of one number each: linear light to code, 0 to 1."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["TONES", "srgb", "toned"]

Array32 = NDArray[np.float32]
FILMIC_WHITE = 2.0  # light that a filmic curve still tells from white; the others clip at 1


def toned(light: Array32, family: str, strength: float) -> Array32:
    """Code values (0 to 1) of linear light (1 = white) through the curve of that family."""
    return TONES[family](np.maximum(light, 0), strength)


def srgb(light: Array32) -> Array32:
    """The standard curve of light from 0 to 1."""
    return np.where(
        light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055
    ).astype(np.float32)


def _s_curve(light: Array32, strength: float) -> Array32:
    code = srgb(np.minimum(light, 1))
    return code + np.float32(strength) * (3 * code**2 - 2 * code**3 - code)


def _power(light: Array32, strength: float) -> Array32:
    return srgb(np.minimum(light, 1)) ** np.float32(strength)


def _gamma(light: Array32, strength: float) -> Array32:
    return np.minimum(light, 1) ** np.float32(1 / strength)


def _filmic(light: Array32, strength: float) -> Array32:
    """Highlights held back in linear light: L (1 + g L / w²) / (1 + g L), w still told from white."""

    white = np.float32(FILMIC_WHITE)

    def held(value: Array32) -> Array32:
        gain = np.float32(strength)
        return value * (1 + gain * value / white**2) / (1 + gain * value)

    return srgb(held(np.minimum(light, white)) / held(white))


def _sine(light: Array32, strength: float) -> Array32:
    """Contrast about mid grey with its toe and shoulder nearer to it than the S has them."""
    code = srgb(np.minimum(light, 1))
    return code - np.float32(strength / (2 * np.pi)) * np.sin(np.float32(2 * np.pi) * code)


# name: code of (light, strength)
TONES: dict[str, Callable[[Array32, float], Array32]] = {
    "s-curve": _s_curve,
    "power": _power,
    "gamma": _gamma,
    "filmic": _filmic,
    "sine": _sine,
}
