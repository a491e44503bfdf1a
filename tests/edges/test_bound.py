"""The arris fit against the Cramér–Rao bound (own derivation in bound.py): as good as can be, and honest."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.stats import t as student

from tests.edges.bound import (
    Slot,
    arris_bound_px,
    bound_covariance,
    fisher_information,
    light,
    samples,
    width_bound_px,
    width_sd_px,
)
from tests.edges.slots import Trial, measure

COUNT = 1500
# A root mean square of N normal errors scatters by 1/sqrt(2 N) of itself: 1.8 %. Three of these are chance.
CHANCE = 3 / np.sqrt(2 * COUNT)
NEAR_BOUND = 1.10

BLURS_PX = (0.8, 1.2, 2.0)
WIDTHS_IN_BLURS = (3.4, 5.0, 8.0, 30.0)
# (what is known of the floor as a linear level, of log blur): nothing; a wide stretch's knowledge
KNOWLEDGE = {"nothing known": (np.inf, np.inf), "blur and floor pooled": (0.012, 0.04)}


@lru_cache(maxsize=64)
def trial(slot: Slot) -> Trial:
    return measure(slot, COUNT, seed=round(1000 * slot.width_px / slot.blur_px))


def slot_of(blur_px: float, widths: float, known: str) -> Slot:
    floor_sd, log_blur_sd = KNOWLEDGE[known]
    return Slot(width_px=widths * blur_px, blur_px=blur_px, floor_sd=floor_sd, log_blur_sd=log_blur_sd)


every_wide_gap = [
    pytest.mark.parametrize("blur_px", BLURS_PX),
    pytest.mark.parametrize("widths", WIDTHS_IN_BLURS),
    pytest.mark.parametrize("known", KNOWLEDGE),
]


def over_wide_gaps(test):
    for mark in every_wide_gap:
        test = mark(test)
    return test


@over_wide_gaps
def test_error_is_near_the_bound_and_not_below_it(blur_px, widths, known):
    slot = slot_of(blur_px, widths, known)
    ratio = trial(slot).rms_px / width_sd_px(slot)
    assert ratio <= NEAR_BOUND
    # Below the bound the trial would leak truth into the estimator, or the bound would be wrong.
    assert ratio >= 1 - CHANCE


@over_wide_gaps
def test_bias_is_a_small_part_of_the_bound(blur_px, widths, known):
    slot = slot_of(blur_px, widths, known)
    chance = 3 / np.sqrt(COUNT)
    assert abs(trial(slot).error_px.mean()) / width_sd_px(slot) <= 0.1 + chance


@over_wide_gaps
def test_stated_deviation_agrees_with_the_scatter(blur_px, widths, known):
    """Within 10 %: chance (5.5 %), and the five parameters of a station taken out of some 40 samples."""
    one = trial(slot_of(blur_px, widths, known))
    stated = np.sqrt(np.mean(one.stated_px**2))
    assert stated / one.rms_px == pytest.approx(1, abs=0.10)


@over_wide_gaps
def test_intervals_cover_as_often_as_a_station_can_know(blur_px, widths, known):
    """The noise is estimated from the station's own samples less six parameters, so that ±1.96 sd covers what
    Student's t with so many degrees says (93.8 % for 29 samples, 95 % for many). Binomial chance on top, and
    0.7 % for a stated deviation 3 % off (the product counts five parameters, and takes the noise before the
    last steps)."""
    one = trial(slot_of(blur_px, widths, known))
    expected = 2 * student.cdf(1.96, len(one.x) - 6) - 1
    slack = 3 * np.sqrt(0.05 * 0.95 / COUNT) + 0.007
    assert np.mean(np.abs(one.error_px) <= 1.96 * one.stated_px) == pytest.approx(expected, abs=slack)


def test_prior_parts_add_up_to_the_stated_variance():
    """With nothing known the noise alone remains; a known floor takes over where the gap is narrow."""
    free = trial(slot_of(1.2, 5.0, "nothing known")).fit.variance_parts
    assert sum(np.sum(free[name]) for name in ("floor", "blur")) <= 1e-6 * np.sum(free["noise"])
    slot = replace(slot_of(1.2, 1.0, "blur and floor pooled"), floor=0.03)
    narrow = measure(slot, 200, seed=5).fit.variance_parts
    assert np.median(narrow["floor"]) > 5 * np.median(narrow["noise"])


# ------------------------------------------------------------------- narrow gaps: 1 to 3 sigmas of the blur

# What is believed of the floor, in its stated standard deviations off the truth, and how many stated standard
# deviations of the width 95 % of the readings must then stay within. Two off in the floor is at most some 2.3
# off in the width (it bends), and noise comes on top.
NARROW_COUNT = 300
LEAST_SHARE = 0.95 - 3 * np.sqrt(0.05 * 0.95 / NARROW_COUNT)  # binomial chance
WRONG_FLOORS = {0: 2.0, 1: 2.5, -1: 2.5, 2: 3.3, -2: 3.3}


@pytest.mark.parametrize("off", WRONG_FLOORS)
@pytest.mark.parametrize("floor_sd", [0.012, 0.03])
@pytest.mark.parametrize("widths", [1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("blur_px", BLURS_PX)
def test_a_wrong_floor_stays_within_the_stated_deviations(blur_px, widths, floor_sd, off):
    slot = Slot(width_px=widths * blur_px, blur_px=blur_px, floor=0.03, floor_sd=floor_sd, log_blur_sd=0.04)
    one = measure(slot, NARROW_COUNT, seed=11, floor_off=off * floor_sd)
    assert np.mean(np.abs(one.error_px) <= WRONG_FLOORS[off] * one.stated_px) >= LEAST_SHARE


@pytest.mark.parametrize("blur_px", BLURS_PX)
def test_a_floor_believed_too_dark_reads_narrow_and_too_bright_reads_wide(blur_px):
    """The sign matters to a person: missing light = width × depth, so a deeper slot is a narrower one."""
    slot = Slot(width_px=1.5 * blur_px, blur_px=blur_px, floor=0.03, floor_sd=0.012, log_blur_sd=0.04)
    dark, bright = (measure(slot, 300, 3, floor_off=off).error_px.mean() for off in (-0.012, 0.012))
    assert dark < 0 < bright


@pytest.mark.parametrize("widths", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("blur_px", BLURS_PX)
def test_narrow_gaps_with_priors_stay_near_the_bound_too(blur_px, widths):
    slot = Slot(width_px=widths * blur_px, blur_px=blur_px, floor_sd=0.012, log_blur_sd=0.04)
    ratio = trial(slot).rms_px / width_sd_px(slot)
    assert 1 - CHANCE <= ratio <= NEAR_BOUND


# --------------------------------------------------------------------------------- the bound itself


@pytest.mark.parametrize("blur_px", BLURS_PX)
def test_information_is_that_of_numerical_derivatives(blur_px):
    slot = Slot(width_px=4 * blur_px, blur_px=blur_px)
    near = np.array([-2 * blur_px + 0.3])

    def profile(d):
        moved = replace(
            slot,
            width_px=slot.width_px + d[1],
            left=slot.left + d[2],
            floor=slot.floor + d[3],
            right=slot.right + d[4],
            blur_px=slot.blur_px * np.exp(d[5]),
        )
        return light(samples(slot), near + d[0], moved)[0]

    steps = np.eye(6) * 1e-5
    by = np.array([(profile(d) - profile(-d)) / 2e-5 for d in steps])
    expected = by @ by.T / slot.noise**2
    size = np.sqrt(np.outer(expected.diagonal(), expected.diagonal()))
    np.testing.assert_allclose(fisher_information(slot, near[0]) / size, expected / size, atol=1e-8)


@pytest.mark.parametrize("blur_px", BLURS_PX)
def test_closed_forms(blur_px):
    """sd(e) = (σ/ΔA) √(2 √π s) for one arris; the width's with the overlap exp(-w²/4s²). All else known."""
    wide = Slot(width_px=20 * blur_px, blur_px=blur_px, left=0.4, right=0.4, flank_px=30)
    step = wide.left - wide.floor
    information = fisher_information(wide, -10 * blur_px + 0.2)
    # The near arris alone: moving it while the far one stays is (near, width) = (1, -1).
    alone = information[0, 0] - 2 * information[0, 1] + information[1, 1]
    assert 1 / np.sqrt(alone) == pytest.approx(arris_bound_px(wide.noise, step, blur_px), rel=1e-3)
    for widths in (1.5, 3.0, 20.0):
        slot = replace(wide, width_px=widths * blur_px)
        both = fisher_information(slot, -slot.width_px / 2 + 0.2)
        # The width about a fixed middle is (near, width) = (-1/2, 1).
        along = both[1, 1] - both[0, 1] + both[0, 0] / 4
        expected = width_bound_px(slot.noise, step, blur_px, slot.width_px)
        assert 1 / np.sqrt(along) == pytest.approx(expected, rel=1e-3)
    assert width_bound_px(1, 1, blur_px, 50 * blur_px) == pytest.approx(
        np.sqrt(2) * arris_bound_px(1, 1, blur_px)
    )


def test_bound_grows_without_priors_where_gaps_are_narrow():
    """Why priors are needed: with blur and floor free the bound explodes below three blur sigmas."""
    free = [width_sd_px(Slot(width_px=k * 1.2, blur_px=1.2)) for k in (1.0, 2.0, 4.0, 8.0)]
    known = [
        width_sd_px(Slot(width_px=k * 1.2, blur_px=1.2, floor_sd=0.01, log_blur_sd=0.03))
        for k in (1.0, 2.0, 4.0, 8.0)
    ]
    assert free[0] > 20 * free[2]
    assert known[0] < 0.1 * free[0]
    assert known[3] == pytest.approx(free[3], rel=0.02)  # wide gaps need none


def test_bound_covariance_is_positive_and_halves_with_four_times_the_light():
    slot = Slot(width_px=6, blur_px=1.2)
    covariance = bound_covariance(slot, -3.0)
    assert np.all(np.linalg.eigvalsh(covariance) > 0)
    quiet = bound_covariance(replace(slot, noise=slot.noise / 2), -3.0)
    np.testing.assert_allclose(quiet, covariance / 4, rtol=1e-9)
