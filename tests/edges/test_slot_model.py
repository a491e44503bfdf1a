"""The staircase of light in a deep slot: against integration over the sky, and its derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special

from fitup.edges.slot_model import Slot

START = np.array([[-6.0, 14.0, 0.50, 0.02, 0.62, 0.45, 0.0, np.log(1.7)]])


@pytest.mark.parametrize("tangent", [0.3, 0.7, -1.0])
def test_levels_are_the_share_of_an_even_sky_seen_from_the_face(tangent: float) -> None:
    """Lambert's cosine law integrated over the part of the sky below the opening's edge (scipy.integrate)."""
    slot = Slot.matte(tangent)
    count = len(slot.levels)
    for k, level in enumerate(slot.levels):
        depth_over_height = (k + 0.5) / count / abs(tangent)
        edge = np.arctan2(1.0, depth_over_height)  # elevation of the opening's edge from that place
        seen, _ = integrate.quad(np.sin, 0, edge)  # sine of the elevation: cosine law on a face that lies flat
        whole, _ = integrate.quad(np.sin, 0, np.pi / 2)
        assert level == pytest.approx(seen / whole, abs=1e-9)


def test_light_is_the_sum_of_blurred_steps() -> None:
    """Every step of the staircase as a normal distribution function from scipy.special."""
    slot = Slot.matte(0.6)
    x = np.linspace(-25, 30, 221)
    near, width, left, floor, right, face, _, log_blur = START[0]
    inside = floor + (face - floor) * slot.levels[::-1]
    levels = np.concatenate([[left], inside, [right]])
    edges = near + width * np.linspace(0, 1, len(levels) - 1)
    expected = levels[0] + np.diff(levels) @ special.ndtr((x - edges[:, None]) / np.exp(log_blur))
    np.testing.assert_allclose(slot.evaluate(x, START)[0], expected, atol=3e-6)


def test_derivatives_are_those_of_the_model() -> None:
    slot, step = Slot.matte(0.6), 1e-4
    x = np.linspace(-25, 30, 111)
    slopes = slot.jacobian(x, START)[1][0]
    for k in range(8):
        shift = np.zeros_like(START)
        shift[0, k] = step
        numeric = (slot.evaluate(x, START + shift) - slot.evaluate(x, START - shift))[0] / (2 * step)
        np.testing.assert_allclose(slopes[k], numeric, atol=1e-4)


def test_far_from_the_gap_the_flanks_keep_their_light() -> None:
    light = Slot.matte(1.0).evaluate(np.array([-60.0, 60.0]), START)[0]
    np.testing.assert_allclose(light, [START[0, 2], START[0, 4]], atol=1e-6)
