"""Short lands: found from-to by stated lengths, told by side, never made of what was not seen."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from verdict_profiles import STEP_MM, limit_of, profile_of

from fitup.errors import UsageError
from fitup.profile import JointShape
from fitup.verdict import JointVerdict, LandRule, LandState, VerdictWord, judge, lands_to_judge
from fitup.verdict.lands import LandsToJudge, find_short_lands

SHEET_MM = 1.5
COUNT = 100
NAN = math.nan


def land(*short: tuple[int, int, float]) -> np.ndarray:
    """A land of 1.4 mm with other lengths at stations from, to (not included)."""
    lengths = np.full(COUNT, 1.4)
    for first, end, length_mm in short:
        lengths[first:end] = length_mm
    return lengths


def judged(near: np.ndarray | None, far: np.ndarray | None, gap_mm: float = 0.3) -> JointVerdict:
    shape = JointShape(near_land_mm=near, far_land_mm=far)
    gaps = np.full(COUNT, gap_mm)
    lands = lands_to_judge(shape, SHEET_MM)
    return judge(profile_of(gaps, first_mm=0.25), limit_of(0.9), lands=lands)


def test_whole_lands_leave_the_joint_within() -> None:
    verdict = judged(land(), land())
    assert verdict.word == VerdictWord.WITHIN
    assert verdict.spots == ()


def test_a_short_land_is_a_spot_of_its_own_kind_and_a_person_must_look() -> None:
    verdict = judged(land(), land((20, 36, 0.35)))
    assert verdict.word == VerdictWord.GAUGE
    (spot,) = verdict.spots
    assert spot.state == LandState.SHORT
    assert (spot.start_mm, spot.end_mm, spot.at_mm) == (10.0, 18.0, 14.0)
    assert (spot.side, spot.land_mm) == ("across the gap", 0.35)
    assert math.isnan(spot.largest_gap_mm)
    assert math.isnan(spot.u_mm)
    assert spot.advice == (
        "look at the land across the gap, 10–18 mm from the datum mark: 0.3 mm long, "
        "the sheet is 1.5 mm thick; the wire has no edge to run along there"
    )
    assert "1 spot with a short land" in verdict.sentence
    assert "all of the joint seen" in verdict.sentence
    assert verdict.advice == spot.advice
    assert set(map(str, verdict.states)) == {"within"}  # the gap itself is what it is


def test_an_opening_stays_re_fixture_and_the_short_land_is_listed_beside_it() -> None:
    verdict = judged(land((20, 36, 0.5)), land(), gap_mm=1.4)
    assert verdict.word == VerdictWord.RE_FIXTURE
    assert {str(spot.state) for spot in verdict.spots} == {"over", "short land"}
    assert verdict.advice.startswith("re-fixture")


def test_both_lands_may_be_short_at_one_place() -> None:
    spots = judged(land((20, 36, 0.5)), land((20, 36, 0.7))).spots
    assert {(spot.side, spot.land_mm) for spot in spots} == {
        ("on the strip's side", 0.5),
        ("across the gap", 0.7),
    }


@pytest.mark.parametrize(("stations", "found"), [(3, 0), (4, 1)])
def test_a_nick_shorter_than_the_stated_length_is_dropped(stations: int, found: int) -> None:
    """2 mm are four stations of 0.5 mm."""
    assert len(judged(land((50, 50 + stations, 0.5)), None).spots) == found


@pytest.mark.parametrize(("length_mm", "found"), [(0.89, 1), (0.9, 0), (0.91, 0)])
def test_short_is_below_the_stated_share_of_the_sheet(length_mm: float, found: int) -> None:
    assert len(judged(None, land((50, 60, length_mm))).spots) == found


def test_what_was_not_seen_makes_no_spot_but_a_fleck_does_not_cut_one_in_two() -> None:
    assert judged(land((0, COUNT, NAN)), land((0, 60, NAN))).word == VerdictWord.WITHIN
    (spot,) = judged(land((30, 40, 0.4), (35, 36, NAN)), None).spots
    assert (spot.start_mm, spot.end_mm) == (15.0, 20.0)
    # a land that was seen to be whole does cut it
    assert len(judged(land((30, 36, 0.4), (37, 43, 0.4)), None).spots) == 2


def test_a_joint_without_lands_has_no_rule_for_them() -> None:
    verdict = judge(profile_of(np.full(COUNT, 0.3)), limit_of(0.9))
    assert verdict.land_rule is None
    assert lands_to_judge(JointShape(), SHEET_MM) is None
    assert judged(land(), None).land_rule == LandRule()


LENGTHS = st.lists(st.one_of(st.just(NAN), st.floats(-0.2, 2.0)), min_size=1, max_size=60)


@given(near=LENGTHS, seed=st.integers(0, 10))
def test_spots_hold_only_short_or_unseen_stations_and_none_is_lost(near: list[float], seed: int) -> None:
    rule = LandRule(shortest_mm=0.0, merge_mm=seed / 4)
    lengths = np.array(near)
    found = find_short_lands(LandsToJudge(length_mm={"here": lengths}, sheet_mm=SHEET_MM), STEP_MM, rule)
    inside = np.zeros(len(lengths), dtype=bool)
    for one in found:
        assert not inside[one.first : one.last + 1].any()
        inside[one.first : one.last + 1] = True
        assert one.land_mm < rule.least_share * SHEET_MM
    short = lengths < rule.least_share * SHEET_MM
    assert (inside[short]).all()
    assert not inside[lengths >= rule.least_share * SHEET_MM].any()


@pytest.mark.parametrize("name", ["least_share", "shortest_mm", "merge_mm"])
@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_senseless_rules_are_refused(name: str, value: float) -> None:
    with pytest.raises(UsageError) as caught:
        LandRule(**{name: value})
    assert str(caught.value) == f"{name} must be a number of 0 or more, not {value:g}."


def test_a_share_above_the_whole_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        LandRule(least_share=1.01)
    assert str(caught.value) == "least_share must be from 0 to 1, not 1.01."


def stretches(lengths: list[float], rule: LandRule, sheet_mm: float = 2.0) -> list[tuple[int, int, float]]:
    lands = LandsToJudge(length_mm={"here": np.array(lengths)}, sheet_mm=sheet_mm)
    found = find_short_lands(lands, STEP_MM, rule)
    assert all((one.side, one.sheet_mm) == ("here", sheet_mm) for one in found)
    return [(one.first, one.last, one.land_mm) for one in found]


def test_a_land_of_just_the_share_is_not_short_and_a_whole_sheet_may_be_asked_for() -> None:
    half = LandRule(least_share=0.5, shortest_mm=0.0)
    assert stretches([1.0, 0.999, 1.0], half) == [(1, 1, 0.999)]
    assert stretches([2.0, 1.999, 2.0], LandRule(least_share=1.0, shortest_mm=0.0)) == [(1, 1, 1.999)]


def test_flecks_are_closed_inside_a_stretch_and_by_the_stated_length_only() -> None:
    rule = LandRule(shortest_mm=0.0, merge_mm=1.0)
    assert stretches([NAN, 0.4, NAN, 0.6, NAN], rule) == [(1, 3, 0.5)]
    assert stretches([0.4, NAN, NAN, 0.6], rule) == [(0, 0, 0.4), (3, 3, 0.6)]
    assert stretches([0.4, NAN, NAN, 0.6], LandRule(shortest_mm=0.0, merge_mm=1.1)) == [(0, 3, 0.5)]


def test_every_stretch_that_is_long_enough_is_told_in_order() -> None:
    rule = LandRule(shortest_mm=1.0)
    assert stretches([0.4, 1.9, 0.5, 0.5, 1.9, 0.6, 1.9, 0.7, 0.7, 0.7], rule) == [(2, 3, 0.5), (7, 9, 0.7)]
    both = LandsToJudge(
        length_mm={"b": np.array([0.5, 0.5, 1.9, 0.5]), "a": np.array([0.5, 0.5, 0.5, 1.9])}, sheet_mm=2.0
    )
    found = find_short_lands(both, STEP_MM, rule)
    assert [(one.first, one.last, one.side) for one in found] == [(0, 2, "a"), (0, 1, "b")]


def test_the_sheet_is_told_in_hundredths() -> None:
    """18 ga by the manufacturers' standard is 1.21412 mm."""
    shape = JointShape(near_land_mm=land((20, 36, 0.5)), far_land_mm=None)
    lands = lands_to_judge(shape, 1.21412)
    (spot,) = judge(profile_of(np.full(COUNT, 0.3), first_mm=0.25), limit_of(0.9), lands=lands).spots
    assert "0.5 mm long, the sheet is 1.21 mm thick; the wire" in spot.advice
