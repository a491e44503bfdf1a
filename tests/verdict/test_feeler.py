"""Feeler-gauge readings: what a blade proves, what it settles, and what it may never do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from verdict_profiles import limit_of, profile_of

from fitup.errors import UsageError
from fitup.verdict import DecisionRule, SpotRule, StationState, VerdictWord, judge
from fitup.verdict.feeler import (
    FeelerReading,
    blade_uncertainty_mm,
    parse_blades,
    proof_of,
    settling_blades_mm,
)
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.settled import SettledVerdict, settle
from fitup.verdict.settling import settle_stations

NAN = math.nan
LIMIT_MM = 0.9
U_MM = 0.03
RULE = DecisionRule()


def judged(*pieces: tuple[int, float], rule: SpotRule | None = None) -> JudgedJoint:
    """A joint of pieces (stations of 0.5 mm, gap in mm or NaN) from 0 mm on, judged at 0.9 mm."""
    gaps = np.concatenate([np.full(count, gap_mm) for count, gap_mm in pieces])
    profile = profile_of(gaps, U_MM, first_mm=0.25)
    verdict = judge(profile, limit_of(LIMIT_MM), spot_rule=rule)
    return JudgedJoint(
        station_mm=profile.station_mm,
        gap_mm=profile.gap_mm,
        u_gap_mm=profile.u_gap_mm,
        states=verdict.states,
        unseen_reason=profile.unseen_reason,
        step_mm=profile.step_mm,
        limit_mm=LIMIT_MM,
        word=verdict.word,
        sentence=verdict.sentence,
        spots=verdict.spots,
        decision=RULE,
        spot_rule=verdict.spot_rule,
        seen_rule=verdict.seen_rule,
    )


def reading(
    blade_mm: float, goes_in: bool, start_mm: float, end_mm: float, flat: bool = False
) -> FeelerReading:
    return FeelerReading(blades_mm=(blade_mm,), goes_in=goes_in, start_mm=start_mm, end_mm=end_mm, flat=flat)


def states_in(verdict: SettledVerdict, start: int, end: int) -> set[str]:
    return {str(state) for state in verdict.stations.states[start:end]}


# A good joint of 100 mm with a doubtful stretch from 50 to 55 mm.
DOUBT = ((100, 0.3), (10, 0.89), (90, 0.3))
# The same with a stretch that was not seen.
TACK = ((100, 0.3), (10, NAN), (90, 0.3))


# ---------------------------------- what a blade proves


@pytest.mark.parametrize("blade_mm", [0.50, 0.86, 0.88, 0.885, 0.89, 0.90, 0.92, 0.95, 1.30])
@pytest.mark.parametrize("probability", [0.8, 0.95, 0.999])
def test_a_blade_is_judged_as_jcgm_106_has_it(blade_mm: float, probability: float) -> None:
    """P(blade <= limit) = Φ((L - t)/u), JCGM 106:2012, 7.2; SciPy's normal law is the referee."""
    u_mm = 0.011
    inside = norm.cdf((LIMIT_MM - blade_mm) / u_mm)
    expected = "within" if inside >= probability else "over" if 1 - inside >= probability else "doubtful"
    rule = DecisionRule(conformance_probability=probability)
    assert str(proof_of(blade_mm, u_mm, LIMIT_MM, rule)) == expected


def test_the_guard_band_of_a_blade_is_that_of_iso_14253() -> None:
    """ISO 14253-1:2017: 1.65 u at 95 % (second-hand); the quantile is 1.644854."""
    u_mm = 0.01
    proofs = [
        str(proof_of(LIMIT_MM - z * u_mm, u_mm, LIMIT_MM, RULE)) for z in (1.6449, 1.6448, -1.6448, -1.6449)
    ]
    assert proofs == ["within", "doubtful", "doubtful", "over"]


def test_blades_are_as_true_as_stated() -> None:
    """(0.01 mm each + 1 %)/√3, by hand for 0.90 mm: 0.019/1.7320508."""
    assert blade_uncertainty_mm((0.9,)) == pytest.approx(0.0109697, abs=1e-7)
    assert blade_uncertainty_mm((0.5, 0.4)) == pytest.approx(0.029 / math.sqrt(3), rel=1e-12)


