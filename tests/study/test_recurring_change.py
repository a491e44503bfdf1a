"""Before and after a day: an improvement that was planted is told, and none that was not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.study.change import LEAST_PARTS
from fitup.study.change_ranks import mid_ranks, smaller_share, strongest_cut
from fitup.study.control_chart import LEAST_POINTS, control_chart
from fitup.study.recurring import Recurring, study_recurring
from fitup.study.recurring_words import change_title, recurring_sentences, title_of
from tests.study.invented_parts import Planted, day_of_change, invented_gaps, profiles_of

SEEDS = 40


@pytest.fixture(scope="module")
def studies() -> list[Recurring]:
    return [
        study_recurring(profiles_of(*invented_gaps(seed)), changed=day_of_change()) for seed in range(SEEDS)
    ]


def test_the_planted_improvement_is_told_at_its_place_and_nowhere_else(studies: list[Recurring]) -> None:
    elsewhere = 0
    for seed, study in enumerate(studies):
        assert study.change is not None
        assert study.change.word in ("helped", "both"), seed
        assert any(place.better and abs(place.at_mm - 120) < 6 for place in study.change.places), seed
        elsewhere += any(abs(place.at_mm - 120) > 10 for place in study.change.places)
    assert elsewhere <= 5


def test_the_spot_that_is_gone_is_among_those_before_and_not_since(studies: list[Recurring]) -> None:
    for study in studies:
        assert any(abs(spot.at_mm - 120) < 6 for spot in study.former)
        assert not any(abs(spot.at_mm - 120) < 6 for spot in study.spots)


def test_its_day_is_found_without_being_told() -> None:
    off = []
    for seed in range(SEEDS):
        study = study_recurring(profiles_of(*invented_gaps(seed)))
        found = [one for one in study.found if one.where.startswith("11")]
        assert found, seed
        assert found[0].median_after_mm < found[0].median_before_mm
        off.append(abs((np.datetime64(found[0].day) - np.datetime64(day_of_change())).astype(int)))
    assert np.median(off) <= 4  # days, of 100


def test_no_change_is_told_where_there_is_none() -> None:
    steady = (Planted(63.0, 0.5), Planted(175.0, 0.25))
    told = found = 0
    for seed in range(SEEDS):
        profiles = profiles_of(*invented_gaps(500 + seed, planted=steady))
        change = study_recurring(profiles, changed=day_of_change()).change
        told += change is not None and change.word != "not shown"
        found += bool(study_recurring(profiles).found)
    assert told <= 5
    assert found <= 5


def test_worse_is_said_as_plainly() -> None:
    gap, u = invented_gaps(1, planted=(Planted(80.0, 0.6, until=0.5),))
    study = study_recurring(profiles_of(gap[::-1], u), changed="2026-04-21")
    assert study.change is not None
    assert study.change.word == "worse"
    assert "opens more at 80 mm" in change_title(study.change) or "opens more at 8" in change_title(
        study.change
    )
    assert "MORE" in dict(recurring_sentences(study))["change at"]
    assert title_of(study).startswith("1 RECURRING SPOT since")


def test_a_closed_fixture_all_along_changes_the_largest_gap() -> None:
    gap, u = invented_gaps(2, planted=(), scattered=0.0)
    gap[110:] *= 0.7
    study = study_recurring(profiles_of(gap, u), changed=day_of_change())
    assert study.change is not None
    assert study.change.largest_changed
    assert study.change.word == "helped"
    assert [one.where for one in study_recurring(profiles_of(gap, u)).found] == [""]


@pytest.mark.parametrize("day", ["2020-01-01", "2030-01-01", "2026-03-03"])
def test_too_few_parts_on_one_side_are_told_of(day: str) -> None:
    study = study_recurring(profiles_of(*invented_gaps(1)), changed=day)
    assert study.change is not None
    assert study.change.word == "too few parts"
    assert min(study.change.parts_before, study.change.parts_after) < LEAST_PARTS
    assert study.found == ()


def test_a_part_seen_in_part_only_is_not_in_the_chart() -> None:
    gap, u = invented_gaps(1, 30, unseen=False)
    gap[3, :100] = np.nan
    study = study_recurring(profiles_of(gap, u))
    assert not study.largest.counts[3]
    assert all(3 not in phase.rows for phase in study.phases)


def test_a_record_that_goes_further_takes_no_other_out() -> None:
    gap, u = invented_gaps(1, 30, length_mm=400.0, unseen=False)
    gap[1:, 421:] = np.nan
    study = study_recurring(profiles_of(gap, u))
    assert study.largest.counts.all()


class TestChart:
    def test_limits_of_a_normal_series(self) -> None:
        """Of the logarithm: mean and three standard deviations."""
        values = np.exp(np.random.default_rng(1).normal(-0.5, 0.2, 4000))
        chart = control_chart(values)
        assert np.log(chart.lower_mm) == pytest.approx(-0.5 - 0.6, abs=0.03)
        assert np.log(chart.upper_mm) == pytest.approx(-0.5 + 0.6, abs=0.03)
        assert 2 <= int(chart.beyond.sum()) <= 25  # 11 expected of 4000

    def test_one_wide_part_stands_out(self) -> None:
        values = np.exp(np.random.default_rng(2).normal(-0.5, 0.1, 60))
        values[40] = 2.0
        assert np.flatnonzero(control_chart(values).beyond).tolist() == [40]

    def test_nine_on_one_side(self) -> None:
        values = np.array([0.4, 0.6] * 15 + [0.55] * 9 + [0.45, 0.44] * 6)
        chart = control_chart(values)
        assert chart.in_a_row[30:39].all()
        assert not chart.in_a_row[:29].any()

    def test_too_few_points_have_no_limits(self) -> None:
        chart = control_chart(np.linspace(0.1, 2.0, LEAST_POINTS - 1))
        assert np.isnan(chart.upper_mm)
        assert not chart.beyond.any()

    def test_equal_values_are_no_signal(self) -> None:
        chart = control_chart(np.full(30, 0.4))
        assert not chart.beyond.any()
        assert not chart.in_a_row.any()

    def test_closed_joints_have_a_logarithm(self) -> None:
        assert np.isfinite(control_chart(np.zeros(30)).centre_mm)


values = st.lists(st.integers(0, 20).map(float), min_size=2, max_size=25).map(np.array)


class TestRanks:
    @settings(max_examples=60, deadline=None)
    @given(values)
    def test_ranks_sum_up_and_keep_the_order(self, numbers: np.ndarray) -> None:
        ranks = mid_ranks(numbers)
        n = len(numbers)
        assert ranks.sum() == pytest.approx(n * (n + 1) / 2)
        assert np.all((np.diff(ranks[np.argsort(numbers, kind="stable")])) >= 0)

    @settings(max_examples=60, deadline=None)
    @given(values, values)
    def test_sides_exchanged_give_the_other_share(self, first: np.ndarray, second: np.ndarray) -> None:
        one, other = smaller_share(first, second), smaller_share(second, first)
        assert one.share + other.share == pytest.approx(1.0)
        assert one.probability == pytest.approx(other.probability)
        pairs = (second[None, :] < first[:, None]) + 0.5 * (second[None, :] == first[:, None])
        assert one.share == pytest.approx(float(pairs.mean()))

    def test_groups_apart_have_the_exact_probability(self) -> None:
        """Of 252 orders of five and five, two are as far apart."""
        apart = smaller_share(np.arange(5.0) + 10, np.arange(5.0))
        assert apart.share == 1.0
        assert apart.probability == pytest.approx(2 / 252)

    @settings(max_examples=40, deadline=None)
    @given(values)
    def test_cut_lies_within(self, numbers: np.ndarray) -> None:
        cut = strongest_cut(numbers)
        assert 1 <= cut.index <= len(numbers) - 1
        assert 0.0 <= cut.probability <= 1.0

    def test_cut_of_a_step(self) -> None:
        cut = strongest_cut(np.array([1.0] * 30 + [0.0] * 20))
        assert cut.index == 30
        assert cut.probability < 1e-6
