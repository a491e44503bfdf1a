"""What was planted in an invented joint is found, and nothing else, as often as is stated."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.evidence.archive.joint_profiles import JointProfiles
from fitup.evidence.archive.profile_reading import UNSEEN_UM
from fitup.study.recurring import Recurring, study_recurring
from fitup.study.recurring_spots import FALSE_RATE, stretches
from tests.study.invented_parts import LIMIT_MM, PLANTED, day_of_change, invented_gaps, profiles_of

SEEDS = 40


def flat(count: int, gap_mm: float = 0.3, positions: int = 421) -> JointProfiles:
    gap = np.full((count, positions), gap_mm)
    return profiles_of(gap, np.full(gap.shape, 0.03))


def opened(profiles: JointProfiles, parts: slice, first: int, end: int, gap_mm: float = 1.5) -> JointProfiles:
    gap_um = profiles.gap_um.copy()
    gap_um[parts, first:end] = round(1000 * gap_mm)
    return replace(profiles, gap_um=gap_um)


@pytest.fixture(scope="module")
def planted() -> list[Recurring]:
    return [study_recurring(profiles_of(*invented_gaps(seed))) for seed in range(SEEDS)]


def test_every_planted_opening_is_found_in_200_parts(planted: list[Recurring]) -> None:
    for seed, study in enumerate(planted):
        for one in PLANTED:
            assert any(spot.start_mm <= one.at_mm <= spot.end_mm for spot in study.spots), (seed, one)


def test_none_is_invented_beside_them(planted: list[Recurring]) -> None:
    """At most one in twenty archives is allowed one; the bound of the test is that of 40 archives."""
    wrong = sum(any(all(abs(s.at_mm - p.at_mm) > 10 for p in PLANTED) for s in one.spots) for one in planted)
    assert wrong <= 5  # binomial: more than 5 of 40 have a chance of 1.4 % at a rate of 5 %


def test_shares_hold_the_planted_ones(planted: list[Recurring]) -> None:
    """Half of the parts open at 63 mm, less those whose opening lies beside it or is narrow."""
    first = [next(spot for spot in one.spots if abs(spot.at_mm - 63.0) < 5) for one in planted]
    assert np.mean([0.38 <= spot.share <= 0.55 for spot in first]) > 0.8
    assert all(spot.low < spot.share < spot.high <= 1.0 for spot in first)
    assert all(spot.somewhere >= spot.open for spot in first)


@pytest.mark.parametrize(
    ("name", "gaps"),
    [
        ("openings at random places", lambda seed: invented_gaps(1000 + seed, planted=(), scattered=2.0)[0]),
        ("all at the limit", lambda seed: LIMIT_MM + np.random.default_rng(seed).normal(0, 0.03, (200, 421))),
    ],
)
def test_false_rate_where_nothing_recurs(name: str, gaps: object) -> None:
    assert callable(gaps)
    wrong = 0
    for seed in range(SEEDS):
        gap = gaps(seed)
        wrong += bool(study_recurring(profiles_of(gap, np.full(gap.shape, 0.03))).spots)
    assert wrong <= 5, name


def test_four_parts_of_four_are_the_least_that_recur() -> None:
    assert not study_recurring(opened(flat(3), slice(0, 3), 100, 110)).spots
    (spot,) = study_recurring(opened(flat(4), slice(0, 4), 100, 110)).spots
    assert (spot.start_mm, spot.end_mm) == (49.75, 54.75)
    assert (spot.open, spot.seen, spot.somewhere) == (4, 4, 4)


def test_a_joint_open_everywhere_has_no_spot_but_says_so() -> None:
    from fitup.study.recurring_words import recurring_sentences

    study = study_recurring(opened(flat(50), slice(0, 40), 0, 421))
    assert not study.spots
    assert study.open_share == pytest.approx(0.8)
    assert "the joint as a whole" in dict(recurring_sentences(study))["opens at"]


def test_unseen_is_neither_open_nor_closed() -> None:
    """Of forty parts ten are open at a place and thirty unseen: the share is ten of ten."""
    profiles = opened(flat(40), slice(0, 10), 200, 212)
    gap_um = profiles.gap_um.copy()
    gap_um[10:, 200:212] = UNSEEN_UM
    study = study_recurring(replace(profiles, gap_um=gap_um))
    (spot,) = study.spots
    assert (spot.open, spot.seen) == (10, 10)
    at = np.searchsorted(study.map.position_mm, 103.0)
    assert study.map.seen[at] == 10
    assert study.map.median_mm[at] == pytest.approx(1.5)


def test_a_place_seen_of_no_part_is_nothing() -> None:
    profiles = flat(10)
    gap_um = profiles.gap_um.copy()
    gap_um[:, 50:60] = UNSEEN_UM
    study = study_recurring(replace(profiles, gap_um=gap_um))
    assert np.all(study.map.seen[50:60] == 0)
    assert np.all(np.isnan(study.map.median_mm[50:60]))
    assert study.map.median_mm[49] == pytest.approx(0.3)


def test_doubtful_is_not_open() -> None:
    """0.93 mm with u = 0.03 mm lies over the limit of 0.90 mm, but not with 95 %."""
    study = study_recurring(opened(flat(40), slice(0, 40), 200, 212, gap_mm=0.93))
    assert not study.spots
    assert np.all(study.map.doubtful[200:212] == 40)


def test_median_and_quarters_are_those_of_numpy() -> None:
    gap, u = invented_gaps(3, 37)
    study = study_recurring(profiles_of(gap, u))
    um = np.where(np.isnan(gap), np.nan, np.clip(np.round(1000 * gap), 0, None)) / 1000
    expected = np.nanpercentile(um, (25, 50, 75), axis=0)
    for mine, theirs in zip(
        (study.map.low_mm, study.map.median_mm, study.map.high_mm), expected, strict=True
    ):
        np.testing.assert_allclose(mine, theirs, atol=1e-12)
    spread = (expected[2] - expected[0]) / 1.3489795
    np.testing.assert_allclose(study.map.spread_mm, spread, rtol=1e-6)


class TestWhichRecordsCount:
    def test_first_record_of_a_serial_counts(self) -> None:
        """Records 5 to 8 are of the same four parts after re-fixturing: closed then."""
        profiles = opened(flat(8), slice(0, 4), 100, 110)
        profiles = replace(profiles, serial=("a", "b", "c", "d", "A ", "b", "c", "d"))
        study = study_recurring(profiles)
        assert len(study.parts) == 4
        assert study.parts.left_out == {"later of the same part": 4}
        assert study.spots[0].seen == 4

    def test_a_first_photo_to_be_taken_again_gives_way(self) -> None:
        profiles = replace(flat(3), serial=("a", "a", "b"), retake=np.array([True, False, False]))
        assert study_recurring(profiles).parts.number.tolist() == [2, 3]

    def test_of_two_such_photos_the_first_counts(self) -> None:
        profiles = replace(flat(2), serial=("a", "a"), retake=np.array([True, True]))
        assert study_recurring(profiles).parts.number.tolist() == [1]

    def test_void_records_do_not_count(self) -> None:
        profiles = replace(flat(2), serial=("a", "a"), void=np.array([True, False]))
        study = study_recurring(profiles)
        assert study.parts.number.tolist() == [2]
        assert study.parts.left_out == {"void": 1}

    def test_without_serial_every_record_is_a_part(self) -> None:
        study = study_recurring(replace(flat(3), serial=("", " ", "")))
        assert (len(study.parts), study.parts.without_serial) == (3, 3)

    def test_the_same_serial_in_another_job_is_another_part(self) -> None:
        assert len(study_recurring(replace(flat(2), serial=("a", "a"), job=("x", "y"))).parts) == 2

    def test_order_is_that_of_days_and_not_of_adding(self) -> None:
        profiles = replace(flat(3), day=np.array([30, 10, 20]))
        assert study_recurring(profiles).parts.number.tolist() == [2, 3, 1]

    def test_days_choose_parts_by_their_first_record(self) -> None:
        """A part measured again within the days does not come in by its later record."""
        profiles = replace(flat(3), serial=("a", "a", "b"), day=np.array([10, 20, 20]))
        study = study_recurring(profiles, from_day="1970-01-15")
        assert study.parts.serial == ("b",)

    def test_nothing_left_is_said(self) -> None:
        with pytest.raises(UsageError, match="no record counts"):
            study_recurring(flat(3), from_day="2030-01-01")

    def test_one_limit_judges_all(self) -> None:
        profiles = replace(flat(4), limit_um=np.array([700, 900, 1200, 1000]))
        study = study_recurring(profiles)
        assert study.limit_mm == 1.0
        assert study.other_limits_mm == (0.7, 0.9, 1.2)
        assert study_recurring(profiles, limit_mm=0.2).open_share == 1.0


@settings(max_examples=40, deadline=None)
@given(st.lists(st.booleans(), max_size=80))
def test_stretches_hold_all_that_was_found_and_are_apart(found: list[bool]) -> None:
    runs = stretches(np.array(found, dtype=bool))
    covered = {place for first, last in runs for place in range(first, last + 1)}
    assert {place for place, one in enumerate(found) if one} <= covered
    assert all(found[first] and found[last] for first, last in runs)
    assert all(later[0] - earlier[1] > 6 for earlier, later in pairwise(runs))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 12))
def test_order_of_parts_changes_no_spot(seed: int, count: int) -> None:
    """Whatever the parts, mixing their order leaves the map as it is."""
    rng = np.random.default_rng(seed)
    gap = rng.uniform(0.0, 2.0, (count, 30))
    gap[rng.uniform(size=gap.shape) < 0.2] = np.nan
    u = np.full(gap.shape, 0.03)
    mixed = rng.permutation(count)
    one, other = (study_recurring(profiles_of(g, u[: len(g)])) for g in (gap, gap[mixed]))
    assert one.spots == other.spots
    np.testing.assert_array_equal(one.map.open, other.map.open)


def test_false_rate_is_the_one_in_twenty_of_the_words() -> None:
    from fitup.study.recurring_words import recurring_sentences

    assert pytest.approx(1 / 20) == FALSE_RATE
    assert "at most 1 in 20" in dict(recurring_sentences(study_recurring(flat(4))))["rule"]


def test_planted_change_day_is_a_day_of_the_parts() -> None:
    study = study_recurring(profiles_of(*invented_gaps(0)), changed=day_of_change())
    assert study.change is not None
    assert (study.change.parts_before, study.change.parts_after) == (110, 90)
