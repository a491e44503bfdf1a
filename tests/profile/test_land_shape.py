"""Lands as part of the joint's shape: only beside a seen gap, placed in the picture, noted where not seen."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.edges import Lands
from fitup.profile import JointShape, with_lands

COUNT, SHEET_MM, PX_PER_MM = 80, 1.5, 10.0


def shape_of(near: np.ndarray, far: np.ndarray, seen: np.ndarray, *, far_expected: bool = True) -> JointShape:
    """A corner seen so that lands of 1.5 mm look 1.2 and 0.9 mm wide, gap from n = -0.2 to 0.3."""
    full = np.ones(COUNT)
    band = SimpleNamespace(points_mm=lambda n: np.column_stack([np.arange(COUNT) * 0.5, n]))
    section = SimpleNamespace(near_flank_mm=1.2 * full, far_flank_mm=0.9 * full)
    arrises: Any = SimpleNamespace(
        band=band, section=section, near_mm=-0.2 * full, far_mm=0.3 * full, sheet_mm=SHEET_MM
    )
    profile: Any = SimpleNamespace(seen=seen, step_mm=0.5)
    scale: Any = SimpleNamespace(to_px=lambda points: PX_PER_MM * points)
    lands = Lands(near_mm=near, far_mm=far, near_expected=True, far_expected=far_expected)
    return with_lands(JointShape(), lands, arrises, profile, scale)


def test_outer_arrises_lie_as_far_out_as_the_lands_are_long() -> None:
    whole, half = np.full(COUNT, 1.5), np.full(COUNT, 0.75)
    shape = shape_of(whole, half, np.ones(COUNT, dtype=bool))
    assert shape.near_outer_px is not None
    assert shape.far_outer_px is not None
    np.testing.assert_allclose(shape.near_outer_px[:, 1], PX_PER_MM * (-0.2 - 1.2))
    np.testing.assert_allclose(shape.far_outer_px[:, 1], PX_PER_MM * (0.3 + 0.45))
    np.testing.assert_allclose(shape.near_outer_px[:, 0], PX_PER_MM * 0.5 * np.arange(COUNT))
    assert shape.notes == ()


def test_beside_a_gap_that_was_not_seen_no_land_counts() -> None:
    seen = np.ones(COUNT, dtype=bool)
    seen[10:50] = False
    shape = shape_of(np.full(COUNT, 0.3), np.full(COUNT, 1.4), seen)
    assert shape.near_land_mm is not None
    assert np.isnan(shape.near_land_mm[~seen]).all()
    assert (shape.near_land_mm[seen] == 0.3).all()
    assert shape.notes == ()  # the gap's own spot says that nothing was seen there


@pytest.mark.parametrize(("stations", "noted"), [(20, False), (21, True)])
def test_a_long_stretch_without_a_land_is_noted_with_its_side_and_what_helps(
    stations: int, noted: bool
) -> None:
    far = np.full(COUNT, 1.4)
    far[5 : 5 + stations] = np.nan
    shape = shape_of(np.full(COUNT, 1.4), far, np.ones(COUNT, dtype=bool))
    assert bool(shape.notes) is noted
    for note in shape.notes:
        assert note.startswith("Land across the gap: not measurable in this photo over 10 of 40 mm")
        assert "light it from another side" in note
    assert shape.far_outer_px is not None
    assert np.isnan(shape.far_outer_px[5 : 5 + stations]).all()


def test_a_side_without_a_land_has_none() -> None:
    nothing = np.full(COUNT, np.nan)
    shape = shape_of(np.full(COUNT, 1.4), nothing, np.ones(COUNT, dtype=bool), far_expected=False)
    assert shape.far_land_mm is None
    assert shape.far_outer_px is None
    assert shape.notes == ()
