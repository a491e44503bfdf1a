"""A bright line along an arris: seen where there is one, on the side where it is, and nowhere else."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import edge_step
from fitup.edges.glints import glints

X = np.arange(-40.0, 41.0)
NEAR, FAR, BLUR = -4.3, 5.2, 1.1
PLATE, FLOOR = 0.3, 0.01
Array = NDArray[np.float64]


def joint(
    line: float = 0.0, *, floor: float = FLOOR, seed: int = 5
) -> tuple[NDArray[np.float32], SimpleNamespace]:
    """60 stations, grain in the plates, a line of that light (plate less floor, px) on the far arris."""
    gap = edge_step((X - NEAR) / BLUR) - edge_step((X - FAR) / BLUR)
    light = PLATE + (floor - PLATE) * gap
    rim = np.exp(-0.5 * ((X - FAR - 0.4) / BLUR) ** 2) / (BLUR * np.sqrt(2 * np.pi))
    light = light + line * (PLATE - floor) * rim
    grain = 1 + 0.03 * np.random.default_rng(seed).standard_normal((60, len(X)))
    levels = np.tile([PLATE, floor, PLATE, floor], (60, 1))
    ones = np.ones(60)
    fit = SimpleNamespace(near_px=NEAR * ones, far_px=FAR * ones, blur_px=BLUR * ones, levels=levels)
    return (light * grain).astype(np.float32), fit


def found(line: float, floor: float = FLOOR) -> Array:
    profiles, fit = joint(line, floor=floor)
    return glints(X, profiles, fit, 10)


def test_an_even_plate_has_no_glint() -> None:
    assert found(0.0).max() < 0.02


def test_a_line_is_told_on_its_own_side_and_by_its_light() -> None:
    near, *far = found(0.8)[:, 0].max(), *(np.median(found(line)[:, 1]) for line in (0.4, 0.8, 1.2))
    assert near < 0.02
    assert np.all(np.diff(far) > 0.05)
    assert far[-1] < 1.2  # no edge goes farther than all of the line's light would take it


def test_light_through_the_gap_is_no_glint() -> None:
    assert found(0.0, floor=0.9).max() < 0.02


def test_a_darker_line_is_none() -> None:
    assert found(-0.8).max() == 0


def test_left_and_right_are_alike() -> None:
    profiles, fit = joint(0.8)
    mirrored = SimpleNamespace(
        near_px=-fit.far_px, far_px=-fit.near_px, blur_px=fit.blur_px, levels=fit.levels
    )
    np.testing.assert_allclose(
        glints(X, np.ascontiguousarray(profiles[:, ::-1]), mirrored, 10),
        glints(X, profiles, fit, 10)[:, ::-1],
        atol=1e-3,
    )
