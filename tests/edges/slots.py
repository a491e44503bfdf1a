"""Profiles of known truth through the product's estimator, with start values as the product makes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from tests.edges.bound import Array, Slot, light, samples

__all__ = ["Trial", "measure", "priors_of", "start_of"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    slot: Slot
    x: Array
    profiles: Array
    near: Array
    fit: ArrisFit

    @property
    def error_px(self) -> Array:
        return self.fit.width_px - self.slot.width_px

    @property
    def rms_px(self) -> float:
        return float(np.sqrt(np.mean(self.error_px**2)))

    @property
    def stated_px(self) -> Array:
        return np.sqrt(sum(self.fit.variance_parts.values()))


def measure(
    slot: Slot, count: int, seed: int, *, floor_off: float | None = None, iterations: int = 6
) -> Trial:
    """Measure `count` noisy gaps with random places between the pixels.

    What is believed beforehand of floor and blur is drawn from the stated prior around the truth, so that the
    bound with prior information is the fair one; `floor_off` instead puts the believed floor wrong by that
    much at every station.
    """
    rng = np.random.default_rng(seed)
    x = samples(slot)
    near = rng.uniform(-0.5, 0.5, count) - slot.width_px / 2
    profiles = light(x, near, slot) + rng.normal(0, slot.noise, (count, len(x)))
    believed_floor = slot.floor + (
        _drawn(rng, slot.floor_sd, count) if floor_off is None else np.full(count, floor_off)
    )
    believed_log_blur = np.log(slot.blur_px) + _drawn(rng, slot.log_blur_sd, count)
    priors = priors_of(slot, believed_floor, believed_log_blur)
    fit = fit_arrises(
        x,
        profiles.astype(np.float32),
        np.ones(profiles.shape, np.float32),
        start_of(x, profiles, priors),
        priors,
        noise_floor=1e-4,
        iterations=iterations,
    )
    return Trial(slot=slot, x=x, profiles=profiles, near=near, fit=fit)


def priors_of(slot: Slot, floor: Array, log_blur: Array) -> ArrisPriors:
    """No cut face is seen; infinite deviations stay infinite."""
    ones = np.ones_like(floor)
    return ArrisPriors(
        floor=floor,
        floor_sd=slot.floor_sd * ones,
        face=floor,
        face_sd=ones,
        band_px=0 * ones,
        band_sd_px=0 * ones,
        log_blur=log_blur,
        log_blur_sd=slot.log_blur_sd * ones,
    )


def start_of(x: Array, profiles: Array, priors: ArrisPriors) -> Array:
    """Half-level crossings; for a narrow gap the missing light over the believed depth. No truth is used."""
    left, right = np.median(profiles[:, :6], axis=1), np.median(profiles[:, -6:], axis=1)
    lowest = profiles.argmin(axis=1)
    floor = profiles.min(axis=1)
    near = _crossing(x, profiles, (left + floor) / 2, lowest, -1)
    far = _crossing(x, profiles, (right + floor) / 2, lowest, +1)
    blur = np.exp(priors.log_blur)
    narrow = far - near < 3.5 * blur
    floor = np.where(narrow, priors.floor, floor)
    base = left[:, None] + (right - left)[:, None] * (x - x[0]) / (x[-1] - x[0])
    deficit = (base - profiles).sum(axis=1) / np.maximum((left + right) / 2 - floor, 1e-3)
    width = np.where(narrow, np.clip(deficit, 0.05, far - near), far - near)
    zero = np.zeros_like(near)
    columns = [(near + far - width) / 2, width, left, floor, right, floor, zero, priors.log_blur]
    return np.stack(columns, axis=1)


def _drawn(rng: np.random.Generator, sd: float, count: int) -> Array:
    return rng.normal(0, sd, count) if np.isfinite(sd) else np.zeros(count)


def _crossing(x: Array, profiles: Array, level: Array, lowest: Array, side: int) -> Array:
    """First place on the given side of the lowest sample where the profile is back at `level`."""
    columns = np.arange(len(x))
    beyond = (side * (columns - lowest[:, None]) > 0) & (profiles > level[:, None])
    index = beyond.argmax(axis=1) if side > 0 else len(x) - 1 - beyond[:, ::-1].argmax(axis=1)
    rows = np.arange(len(profiles))
    a, b = profiles[rows, index], profiles[rows, index - side]
    return x[index] - side * (a - level) / np.where(a == b, 1, a - b)
