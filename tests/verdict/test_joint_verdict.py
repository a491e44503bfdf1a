from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from verdict_profiles import limit_of, profile_of

from fitup.errors import UsageError
from fitup.profile.needs import Need
from fitup.profile.quality import PhotoQuality
from fitup.verdict import (
    DecisionRule,
    JointVerdict,
    SeenRule,
    SpotRule,
    StationState,
    VerdictWord,
    fillable_gap,
    judge,
    parse_wire,
)

LIMIT = fillable_gap(parse_wire("035"))  # 0.889 mm
NAN = math.nan


def joint(*pieces: tuple[int, float]) -> np.ndarray:
    """Gaps of a joint from pieces (number of stations of 0.5 mm, gap in mm or NaN)."""
    return np.concatenate([np.full(count, gap_mm) for count, gap_mm in pieces])


def test_a_tight_joint_is_within() -> None:
    verdict = judge(profile_of(joint((400, 0.3))), LIMIT)
    assert verdict.word == VerdictWord.WITHIN
    assert verdict.spots == ()
    assert verdict.seen_share == 1.0
    assert "all of the joint seen" in verdict.sentence


def test_a_wide_spot_is_re_fixture_with_place_and_excess() -> None:
    gaps = joint((284, 0.3), (52, 1.12), (100, 0.3))
    verdict = judge(profile_of(gaps, first_mm=0.25), LIMIT)
    assert verdict.word == VerdictWord.RE_FIXTURE
    (spot,) = verdict.spots
    assert (spot.state, spot.start_mm, spot.end_mm) == (StationState.OVER, 142.0, 168.0)
    assert (spot.largest_gap_mm, spot.u_mm, spot.at_mm) == (1.12, 0.03, 142.25)
    assert spot.advice == (
        "re-fixture 142–168 mm from the datum mark: gap 1.12 mm, limit 0.89 mm (0.23 mm too wide)"
    )
    assert verdict.sentence.startswith(
        "re-fixture: largest gap 1.12 ± 0.06 mm (k = 2) at 142 mm from the datum mark, limit 0.89 mm"
    )
    assert spot.advice in verdict.advice


def test_a_doubtful_spot_is_for_the_gauge() -> None:
    verdict = judge(profile_of(joint((100, 0.3), (10, 0.87), (100, 0.3)), first_mm=0.25), LIMIT)
    assert verdict.word == VerdictWord.GAUGE
    (spot,) = verdict.spots
    assert spot.state == StationState.DOUBTFUL
    assert spot.advice.startswith(
        "settle with a feeler gauge: 50–55 mm from the datum mark: gap 0.87 ± 0.06 mm"
    )
    assert "if 0.86 mm of blades does not go in, over it if 0.92 mm goes in" in spot.advice


@pytest.mark.parametrize(
    ("limit_mm", "blade"), [(1.2, "1.16 mm of"), (0.889, "0.86 mm of"), (0.999, "0.97 mm of")]
)
def test_a_blade_that_does_not_go_in_proves_a_gap_inside_the_limit(limit_mm: float, blade: str) -> None:
    (spot,) = judge(profile_of(joint((10, limit_mm)), 0.03), limit_of(limit_mm)).spots
    assert blade in spot.advice


def test_a_tack_is_looked_at_by_a_person_and_never_passed_as_within() -> None:
    verdict = judge(profile_of(joint((200, 0.3), (10, NAN), (200, 0.3))), LIMIT)
    assert verdict.word == VerdictWord.GAUGE
    (spot,) = verdict.spots
    assert spot.state == StationState.UNSEEN
    assert math.isnan(spot.largest_gap_mm)
    assert math.isnan(spot.u_mm)
    assert spot.advice.startswith("look at it:")


def test_one_unseen_station_is_enough_not_to_be_within() -> None:
    assert judge(profile_of(joint((200, 0.3), (1, NAN), (200, 0.3))), LIMIT).word == VerdictWord.GAUGE


