"""Photos spoilt by known physics: light through a kernel, more or less of it, noise."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

import tests.drawn_joint as drawn_joint
from tests.drawn_joint import Scene, developed

__all__ = ["defocus", "gaussian", "light_of", "motion", "photo_of", "through"]

_FINE = 9  # kernels are drawn this much finer than pixels and averaged


def light_of(scene: Scene) -> np.ndarray:
    """The light (H, W) that a drawn scene's camera gets, before noise, tone curve and sharpening."""
    caught: list[np.ndarray] = []
    original = drawn_joint.developed
    try:
        drawn_joint.developed = lambda light, *_: caught.append(light) or light
        drawn_joint.draw(scene)
    finally:
        drawn_joint.developed = original
    return caught[0]


def motion(length_px: float, direction_deg: float) -> np.ndarray:
    """A box of a length along a direction of the photo, 0 along u and 90 along v."""
    kernel, middle = _raster(length_px / 2 + 2)
    way = np.linspace(-length_px / 2, length_px / 2, 4000) * _FINE
    turn = np.radians(direction_deg)
    row, column = (np.rint(middle + way * side(turn)).astype(int) for side in (np.sin, np.cos))
    np.add.at(kernel, (row, column), 1.0)
    return _averaged(kernel)


def defocus(radius_px: float) -> np.ndarray:
    """An even disc."""
    kernel, middle = _raster(radius_px + 1)
    place = np.arange(len(kernel)) - middle
    kernel[np.hypot(place[:, None], place) <= radius_px * _FINE] = 1.0
    return _averaged(kernel)


def gaussian(sigma_px: float) -> np.ndarray:
    """A Gaussian."""
    side = cv2.getGaussianKernel(2 * int(np.ceil(4 * sigma_px)) + 1, sigma_px)
    return side @ side.T


def through(light: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    """Light blurred by a kernel."""
    return cv2.filter2D(np.asarray(light, np.float32), -1, kernel, borderType=cv2.BORDER_REPLICATE)


def photo_of(light: np.ndarray, scene: Scene, path: Path, *, added_noise: float = 0.0) -> Path:
    """Develop and write a photo; noise [grey levels] is added to the developed picture."""
    rng = np.random.default_rng(scene.seed)
    picture = developed(light, scene, rng)
    if added_noise:
        picture = np.clip(np.rint(picture + rng.normal(0, added_noise, picture.shape)), 0, 255)
    Image.fromarray(picture.astype(np.uint8)).save(path)
    return path


def _raster(reach_px: float) -> tuple[np.ndarray, float]:
    size = 2 * int(np.ceil(reach_px)) + 1
    return np.zeros((size * _FINE, size * _FINE)), (size * _FINE - 1) / 2


def _averaged(kernel: np.ndarray) -> np.ndarray:
    size = len(kernel) // _FINE
    small = kernel.reshape(size, _FINE, size, _FINE).sum(axis=(1, 3))
    return small / small.sum()
