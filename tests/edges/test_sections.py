"""Gaps between lands, and gaps in which an end face is seen: known light across them, read back.

The light is made here from step edges blurred by SciPy's Gaussian filter on a grid twenty times finer than
the pixels, and integrated over them; it shares no code with the fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from fitup.edges import Arrises, Band, Section, find_arrises, find_lands, section_of
from fitup.joint import JointSetup

Array = NDArray[np.float64]
SAMPLE_MM, SHEET_MM, BLUR_PX, FINE = 0.07, 1.5, 1.3, 20
STATIONS = 81


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Levels of plate, land, gap, land, plate; how a land's light rises outwards (share of its level)."""

    levels: tuple[float, ...]
    rise: float = 0.4
    noise: float = 0.002


def gap_mm(largest: float = 1.1) -> Array:
    """A gap of 0.3 mm with one opening."""
    s = np.arange(STATIONS) * 0.5
    return 0.3 + (largest - 0.3) * np.exp(-0.5 * ((s - 20) / 4) ** 2)


def band_of(light: NDArray[np.floating], n_mm: Array) -> Band:
    stations = np.arange(STATIONS) * 0.5
    xy = np.stack([stations, np.full(STATIONS, 20.0)], axis=1)
    return Band(
        station_mm=stations,
        n_mm=n_mm,
        xy_mm=xy,
        normal=np.tile([0.0, 1.0], (STATIONS, 1)),
        profiles=light.astype(np.float32),
        clipped=np.zeros_like(light, dtype=np.float32),
        inside=np.ones(STATIONS, dtype=bool),
        step_mm=0.5,
        sample_mm=SAMPLE_MM,
        rows_per_station=7,
    )


def seen(fine: Array, noise: float, seed: int) -> Array:
    """Blur, integrate over pixels, add noise."""
    blurred = ndimage.gaussian_filter1d(fine, BLUR_PX * FINE, axis=1, mode="nearest")
    pixels = blurred.reshape(STATIONS, -1, FINE).mean(axis=2)
    return np.maximum(pixels + np.random.default_rng(seed).normal(0, noise, pixels.shape), 0)


def grid() -> tuple[Array, Array]:
    """Places of the pixels and of the fine samples in them [mm]."""
    n_px = np.arange(-57, 58)
    fine = (n_px[:, None] + (np.arange(FINE) + 0.5) / FINE - 0.5).ravel()
    return n_px * SAMPLE_MM, fine * SAMPLE_MM


def open_corner(scene: Scene, gap: Array, land: tuple[Array, Array], seed: int = 1) -> Band:
    """Five levels and four edges; both lands get darker towards the gap."""
    n_mm, fine = grid()
    near, far = -gap / 2, gap / 2
    edges = [near - land[0], near, far, far + land[1]]
    light = np.full((STATIONS, len(fine)), scene.levels[0])
    for edge, level in zip(edges, scene.levels[1:], strict=True):
        light = np.where(fine >= edge[:, None], level, light)
    for start, end, side in ((edges[0], edges[1], -1), (edges[2], edges[3], 1)):
        own = (fine >= start[:, None]) & (fine < end[:, None])
        inner = edges[1] if side < 0 else edges[2]
        away = side * (fine - inner[:, None]) / SHEET_MM
        light = np.where(own, light * (1 + scene.rise * away), light)
    return band_of(seen(light, scene.noise, seed), n_mm)


def section(kind: str, tangent: float) -> Section:
    return section_of(JointSetup.of(kind), np.full(STATIONS, tangent), SHEET_MM)


def found(band: Band, across: Section) -> Arrises:
    return find_arrises(band, band.profiles, across, print_blur_px=BLUR_PX)


SCENES = {
    "bright lands": Scene(levels=(0.65, 0.35, 0.02, 0.3, 0.25)),
    "land darker than its plate": Scene(levels=(0.6, 0.12, 0.03, 0.25, 0.1)),
    "even lands": Scene(levels=(0.4, 0.3, 0.01, 0.3, 0.35), rise=0.0),
    "noisy": Scene(levels=(0.5, 0.3, 0.03, 0.3, 0.2), noise=0.01),
}


@pytest.mark.parametrize("tangent", [-0.25, 0.0, 0.25])
@pytest.mark.parametrize("name", SCENES)
def test_gap_between_lands_is_read_back(name: str, tangent: float) -> None:
    across = section("corner-full-open", tangent)
    gap = gap_mm()
    band = open_corner(SCENES[name], gap, (across.near_flank_mm, across.far_flank_mm))
    error = found(band, across).gap_mm - gap
    assert abs(error.mean()) < 0.02
    assert np.sqrt(np.mean(error**2)) < 0.03