def test_a_stack_drawn_from_its_stated_errors_keeps_its_promise() -> None:
    """Monte Carlo in the manner of JCGM 101: of blades at the advised thickness few are over the limit."""
    inside_mm, over_mm = settling_blades_mm(LIMIT_MM, RULE)
    assert inside_mm is not None
    random = np.random.default_rng(14253)
    shares = [
        np.mean(blade + random.uniform(-1, 1, 200_000) * (0.02 + 0.01 * blade) > LIMIT_MM)
        for blade in (inside_mm, over_mm)
    ]
    assert shares[0] <= 0.05
    assert shares[1] >= 0.95


@given(st.floats(0.05, 10), st.floats(0.55, 0.9999))
@settings(max_examples=60)
def test_advised_blades_settle_and_their_neighbours_do_not(limit_mm: float, probability: float) -> None:
    rule = DecisionRule(conformance_probability=probability)
    inside_mm, over_mm = settling_blades_mm(limit_mm, rule)

    def proof(blade_mm: float) -> str:
        return str(proof_of(blade_mm, blade_uncertainty_mm((blade_mm / 2, blade_mm / 2)), limit_mm, rule))

    assert proof(over_mm) == "over"
    assert over_mm <= 0.03 or proof(over_mm - 0.01) != "over"
    if inside_mm is not None:
        assert inside_mm <= limit_mm < over_mm
        assert proof(inside_mm) == "within"
        assert proof(inside_mm + 0.01) != "within"


