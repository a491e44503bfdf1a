"""Tone curve and sharpening read from edges; what undoing them saves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from fitup.edges.response import PLAIN_RESPONSE, CameraResponse, contrast_curve, estimate_response
from fitup.photo import linear_to_srgb, srgb_to_linear

FINE = 0.05
OFFSETS = np.arange(-12, 12.01, 0.5)


def camera(light: np.ndarray, k: float, amount: float, radius: float) -> np.ndarray:
    """A phone: sRGB (IEC 61966-2-1), S-curve, unsharp mask; drawn 20 times finer than a pixel."""
    encoded = contrast_curve(linear_to_srgb(np.clip(light, 0, 1)), k)
    return encoded + amount * (encoded - gaussian_filter1d(encoded, radius / FINE, mode="nearest"))


def print_edges(k: float, amount: float, radius: float, blur: float, rng: np.random.Generator) -> np.ndarray:
    x = np.arange(-16, 16 + FINE / 2, FINE)
    rows = []
    for shift in rng.normal(0, 0.2, 50):
        picture = camera(0.035 + 0.7 * ndtr((x - shift) / blur), k, amount, radius)
        # The sensor has whole pixels at any phase, read between them bilinearly, many lines to a profile.
        lines = []
        for phase in rng.uniform(0, 1, 20):
            pixels = np.arange(-15, 15) + phase
            lines.append(np.interp(OFFSETS, pixels, np.interp(pixels, x, picture)))
        rows.append(np.mean(lines, axis=0) + rng.normal(0, 0.004, len(OFFSETS)))
    return np.array(rows, dtype=np.float32)


CAMERAS = [
    (0, 0, 1.2, 1.2),
    (0, 0.6, 1.2, 1.2),
    (0.5, 0, 1.2, 1.2),
    (0.5, 1.0, 1.2, 1.2),
    (0.3, 0.5, 1.0, 0.9),
]


def edge_shift(response: CameraResponse, k: float, amount: float, radius: float, blur: float) -> float:
    """How far a plate-to-gap edge is displaced after undoing the response, px (positive: gap too narrow)."""
    x = np.arange(-16, 16 + FINE / 2, FINE)
    samples = np.arange(-10, 10.5)
    picture = np.interp(samples, x, camera(0.45 - 0.44 * ndtr(x / blur), k, amount, radius))
    linear = response.to_linear(picture[None, :].astype(np.float32))[0]
    middle = (linear[:3].mean() + linear[-3:].mean()) / 2
    return float(np.interp(-middle, -linear[6:15], samples[6:15]))


@pytest.mark.parametrize("phone", CAMERAS, ids=str)
def test_modelled_response_brings_edges_home(phone: tuple[float, float, float, float]) -> None:
    k, amount, radius, blur = phone
    edges = print_edges(*phone, np.random.default_rng(7))
    response = estimate_response(OFFSETS, edges, 1.2)
    assert response.modelled
    assert response.blur_px == pytest.approx(np.hypot(blur, np.sqrt(1 / 6)), rel=0.1)
    assert abs(2 * edge_shift(response, k, amount, radius, blur)) < 2 * response.u_gap_px


def test_strong_tone_curve_costs_more_when_only_srgb_is_undone() -> None:
    k, amount, radius, blur = 0.5, 0, 1.2, 1.2
    response = estimate_response(OFFSETS, print_edges(k, amount, radius, blur, np.random.default_rng(8)), 1.2)
    plain = abs(edge_shift(PLAIN_RESPONSE, k, amount, radius, blur))
    modelled = abs(edge_shift(response, k, amount, radius, blur))
    assert plain > 0.1
    assert modelled < 0.5 * plain


def test_encoded_pixels_read_a_dark_gap_too_narrow() -> None:
    """The reason for linear light: the half level of encoded pixels lies inside the gap, the unsafe way."""
    x = np.arange(-10, 10.5)
    light = 0.45 - 0.44 * ndtr(x / 1.2)
    encoded = linear_to_srgb(light)
    middle = (encoded[0] + encoded[-1]) / 2
    assert np.interp(-middle, -encoded, x) > 0.4
    linear = PLAIN_RESPONSE.to_linear(encoded[None, :].astype(np.float32))[0]
    assert np.interp(-(linear[0] + linear[-1]) / 2, -linear, x) == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize(
    "edges",
    [
        np.zeros((0, len(OFFSETS)), np.float32),
        np.full((30, len(OFFSETS)), 0.5, np.float32),
        np.random.default_rng(1).uniform(0, 1, (30, len(OFFSETS))).astype(np.float32),
        np.full((30, len(OFFSETS)), np.nan, np.float32),
    ],
    ids=["none", "flat", "noise", "nan"],
)
def test_senseless_edges_give_the_plain_response_and_say_so(edges: np.ndarray) -> None:
    response = estimate_response(OFFSETS, edges, 1.2)
    assert not response.modelled
    assert response.note
    assert response.u_gap_px > 0.25


def test_paper_white_is_the_light_of_the_paper() -> None:
    response = estimate_response(OFFSETS, print_edges(0.2, 0.3, 1.2, 1.0, np.random.default_rng(9)), 1.2)
    assert response.paper_white == pytest.approx(0.735, abs=0.02)


def test_plain_response_is_the_srgb_curve() -> None:
    encoded = np.linspace(0, 1, 101, dtype=np.float32)[None, :]
    np.testing.assert_allclose(PLAIN_RESPONSE.to_linear(encoded)[0], srgb_to_linear(encoded[0]), atol=2e-4)


@pytest.mark.parametrize("contrast", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("blur", [1.0, 1.5])
def test_bilinear_sampling_of_encoded_pixels_is_put_right(contrast: float, blur: float) -> None:
    """Mean over all phases: decoded after sampling, against sampled in linear light, which moves no edge."""
    response = replace(PLAIN_RESPONSE, contrast=contrast)
    pixels = np.arange(-12, 13)
    light = 0.45 - 0.43 * ndtr(pixels / blur)
    table = np.linspace(0, 1, 4097)
    encoded = np.interp(light, response.curve(table), table)
    phases = (np.arange(20) + 0.5) / 20
    read, right = [], []
    for phase in phases:
        between = encoded[:-1] * (1 - phase) + encoded[1:] * phase
        read.append(response.to_linear(between[None].astype(np.float32))[0])
        right.append(light[:-1] * (1 - phase) + light[1:] * phase)
    plain = np.mean(read, axis=0) - np.mean(right, axis=0)
    middle = (encoded[:-1] + encoded[1:]) / 2
    put_back = response.sampled_to_linear(middle[None].astype(np.float32))[0]
    put_back -= response.to_linear(middle[None].astype(np.float32))[0]
    assert plain.min() < -0.002
    assert np.abs(plain + put_back).max() < 0.45 * np.abs(plain).max()
    assert abs((plain + put_back).sum()) < 0.2 * abs(plain.sum())
