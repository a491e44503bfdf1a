"""Two photos of one stretch: agreement by chi-square, against SciPy and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fitup.profile.overlap import FLOOR_MM, Overlap, chi_square_bound, compare, is_shared

STATIONS = np.arange(0, 60, 0.5)
NOISE, OWN, SHARED = 0.02, 0.03, 0.05


def influences(count: int = len(STATIONS)) -> dict[str, tuple[bool, np.ndarray]]:
    return {
        "floor of the gap": (False, np.full((2, count), NOISE)),
        "tone curve": (True, np.full((2, count), OWN)),
        "arris radius": (True, np.full((2, count), SHARED)),
    }


def compared(first: np.ndarray, second: np.ndarray, u_place_mm: float = 0.0) -> Overlap:
    found = compare((0, 1), STATIONS, np.stack([first, second]), influences(), u_place_mm)
    assert found is not None
    return found


@pytest.mark.parametrize("freedom", [1, 2, 5, 10, 40, 200])
@pytest.mark.parametrize("probability", [0.95, 0.999, 0.9999])
def test_bound_is_the_quantile_of_chi_square(freedom: int, probability: float) -> None:
    """Reference: scipy.stats.chi2. The cube-root approximation errs to the large side at few degrees."""
    z = float(stats.norm.ppf(probability))
    bound = 0.08 if freedom <= 2 else 0.025
    assert chi_square_bound(freedom, z) == pytest.approx(stats.chi2.ppf(probability, freedom), rel=bound)


def test_statistic_is_distributed_as_chi_square() -> None:
    """Simulation of the stated model: blocks err alike by NOISE, either photo as a whole by OWN."""
    rng = np.random.default_rng(5)
    values = []
    for _ in range(400):
        blocks = np.repeat(rng.normal(0, np.hypot(np.sqrt(2) * NOISE, FLOOR_MM), 20), 6)
        values.append(compared(0 * STATIONS, blocks + rng.normal(0, np.sqrt(2) * OWN)).chi_square)
    assert stats.kstest(values, stats.chi2(20).cdf).pvalue > 0.01


def test_photos_that_err_as_a_whole_within_what_they_state_agree() -> None:
    found = compared(0.5 + 0 * STATIONS, 0.5 + 1.5 * OWN + 0 * STATIONS)
    assert found.agrees
    assert found.mean_difference_mm == pytest.approx(1.5 * OWN)
    assert found.u_mean_difference_mm == pytest.approx(
        np.sqrt(2 * OWN**2 + (2 * NOISE**2 + FLOOR_MM**2) / 20), rel=1e-6
    )


def test_what_both_photos_share_does_not_excuse_a_difference() -> None:
    """The sheet's arris radius is as wrong in both: with it 0.2 mm would be 2.4 sigmas, without it 4.6."""
    assert is_shared("arris radius")
    found = compared(0.5 + 0 * STATIONS, 0.7 + 0 * STATIONS)
    assert not found.agrees
    assert found.worst_sigmas == pytest.approx(
        0.2 / np.sqrt(2 * OWN**2 + 2 * NOISE**2 + FLOOR_MM**2), rel=1e-6
    )


def test_a_short_stretch_that_differs_is_found_and_named() -> None:
    second = 0.5 + 0.4 * ((STATIONS >= 30) & (STATIONS < 36))
    found = compared(0.5 + 0 * STATIONS, second)
    assert not found.agrees
    assert (found.worst_start_mm, found.worst_end_mm) == pytest.approx((29.75, 35.75))
    assert (found.worst_first_mm, found.worst_second_mm) == pytest.approx((0.5, 0.9))


def test_where_the_gap_changes_steeply_a_shift_along_the_joint_is_allowed_for() -> None:
    """0.25 mm aside on a flank of 0.2 mm/mm is no disagreement when places are known to 0.3 mm."""

    def gap(s: np.ndarray) -> np.ndarray:
        return np.asarray(0.3 + 2.0 * np.exp(-(((s - 30) / 8) ** 2)))

    shifted = gap(STATIONS - 0.9)
    assert not compared(gap(STATIONS), shifted).agrees
    assert compared(gap(STATIONS), shifted, u_place_mm=0.5).agrees


def test_few_common_stations_are_not_compared() -> None:
    gap = np.full((2, len(STATIONS)), np.nan)
    gap[:, :5] = 0.5
    assert compare((0, 1), STATIONS, gap, influences(), 0.0) is None
    gap[:, 5:12] = 0.5
    assert compare((0, 1), STATIONS, gap, influences(), 0.0) is not None


def test_holes_in_the_overlap_part_the_blocks() -> None:
    gap = np.full((2, len(STATIONS)), 0.5)
    gap[0, 10:50] = np.nan
    found = compare((0, 1), STATIONS, gap, influences(), 0.0)
    assert found is not None
    assert found.stations == len(STATIONS) - 40
    assert found.blocks == 1 + 70 // 6
