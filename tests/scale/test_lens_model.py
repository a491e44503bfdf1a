"""The lens models: OpenCV's own functions are the reference; inverse, derivatives and turns by themselves."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitup.photo.picture import turn_upright
from fitup.scale.lens_model import LensModel, turn_matrix

SIZE = (4000, 3000)
LENSES = {
    "barrel": ("opencv", 2900.0, (-0.27, 0.08, 0.002, -0.001, 0.01)),
    "wavy": ("opencv", 3080.0, (0.09, -0.22, 0.0006, -0.0004, 0.12)),
    "four": ("opencv", 3080.0, (0.05, -0.1, 0.001, 0.002)),
    "rational": ("opencv", 2900.0, (0.3, 0.1, 0.001, -0.002, 0.01, 0.35, 0.05, 0.01)),
    "fisheye": ("fisheye", 2300.0, (-0.02, 0.01, -0.003, 0.0005)),
    "pinhole": ("opencv", 3000.0, ()),
}


def lens(name: str) -> LensModel:
    kind, focal, coefficients = LENSES[name]
    return LensModel(
        kind=kind, size_px=SIZE, focal_px=focal, centre_px=(2010.0, 1490.0), coefficients=coefficients
    )


def points(seed: int = 0, beyond: float = 0.0) -> np.ndarray:
    size = np.array(SIZE)
    return np.random.default_rng(seed).uniform(-beyond * size, (1 + beyond) * size, (400, 2))


@pytest.mark.parametrize("name", [name for name in LENSES if LENSES[name][0] == "opencv"])
def test_opencv_model_is_that_of_project_points(name):
    """cv2.projectPoints (OpenCV) with camera and points in one frame: places and derivatives."""
    model = lens(name)
    ideal = model.undistort(points())
    x = np.column_stack(((ideal - model.centre_px) / model.focal_px, np.ones(len(ideal))))
    zero = np.zeros(3)
    count = len(model.coefficients)
    D = np.array(model.coefficients) if count else np.zeros(4)
    seen, jacobian = cv2.projectPoints(x, zero, zero, model.camera_matrix, D)
    assert seen.reshape(-1, 2) == pytest.approx(points(), abs=1e-9)
    by_coefficient = np.moveaxis(model.coefficient_shifts(ideal), 0, -1)
    assert by_coefficient.shape == (len(x), 2, count)
    if count:
        expected = jacobian[:, 10 : 10 + count].reshape(len(x), 2, count)
        assert by_coefficient == pytest.approx(expected, abs=1e-9)


def test_fisheye_model_is_that_of_distort_points():
    """cv2.fisheye.distortPoints and cv2.fisheye.projectPoints (OpenCV)."""
    model = lens("fisheye")
    ideal = model.undistort(points())
    x = (ideal - model.centre_px) / model.focal_px
    D = np.array(model.coefficients)
    seen = cv2.fisheye.distortPoints(x.reshape(-1, 1, 2), model.camera_matrix, D)
    assert seen.reshape(-1, 2) == pytest.approx(points(), abs=1e-9)
    space = np.column_stack((x, np.ones(len(x)))).reshape(1, -1, 3)
    zero = np.zeros((1, 1, 3))
    _, jacobian = cv2.fisheye.projectPoints(space, zero, zero, model.camera_matrix, D)
    expected = np.asarray(jacobian)[:, 4:8].reshape(len(x), 2, 4)
    assert np.moveaxis(model.coefficient_shifts(ideal), 0, -1) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("name", LENSES)
def test_there_and_back_inside_and_far_outside(name):
    model = lens(name)
    for ideal in (points(), points(beyond=3.0)):
        assert model.undistort(model.distort(ideal)) == pytest.approx(ideal, abs=1e-7)
    assert model.distort(model.undistort(points())) == pytest.approx(points(), abs=1e-8)
    assert model.distort(np.empty((0, 2))).shape == (0, 2)
    assert model.distort(points().reshape(20, 20, 2)).shape == (20, 20, 2)


@pytest.mark.parametrize("name", LENSES)
def test_slope_is_the_derivative(name):
    model, h = lens(name), 1e-3
    for ideal in (points(), points(beyond=2.0)):
        numeric = [(model.distort(ideal + h * e) - model.distort(ideal - h * e)) / (2 * h) for e in np.eye(2)]
        assert model.slope(ideal) == pytest.approx(np.stack(numeric, axis=-1), abs=1e-6)


@pytest.mark.parametrize("name", LENSES)
def test_far_points_never_fold_back_into_the_picture(name):
    """A polynomial turns round somewhere: points far outside would be seen inside."""
    model = lens(name)
    direction = points(1) - model.centre_px
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    reach = np.linspace(0, 30_000, 400)
    moved = model.distort(model.centre_px + reach[:, None, None] * direction)
    radius = np.linalg.norm(moved - model.centre_px, axis=2)
    assert np.all(np.diff(radius, axis=0) > 0)


def test_a_lens_that_folds_inside_the_picture_says_so():
    assert lens("wavy").covers_the_picture
    assert lens("fisheye").covers_the_picture
    assert not replace(lens("barrel"), coefficients=(-0.9, 0.0, 0.0, 0.0, 0.0)).covers_the_picture


@pytest.mark.parametrize("name", LENSES)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_lens_does_to_the_turned_picture_what_the_lens_does(name, orientation):
    """The reader's own turning of pictures of coordinates tells where every pixel goes."""
    model = replace(lens(name), size_px=(40, 30), focal_px=29.0, centre_px=(20.1, 14.9))
    u, v = np.meshgrid(np.arange(40, dtype=np.uint8), np.arange(30, dtype=np.uint8))
    stored = np.stack([turn_upright(part, orientation).astype(float) for part in (u, v)], axis=-1)
    height, width = stored.shape[:2]
    upright = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).astype(float)
    turned = model.turned(orientation)
    assert turned.size_px == (width, height)
    middle = (np.array([width, height]) - 1) / 2
    expected = (model.undistort(stored) - [19.5, 14.5]) @ turn_matrix(orientation).T + middle
    assert turned.undistort(upright) == pytest.approx(expected, abs=1e-9)


def test_refuses_what_is_no_lens():
    for change in (
        {"coefficients": (0.1, 0.2, 0.3)},
        {"coefficients": (np.nan, 0.0, 0.0, 0.0)},
        {"focal_px": 0.0},
        {"kind": "fisheye", "coefficients": (0.1,) * 5},
    ):
        with pytest.raises(ValueError):
            replace(lens("four"), **change)