@pytest.mark.parametrize("name", SCENES)
def test_lands_are_measured_to_their_outer_arris(name: str) -> None:
    across = section("corner-full-open", 0.1)
    band = open_corner(SCENES[name], gap_mm(), (across.near_flank_mm, across.far_flank_mm))
    lands = find_lands(found(band, across), band.profiles)
    for length in (lands.near_mm, lands.far_mm):
        assert np.isfinite(length).mean() > 0.9
        np.testing.assert_allclose(length[np.isfinite(length)], SHEET_MM, atol=0.12)


def test_short_land_is_seen_as_short_and_the_gap_beside_it_is_still_read() -> None:
    across = section("corner-full-open", 0.0)
    far = across.far_flank_mm.copy()
    far[30:50] *= 0.35
    gap = gap_mm(0.3)
    band = open_corner(SCENES["bright lands"], gap, (across.near_flank_mm, far))
    arrises = found(band, across)
    lands = find_lands(arrises, band.profiles)
    assert np.nanmax(lands.far_mm[33:47]) < 0.6 * SHEET_MM
    assert np.nanmin(lands.far_mm[:26]) > 0.85 * SHEET_MM
    assert np.abs(arrises.gap_mm - gap)[33:47].max() < 0.06


def test_where_no_outer_arris_shows_no_land_is_claimed() -> None:
    across = section("corner-full-open", 0.0)
    scene = Scene(levels=(0.3, 0.3, 0.02, 0.3, 0.3), rise=0.0)
    band = open_corner(scene, gap_mm(), (across.near_flank_mm, across.far_flank_mm))
    lands = find_lands(found(band, across), band.profiles)
    assert np.isfinite(lands.near_mm).mean() < 0.1
    assert np.isfinite(lands.far_mm).mean() < 0.1


def test_a_butt_joint_has_no_lands() -> None:
    across = section("butt", 0.0)
    band = open_corner(SCENES["even lands"], gap_mm(), (across.near_flank_mm, across.far_flank_mm))
    lands = find_lands(found(band, across), band.profiles)
    assert not lands.near_expected
    assert not lands.far_expected


@pytest.mark.parametrize("face", [0.1, 0.2, 0.35])
@pytest.mark.parametrize("kind", ["corner-flush", "edge"])
def test_gap_with_an_end_face_in_it_is_read_back(kind: str, face: float) -> None:
    """A face lit through the gap, integrated over an even sky; brighter or darker than the plate behind."""
    across = section(kind, -0.9)
    gap = gap_mm()
    n_mm, fine = grid()
    near, far = (-gap / 2)[:, None], (gap / 2)[:, None]
    depth = (far - fine) / 0.9 / gap[:, None]  # in gaps, behind the opening plane
    elevation = np.arctan2(1.0, np.maximum(depth, 0))
    inside = face * (1 - np.cos(elevation))  # integral of the sine of the elevation, up to the near arris
    light = np.where(fine < near - SHEET_MM, 0.4, 0.2)
    light = np.where((fine >= near) & (fine < far), inside, light)
    light = np.where(fine >= far, 0.15, light)
    if kind == "edge":
        light = np.where(fine >= far + SHEET_MM, 0.05, light)
    band = band_of(seen(light, 0.002, 5), n_mm)
    error = found(band, across).gap_mm - gap
    assert abs(np.median(error)) < 0.03
    assert np.percentile(np.abs(error), 90) < 0.1  # where face and plate are alike only the shade tells


def test_widths_of_flanks_follow_from_thickness_and_view() -> None:
    """A square corner seen along its bisector shows lands of t/√2; aside by δ of t sin(45° ± δ) / cos δ."""
    straight = section("corner-full-open", 0.0)
    np.testing.assert_allclose(straight.near_flank_mm, SHEET_MM / np.sqrt(2))
    aside = section("corner-full-open", float(np.tan(np.radians(15))))
    np.testing.assert_allclose(
        aside.near_flank_mm, SHEET_MM * np.sin(np.radians(60)) / np.cos(np.radians(15))
    )
    np.testing.assert_allclose(aside.far_flank_mm, SHEET_MM * np.sin(np.radians(30)) / np.cos(np.radians(15)))