@pytest.mark.parametrize(
    ("text", "blades_mm"),
    [
        ("0.90mm", (0.9,)),
        ("0.035in", (0.889,)),
        ("0,5 mm + 0.4 mm", (0.5, 0.4)),
        ("35 thou", (0.889,)),
        ("0.9", (0.9,)),
    ],
)
def test_blades_are_written_as_the_shop_writes_them(text: str, blades_mm: tuple[float, ...]) -> None:
    assert parse_blades(text) == pytest.approx(blades_mm, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["0", "0mm", "-0.5mm", "5m", "5000mm", "12mm", "", "+", "0.5mm+", ".035", "ten", "1mm" + "+1mm" * 10],
)
def test_what_is_no_blade_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_blades(text)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("ten", "the blade 'ten' cannot be read: write a number with mm or in."),
        ("0.5mm + ", "the blade is empty: write it with its unit, such as 0.9mm or 0.035in."),
        ("0.004mm", "a blade must be at least 0.005 mm thick, not 0.004 mm: check the unit."),
        ("+".join(["1mm"] * 11), "from 1 to 10 blades can be laid on each other, not 11."),
        ("6mm + 4.1mm", "blades of 10.1 mm are thicker than 10 mm: check the unit."),
    ],
)
def test_refusals_of_blades_say_what_is_wrong(text: str, sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_blades(text)
    assert str(caught.value) == sentence


def test_the_thinnest_blade_and_the_highest_stack_are_taken() -> None:
    assert parse_blades("0.005mm") == (0.005,)
    assert parse_blades("+".join(["1mm"] * 10)) == (1.0,) * 10


def test_refusals_of_readings_say_what_is_wrong() -> None:
    with pytest.raises(UsageError) as turned:
        reading(0.5, True, 5.0, 4.5)
    assert str(turned.value) == (
        "the stretch that was gauged begins at 5 mm and ends before that, at 4.5 mm: turn them round."
    )
    for bad in (NAN, math.inf):
        with pytest.raises(UsageError) as nowhere:
            reading(0.5, True, 0.0, bad)
        assert str(nowhere.value) == "the stretch that was gauged must begin and end at a number."
    for bad in (-0.001, 0.501):
        with pytest.raises(UsageError) as unsure:
            FeelerReading(blades_mm=(0.5,), goes_in=True, start_mm=0.0, end_mm=1.0, u_blades_mm=bad)
        assert str(unsure.value) == f"the blades' uncertainty must be from 0 to 0.5 mm, not {bad:g} mm."


def test_a_reading_at_one_place_with_a_stated_uncertainty() -> None:
    for stated in (0.0, 0.5):
        at = FeelerReading(blades_mm=(0.5, 0.4), goes_in=True, start_mm=5, end_mm=5, u_blades_mm=stated)
        assert (at.blade_mm, at.u_mm) == (0.9, stated)
        assert at.in_words == "0.90 mm of blades goes in"
    assert reading(0.5, False, 5, 5).in_words == "0.50 mm of blades does not go in"
    assert reading(0.5, False, 5, 5).u_mm == pytest.approx(0.015 / math.sqrt(3))


@pytest.mark.parametrize(
    ("limit_mm", "inside_mm", "over_mm"),
    [
        (0.9, 0.87, 0.93),
        (0.29, 0.26, 0.32),
        (5.0, 4.93, 5.07),
        (0.06, 0.04, 0.08),
        (0.05, 0.03, 0.07),
        (0.04, None, 0.06),
        (0.01, None, 0.03),
    ],
)
def test_blades_that_settle_by_hand(limit_mm: float, inside_mm: float | None, over_mm: float) -> None:
    """t + 1.645 u <= L or t - 1.645 u >= L with u = (0.02 + 0.01 t)/√3, in hundredths from 0.03 mm on."""
    assert settling_blades_mm(limit_mm, RULE) == (inside_mm, over_mm)


@pytest.mark.parametrize(
    "bad",
    [
        {"start_mm": 5.0, "end_mm": 4.0},
        {"start_mm": NAN},
        {"end_mm": math.inf},
        {"blades_mm": ()},
        {"blades_mm": (NAN,)},
        {"u_blades_mm": -0.1},
        {"u_blades_mm": 2.0},
    ],
)
def test_impossible_readings_are_refused(bad: dict[str, object]) -> None:
    good: dict[str, object] = {"blades_mm": (0.5,), "goes_in": True, "start_mm": 0.0, "end_mm": 1.0}
    with pytest.raises(UsageError):
        FeelerReading(**{**good, **bad})  # type: ignore[arg-type]


# ---------------------------------- what it settles


@pytest.mark.parametrize(
    "pieces", [DOUBT, TACK, ((100, 0.3), (10, 1.2), (90, 0.3)), ((200, 0.3),), ((200, NAN),)]
)
def test_without_readings_it_is_the_verdict_of_the_photo(pieces: tuple[tuple[int, float], ...]) -> None:
    joint = judged(*pieces)
    verdict = settle(joint, [])
    assert verdict.word == verdict.measured == joint.word
    assert verdict.stations.states == joint.states
    assert [(s.state, s.start_mm, s.end_mm) for s in verdict.spots] == [
        (s.state, s.start_mm, s.end_mm) for s in joint.spots
    ]


@pytest.mark.parametrize("pieces", [DOUBT, TACK])
def test_a_blade_inside_the_limit_that_stays_out_settles(pieces: tuple[tuple[int, float], ...]) -> None:
    verdict = settle(judged(*pieces), [reading(0.86, False, 50, 55)])
    assert verdict.word == VerdictWord.WITHIN
    assert verdict.spots == ()
    assert verdict.stations.by[100] == (0,)
    assert verdict.stations.by[99] == ()
    assert "the photo alone: gauge" in verdict.sentence


@pytest.mark.parametrize("pieces", [DOUBT, TACK])
def test_a_blade_over_the_limit_that_goes_in_settles(pieces: tuple[tuple[int, float], ...]) -> None:
    verdict = settle(judged(*pieces), [reading(0.93, True, 50, 55)])
    assert verdict.word == VerdictWord.RE_FIXTURE
    (spot,) = verdict.spots
    assert (spot.state, spot.start_mm, spot.end_mm, spot.by) == (StationState.OVER, 50.0, 55.0, (0,))
    assert "0.93 mm of blades goes in, limit 0.90 mm" in spot.advice


@pytest.mark.parametrize(
    ("blade_mm", "goes_in"), [(0.89, False), (0.90, False), (1.2, False), (0.91, True), (0.5, True)]
)
def test_a_blade_that_proves_nothing_says_which_would(blade_mm: float, goes_in: bool) -> None:
    verdict = settle(judged(*DOUBT), [reading(blade_mm, goes_in, 50, 55)])
    assert verdict.word == VerdictWord.GAUGE
    (remarks,) = verdict.stations.remarks
    assert any("settles nothing" in said and ("0.87 mm" in said or "0.93 mm" in said) for said in remarks)


def test_only_the_part_that_was_tried_is_settled() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.85, False, 50, 52.7)])
    (spot,) = verdict.spots
    assert (spot.state, spot.start_mm, spot.end_mm) == (StationState.DOUBTFUL, 52.5, 55.0)
    both = settle(judged(*DOUBT), [reading(0.85, False, 50, 52.7), reading(0.85, False, 52.5, 60)])
    assert both.word == VerdictWord.WITHIN


