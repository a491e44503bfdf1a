"""Tone curves of other families than the model's own: what they still cost a gap, against what is stated.

Edges of the print and a gap are drawn by one and the same phone. The gap is read back by SciPy's least
squares from the light that the response gives; its error over the blur is what the response costs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares
from scipy.special import ndtr

from fitup.edges.print_edge import contrast_curve, contrast_inverse
from fitup.edges.response import PLAIN_RESPONSE, CameraResponse, estimate_response
from fitup.photo import linear_to_srgb

Curve = Callable[[np.ndarray], np.ndarray]
FINE = 0.05
X = np.arange(-28, 28 + FINE / 2, FINE)
OFFSETS = np.arange(-12, 12.01, 0.5)
ACROSS = np.arange(-22, 23.0)


def srgb(light: np.ndarray) -> np.ndarray:
    return linear_to_srgb(np.clip(light, 0, 1))


def s_curve(rng: np.random.Generator) -> Curve:
    k = rng.uniform(0, 0.6)
    return lambda light: contrast_curve(srgb(light), k)


def power(rng: np.random.Generator) -> Curve:
    a = rng.uniform(0.85, 1.2)
    return lambda light: srgb(light) ** a


def sine(rng: np.random.Generator) -> Curve:
    a = rng.uniform(-0.2, 0.5)
    return lambda light: srgb(light) - a * np.sin(2 * np.pi * srgb(light)) / (2 * np.pi)


def parabola(rng: np.random.Generator) -> Curve:
    a = rng.uniform(-0.2, 0.3)
    return lambda light: srgb(light) * (1 + a) - a * srgb(light) ** 2


def gamma(rng: np.random.Generator) -> Curve:
    g = rng.uniform(1.9, 2.5)
    return lambda light: np.clip(light, 0, 1) ** (1 / g)


def shoulder(rng: np.random.Generator) -> Curve:
    """Highlights held back in linear light: L (1 + e L / w²) / (1 + e L), white stays white."""
    white, gain = rng.uniform(1.2, 4), rng.uniform(1, 1.4)

    def held(light: np.ndarray) -> np.ndarray:
        return light * (1 + light * gain / white**2) / (1 + light * gain)

    return lambda light: srgb(held(light) / held(np.array(1.0)))


def bezier(rng: np.random.Generator) -> Curve:
    """Toe and shoulder set by the two inner points of a cubic Bézier curve."""
    x1, x2 = rng.uniform(0.15, 0.35), rng.uniform(0.55, 0.8)
    y1, y2 = x1 * rng.uniform(0.5, 1.1), 1 - (1 - x2) * rng.uniform(0.4, 1.1)
    t = np.linspace(0, 1, 2001)
    x, y = (3 * t * (1 - t) ** 2 * a + 3 * t**2 * (1 - t) * b + t**3 for a, b in ((x1, x2), (y1, y2)))
    return lambda light: np.interp(srgb(light), x, y)


FAMILIES = (s_curve, power, sine, parabola, gamma, shoulder, bezier)


@dataclass(frozen=True, kw_only=True)
class Phone:
    curve: Curve
    amount: float
    radius: float
    blur: float
    halo: float
    ink: float
    paper: float

    def step(self, x: np.ndarray) -> np.ndarray:
        return (1 - self.halo) * ndtr(x / self.blur) + self.halo * ndtr(x / (2.5 * self.blur))

    def picture(self, light: np.ndarray) -> np.ndarray:
        encoded = self.curve(light)
        soft = gaussian_filter1d(encoded, self.radius / FINE, mode="nearest")
        return np.clip(encoded + self.amount * (encoded - soft), 0, 1)


def phone(family: Callable[[np.random.Generator], Curve], rng: np.random.Generator) -> Phone:
    paper = rng.uniform(0.6, 0.85)
    return Phone(
        curve=family(rng),
        amount=rng.uniform(0, 1),
        radius=rng.uniform(0.8, 2),
        blur=rng.uniform(0.8, 1.5),
        halo=rng.uniform(0, 0.1),
        ink=paper * rng.uniform(0.025, 0.07),
        paper=paper,
    )


def sampled(picture: np.ndarray, at: np.ndarray, shift: float, phases: np.ndarray) -> np.ndarray:
    """Whole pixels at several phases, read between them bilinearly, and the mean of all."""
    pixels = [np.arange(-26, 26) + phase for phase in phases]
    return np.mean([np.interp(at, p, np.interp(p - shift, X, picture)) for p in pixels], axis=0)


def edges_of(one: Phone, rng: np.random.Generator) -> np.ndarray:
    picture = one.picture(one.ink + (one.paper - one.ink) * one.step(X))
    rows = [sampled(picture, OFFSETS, s, rng.uniform(0, 1, 20)) for s in rng.normal(0, 0.2, 30)]
    return (np.array(rows) + rng.normal(0, 0.004, (30, len(OFFSETS)))).astype(np.float32)


def gap_of(one: Phone, rng: np.random.Generator) -> tuple[float, np.ndarray]:
    gap, left, right = rng.uniform(6, 17), *one.paper * rng.uniform(0.25, 0.75, 2)
    floor = one.paper * rng.uniform(0.005, 0.04)
    fall, rise = one.step(X + gap / 2), one.step(X - gap / 2)
    picture = one.picture(left + (floor - left) * fall + (right - floor) * rise)
    return gap, sampled(picture, ACROSS, 0.0, (np.arange(40) + 0.5) / 40)


def read(profile: np.ndarray, response: CameraResponse, guess: float) -> float:
    """Width of plate, floor, plate, all blurred by one Gaussian."""
    light = response.sampled_to_linear(profile[None].astype(np.float32))[0].astype(np.float64)
    near = np.abs(ACROSS) < guess / 2 + 8

    def misfit(t: np.ndarray) -> np.ndarray:
        steps = ndtr((ACROSS - t[0]) / np.exp(t[5])), ndtr((ACROSS - t[0] - t[1]) / np.exp(t[5]))
        return (t[2] + (t[3] - t[2]) * steps[0] + (t[4] - t[3]) * steps[1] - light)[near]

    start = [-guess / 2, guess, light[:8].mean(), light.min(), light[-8:].mean(), np.log(1.2)]
    return float(least_squares(misfit, start, x_scale=[1, 1, 0.1, 0.1, 0.1, 0.2]).x[1])


@pytest.fixture(scope="module")
def costs() -> dict[str, np.ndarray]:
    """(F, K) blurs that the response costs a gap, by family: read from the edges, plain, and as stated."""
    found: dict[str, list[list[float]]] = {"read": [], "plain": [], "stated": []}
    for number, family in enumerate(FAMILIES):
        rng = np.random.default_rng(number)
        rows: dict[str, list[float]] = {name: [] for name in found}
        for _ in range(12):
            one = phone(family, rng)
            response = estimate_response(OFFSETS, edges_of(one, rng), one.blur * rng.uniform(0.9, 1.3))
            assert response.modelled
            gap, profile = gap_of(one, rng)
            rows["read"].append((read(profile, response, gap) - gap) / response.blur_px)
            rows["plain"].append((read(profile, PLAIN_RESPONSE, gap) - gap) / response.blur_px)
            rows["stated"].append(response.u_gap_px / response.blur_px)
        for name, values in rows.items():
            found[name].append(values)
    return {name: np.array(values) for name, values in found.items()}


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_stated_uncertainty_holds_over_all_families(costs: dict[str, np.ndarray]) -> None:
    over_u = costs["read"] / costs["stated"]
    assert 0.8 < rms(over_u) < 1.2
    assert (np.abs(over_u) < 2).mean() > 0.9


def test_no_family_is_read_much_worse_than_stated(costs: dict[str, np.ndarray]) -> None:
    """Whatever the curve, and though the shoulder lies at the end of what the prior lets pass."""
    assert max(rms(row) for row in costs["read"] / costs["stated"]) < 1.7


def test_reading_the_curve_beats_assuming_it(costs: dict[str, np.ndarray]) -> None:
    assert rms(costs["read"]) < 0.7 * rms(costs["plain"])


@pytest.mark.parametrize("k", [-0.5, 0.0, 1e-9, 0.3, 0.95])
@pytest.mark.parametrize("exponent", [0.6, 1.0, 1.6])
def test_the_curve_and_its_inverse_undo_each_other(k: float, exponent: float) -> None:
    values = np.linspace(0, 1, 101)
    there = contrast_curve(values, k, exponent)
    np.testing.assert_allclose(contrast_inverse(there, k, exponent), values, atol=1e-7)


@pytest.mark.parametrize(("exponent", "k"), [(0.85, 0.1), (1.2, 0.2), (1.0, 0.4)])
def test_a_curve_of_the_model_is_found(exponent: float, k: float) -> None:
    """Light of greys as a share of paper's, at least half way from the sRGB curve to the true one."""
    rng = np.random.default_rng(3)
    one = replace(phone(s_curve, rng), ink=0.034, paper=0.75, blur=1.1, halo=0.03, amount=0.4, radius=1.2)
    one = replace(one, curve=lambda light: contrast_curve(srgb(light), k, exponent))
    light = np.array([0.1, 0.2, 0.4, one.paper])
    response = estimate_response(OFFSETS, edges_of(one, rng), 1.1)
    told, plain = (r.curve(one.curve(light)) for r in (response, PLAIN_RESPONSE))
    off, plain_off = (np.abs(seen / seen[-1] - light / light[-1]).max() for seen in (told, plain))
    assert plain_off > 0.02
    assert off < 0.5 * plain_off
