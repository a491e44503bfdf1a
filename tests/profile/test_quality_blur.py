"""Blur, motion and noise as read from the print, against kernels and noise that were put in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from skimage.measure import blur_effect

from fitup.edges import read_response
from fitup.photo import Photo, open_photo
from fitup.profile.motion import fit_kernel
from fitup.profile.paper_noise import paper_noise
from fitup.profile.print_blur import PrintBlur, print_blur
from fitup.scale import TargetSighting, find_target, scale_map
from tests.drawn_joint import Scene
from tests.perturbing import defocus, gaussian, light_of, motion, photo_of, through

SCENE = Scene(gap_mm=lambda x: 0.4 + 0 * x, noise=0.002)
TURNED = replace(SCENE, turn_deg=24.0, slant_deg=9.0, seed=8)


@dataclass(frozen=True, kw_only=True)
class Read:
    photo: Photo
    sighting: TargetSighting
    blur: PrintBlur
    response_blur_px: float


@pytest.fixture(scope="module")
def lights() -> dict[str, np.ndarray]:
    return {"square": light_of(SCENE), "turned": light_of(TURNED)}


def read(light: np.ndarray, path: Path, scene: Scene = SCENE, *, added_noise: float = 0.0) -> Read:
    photo = open_photo(photo_of(light, scene, path / "photo.png", added_noise=added_noise))
    sighting = find_target(photo)
    response = read_response(photo, scale_map(photo, sighting))
    blur = print_blur(photo, sighting, response)
    assert blur is not None
    return Read(photo=photo, sighting=sighting, blur=blur, response_blur_px=response.blur_px)


@pytest.mark.parametrize("sigma", [0.0, 1.0, 2.0, 3.0])
def test_a_known_blur_is_read_and_is_no_motion(
    lights: dict[str, np.ndarray], tmp_path: Path, sigma: float
) -> None:
    plain = replace(SCENE, sharpen=0.0)
    light = through(lights["square"], gaussian(sigma)) if sigma else lights["square"]
    seen = read(light, tmp_path, plain).blur
    assert seen.sigma_px == pytest.approx(np.hypot(SCENE.blur_px, sigma), rel=0.15)
    assert not seen.moved


@pytest.mark.parametrize("radius", [1.5, 3.0, 5.0])
def test_defocus_is_no_motion(lights: dict[str, np.ndarray], tmp_path: Path, radius: float) -> None:
    # A disc has a quarter of its radius's square as variance in every direction.
    seen = read(through(lights["square"], defocus(radius)), tmp_path).blur
    assert not seen.moved
    assert seen.sigma_px == pytest.approx(np.hypot(SCENE.blur_px, radius / 2), rel=0.2)


@pytest.mark.parametrize(
    ("which", "length", "direction"),
    [
        *(("square", 5.0, degrees) for degrees in (0, 25, 45, 70, 90, -35, -65)),
        *(("square", 10.0, degrees) for degrees in (10, 80, -45)),
        *(("turned", 5.0, degrees) for degrees in (0, 24, 60, 90, -40)),
    ],
)
def test_motion_is_told_with_its_direction_and_extent(
    lights: dict[str, np.ndarray], tmp_path: Path, which: str, length: float, direction: float
) -> None:
    scene = TURNED if which == "turned" else SCENE
    seen = read(through(lights[which], motion(length, direction)), tmp_path, scene).blur
    assert seen.moved
    apart = abs(seen.direction_deg - direction) % 180
    assert min(apart, 180 - apart) < 15
    assert seen.length_px == pytest.approx(length, rel=0.3)


def test_the_kernel_table_gives_back_what_a_kernel_does() -> None:
    # Widths and corner level of a box on a Gaussian by brute force: sums over many drawn points.
    rng = np.random.default_rng(4)
    for length, degrees in ((3.0, 20.0), (8.0, -50.0), (15.0, 75.0)):
        way = rng.uniform(-length / 2, length / 2, 400_000)
        turn = np.radians(degrees)
        x, y = (way * side(turn) + rng.normal(0, 1.2, way.size) for side in (np.cos, np.sin))
        widths = [np.subtract(*np.quantile(one, (0.75, 0.25))) / 1.349 for one in (x, y)]
        kernel = fit_kernel(widths[0], widths[1], float(np.mean(np.sign(x) * np.sign(y))))
        found = float(np.degrees(np.arctan2(kernel.y, kernel.x)))
        assert found == pytest.approx(degrees, abs=4)
        assert kernel.length_px == pytest.approx(length, rel=0.12)
        assert kernel.sigma_px == pytest.approx(1.2, rel=0.1)


def test_blur_agrees_with_the_slanted_edge_and_rises_with_an_outside_measure(
    lights: dict[str, np.ndarray], tmp_path: Path
) -> None:
    """ISO 12233's slanted edge: MTF50 of a Gaussian is 0.18739 / sigma [cycles/px], square root of
    ln 2 / (2 pi^2); scikit-image's blur_effect (0 sharp to 1) is only compared in order."""
    plain = replace(SCENE, sharpen=0.0, contrast=0.0, noise=0.0)
    ours, theirs = [], []
    for sigma in (0.8, 1.8, 3.0):
        light = through(lights["square"], gaussian(sigma))
        ours.append(read(light, tmp_path, plain).blur.sigma_px)
        mtf50 = _mtf50(_line_spread(SCENE.blur_px, sigma))
        assert np.sqrt(np.log(2) / 2) / np.pi / ours[-1] == pytest.approx(mtf50, rel=0.15)
        theirs.append(blur_effect(light[300:1100, 800:2400], h_size=11))
    assert ours == sorted(ours)
    assert theirs == sorted(theirs)


def _line_spread(*sigmas: float) -> np.ndarray:
    x = np.arange(-64, 64) / 4
    spread = np.exp(-(x**2) / (2 * sum(s**2 for s in sigmas)))
    return np.asarray(spread / spread.sum())


def _mtf50(spread: np.ndarray) -> float:
    size = np.abs(np.fft.rfft(spread, 4096))
    frequency = np.fft.rfftfreq(4096, 0.25)
    return float(np.interp(-0.5, -size, frequency))


@pytest.mark.parametrize("level", [2.0, 6.0, 12.0])
def test_added_noise_is_read(lights: dict[str, np.ndarray], tmp_path: Path, level: float) -> None:
    quiet = replace(SCENE, noise=0.0, sharpen=0.0)
    # A bit darker, so that the paper with its noise stays below white.
    seen = read(0.6 * lights["square"], tmp_path, quiet, added_noise=level)
    ours = paper_noise(seen.photo, seen.sighting)
    assert ours == pytest.approx(level, rel=0.1)
    # The usual wavelet estimate (D. Donoho, I. Johnstone, Biometrika 81, 1994: median of the finest diagonal
    # Haar details over 0.6745), on plate instead of paper.
    plate = seen.photo.grey8[60:260, 200:3400].astype(float)
    details = (plate[::2, ::2] - plate[1::2, ::2] - plate[::2, 1::2] + plate[1::2, 1::2]) / 2
    assert ours == pytest.approx(float(np.median(np.abs(details))) / 0.6745, rel=0.15)
