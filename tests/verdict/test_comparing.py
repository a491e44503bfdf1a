"""A joint before and after: what became of every spot, and how sure a change is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from verdict_profiles import limit_of, profile_of

from fitup.errors import UsageError
from fitup.verdict import judge
from fitup.verdict.comparing import Comparison, Fate, compare
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot

NAN = math.nan
U_MM = 0.03


def judged(gaps: np.ndarray, first_mm: float = 0.25, step_mm: float = 0.5) -> JudgedJoint:
    profile = profile_of(gaps, U_MM)
    profile = replace(profile, station_mm=first_mm + step_mm * np.arange(len(gaps)), step_mm=step_mm)
    verdict = judge(profile, limit_of(0.9))
    return JudgedJoint(
        station_mm=profile.station_mm,
        gap_mm=profile.gap_mm,
        u_gap_mm=profile.u_gap_mm,
        states=verdict.states,
        unseen_reason=profile.unseen_reason,
        step_mm=profile.step_mm,
        limit_mm=0.9,
        word=verdict.word,
        sentence=verdict.sentence,
        spots=verdict.spots,
        decision=verdict.decision,
        spot_rule=verdict.spot_rule,
        seen_rule=verdict.seen_rule,
    )


def pieces(*those: tuple[int, float]) -> np.ndarray:
    return np.concatenate([np.full(count, gap_mm) for count, gap_mm in those])


def between(before: JudgedJoint, after: JudgedJoint, **how: float) -> Comparison:
    return compare(before, after, spots_before=before.spots, spots_after=after.spots, **how)


def fates(comparison: Comparison) -> list[tuple[str, str, str]]:
    return [(str(spot.fate), str(spot.state), str(spot.now)) for spot in comparison.spots]


# 100 mm: an opening at 20 to 25 mm, doubt at 50 to 55 mm, a hole at 70 to 73 mm.
BEFORE = pieces((40, 0.3), (10, 1.3), (50, 0.3), (10, 0.9), (30, 0.3), (6, NAN), (54, 0.3))


def test_a_joint_compared_with_itself_has_not_changed() -> None:
    joint = judged(BEFORE)
    comparison = between(joint, joint)
    assert fates(comparison) == [
        ("remains", "over", "over"),
        ("remains", "doubtful", "doubtful"),
        ("remains", "unseen", "unseen"),
    ]
    seen = np.isfinite(BEFORE)
    np.testing.assert_allclose(comparison.change.change_mm[seen], 0.0, atol=1e-12)
    np.testing.assert_allclose(comparison.change.u_change_mm[seen], U_MM * math.sqrt(2))
    assert np.isnan(comparison.change.change_mm[~seen]).all()


def test_what_was_closed_what_came_and_what_hides_now() -> None:
    after = pieces(
        (40, 0.3),
        (4, 0.4),
        (4, NAN),
        (2, 0.4),
        (50, 0.3),
        (10, 0.35),
        (30, 0.3),
        (6, 0.3),
        (24, 0.3),
        (10, 1.0),
        (20, 0.3),
    )
    comparison = between(judged(BEFORE), judged(after))
    assert fates(comparison) == [
        ("not seen again", "over", "unseen"),
        ("closed", "doubtful", "within"),
        ("closed", "unseen", "within"),
        ("new", "over", "over"),
    ]
    new = comparison.of(Fate.NEW)[0]
    assert (new.start_mm, new.end_mm) == (85.0, 90.0)
    assert new.change_mm == pytest.approx(0.7)


def test_an_opening_that_is_doubtful_now_remains() -> None:
    after = BEFORE.copy()
    after[40:50] = 0.9
    first = between(judged(BEFORE), judged(after)).spots[0]
    assert (first.fate, first.now) == ("remains", "doubtful")
    assert first.change_mm == pytest.approx(-0.4)


def test_a_part_of_the_joint_that_is_not_shown_again_is_no_closed_spot() -> None:
    comparison = between(judged(BEFORE), judged(np.full(46, 0.3)))
    assert fates(comparison) == [
        ("not seen again", "over", "unseen"),
        ("not seen again", "doubtful", "unseen"),
        ("not seen again", "unseen", "unseen"),
    ]


@pytest.mark.parametrize("shift_mm", [12.0, -12.0, 0.13])
def test_places_after_are_moved_by_the_shift(shift_mm: float) -> None:
    """The same joint photographed with the strip elsewhere: with the shift nothing has changed."""
    long_mm = np.arange(0.25, 100, 0.5)
    shape = 0.5 + 0.3 * np.sin(long_mm / 9)
    moved = 0.5 + 0.3 * np.sin((long_mm + shift_mm) / 9)
    change = between(judged(shape), judged(moved), shift_mm=shift_mm).change
    assert np.nanmax(np.abs(change.change_mm)) < 2e-3
    assert change.place_mm[0] >= 0.0
    assert change.place_mm[-1] <= 100.0


def test_other_steps_are_interpolated_and_never_across_a_hole() -> None:
    fine = judged(BEFORE)
    coarse = judged(np.full(50, 0.3), first_mm=1.0, step_mm=2.0)
    change = between(fine, coarse).change
    assert np.isnan(change.before_mm[(change.place_mm > 69.75) & (change.place_mm < 73.25)]).all()
    assert np.isfinite(change.before_mm[(change.place_mm < 69) | (change.place_mm > 74)]).all()
    back = between(coarse, fine).change
    assert np.nanmax(np.abs(back.before_mm - 0.3)) < 1e-12


def test_nothing_in_common_is_refused() -> None:
    with pytest.raises(UsageError, match="no place of the joint in common"):
        between(judged(BEFORE), judged(BEFORE), shift_mm=500.0)


def test_a_shared_print_cancels_in_the_change() -> None:
    """Monte Carlo in the manner of JCGM 101: one scale error in both, the rest independent."""
    random = np.random.default_rng(100)
    scale_u, own_u, count = 0.02, 0.01, 200_000
    g_before, g_after = 1.2, 0.5
    scale = random.normal(0, scale_u, count)
    drawn = g_after * (1 + scale) - g_before * (1 + scale) + random.normal(0, own_u * math.sqrt(2), count)
    before, after = (
        replace(joint, u_gap_mm=np.hypot(scale_u * joint.gap_mm, own_u))
        for joint in (judged(np.full(20, g_before)), judged(np.full(20, g_after)))
    )
    stated = between(before, after, shared_relative=scale_u).change.u_change_mm
    assert stated == pytest.approx(float(np.std(drawn)), rel=0.01)
    alone = between(before, after).change.u_change_mm
    assert (alone > stated).all()


def test_lands_that_are_not_listed_again_are_not_called_whole() -> None:
    joint = judged(np.full(200, 0.3))
    short = Spot(
        state=LandState.SHORT, start_mm=10.0, end_mm=20.0, largest_gap_mm=NAN, u_mm=NAN, at_mm=15.0, advice=""
    )
    gone = compare(joint, joint, spots_before=(short,), spots_after=())
    assert fates(gone) == [("not seen again", "short land", "short land")]
    still = compare(joint, joint, spots_before=(short,), spots_after=(short,))
    assert fates(still) == [("remains", "short land", "short land")]
    came = compare(joint, joint, spots_before=(), spots_after=(short,))
    assert fates(came) == [("new", "short land", "short land")]


def test_spots_after_are_told_at_their_places_before() -> None:
    """The strip lay 12 mm further on: what was at 20 mm is at 8 mm now."""
    after = pieces((16, 0.3), (10, 1.1), (114, 0.3), (4, 1.0), (32, 0.3))
    comparison = between(judged(BEFORE), judged(after), shift_mm=12.0)
    assert fates(comparison) == [
        ("remains", "over", "over"),
        ("closed", "doubtful", "within"),
        ("closed", "unseen", "within"),
        ("new", "over", "over"),
    ]
    opening, doubt, hole, new = comparison.spots
    assert (opening.start_mm, opening.end_mm) == (20.0, 25.0)
    assert (opening.before_mm, opening.after_mm) == (1.3, 1.1)
    assert opening.change_mm == pytest.approx(-0.2)
    assert opening.u_change_mm == pytest.approx(U_MM * math.sqrt(2))
    assert (doubt.before_mm, doubt.after_mm) == (0.9, 0.3)
    assert math.isnan(hole.before_mm)
    assert math.isnan(hole.u_change_mm)
    assert (new.start_mm, new.end_mm, new.before_mm, new.after_mm) == (82.0, 84.0, 0.3, 1.0)


def test_both_uncertainties_are_listed_beside_the_change() -> None:
    before, after = judged(np.full(20, 0.3)), judged(np.full(20, 0.5))
    change = between(before, replace(after, u_gap_mm=np.full(20, 0.04))).change
    np.testing.assert_array_equal(change.u_before_mm, np.full(20, 0.03))
    np.testing.assert_array_equal(change.u_after_mm, np.full(20, 0.04))
    np.testing.assert_array_equal(change.after_mm, np.full(20, 0.5))
    np.testing.assert_allclose(change.u_change_mm, 0.05)


def u_change(g_before: float, g_after: float, u_after: float, shared: float) -> float:
    before, after = judged(np.full(4, g_before)), judged(np.full(4, g_after))
    after = replace(after, u_gap_mm=np.full(4, u_after))
    return float(between(before, after, shared_relative=shared).change.u_change_mm[0])


def test_no_more_is_shared_than_both_state() -> None:
    """With all that is possible shared, the difference of 0.03 and 0.02 mm is left."""
    assert u_change(1.0, 1.0, 0.02, 0.5) == pytest.approx(0.01)


def test_a_reading_below_zero_shares_nothing() -> None:
    alone = math.hypot(0.03, 0.04)
    assert u_change(-0.02, 1.0, 0.04, 0.02) == u_change(1.0, -0.02, 0.04, 0.02) == pytest.approx(alone)


def before_at(stations: list[float], first_mm: float, count: int = 1) -> list[float]:
    """Gaps of a joint at 0.5, 1.0, ... mm, read at places of another one."""
    change = between(judged(np.array(stations), first_mm=0.5), judged(np.full(count, 0.3), first_mm)).change
    return [float(gap) for gap in change.before_mm]


def test_between_stations_both_neighbours_count() -> None:
    assert before_at([0.2, 0.4], 0.625) == pytest.approx([0.25])
    assert before_at([0.2, 0.4, 0.8], 0.5, 3) == [0.2, 0.4, 0.8]
    assert before_at([0.2, 0.4, 0.8], 1.375) == pytest.approx([0.7])


def test_past_the_first_and_last_station_the_gap_goes_on_level_to_the_end_of_the_cell() -> None:
    assert before_at([0.2, 0.4, 0.8], 0.25) == [0.2]
    assert before_at([0.2, 0.4, 0.8], 1.75) == [0.8]
    assert before_at([0.2], 0.5) == before_at([0.2], 0.375) == [0.2]
    with pytest.raises(UsageError) as caught:
        before_at([0.2, 0.4, 0.8], 1.76)
    assert str(caught.value) == (
        "the two records have no place of the joint in common: check both, and the shift between them."
    )


def test_a_hole_beside_a_station_does_not_hide_it() -> None:
    assert before_at([0.2, NAN, 0.8], 0.5, 3) == pytest.approx([0.2, NAN, 0.8], nan_ok=True)
    assert before_at([0.2, NAN, 0.8], 0.75, 2) == pytest.approx([NAN, NAN], nan_ok=True)


# A doubtful stretch from 10 to 15 mm, and a joint after that reaches just so far, or not.
DOUBT = pieces((20, 0.3), (10, 0.9), (20, 0.3))


@pytest.mark.parametrize(
    ("first_mm", "stations", "fate"),
    [
        (10.75, 30, "closed"),  # begins half a millimetre late: a step is no hole
        (10.76, 30, "not seen again"),
        (0.25, 29, "closed"),  # ends half a millimetre early
        (0.24, 29, "not seen again"),
        (5.25, 19, "closed"),
        (5.25, 18, "not seen again"),
    ],
)
def test_a_joint_after_must_reach_along_the_whole_spot_but_for_a_step(
    first_mm: float, stations: int, fate: str
) -> None:
    after = judged(np.full(stations, 0.3), first_mm=first_mm)
    assert [spot.fate for spot in between(judged(DOUBT), after).spots] == [fate]


@pytest.mark.parametrize("shift_mm", [3.0, -3.0])
def test_the_reach_after_is_shifted_too(shift_mm: float) -> None:
    inside = judged(np.full(10, 0.3), first_mm=10.25 - shift_mm)
    assert between(judged(DOUBT), inside, shift_mm=shift_mm).spots[0].fate == Fate.CLOSED
    beside = judged(np.full(10, 0.3), first_mm=8.25 - shift_mm)
    assert between(judged(DOUBT), beside, shift_mm=shift_mm).spots[0].fate == Fate.NOT_SEEN
