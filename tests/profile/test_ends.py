"""Stations that a photo does not show: added as unseen, on the profile's own grid, in every array."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.profile import GapProfile, Influence, JointShape
from fitup.profile.ends import OUTSIDE, with_unseen_ends


def profile(first_mm: float = 20.0, count: int = 41, joins: tuple[int, ...] = ()) -> GapProfile:
    s = first_mm + 0.5 * np.arange(count)
    line = np.stack([100 + 16 * s, 500 + 0.1 * s], axis=1)
    gap = np.full(count, 0.3)
    return GapProfile(
        station_mm=s,
        gap_mm=gap,
        u_gap_mm=gap / 10,
        near_mm=-gap / 2,
        far_mm=gap / 2,
        near_px=line,
        far_px=line,
        centre_px=line,
        unseen_reason=("",) * count,
        budget=(Influence(name="noise and grain", u_mm=gap / 10, common=False, remedy=""),),
        notes=(),
        step_mm=0.5,
        joins=joins,
    )


def test_ends_are_unseen_and_lie_straight_on() -> None:
    land = np.full(41, 1.5)
    longer, shape = with_unseen_ends(profile(joins=(10,)), JointShape(near_land_mm=land), 5.0, 60.0)
    np.testing.assert_allclose(longer.station_mm, np.arange(5.0, 60.25, 0.5))
    assert longer.unseen_reason[:30] == (OUTSIDE,) * 30
    assert longer.unseen_reason[30:71] == ("",) * 41
    assert longer.unseen_reason[71:] == (OUTSIDE,) * 40
    np.testing.assert_allclose(longer.centre_px[:, 0], 100 + 16 * longer.station_mm)
    np.testing.assert_allclose(longer.centre_px[:, 1], 500 + 0.1 * longer.station_mm)
    assert longer.joins == (40,)
    assert np.isnan(longer.budget[0].u_mm).sum() == 70
    assert shape.near_land_mm is not None
    assert np.isfinite(shape.near_land_mm).sum() == 41
    assert shape.far_land_mm is None


def test_what_is_there_already_stays() -> None:
    whole = profile()
    same, shape = with_unseen_ends(whole, JointShape(), 25.0, 30.0)
    assert same is whole
    assert shape.notes == ()


@given(start=st.floats(-300, 19), length=st.floats(21, 900))
def test_every_place_of_the_joint_has_a_station(start: float, length: float) -> None:
    longer, _ = with_unseen_ends(profile(), JointShape(), start, start + length)
    assert longer.station_mm[0] == pytest.approx(min(start, 20.0), abs=1.5)
    assert longer.station_mm[-1] == pytest.approx(max(start + length, 40.0), abs=1.5)
    assert longer.seen.sum() == 41
