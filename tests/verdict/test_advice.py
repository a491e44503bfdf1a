"""The sentences of a verdict, word by word."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from verdict_profiles import limit_of, profile_of

from fitup.verdict import DecisionRule, SpotRule, StationState, VerdictWord, judge
from fitup.verdict.advice import (
    beside_over_advice,
    blades_advice,
    doubtful_advice,
    joint_advice,
    joint_sentence,
    only_part,
    over_advice,
    place_in_words,
    short_land_advice,
    unseen_advice,
)
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot

NAN = math.nan
RULE = DecisionRule()


def spot(
    state: StationState | LandState, start_mm: float = 10.0, end_mm: float = 20.0, gap_mm: float = NAN
) -> Spot:
    return Spot(
        state=state,
        start_mm=start_mm,
        end_mm=end_mm,
        largest_gap_mm=gap_mm,
        u_mm=NAN,
        at_mm=NAN,
        advice=f"advice of {start_mm:g}",
    )


OVER, DOUBT, UNSEEN = (
    spot(state) for state in (StationState.OVER, StationState.DOUBTFUL, StationState.UNSEEN)
)
LAND = spot(LandState.SHORT)


# ---------------------------------- places


@pytest.mark.parametrize(
    ("start_mm", "end_mm", "words"),
    [
        (10.0, 15.0, "10–15 mm"),
        (10.25, 15.25, "10–16 mm"),
        (10.9, 15.9, "10–16 mm"),
        (10.0, 14.99, "10.00–14.99 mm"),
        (10.003, 10.507, "10.00–10.51 mm"),
        (0.0, 5.0, "0–5 mm"),
        (-0.5, 5.0, "-1 to 5 mm"),
        (-3.0, -1.0, "-3.00 to -1.00 mm"),
        (-5.5, -0.5, "-6 to 0 mm"),
        (9.9999999999, 15.0000000001, "10–15 mm"),  # what rounding left is no part of a spot
    ],
)
def test_places_are_rounded_outwards(start_mm: float, end_mm: float, words: str) -> None:
    assert place_in_words(start_mm, end_mm) == f"{words} from the datum mark"


def test_a_part_of_the_joint() -> None:
    assert only_part(10, 20) == "; only 10–20 mm from the datum mark was looked at"


# ---------------------------------- what to do at a spot


@pytest.mark.parametrize(
    ("gap_mm", "limit_mm", "words"),
    [
        (1.304, 0.9, "gap 1.30 mm, limit 0.90 mm (0.40 mm too wide)"),
        (0.91, 0.9, "gap 0.91 mm, limit 0.90 mm (0.01 mm too wide)"),
        (0.02, 0.01, "gap 0.02 mm, limit 0.01 mm (0.01 mm too wide)"),
        (0.909, 0.9, "gap 0.909 mm, limit 0.900 mm (0.009 mm too wide)"),
        (0.9001, 0.9, "gap 0.900 mm, limit 0.900 mm (less than 0.001 mm too wide)"),
    ],
)
def test_how_much_too_wide(gap_mm: float, limit_mm: float, words: str) -> None:
    assert over_advice(10, 20, gap_mm, limit_mm) == f"re-fixture 10–20 mm from the datum mark: {words}"


def test_a_doubt_is_for_the_blades_that_settle_it() -> None:
    blades = "inside the limit if 0.87 mm of blades does not go in, over it if 0.93 mm goes in"
    assert blades_advice(0.9, RULE) == blades
    assert doubtful_advice(10, 20, 0.88, 0.021, 0.9, RULE) == (
        "settle with a feeler gauge: 10–20 mm from the datum mark: gap 0.88 ± 0.04 mm (k = 2), "
        f"limit 0.90 mm; {blades}"
    )
    assert "gap 0.899 ± 0.042 mm (k = 2), limit 0.900 mm; " in doubtful_advice(
        10, 20, 0.899, 0.021, 0.9, RULE
    )
    assert "gap 0.00 ± 0.04 mm (k = 2)" in doubtful_advice(10, 20, -0.01, 0.021, 0.9, RULE)


def test_a_limit_that_no_blade_is_thin_enough_for() -> None:
    assert blades_advice(0.04, RULE) == "over it if 0.06 mm goes in"


def test_a_rim_goes_with_its_opening() -> None:
    assert beside_over_advice(10, 15, 15, 30) == (
        "goes with the re-fixture beside it (15–30 mm from the datum mark): 10–15 mm from the datum mark; "
        "no gauge is needed"
    )


@pytest.mark.parametrize(
    ("reason", "remedy"),
    [
        ("glare", "move the lamp or the phone until the shine is gone"),
        ("lit from behind", "cover the opening's back"),
        ("land not seen", "light the lands beside the gap from another side, and keep the gap's back dark"),
        ("low contrast", "bring more light to the joint"),
        ("poor photo", "hold the phone still, and give the photo as the camera stored it"),
        ("second line", "clean off the line beside the gap"),
        ("poor fit", "wipe the edges clean and hold the phone still"),
        ("outside photo", "bring the whole length into the photo"),
        ("steep view", "hold the phone squarely above this part"),
    ],
)
def test_every_reason_has_its_remedy(reason: str, remedy: str) -> None:
    place = "10–20 mm from the datum mark"
    assert unseen_advice(10, 20, reason) == f"photograph again or gauge: {place} ({reason}: {remedy})"
    assert unseen_advice(10, 20, reason, cause="do that") == (
        f"photograph again or gauge: {place} ({reason}: do that)"
    )
    assert unseen_advice(10, 20, reason, (1, 6)) == f"do as at 1–6 mm: {place} ({reason})"


def test_unseen_places_that_ask_for_something_else() -> None:
    place = "10–20 mm from the datum mark"
    assert unseen_advice(10, 20, "covered", cause="x") == (
        f"look at it: {place} is covered; if it is no tack or clamp, photograph again or gauge"
    )
    assert unseen_advice(10, 20, "no photo") == f"photograph the stretch {place}: no photo shows it"
    assert unseen_advice(10, 20, "never heard of") == (f"photograph again or gauge: {place} (never heard of)")
    assert unseen_advice(10, 20, "") == f"photograph again or gauge: {place}"
    assert unseen_advice(10, 20, "", (1, 6)) == f"do as at 1–6 mm: {place}"


def test_a_short_land_is_told_against_its_sheet() -> None:
    assert short_land_advice(10, 20, "across the gap", 0.46, 1.21412) == (
        "look at the land across the gap, 10–20 mm from the datum mark: 0.5 mm long, the sheet is 1.21 mm "
        "thick; the wire has no edge to run along there"
    )
    assert ": 0.0 mm long, " in short_land_advice(10, 20, "across the gap", -0.1, 1.5)


# ---------------------------------- the joint in one line


def test_the_sentence_counts_spots_of_every_kind() -> None:
    assert joint_sentence(
        VerdictWord.RE_FIXTURE, (1.3, 0.021, 52.6), 0.9, (OVER, DOUBT, LAND, UNSEEN), 0.959
    ) == (
        "re-fixture: largest gap 1.30 ± 0.04 mm (k = 2) at 53 mm from the datum mark, limit 0.90 mm; "
        "1 spot over the limit; 1 spot doubtful; 1 spot with a short land; 1 spot unseen; "
        "95 % of the joint seen"
    )
    assert joint_sentence(VerdictWord.GAUGE, (0.899, 0.021, -0.4), 0.9, (DOUBT, DOUBT), 1.0) == (
        "gauge: largest gap 0.899 ± 0.042 mm (k = 2) at 0 mm from the datum mark, limit 0.900 mm; "
        "2 spots doubtful; all of the joint seen"
    )
    assert joint_sentence(VerdictWord.RETAKE, (NAN, NAN, NAN), 0.9, (UNSEEN,), 0.0) == (
        "retake: no gap could be measured, limit 0.90 mm; 1 spot unseen; 0 % of the joint seen"
    )
    assert "; 29 % of" in joint_sentence(VerdictWord.RETAKE, (0.3, 0.02, 1.0), 0.9, (), 0.29)


def test_what_to_do_next_when_within() -> None:
    assert joint_advice(VerdictWord.WITHIN, (), "", True) == (
        "the fit-up is inside the limit: nothing to correct"
    )


def test_what_to_do_next_for_a_retake() -> None:
    assert joint_advice(VerdictWord.RETAKE, (UNSEEN,), "glare", False) == (
        "photograph the joint again (glare): move the lamp or the phone until the shine is gone"
    )
    assert joint_advice(VerdictWord.RETAKE, (UNSEEN,), "glare", False, cause="wipe the target") == (
        "photograph the joint again (glare): wipe the target"
    )
    assert joint_advice(VerdictWord.RETAKE, (UNSEEN,), "", False) == (
        "photograph the joint again: show the whole joint"
    )
    assert joint_advice(VerdictWord.RETAKE, (), "never heard of", False) == (
        "photograph the joint again (never heard of): show the whole joint"
    )


def test_what_to_do_next_where_no_photo_shows_the_joint() -> None:
    short, long = spot(StationState.UNSEEN, 0, 20), spot(StationState.UNSEEN, 50, 90)
    doubt = spot(StationState.DOUBTFUL, 100, 190)
    assert joint_advice(VerdictWord.RETAKE, (long,), "no photo", False) == "advice of 50"
    assert joint_advice(VerdictWord.RETAKE, (short, long), "no photo", False) == (
        "advice of 50; and 1 more listed"
    )
    assert joint_advice(VerdictWord.RETAKE, (short, long, doubt), "no photo", False) == (
        "advice of 50; and 2 more listed"
    )


def test_what_to_do_next_for_a_re_fixture_begins_with_the_widest() -> None:
    narrow = spot(StationState.OVER, 0, 20, 1.1)
    wide = spot(StationState.OVER, 50, 60, 1.3)
    assert joint_advice(VerdictWord.RE_FIXTURE, (narrow, DOUBT), "", True) == (
        "advice of 0; then photograph the joint again"
    )
    assert joint_advice(VerdictWord.RE_FIXTURE, (narrow, wide, UNSEEN), "glare", False) == (
        "advice of 50, and 1 more listed; then photograph the joint again; too little was seen of the rest"
    )


def test_what_to_do_next_for_a_gauge() -> None:
    doubt = spot(StationState.DOUBTFUL, 30, 40)
    better = "a photo from 20 cm would settle it"
    assert joint_advice(VerdictWord.GAUGE, (UNSEEN,), "", True, deciding=better) == "advice of 10"
    assert joint_advice(VerdictWord.GAUGE, (UNSEEN, doubt), "", True) == "advice of 10; and 1 more listed"
    assert joint_advice(VerdictWord.GAUGE, (doubt, UNSEEN, LAND), "", True, deciding=better) == (
        f"advice of 30; and 2 more listed; {better}"
    )


# ---------------------------------- spots that have to do with each other


def told(*gaps: tuple[int, float], rule: SpotRule | None = None) -> list[str]:
    stations = [gap_mm for count, gap_mm in gaps for _ in range(count)]
    verdict = judge(profile_of(stations, first_mm=0.25), limit_of(0.9), spot_rule=rule)
    return [spot.advice for spot in verdict.spots]


@pytest.mark.parametrize(("between", "goes_with"), [(0, True), (2, True), (3, False)])
def test_a_rim_lies_no_further_off_than_spots_are_merged(between: int, goes_with: bool) -> None:
    for advice in (
        told((20, 0.3), (10, 0.89), (between, 0.3), (10, 1.3), (20, 0.3))[0],
        told((20, 0.3), (10, 1.3), (between, 0.3), (10, 0.89), (20, 0.3))[1],
    ):
        assert advice.startswith("goes with the re-fixture beside it") == goes_with


def test_a_rim_between_two_openings_goes_with_the_nearer_one() -> None:
    two_off = (40, 0.3), (10, 1.3), (2, 0.3), (10, 0.89), (10, 1.3), (20, 0.3)
    assert told(*two_off)[1] == beside_over_advice(26, 31, 31, 36)
    mirrored = two_off[::-1]
    assert told(*mirrored)[1] == beside_over_advice(15, 20, 10, 15)


def test_the_same_reason_is_told_once_and_another_one_in_full() -> None:
    profile = profile_of([0.3] * 20 + [NAN] * 10 + [0.3] * 20 + [NAN] * 10 + [0.3] * 20, first_mm=0.25)
    reasons = [
        reason and ("glare" if at < 25 else "covered") for at, reason in enumerate(profile.unseen_reason)
    ]
    profile = replace(profile, unseen_reason=tuple(reasons))
    first, second = (spot.advice for spot in judge(profile, limit_of(0.9)).spots)
    assert first == unseen_advice(10, 15, "glare")
    assert second == unseen_advice(25, 30, "covered")
