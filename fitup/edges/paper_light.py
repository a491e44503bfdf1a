"""How evenly the print's white rim is lit: the sign of one near lamp.

Paper scatters light from everywhere alike, so its light changes from place to place only where a lamp is
near. Across the joint that tells of a lamp that shines on the rims of one side, for which a rule made for
even light does not hold. The lens darkens its corners too: that is taken out with the squared distance from
the picture's middle, which the long rows of the strip tell apart from a lamp.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.response import CameraResponse
from fitup.photo import Photo
from fitup.scale import TargetSighting

__all__ = ["paper_slope"]

Array64 = NDArray[np.float64]

_RIM_MM = 2.0  # from the pattern: white, nothing is printed there
_PATCH_MM = np.linspace(-0.75, 0.75, 7)
_BURNT = 0.985
_LEAST_PATCHES = 12
_VIGNETTING, _VIGNETTING_SD = -0.2, 0.15  # log light from the middle to the corner: phones (common practice)
_SCATTER = 0.003  # of the logarithm, the least believed
_ROUNDS = 6


def paper_slope(photo: Photo, sighting: TargetSighting, response: CameraResponse) -> float:
    """Relative change of the paper's light per mm towards the joint; NaN where the rim cannot be read."""
    places = _rim_places(sighting.layout.length_mm, sighting.layout.width_mm, sighting.layout.pitch_mm)
    uv, encoded = _seen(photo, sighting, places)
    size = np.array([photo.width_px, photo.height_px])
    use = ((uv > 2) & (uv < size - 3)).all(axis=1) & (encoded < _BURNT) & (encoded > 0)
    if use.sum() < _LEAST_PATCHES:
        return float("nan")
    light = np.log(np.maximum(response.curve(encoded[use]), 1e-4))
    middle = (size - 1) / 2
    corner = ((uv[use] - middle) ** 2).sum(axis=1) / (middle**2).sum()
    design = np.column_stack((np.ones(use.sum()), places[use], corner))
    return float(_fit(design, light)[2])


def _rim_places(length_mm: float, width_mm: float, pitch_mm: float) -> Array64:
    """Points (K, 2) of the target frame on the white rim, one beside every square."""
    x = np.arange(pitch_mm / 2, length_mm, pitch_mm)
    y = np.arange(pitch_mm / 2 - width_mm, 0, pitch_mm)
    rows = [np.column_stack((x, np.full_like(x, level))) for level in (_RIM_MM, -width_mm - _RIM_MM)]
    rows += [np.column_stack((np.full_like(y, level), y)) for level in (-_RIM_MM, length_mm + _RIM_MM)]
    return np.concatenate(rows)


def _seen(photo: Photo, sighting: TargetSighting, places: Array64) -> tuple[Array64, Array64]:
    """Pixels (K, 2) of the places and the median of a patch around each, display-encoded 0..1."""
    patch = np.stack(np.meshgrid(_PATCH_MM, _PATCH_MM), axis=-1).reshape(-1, 2)
    mm = places[:, None, :] + patch
    uv = sighting.to_px(mm)
    values = cv2.remap(
        photo.grey8, uv[..., 0].astype(np.float32), uv[..., 1].astype(np.float32), cv2.INTER_LINEAR
    )
    return uv.mean(axis=1), np.asarray(np.median(values, axis=1) / 255.0, np.float64)


def _fit(design: Array64, light: Array64) -> Array64:
    """Level, slopes along and across, vignetting: least squares that holds shadows and print down."""
    weight = np.ones(len(light))
    theta = np.zeros(4)
    prior = np.array([0.0, 0.0, 0.0, _VIGNETTING])
    precision = np.diag([0.0, 0.0, 0.0, (_SCATTER / _VIGNETTING_SD) ** 2])
    for _ in range(_ROUNDS):
        counted = design * weight[:, None]
        normal = counted.T @ design + precision
        theta = np.linalg.solve(normal, counted.T @ light + precision @ prior)
        off = np.abs(light - design @ theta)
        spread = max(1.4826 * float(np.median(off)), _SCATTER)
        weight = 1 / (1 + (off / (2 * spread)) ** 2)
    return theta