@pytest.mark.parametrize(("stations", "word"), [(20, VerdictWord.GAUGE), (21, VerdictWord.RETAKE)])
def test_an_unseen_stretch_of_more_than_10_mm_is_a_retake(stations: int, word: VerdictWord) -> None:
    profile = profile_of(joint((400, 0.3), (stations, NAN), (400, 0.3)), reason="glare")
    verdict = judge(profile, LIMIT)
    assert verdict.word == word
    assert word != VerdictWord.RETAKE or "shine" in verdict.advice


@pytest.mark.parametrize(("unseen", "word"), [(20, VerdictWord.GAUGE), (21, VerdictWord.RETAKE)])
def test_less_than_80_percent_seen_is_a_retake(unseen: int, word: VerdictWord) -> None:
    gaps = np.full(100, 0.3)
    gaps[3 : 3 + 4 * unseen : 4] = NAN
    assert np.isnan(gaps).sum() == unseen
    assert judge(profile_of(gaps), LIMIT).word == word


def test_a_measured_wide_spot_stands_even_when_most_of_the_joint_is_unseen() -> None:
    verdict = judge(profile_of(joint((300, NAN), (10, 1.5), (90, NAN))), LIMIT)
    assert verdict.word == VerdictWord.RE_FIXTURE
    assert [spot.state for spot in verdict.spots] == ["unseen", "over", "unseen"]
    assert "too little was seen" in verdict.advice


def test_nothing_seen_is_a_retake_without_numbers() -> None:
    verdict = judge(profile_of(joint((100, NAN)), reason="outside photo"), LIMIT)
    assert verdict.word == VerdictWord.RETAKE
    assert verdict.seen_share == 0.0
    assert math.isnan(verdict.largest_gap_mm)
    assert "no gap could be measured" in verdict.sentence
    assert "nan" not in verdict.sentence + verdict.advice


def test_almost_all_seen_does_not_read_as_all_seen() -> None:
    assert "99 % of the joint seen" in judge(profile_of(joint((999, 0.3), (1, NAN))), LIMIT).sentence


def test_the_verdict_of_an_exact_joint_changes_exactly_at_the_limit() -> None:
    at = judge(profile_of(joint((50, LIMIT.limit_mm)), 0.0), LIMIT)
    above = judge(profile_of(joint((50, math.nextafter(LIMIT.limit_mm, 1))), 0.0), LIMIT)
    assert (at.word, above.word) == (VerdictWord.WITHIN, VerdictWord.RE_FIXTURE)
    assert "less than 0.001 mm too wide" in above.spots[0].advice


def test_a_gap_beside_the_limit_is_not_shown_as_equal_to_it() -> None:
    (spot,) = judge(profile_of(joint((50, 0.893)), 0.0), LIMIT).spots
    assert "gap 0.893 mm, limit 0.889 mm (0.004 mm too wide)" in spot.advice


def test_a_reading_below_zero_is_shown_as_a_closed_joint() -> None:
    verdict = judge(profile_of(joint((50, -0.011))), LIMIT)
    assert verdict.largest_gap_mm == -0.011
    assert "largest gap 0.00 ± 0.06 mm" in verdict.sentence


def test_short_spots_and_places_before_the_datum_mark_read_well() -> None:
    (spot,) = judge(profile_of(joint((1, 1.5), (99, 0.3)), first_mm=-3.1), LIMIT).spots
    assert "re-fixture -3.35 to -2.85 mm from the datum mark" in spot.advice


@pytest.mark.parametrize(
    ("first_mm", "stations", "place"),
    [
        (142.0, 53, "141–169 mm"),
        (142.0, 3, "141.75–143.25 mm"),
        (60.0, 1, "59.75–60.25 mm"),
        (142.25, 52, "142–168 mm"),
    ],
)
def test_a_place_is_rounded_outwards_so_that_no_part_of_the_spot_is_left_out(
    first_mm: float, stations: int, place: str
) -> None:
    (spot,) = judge(profile_of(joint((stations, 1.5)), first_mm=first_mm), LIMIT).spots
    assert spot.advice.startswith(f"re-fixture {place} from the datum mark")


