"""The curves of light before a gap: their limits, and against light followed ray by ray."""

from __future__ import annotations

import numpy as np
import pytest
from base_world import BaseWorld

from fitup.edges.base_light import BaseLights, M

TANGENTS = [0.5, 0.9, 1.3]


@pytest.mark.parametrize("tangent", TANGENTS)
@pytest.mark.parametrize("sheet_gaps", [np.inf, 6.0, 2.0])
def test_curves_rise_from_dark_to_the_open_base(tangent: float, sheet_gaps: float) -> None:
    curves = BaseLights.seen(tangent).curves(sheet_gaps).T
    assert np.isfinite(curves).all()
    assert (curves >= 0).all()
    compared = curves[:, min(2.0 + 0.8 * sheet_gaps, 6.0) > M]
    np.testing.assert_allclose(compared[:, -1], 1.0, atol=0.02 if np.isfinite(sheet_gaps) else 0.2)
    assert np.median(compared[:, 0]) < 0.25
    assert np.median((np.diff(compared, axis=1) > -1e-3).mean(axis=1)) == 1.0
    if np.isinf(sheet_gaps):
        assert curves.max() <= 1 + 1e-9


@pytest.mark.parametrize("tangent", TANGENTS)
def test_a_mirror_doubles_the_gap(tangent: float) -> None:
    """What a plane mirror shows of an arris g above it lies as far behind the mirror: 2 g from the arris."""
    lights = BaseLights.seen(tangent)
    polished = np.flatnonzero(lights.roughness < 0.02)
    assert len(polished) >= 10
    curves = lights.curves(np.inf, polished).T
    end_face = curves[:, np.searchsorted(M, 1.8)]  # which shines a little before the plate does
    half = [M[np.argmax(curve > (level + 1) / 2)] for curve, level in zip(curves, end_face, strict=True)]
    np.testing.assert_allclose(half, 2.0, atol=0.12)


def test_a_high_face_is_a_standing_plate() -> None:
    lights = BaseLights.seen(0.8)
    smooth = np.flatnonzero(lights.roughness < 0.1)
    low, high = (lights.curves(height, smooth).T for height in (1e4, np.inf))
    np.testing.assert_allclose(low, high / high[:, -1:], atol=0.02)


def test_rough_bases_look_alike_from_rays_and_from_curves() -> None:
    """Some curve runs within 4 % of a base rendered facet by facet (tests/edges/base_world.py)."""
    for seed in range(4):
        world = BaseWorld(np.random.default_rng(seed), tangent=0.8, sheet_mm=np.inf)
        seen = world.light(M * 0.4, 0.4)
        curves = BaseLights.seen(0.8).curves(np.inf).T
        design = np.stack([np.ones_like(curves), curves], axis=-1)
        fit = np.linalg.solve(design.transpose(0, 2, 1) @ design, design.transpose(0, 2, 1) @ seen[:, None])
        left = np.sqrt(np.mean((seen - (design @ fit)[..., 0]) ** 2, axis=1)) / seen[-1]
        assert left.min() < 0.04