def test_a_blade_pushed_in_flat_settles_nothing_by_staying_out() -> None:
    flat = settle(judged(*DOUBT), [reading(0.8, False, 50, 55, flat=True)])
    assert flat.word == VerdictWord.GAUGE
    assert "corner" in flat.stations.remarks[0][0]
    assert settle(judged(*DOUBT), [reading(0.95, True, 50, 55, flat=True)]).word == VerdictWord.RE_FIXTURE


def test_a_long_unseen_stretch_that_was_gauged_is_no_retake_any_more() -> None:
    joint = judged((100, 0.3), (60, NAN), (40, 0.3))
    assert joint.word == VerdictWord.RETAKE
    assert settle(joint, [reading(0.85, False, 50, 69)]).word == VerdictWord.RETAKE  # 11 mm are left
    assert settle(joint, [reading(0.85, False, 50, 75)]).word == VerdictWord.GAUGE
    assert settle(joint, [reading(0.85, False, 50, 80)]).word == VerdictWord.WITHIN


def test_where_it_went_in_is_narrowed_by_where_it_did_not() -> None:
    wide = reading(0.95, True, 50, 55)
    left = reading(0.85, False, 50, 53)
    verdict = settle(judged(*DOUBT), [wide, left])
    assert verdict.word == VerdictWord.RE_FIXTURE
    (spot,) = verdict.spots
    assert (spot.start_mm, spot.end_mm, spot.by) == (53.0, 55.0, (0,))


def test_the_gap_between_both_blades_is_said_to_be_too_near() -> None:
    verdict = settle(judged(*DOUBT), [reading(0.88, True, 50, 55), reading(0.94, False, 50, 55)])
    assert verdict.word == VerdictWord.GAUGE
    assert "close it further" in verdict.advice


# ---------------------------------- contradictions


def test_a_blade_over_the_limit_is_never_argued_away_by_the_photo() -> None:
    verdict = settle(judged((200, 0.3)), [reading(0.95, True, 20, 25)])
    assert verdict.word == VerdictWord.RE_FIXTURE
    assert any("contradiction" in said for said in verdict.stations.remarks[0])


def test_nor_by_thinner_blades_that_stayed_out() -> None:
    readings = [reading(0.95, True, 50, 55), reading(0.85, False, 50, 55)]
    verdict = settle(judged(*DOUBT), readings)
    assert verdict.word == VerdictWord.RE_FIXTURE
    assert any("contradiction" in said for said in verdict.stations.remarks[0])
    assert verdict.spots[0].by == (0,)


def test_a_blade_inside_the_limit_that_refutes_the_photo_makes_it_doubtful() -> None:
    verdict = settle(judged((200, 0.3)), [reading(0.6, True, 20, 25)])
    assert verdict.word == VerdictWord.GAUGE
    assert states_in(verdict, 40, 50) == {"doubtful"}
    assert "photograph again" in verdict.spots[0].advice


def test_a_blade_as_wide_as_the_photo_shows_contradicts_nothing() -> None:
    verdict = settle(judged((200, 0.6)), [reading(0.65, True, 20, 25), reading(0.55, False, 40, 45)])
    assert verdict.word == VerdictWord.WITHIN
    assert not any("contradiction" in said for of in verdict.stations.remarks for said in of)


def test_a_blade_that_the_photo_contradicts_settles_nothing() -> None:
    """A burr stops the blade: 0.5 mm stays out where the photo shows 0.89 ± 0.06 mm."""
    verdict = settle(judged(*DOUBT), [reading(0.5, False, 50, 55)])
    assert verdict.word == VerdictWord.GAUGE
    assert "burr" in verdict.stations.remarks[0][0]


def test_what_the_photo_found_over_stays_over_and_is_the_place() -> None:
    joint = judged((100, 0.3), (4, 0.9), (10, 1.3), (86, 0.3))
    out = settle(joint, [reading(0.85, False, 0, 100)])
    assert out.stations.states == joint.states
    assert "contradiction" in out.stations.remarks[0][0]
    into = settle(joint, [reading(0.95, True, 50, 57)])
    assert into.stations.states == joint.states
    assert into.word == VerdictWord.RE_FIXTURE