def test_simple_acceptance_is_named_in_the_verdict() -> None:
    rule = DecisionRule(simple_acceptance=True)
    verdict = judge(profile_of(joint((50, 0.88))), LIMIT, rule)
    assert verdict.word == VerdictWord.WITHIN
    assert verdict.decision == rule


def test_a_demoted_short_spot_keeps_its_largest_gap() -> None:
    profile = profile_of(joint((50, 0.3), (1, 1.4), (50, 0.3)))
    (spot,) = judge(profile, LIMIT, spot_rule=SpotRule(shortest_over_mm=2.0)).spots
    assert (spot.state, spot.largest_gap_mm) == (StationState.DOUBTFUL, 1.4)


def test_the_words_have_an_order() -> None:
    words = [VerdictWord.RETAKE, VerdictWord.WITHIN, VerdictWord.RE_FIXTURE, VerdictWord.GAUGE]
    assert sorted(words, key=lambda word: word.severity) == ["within", "gauge", "retake", "re-fixture"]


@pytest.mark.parametrize(
    "senseless", [{"least_seen_share": 1.1}, {"least_seen_share": NAN}, {"longest_unseen_mm": -1}]
)
def test_senseless_seen_rules_are_refused(senseless: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        SeenRule(**senseless)


def test_a_verdict_holds_all_that_it_rests_on() -> None:
    gaps = joint((40, 0.3), (10, 1.1), (1, 1.3), (40, 0.3))
    u_mm = np.full(len(gaps), 0.03)
    u_mm[50] = 0.04
    spot_rule, seen_rule = SpotRule(merge_mm=2.0), SeenRule(least_seen_share=0.9)
    rule = DecisionRule(conformance_probability=0.9)
    verdict = judge(profile_of(gaps, u_mm, first_mm=0.25), LIMIT, rule, spot_rule, seen_rule)
    assert (verdict.largest_gap_mm, verdict.largest_gap_u_mm, verdict.largest_gap_at_mm) == (1.3, 0.04, 25.25)
    assert verdict.limit is LIMIT
    assert (verdict.decision, verdict.spot_rule, verdict.seen_rule) == (rule, spot_rule, seen_rule)
    assert verdict.sentence == (
        "re-fixture: largest gap 1.30 ± 0.08 mm (k = 2) at 25 mm from the datum mark, limit 0.89 mm; 1 spot "
        "over the limit; all of the joint seen"
    )
    assert verdict.advice == f"{verdict.spots[0].advice}; then photograph the joint again"
    usual = judge(profile_of(joint((9, 0.3))), LIMIT)
    assert (usual.decision, usual.spot_rule, usual.seen_rule) == (DecisionRule(), SpotRule(), SeenRule())


def test_the_commonest_reason_is_told() -> None:
    profile = profile_of(joint((40, 0.3), (60, NAN), (40, 0.3)), first_mm=0.25, reason="glare")
    reasons = tuple(
        "glare" if 45 <= at < 50 else reason and "poor fit" for at, reason in enumerate(profile.unseen_reason)
    )
    mixed = judge(replace(profile, unseen_reason=reasons), LIMIT)
    assert mixed.advice.startswith("photograph the joint again (poor fit): ")
    assert "(poor fit: " in mixed.spots[0].advice


def test_a_measured_cause_takes_the_place_of_the_usual_remedy() -> None:
    cause = "a lamp is mirrored; turn it to the other side"
    quality = PhotoQuality(factors=(), need=None, advice=(), causes={"glare": cause})
    hole = profile_of(joint((40, 0.3), (10, NAN), (40, 0.3)), first_mm=0.25, reason="glare")
    verdict = judge(hole, LIMIT, quality=quality)
    assert verdict.spots[0].advice == (
        f"photograph again or gauge: 20–25 mm from the datum mark (glare: {cause})"
    )
    long = profile_of(joint((40, 0.3), (60, NAN), (40, 0.3)), reason="glare")
    assert judge(long, LIMIT, quality=quality).advice == f"photograph the joint again (glare): {cause}"
    other = profile_of(joint((40, 0.3), (10, NAN), (40, 0.3)), first_mm=0.25, reason="poor fit")
    assert judge(other, LIMIT, quality=quality).spots[0].advice == judge(other, LIMIT).spots[0].advice


def test_where_a_photo_is_judged_a_doubt_says_whether_a_better_one_would_settle_it() -> None:
    profile = profile_of(joint((40, 0.3), (10, 0.888), (40, 0.3)))
    need = Need(station_mm=20.0, gap_mm=0.888, allowed_mm=0.0006, parts_mm={"arris": 0.03})
    quality = PhotoQuality(factors=(), need=need, advice=(), causes={})
    assert judge(profile, LIMIT, quality=quality).advice == (
        judge(profile, LIMIT).advice + "; no photo settles a gap so near the limit"
    )


def test_refusals_of_seen_rules_word_by_word() -> None:
    for share in (-0.01, 1.01):
        with pytest.raises(UsageError) as caught:
            SeenRule(least_seen_share=share)
        assert str(caught.value) == f"least_seen_share must be from 0 to 1, not {share:g}."
    for length_mm in (-0.01, math.inf, NAN):
        with pytest.raises(UsageError) as caught:
            SeenRule(longest_unseen_mm=length_mm)
        assert str(caught.value) == f"longest_unseen_mm must be 0 mm or more, not {length_mm:g}."


def test_all_or_nothing_may_have_to_be_seen() -> None:
    profile = profile_of(joint((9, 0.3), (1, NAN)))
    for share, longest_mm, word in ((0, 0.5, "gauge"), (1, 0.5, "retake"), (0, 0, "retake")):
        rule = SeenRule(least_seen_share=share, longest_unseen_mm=longest_mm)
        assert judge(profile, LIMIT, seen_rule=rule).word == word
    whole = SeenRule(least_seen_share=1, longest_unseen_mm=0)
    assert judge(profile_of(joint((9, 0.3))), LIMIT, seen_rule=whole).word == VerdictWord.WITHIN


GAPS = st.lists(st.one_of(st.just(NAN), st.floats(-0.05, 2.0)), min_size=1, max_size=60)
U_MM = st.floats(0.0, 0.3)


def verdicts(gaps: list[float], u_mm: float, limit_mm: float = 0.889) -> JointVerdict:
    return judge(profile_of(gaps, u_mm), limit_of(limit_mm))


@given(gaps=GAPS, u_mm=U_MM)
def test_no_sentence_says_weld_or_breaks_the_line(gaps: list[float], u_mm: float) -> None:
    verdict = verdicts(gaps, u_mm)
    for text in (verdict.sentence, verdict.advice, *(spot.advice for spot in verdict.spots)):
        assert "weld" not in text.lower()
        assert "\n" not in text
        assert "nan" not in text
        assert "-0.0" not in text


@given(gaps=GAPS, u_mm=U_MM)
def test_within_means_that_every_station_was_seen_and_is_within(gaps: list[float], u_mm: float) -> None:
    verdict = verdicts(gaps, u_mm)
    assert (verdict.word == VerdictWord.WITHIN) == (set(verdict.states) == {StationState.WITHIN})
    assert (verdict.word == VerdictWord.RE_FIXTURE) == (StationState.OVER in verdict.states)


@settings(max_examples=200)
@given(gaps=GAPS, u_mm=U_MM, widening=st.floats(0.0, 1.0), data=st.data())
def test_a_joint_with_a_wider_gap_is_never_judged_better(
    gaps: list[float], u_mm: float, widening: float, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(gaps) - 1))
    wider = [gap + widening if index == at else gap for index, gap in enumerate(gaps)]
    assert verdicts(gaps, u_mm).word.severity <= verdicts(wider, u_mm).word.severity


