"""How well the slant of a view is known, against drawn cameras in many poses."""

from __future__ import annotations

import numpy as np

from fitup.scale import scale_map, u_view_tangents
from tests.scale.drawing_world import photo_of, random_scene
from tests.scale.test_scale_map import synthetic_sighting

POINTS_MM = np.array([[30.0, 20.0], [105.0, 20.0], [180.0, 20.0]])
ACROSS = np.tile([0.0, 1.0], (3, 1))


def off_and_stated(exif: bool, poses: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Error of the tangent across the joint and its standard uncertainty, (poses, 3) each."""
    rng = np.random.default_rng(11)
    off, stated = [], []
    for seed in range(poses):
        scene = random_scene(seed)
        photo, sighting = synthetic_sighting(scene, 0.05, rng)
        photo = photo if exif else photo_of(photo.grey8)
        scale = scale_map(photo, sighting)
        camera = -scene.rotation.T @ scene.translation + [0, 0, scene.thickness_mm]
        true = (camera[1] - POINTS_MM[:, 1]) / camera[2]
        off.append(scale.view_tangents(POINTS_MM)[:, 1] - true)
        stated.append(u_view_tangents(scale, POINTS_MM, ACROSS))
    return np.array(off), np.array(stated)


def test_errors_of_the_slant_stay_within_what_is_stated() -> None:
    for exif in (True, False):
        off, stated = off_and_stated(exif)
        assert (np.abs(off) < 3 * stated).all()


def test_a_camera_of_unknown_focal_length_says_less_of_its_slant() -> None:
    assert np.median(off_and_stated(False)[1]) > 1.5 * np.median(off_and_stated(True)[1])
