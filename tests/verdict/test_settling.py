"""What is told of settling, word by word, and the edges of what a reading settles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_feeler import DOUBT, NAN, TACK, judged, reading, states_in

from fitup.verdict import SeenRule, SpotRule, StationState, VerdictWord
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot
from fitup.verdict.settled import SettledVerdict, settle
from fitup.verdict.settling import settle_stations

GOOD = ((200, 0.3),)
OPEN = ((100, 0.3), (10, 1.3), (90, 0.3))


def remarks(verdict: SettledVerdict) -> list[tuple[str, ...]]:
    return list(verdict.stations.remarks)


# ---------------------------------- what a blade that stayed out is told


def test_one_that_the_photo_contradicts_names_the_place_where_it_does() -> None:
    verdict = settle(judged(*OPEN), [reading(0.5, False, 45, 60)])
    assert remarks(verdict) == [
        (
            "contradiction at 50–55 mm from the datum mark: the photo shows a gap wider than the 0.50 mm of "
            "blades that does not go in, so that settles nothing; look for a burr, a chip or a bent blade, "
            "or photograph again",
        )
    ]


def test_one_in_between_two_stations_settles_nothing() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.8, False, 50.1, 50.9)])
    assert remarks(verdict) == [("settles nothing: no station lies in the stretch with its whole cell",)]


def test_one_pushed_in_flat_is_told_to_use_its_corner() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.8, False, 50, 55, flat=True)])
    assert remarks(verdict) == [
        ("settles nothing: pushed in flat, a blade feels no opening shorter than its width; use its corner",)
    ]


def test_one_too_thick_is_told_which_would_do() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.89, False, 50, 55)])
    assert remarks(verdict) == [
        ("settles nothing: at the limit of 0.90 mm a blade proves something by staying out up to 0.87 mm",)
    ]


def test_where_no_blade_is_thin_enough_that_is_told() -> None:
    tight = replace(judged((20, NAN)), limit_mm=0.04)
    verdict = settle(tight, [reading(0.035, False, 0, 10), reading(0.045, True, 0, 10)])
    assert remarks(verdict) == [
        (
            "settles nothing: at the limit of 0.04 mm no blade is thin enough to prove anything by "
            "staying out",
        ),
        ("settles nothing: at the limit of 0.04 mm a blade proves something by going in from 0.06 mm",),
    ]
    assert not any(verdict.stations.near_limit)


def test_one_that_settles_has_no_remark_and_settles_what_was_open_only() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.86, False, 40, 60)])
    assert remarks(verdict) == [()]
    assert [number for number, by in enumerate(verdict.stations.by) if by] == list(range(100, 110))
    assert states_in(verdict, 0, 200) == {"within"}


# ---------------------------------- what a blade that went in is told


def test_one_that_finds_the_photo_too_narrow_but_proves_nothing() -> None:
    verdict = settle(judged(*GOOD), [reading(0.6, True, 20, 25)])
    assert remarks(verdict) == [
        (
            "contradiction at 20–25 mm from the datum mark: 0.60 mm of blades goes in, and the photo shows a "
            "narrower gap all along; photograph again, or make sure of the place",
        )
    ]
    assert states_in(verdict, 40, 50) == {"doubtful"}
    assert [number for number, by in enumerate(verdict.stations.by) if by] == list(range(40, 50))
    (spot,) = verdict.spots
    assert spot.advice == (
        "photograph again: 20–25 mm from the datum mark: a blade went in where the photo shows a narrower gap"
    )


def test_one_over_the_limit_where_the_photo_is_sure_of_less_has_one_remark() -> None:
    verdict = settle(judged(*GOOD), [reading(0.95, True, 20, 25)])
    assert remarks(verdict) == [
        (
            "contradiction at 20–25 mm from the datum mark: 0.95 mm of blades goes in, and the photo shows a "
            "narrower gap all along; photograph again, or make sure of the place",
        )
    ]


def test_one_over_the_limit_where_the_photo_is_just_within() -> None:
    verdict = settle(judged((200, 0.845)), [reading(0.93, True, 20, 25)])
    assert remarks(verdict) == [
        ("contradiction at 20–25 mm from the datum mark: the photo says within, the blade is over",)
    ]
    assert states_in(verdict, 40, 50) == {"over"}
    assert states_in(verdict, 0, 40) | states_in(verdict, 50, 200) == {"within"}


def test_one_wide_place_of_the_stretch_is_enough_not_to_contradict() -> None:
    verdict = settle(judged((40, 0.3), (1, 0.62), (159, 0.3)), [reading(0.6, True, 15, 25)])
    assert remarks(verdict) == [
        ("settles nothing: at the limit of 0.90 mm a blade proves something by going in from 0.93 mm",)
    ]
    assert verdict.word == VerdictWord.WITHIN


def test_one_past_the_end_of_the_joint() -> None:
    verdict = settle(judged(*GOOD), [reading(0.95, True, 150, 160)])
    assert remarks(verdict) == [("settles nothing: no station lies in the stretch",)]
    assert verdict.word == VerdictWord.WITHIN


def test_one_where_the_photo_shows_an_opening_settles_nothing_more() -> None:
    verdict = settle(judged(*OPEN), [reading(0.95, True, 40, 52)])
    assert remarks(verdict) == [
        ("settles nothing more: the photo shows a place over the limit in this stretch",)
    ]
    assert verdict.spots[0].by == ()


@pytest.mark.parametrize("pieces", [DOUBT, TACK])
def test_one_over_the_limit_takes_what_is_open_in_its_stretch_and_nothing_else(
    pieces: tuple[tuple[int, float], ...],
) -> None:
    there = settle(judged(*pieces), [reading(0.95, True, 48, 53)])
    assert remarks(there) == [()]
    assert states_in(there, 100, 106) == {"over"}
    assert states_in(there, 106, 110) == {str(judged(*pieces).states[100])}
    assert states_in(there, 0, 100) == states_in(there, 110, 200) == {"within"}
    elsewhere = settle(judged(*pieces), [reading(0.95, True, 20, 25)])
    assert states_in(elsewhere, 40, 50) == {"over"}
    assert states_in(elsewhere, 100, 110) == {str(judged(*pieces).states[100])}


def test_one_where_thinner_blades_stayed_out() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.85, False, 50, 55), reading(0.95, True, 50, 55)])
    assert remarks(verdict) == [
        (),
        ("contradiction at 50–55 mm from the datum mark: thinner blades did not go in; try them all again",),
    ]
    assert verdict.sentence.endswith("; READINGS CONTRADICT (the photo alone: gauge)")


@pytest.mark.parametrize("pieces", [DOUBT, TACK])
def test_too_near_the_limit_is_from_the_thickest_blade_that_would_have_settled_it(
    pieces: tuple[tuple[int, float], ...],
) -> None:
    joint = judged(*pieces)
    for blade_mm, near in ((0.86, False), (0.87, True), (0.91, True)):
        found = settle_stations(joint, [reading(blade_mm, True, 48, 53)]).near_limit
        assert np.flatnonzero(found).tolist() == (list(range(100, 106)) if near else [])
    two = settle_stations(joint, [reading(0.9, True, 50, 51), reading(0.9, True, 54, 55)]).near_limit
    assert np.flatnonzero(two).tolist() == [100, 101, 108, 109]


def test_of_a_station_the_readings_are_told_that_made_it_what_it_is() -> None:
    """Blades that stayed out do not make a station over, and one that went in does not make it within."""
    both = settle_stations(judged(*DOUBT), [reading(0.95, True, 50, 55), reading(0.85, False, 50, 55)])
    assert both.by[100] == (0,)
    three = [reading(0.85, False, 50, 55), reading(0.86, False, 50, 53), reading(0.6, True, 50, 55)]
    found = settle_stations(judged(*DOUBT), three)
    assert found.by[100] == (0, 1)
    assert found.by[108] == (0,)


@pytest.mark.parametrize(("at_mm", "stations"), [(50.0, [99, 100]), (50.25, [100]), (50.1, [100])])
def test_a_blade_at_one_place_is_about_the_cells_that_hold_it(at_mm: float, stations: list[int]) -> None:
    verdict = settle_stations(judged((200, NAN)), [reading(0.95, True, at_mm, at_mm)])
    assert np.flatnonzero([state == StationState.OVER for state in verdict.states]).tolist() == stations


# ---------------------------------- the verdict in words


def test_a_joint_settled_within() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.86, False, 50, 55)])
    assert verdict.sentence == (
        "within with 1 feeler-gauge reading, limit 0.90 mm: no spot is left (the photo alone: gauge)"
    )
    assert verdict.advice == "the fit-up is inside the limit: nothing to correct"
    assert verdict.known_share == 1.0


def test_without_readings_the_photos_sentence_stands() -> None:
    joint = judged(*DOUBT)
    assert settle(joint, []).sentence == joint.sentence


LAND = Spot(
    state=LandState.SHORT,
    start_mm=60.0,
    end_mm=65.0,
    largest_gap_mm=NAN,
    u_mm=NAN,
    at_mm=62.5,
    advice="look at the land",
)
# Doubt at 10 to 15 mm and 20 to 25 mm, an opening at 50 to 55 mm, a hole at 80 to 85 mm.
MUCH = ((20, 0.3), (10, 0.89), (10, 0.3), (10, 0.89), (50, 0.3), (10, 1.3), (50, 0.3), (10, NAN), (30, 0.3))


def much(**changes: object) -> JudgedJoint:
    joint = judged(*MUCH)
    return replace(joint, spots=(*joint.spots, LAND), **changes)  # type: ignore[arg-type]


def test_every_kind_of_spot_is_counted() -> None:
    verdict = settle(much(), [reading(0.5, True, 0, 5), reading(0.5, True, 0, 5)])
    assert verdict.sentence == (
        "re-fixture with 2 feeler-gauge readings, limit 0.90 mm: 1 spot over the limit; 3 spots doubtful; "
        "1 spot with a short land; 1 spot unseen; READINGS CONTRADICT (the photo alone: re-fixture)"
    )
    assert [str(spot.state) for spot in verdict.spots] == [
        "doubtful",
        "doubtful",
        "doubtful",
        "over",
        "short land",
        "unseen",
    ]
    land = verdict.spots[4]
    assert (land.start_mm, land.end_mm, land.advice, land.by) == (60.0, 65.0, "look at the land", ())
    assert verdict.known_share == 0.95


def test_a_part_of_a_joint_stays_a_part() -> None:
    verdict = settle(much(part_only=True), [reading(0.86, False, 10, 15)])
    assert verdict.sentence == (
        "re-fixture with 1 feeler-gauge reading, limit 0.90 mm: 1 spot over the limit; 1 spot doubtful; "
        "1 spot with a short land; 1 spot unseen (the photo alone: re-fixture); only a part of the joint was "
        "looked at"
    )


def test_the_advice_of_a_re_fixture_begins_with_the_opening() -> None:
    opening = "re-fixture 50–55 mm from the datum mark: gap 1.30 mm, limit 0.90 mm (0.40 mm too wide)"
    assert settle(much(), [reading(0.86, False, 10, 15)]).advice == (
        f"{opening}; then photograph the joint again"
    )
    two = settle(much(), [reading(0.95, True, 80, 85)])
    assert two.advice == f"{opening}; and 1 more listed; then photograph the joint again"
    assert two.spots[-1].advice == (
        "re-fixture 80–85 mm from the datum mark: 0.95 mm of blades goes in, limit 0.90 mm"
    )


def test_the_thickest_blade_that_went_in_is_told() -> None:
    readings = [reading(0.95, True, 50, 55), reading(1.05, True, 50, 55), reading(1.5, False, 50, 55)]
    (spot,) = settle(judged(*TACK), readings).spots
    assert spot.by == (0, 1)
    assert spot.advice == (
        "re-fixture 50–55 mm from the datum mark: 1.05 mm of blades goes in, limit 0.90 mm"
    )


def test_the_advice_of_a_retake_begins_with_what_is_hidden() -> None:
    joint = judged((20, 0.3), (10, 0.89), (30, 0.3), (60, NAN), (80, 0.3))
    verdict = settle(joint, [reading(0.3, True, 30, 35)])
    assert verdict.word == VerdictWord.RETAKE
    assert verdict.advice == (
        "look at it: 30–60 mm from the datum mark is covered; if it is no tack or clamp, photograph again or "
        "gauge"
    )


def test_a_retake_without_a_stretch_that_is_named() -> None:
    holes = [(4, 0.3), (1, NAN)] * 20
    joint = judged(*holes, rule=SpotRule(shortest_unseen_mm=1.0))
    joint = replace(joint, seen_rule=SeenRule(least_seen_share=0.9))
    verdict = settle(joint, [reading(0.3, True, 0, 1)])
    assert verdict.word == VerdictWord.RETAKE
    assert verdict.spots == ()
    assert verdict.advice == "photograph the joint again: show the whole joint"


def test_the_advice_of_a_gauge_begins_with_the_first_spot() -> None:
    joint = judged((20, 0.3), (10, 0.89), (30, 0.3), (10, NAN), (130, 0.3))
    verdict = settle(joint, [reading(0.3, True, 10, 15)])
    assert verdict.word == VerdictWord.GAUGE
    assert verdict.advice == f"{verdict.spots[0].advice}; and 1 more listed"
    assert verdict.spots[0].advice == joint.spots[0].advice
    assert verdict.spots[1].advice == joint.spots[1].advice


def test_too_near_for_any_blade_is_to_be_closed_further() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.9, True, 52, 53)])
    (spot,) = verdict.spots
    assert spot.advice == (
        "close it further: 50–55 mm from the datum mark: the gap is so near the limit of 0.90 mm that no "
        "blade tells; inside the limit if 0.87 mm of blades does not go in, over it if 0.93 mm goes in"
    )


def test_a_doubtful_rim_goes_with_the_opening_that_a_blade_found() -> None:
    verdict = settle(judged((100, 0.3), (10, 0.89), (6, NAN), (84, 0.3)), [reading(0.95, True, 55, 58)])
    rim, opening = verdict.spots
    assert (rim.state, opening.state) == (StationState.DOUBTFUL, StationState.OVER)
    assert rim.advice == (
        "goes with the re-fixture beside it (55.00–58.00 mm from the datum mark): 50–55 mm from the datum "
        "mark; no gauge is needed"
    )


@pytest.mark.parametrize(("between", "goes_with"), [(2, True), (3, False)])
def test_a_rim_lies_no_further_off_than_spots_are_merged(between: int, goes_with: bool) -> None:
    for pieces in (
        ((50, 0.3), (10, 0.89), (between, 0.3), (10, 1.3), (50, 0.3)),
        ((50, 0.3), (10, 1.3), (between, 0.3), (10, 0.89), (50, 0.3)),
    ):
        spots = settle(judged(*pieces), [reading(0.3, True, 0, 1)]).spots
        (doubt,) = [spot for spot in spots if spot.state == StationState.DOUBTFUL]
        assert doubt.advice.startswith("goes with") == goes_with


def test_the_widest_measured_gap_of_an_opening_is_told_and_of_its_doubt_too() -> None:
    joint = judged(
        (50, 0.3), (3, 1.1), (4, 1.3), (3, 1.2), (50, 0.3), (3, 0.88), (4, 0.91), (3, 0.89), (50, 0.3)
    )
    opening, doubt = settle(joint, [reading(0.3, True, 0, 1)]).spots
    assert opening.advice == joint.spots[0].advice
    assert "gap 1.30 mm" in opening.advice
    assert doubt.advice == joint.spots[1].advice
    assert "gap 0.91 ± 0.06 mm" in doubt.advice


def test_the_doubt_of_a_stretch_is_told_by_its_doubtful_stations() -> None:
    """The one between them is within, so surely that it is merged into the stretch and no more."""
    joint = judged((50, 0.3), (4, 0.89), (1, 0.84), (4, 0.88), (50, 0.3))
    (spot,) = settle(joint, [reading(0.3, True, 0, 1)]).spots
    assert spot.advice == joint.spots[0].advice
    assert "gap 0.89 ± 0.06 mm" in spot.advice


def test_without_readings_the_photos_word_stands_too() -> None:
    assert settle(replace(judged(*DOUBT), word=VerdictWord.RETAKE), []).word == VerdictWord.RETAKE


def test_a_short_opening_that_counts_as_doubtful_keeps_its_gap() -> None:
    joint = judged((50, 0.3), (2, 1.4), (50, 0.3), rule=SpotRule(shortest_over_mm=3.0))
    (spot,) = settle(joint, [reading(0.3, True, 0, 0.4)]).spots
    assert spot.advice == joint.spots[0].advice
    assert "gap 1.40 ± 0.06 mm" in spot.advice


def test_the_commonest_reason_of_a_hole_is_told() -> None:
    joint = judged((50, 0.3), (10, NAN), (50, 0.3))
    reasons = ("",) * 50 + ("covered",) * 4 + ("glare",) * 6 + ("",) * 50
    (spot,) = settle(replace(joint, unseen_reason=reasons), [reading(0.3, True, 0, 1)]).spots
    assert spot.advice == (
        "photograph again or gauge: 25–30 mm from the datum mark (glare: move the lamp or the phone until "
        "the shine is gone)"
    )
    (bare,) = settle(replace(joint, unseen_reason=("",) * 110), [reading(0.3, True, 0, 1)]).spots
    assert bare.advice == "photograph again or gauge: 25–30 mm from the datum mark"


def test_stations_of_a_joint_by_its_cells() -> None:
    """Stations at 0.25, 0.75, ... mm stand for cells of 0.5 mm."""
    joint = judged((6, 0.3))
    assert np.flatnonzero(joint.inside(0.5, 1.5)).tolist() == [1, 2]
    assert np.flatnonzero(joint.inside(0.51, 1.5)).tolist() == [2]
    assert np.flatnonzero(joint.inside(0.5, 1.49)).tolist() == [1]
    assert np.flatnonzero(joint.touched(0.5, 1.5)).tolist() == [1, 2]
    assert np.flatnonzero(joint.touched(0.49, 1.51)).tolist() == [0, 1, 2, 3]
    assert np.flatnonzero(joint.touched(0.6, 0.6)).tolist() == [1]
    assert np.flatnonzero(joint.touched(0.5, 0.5)).tolist() == [0, 1]
