"""An arris and a rise of known shape: the light against SciPy, the derivatives against differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from fitup.edges.base_light import BaseLights, M
from fitup.edges.base_model import WIDER, BaseModel

START = np.array([[-6.0, 5.0, 0.50, 0.02, 0.62, 0.0, 0.0, np.log(1.7)]])
X = np.linspace(-25, 30, 221)


def model_of(sheet_px: float, width_px: float = 5.0) -> BaseModel:
    lights = BaseLights.seen(0.7)
    curve, wider = (lights.curves(sheet_px / w).mean(axis=1) for w in (width_px, width_px * WIDER))
    return BaseModel.of(M, curve, wider, width_px=width_px, rim_px=0.3)


@pytest.mark.parametrize("sheet_px", [np.inf, 18.0])
def test_light_is_the_sum_of_blurred_steps(sheet_px: float) -> None:
    """Every step as a normal distribution function from scipy.special."""
    model = model_of(sheet_px)
    near, width, left, floor, right, _, _, log_blur = START[0]
    edges = near + 0.3 + model.fixed_px + model.edges * width
    steps = special.ndtr((X - edges[:, None]) / np.exp(log_blur))
    expected = left + (floor - left) * special.ndtr((X - near) / np.exp(log_blur))
    expected += (right - floor) * (model.rises @ steps)
    np.testing.assert_allclose(model.evaluate(X, START)[0], expected, atol=3e-6)


@pytest.mark.parametrize("sheet_px", [np.inf, 18.0])
def test_derivatives_are_those_of_the_model(sheet_px: float) -> None:
    model, step = model_of(sheet_px), 1e-4
    slopes = model.jacobian(X, START)[1][0]
    for k in range(8):
        shift = np.zeros_like(START)
        shift[0, k] = step
        numeric = (model.evaluate(X, START + shift) - model.evaluate(X, START - shift))[0] / (2 * step)
        np.testing.assert_allclose(slopes[k], numeric, atol=1e-4)


def test_under_a_standing_plate_all_scales_with_the_gap() -> None:
    np.testing.assert_allclose(model_of(np.inf).fixed_px, 0, atol=1e-3)


def test_steps_follow_the_curve_of_a_wider_gap_too() -> None:
    """The mirrored upper end of a lap's sheet does not move in proportion; the model's steps know."""
    sheet, width, wider = 18.0, 5.0, 5.4
    curve = BaseLights.seen(0.7).curves(sheet / wider).mean(axis=1)
    theta = START.copy()
    theta[0, :3] = [0.0, wider, 0.0]
    theta[0, 3:5] = [0.0, 1.0]
    theta[0, 7] = np.log(0.3)
    x = np.linspace(2, 4 * width, 60)
    expected = np.interp((x - 0.3) / wider, M, curve)
    np.testing.assert_allclose(model_of(sheet).evaluate(x, theta)[0], expected, atol=0.04)
