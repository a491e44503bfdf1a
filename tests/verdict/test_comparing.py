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