@settings(max_examples=200)
@given(gaps=GAPS, u_mm=U_MM, limits=st.lists(st.floats(0.05, 3.0), min_size=2, max_size=2))
def test_a_joint_is_never_judged_worse_at_a_larger_limit(
    gaps: list[float], u_mm: float, limits: list[float]
) -> None:
    strict, lax = (verdicts(gaps, u_mm, limit_mm).word.severity for limit_mm in sorted(limits))
    assert lax <= strict


@settings(max_examples=200)
@given(gaps=GAPS, us=st.lists(U_MM, min_size=2, max_size=2))
def test_more_uncertainty_never_makes_a_joint_within(gaps: list[float], us: list[float]) -> None:
    sharp, blurred = (verdicts(gaps, u_mm).word for u_mm in sorted(us))
    assert blurred != VerdictWord.WITHIN or sharp == VerdictWord.WITHIN


@given(gaps=GAPS, u_mm=U_MM)
def test_spots_carry_numbers_of_their_own_stations(gaps: list[float], u_mm: float) -> None:
    for spot in verdicts(gaps, u_mm).spots:
        assert spot.start_mm < spot.at_mm < spot.end_mm
        assert spot.length_mm == pytest.approx(spot.end_mm - spot.start_mm)
        if spot.state != StationState.UNSEEN:
            assert spot.largest_gap_mm == gaps[round(spot.at_mm / 0.5)]