# ---------------------------------- whatever is put in

GAPS = st.lists(
    st.tuples(st.integers(1, 12), st.sampled_from([0.2, 0.84, 0.87, 0.9, 0.93, 0.97, 1.4, NAN])),
    min_size=1,
    max_size=6,
)


@st.composite
def readings_of(draw: st.DrawFn) -> FeelerReading:
    start = draw(st.integers(-4, 70)) / 2
    return reading(
        draw(st.sampled_from([0.05, 0.3, 0.7, 0.85, 0.87, 0.9, 0.94, 1.1, 3.0])),
        draw(st.booleans()),
        start,
        start + draw(st.integers(0, 60)) / 2,
        flat=draw(st.booleans()),
    )


MANY = st.lists(readings_of(), max_size=4)


@given(GAPS, MANY)
@settings(max_examples=150, deadline=None)
def test_what_was_measured_over_stays_over(
    pieces: list[tuple[int, float]], readings: list[FeelerReading]
) -> None:
    joint = judged(*pieces)
    verdict = settle(joint, readings)
    over = joint.are(StationState.OVER)
    assert all(state == "over" for state, was in zip(verdict.stations.states, over, strict=True) if was)
    assert joint.word != VerdictWord.RE_FIXTURE or verdict.word == VerdictWord.RE_FIXTURE


@given(GAPS, MANY, readings_of())
@settings(max_examples=150, deadline=None)
def test_one_more_reading_never_lifts_a_re_fixture(
    pieces: list[tuple[int, float]], readings: list[FeelerReading], more: FeelerReading
) -> None:
    joint = judged(*pieces)
    if settle(joint, readings).word == VerdictWord.RE_FIXTURE:
        assert settle(joint, [*readings, more]).word == VerdictWord.RE_FIXTURE


@given(GAPS, MANY)
@settings(max_examples=100, deadline=None)
def test_the_order_of_readings_does_not_matter(
    pieces: list[tuple[int, float]], readings: list[FeelerReading]
) -> None:
    joint = judged(*pieces)
    forth, back = settle_stations(joint, readings), settle_stations(joint, readings[::-1])
    assert forth.states == back.states


@given(GAPS, st.integers(0, 20), st.floats(0.03, 1.5), st.floats(0.0, 1.0))
@settings(max_examples=150, deadline=None)
def test_a_thicker_blade_that_stays_out_proves_no_more(
    pieces: list[tuple[int, float]], start: int, blade_mm: float, thicker_mm: float
) -> None:
    """But for a thin one that the photo contradicts: where that settles nothing, nothing can be compared."""
    joint = judged(*pieces)
    thin, thick = (
        settle(joint, [reading(t, False, start, start + 10)]) for t in (blade_mm, blade_mm + thicker_mm)
    )
    if not any("contradiction" in said for said in thin.stations.remarks[0]):
        for by_thin, by_thick in zip(thin.stations.states, thick.stations.states, strict=True):
            assert by_thin == by_thick or by_thin == "within"


@given(GAPS, st.integers(0, 20), st.floats(0.03, 1.5), st.floats(0.0, 1.0))
@settings(max_examples=150, deadline=None)
def test_a_thicker_blade_that_goes_in_is_never_better(
    pieces: list[tuple[int, float]], start: int, blade_mm: float, thicker_mm: float
) -> None:
    joint = judged(*pieces)
    thin, thick = (
        settle(joint, [reading(t, True, start, start + 10)]) for t in (blade_mm, blade_mm + thicker_mm)
    )
    assert thick.word.severity >= thin.word.severity


@given(GAPS, st.integers(0, 20), st.integers(0, 40))
@settings(max_examples=100, deadline=None)
def test_within_is_only_what_was_tried_or_measured(
    pieces: list[tuple[int, float]], start: int, length: int
) -> None:
    joint = judged(*pieces)
    verdict = settle(joint, [reading(0.8, False, start / 2, (start + length) / 2)])
    for place, state, was in zip(joint.station_mm, verdict.stations.states, joint.states, strict=True):
        if state == "within" and was != "within":
            assert start / 2 <= place - 0.25 + 1e-6
            assert place + 0.25 <= (start + length) / 2 + 1e-6
