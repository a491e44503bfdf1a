"""The arris of a lap's upper sheet, straight or bent, from where an ideal camera sees it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fitup.profile.upper_arris import on_upper_sheet
from fitup.scale import PrintRecord, TargetPair, bundle
from tests.scale.two_plates import TwoPlates

SHEET_MM = 1.2
CHECKED = PrintRecord(
    number="1", date="2026-01-01", instrument="drawn", u_instrument_mm=0.02, along_mm=140, across_mm=140
)
X_MM = np.linspace(0.0, 56.0, 113)
BENT = 0.6 * np.exp(-0.5 * ((X_MM - 20) / 5) ** 2)


@cache
def seen() -> tuple[TwoPlates, TargetPair]:
    world = TwoPlates(included_deg=178.0)
    return world, bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))


def arris(bend_mm: np.ndarray, skew: float = 0.0) -> np.ndarray:
    """(N, 3) under the straight, slightly skew end of a sheet that is bent up by so much."""
    return np.column_stack((X_MM, 12.0 + skew * X_MM, bend_mm - SHEET_MM))


@pytest.mark.parametrize("skew", [0.0, 0.02])
@pytest.mark.parametrize("plate", [0, 1])
def test_a_bent_stretch_is_as_high_as_it_is(plate: int, skew: float) -> None:
    world, pair = seen()
    points = arris(BENT, skew)
    if plate == 1:
        points = points @ world.second_rotation.T + world.second_origin
    found = on_upper_sheet(pair, plate, world.to_px(points), SHEET_MM, 0.03)
    np.testing.assert_allclose(found.points_mm, points, atol=0.01)


def test_a_sheet_bent_all_along_is_said_to_be_less_certain() -> None:
    """What lies in the plane cannot be told where hardly anything does: the true arris stays covered."""
    world, pair = seen()
    waves = 0.15 * np.sin(X_MM / 56 * 6 * np.pi)
    for bend, least, most in ((0 * X_MM, 0.03, 0.033), (waves, 0.08, 0.3)):
        found = on_upper_sheet(pair, 0, world.to_px(arris(bend)), SHEET_MM, 0.03)
        u = np.sqrt(found.covariance[:, 2, 2])
        assert least <= np.median(u) <= most
        assert (np.abs(found.points_mm[:, 2] - arris(bend)[:, 2]) <= 1.96 * u).all()


def test_few_stations_are_laid_at_their_due_depth() -> None:
    world, pair = seen()
    for count in (1, 2, 3):
        points = arris(0 * X_MM)[:count]
        found = on_upper_sheet(pair, 0, world.to_px(points), SHEET_MM, 0.03)
        np.testing.assert_allclose(found.points_mm, points, atol=0.01)