def test_doubtful_rims_go_with_the_opening_and_ask_for_no_gauge() -> None:
    # Two millimetres of rim on either side, longer than what counts as the edge of the spot itself.
    profile = profile_of(joint((40, 0.3), (4, 0.88), (20, 1.2), (4, 0.88), (40, 0.3), (6, 0.88), (40, 0.3)))
    verdict = judge(profile, LIMIT)
    rim, opening, other_rim, alone = verdict.spots
    assert (opening.state, alone.state) == (StationState.OVER, StationState.DOUBTFUL)
    for spot in (rim, other_rim):
        assert spot.state == StationState.DOUBTFUL
        assert spot.advice.startswith("goes with the re-fixture beside it")
        assert "settle with a feeler gauge" not in spot.advice
    assert "settle with a feeler gauge" in alone.advice


def test_the_same_remedy_is_given_once() -> None:
    profile = profile_of(joint((20, 0.3), (2, NAN), (20, 0.3), (3, NAN), (20, 0.3)), reason="glare")
    first, second = judge(profile, LIMIT).spots
    assert "move the lamp" in first.advice
    assert second.advice.startswith("do as at 9.75–10.75 mm: ")
    assert "glare" in second.advice
    assert "move the lamp" not in second.advice


@pytest.mark.parametrize("gap_mm", [0.3, 1.5, NAN])
def test_a_part_of_a_joint_is_not_passed_off_as_the_whole(gap_mm: float) -> None:
    profile = profile_of(joint((61, gap_mm)), first_mm=40.0)
    whole, part = judge(profile, LIMIT), judge(profile, LIMIT, part_only=True)
    for text in (part.sentence, part.advice):
        assert text.endswith("; only 39–71 mm from the datum mark was looked at")
    assert part.sentence.startswith(whole.sentence)
    assert "was looked at" not in whole.sentence + whole.advice


def test_a_part_reaches_half_a_step_past_its_first_and_last_station() -> None:
    part = judge(profile_of(joint((3, 0.3)), first_mm=40.0), LIMIT, part_only=True)
    assert part.sentence.endswith("; only 39.75–41.25 mm from the datum mark was looked at")
