from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm

from fitup.errors import UsageError
from fitup.verdict import DecisionRule, StationState, probability_within
from fitup.verdict.decision import decide

ORDER = {StationState.WITHIN: 0, StationState.DOUBTFUL: 1, StationState.OVER: 2}
GAP = st.floats(-0.2, 3.0)
U = st.floats(0.0, 2.0)
LIMIT = st.floats(0.05, 3.0)
RULE = st.builds(DecisionRule, conformance_probability=st.floats(0.501, 0.999))


def state_of(gap_mm: float, u_mm: float, limit_mm: float, rule: DecisionRule | None = None) -> StationState:
    return decide(np.array([gap_mm]), np.array([u_mm]), limit_mm, rule or DecisionRule())[0]


@pytest.mark.parametrize(
    ("gap_mm", "u_mm", "state"),
    [
        (0.80, 0.03, StationState.WITHIN),  # 0.80 + 1.645 × 0.03 = 0.849
        (0.85, 0.03, StationState.DOUBTFUL),  # 0.899 above, 0.801 below the limit
        (0.93, 0.03, StationState.DOUBTFUL),  # 0.881 is below the limit
        (0.95, 0.03, StationState.OVER),  # 0.901
        (0.10, 0.50, StationState.DOUBTFUL),  # cut at zero, 0.104 of the gaps lie above 0.889
        (-0.02, 0.03, StationState.WITHIN),
        (math.nan, math.nan, StationState.UNSEEN),
    ],
)
def test_states_at_a_limit_of_0_889(gap_mm: float, u_mm: float, state: StationState) -> None:
    assert state_of(gap_mm, u_mm, 0.889) == state


def test_an_exact_gap_changes_state_exactly_at_the_limit() -> None:
    limit_mm = 0.889
    assert state_of(limit_mm, 0.0, limit_mm) == StationState.WITHIN
    assert state_of(math.nextafter(limit_mm, 1), 0.0, limit_mm) == StationState.OVER


def test_a_reading_is_exact_up_to_a_picometre() -> None:
    assert state_of(0.889, 1e-9, 0.889) == StationState.WITHIN
    assert state_of(0.889, 2e-9, 0.889) == StationState.DOUBTFUL


def test_an_exact_reading_is_certain_and_an_unseen_one_has_no_probability() -> None:
    gaps = np.array([0.5, 1.5, math.nan])
    np.testing.assert_array_equal(probability_within(gaps, np.zeros(3), 0.889), [1.0, 0.0, math.nan])


def test_a_statement_exactly_as_probable_as_asked_is_made() -> None:
    probability = float(probability_within(np.array([0.8]), np.array([0.05]), 0.889)[0])
    as_probable = DecisionRule(conformance_probability=probability)
    more = DecisionRule(conformance_probability=math.nextafter(probability, 1))
    assert state_of(0.8, 0.05, 0.889, as_probable) == StationState.WITHIN
    assert state_of(0.8, 0.05, 0.889, more) == StationState.DOUBTFUL


def test_simple_acceptance_leaves_uncertainty_out() -> None:
    rule = DecisionRule(simple_acceptance=True)
    assert state_of(0.889, 0.3, 0.889, rule) == StationState.WITHIN
    assert state_of(math.nextafter(0.889, 1), 0.3, 0.889, rule) == StationState.OVER
    assert state_of(math.nan, math.nan, 0.889, rule) == StationState.UNSEEN


def test_a_reading_that_says_nothing_is_doubtful_and_not_over() -> None:
    assert state_of(0.1, 100.0, 0.889) == StationState.DOUBTFUL
    # the normal cut at zero alone would have called it over
    assert truncnorm.sf(0.889, a=-0.1 / 100, b=np.inf, loc=0.1, scale=100) > 0.95


def test_probability_against_a_general_reference_on_random_readings() -> None:
    """scipy.stats.truncnorm, another implementation of the normal cut at zero."""
    random = np.random.default_rng(20260101)
    gap_mm = random.uniform(-0.1, 2.0, 4000)
    u_mm = random.uniform(0.005, 0.5, 4000)
    limit_mm = 0.889
    reference = truncnorm.cdf(limit_mm, a=-gap_mm / u_mm, b=np.inf, loc=gap_mm, scale=u_mm)
    np.testing.assert_allclose(probability_within(gap_mm, u_mm, limit_mm), reference, rtol=0, atol=2e-12)


def test_probability_far_below_zero_where_both_tails_vanish() -> None:
    """Reference: the exponential law to which a normal tail tends, P = 1 - exp(-L (L/2 - g)/u²) to 1/z²."""
    gap_mm = np.array([-1.0, -2.0, -4.0])
    u_mm = np.full(3, 0.02)
    limit_mm = 4e-4
    tail = np.exp(-limit_mm * (limit_mm / 2 - gap_mm) / u_mm**2) * (-gap_mm / (limit_mm - gap_mm))
    np.testing.assert_allclose(probability_within(gap_mm, u_mm, limit_mm), 1 - tail, rtol=0, atol=1e-5)


def test_the_two_pieces_of_the_tail_meet() -> None:
    z = np.nextafter(25.0, [0.0, 26.0])
    u_mm = np.full(2, 0.01)
    gap_mm = -z * 0.01
    below, above = probability_within(gap_mm, u_mm, 1e-4)
    assert below == pytest.approx(above, abs=1e-8)


def test_the_series_of_the_far_tail_is_as_good_as_it_says() -> None:
    """From z = 24.99, where the error function serves, to z = 25.01, where the series does; SciPy's tail."""
    gap_mm, limit_mm = np.array([-24.99]), 0.02
    reference = -np.expm1(norm.logsf(25.01) - norm.logsf(24.99))
    found = probability_within(gap_mm, np.array([1.0]), limit_mm)
    np.testing.assert_allclose(found, reference, rtol=0, atol=1e-9)


def test_within_needs_more_than_iso_14253_when_zero_is_near() -> None:
    gap_mm, u_mm, limit_mm = np.array([0.05]), np.array([0.4]), 0.75
    assert probability_within(gap_mm, u_mm, limit_mm)[0] < norm.cdf((limit_mm - 0.05) / 0.4)


@settings(max_examples=300)
@given(gaps=st.lists(GAP, min_size=2, max_size=2), u_mm=U, limit_mm=LIMIT, rule=RULE)
def test_a_wider_gap_is_never_judged_better(
    gaps: list[float], u_mm: float, limit_mm: float, rule: DecisionRule
) -> None:
    narrow, wide = (ORDER[state_of(gap, u_mm, limit_mm, rule)] for gap in sorted(gaps))
    assert narrow <= wide


@settings(max_examples=300)
@given(gap_mm=GAP, u_mm=U, limits=st.lists(LIMIT, min_size=2, max_size=2), rule=RULE)
def test_a_larger_limit_is_never_judged_worse(
    gap_mm: float, u_mm: float, limits: list[float], rule: DecisionRule
) -> None:
    strict, lax = (ORDER[state_of(gap_mm, u_mm, limit, rule)] for limit in sorted(limits))
    assert lax <= strict


@settings(max_examples=300)
@given(gap_mm=GAP, us=st.lists(U, min_size=2, max_size=2), limit_mm=LIMIT, rule=RULE)
def test_a_larger_uncertainty_only_ever_leads_to_doubtful(
    gap_mm: float, us: list[float], limit_mm: float, rule: DecisionRule
) -> None:
    sharp, blurred = (state_of(gap_mm, u_mm, limit_mm, rule) for u_mm in sorted(us))
    assert blurred in (sharp, StationState.DOUBTFUL)


@settings(max_examples=200)
@given(gap_mm=GAP, u_mm=st.floats(0.001, 2.0), limit_mm=LIMIT, rule=RULE)
def test_within_and_over_always_keep_the_guard_band(
    gap_mm: float, u_mm: float, limit_mm: float, rule: DecisionRule
) -> None:
    """ISO 14253-1: a statement is made only outside the guard band of its quantile times u."""
    guard_mm = norm.ppf(rule.conformance_probability) * u_mm
    state = state_of(gap_mm, u_mm, limit_mm, rule)
    assert state != StationState.WITHIN or gap_mm + guard_mm <= limit_mm + 1e-9
    assert (state == StationState.OVER) == (gap_mm - guard_mm > limit_mm) or abs(
        gap_mm - guard_mm - limit_mm
    ) < 1e-9


def test_all_stations_are_judged_alike_in_one_call() -> None:
    gaps = np.array([0.1, 0.85, 1.4, math.nan])
    together = decide(gaps, np.where(np.isnan(gaps), math.nan, 0.03), 0.889, DecisionRule())
    assert together == tuple(state_of(gap, math.nan if math.isnan(gap) else 0.03, 0.889) for gap in gaps)
    assert len(set(together)) == 4


@pytest.mark.parametrize("probability", [0.5, 0.0, 1.0, -1.0, math.nan, 2.0])
def test_senseless_probabilities_are_refused(probability: float) -> None:
    with pytest.raises(UsageError, match="conformance probability"):
        DecisionRule(conformance_probability=probability)


def test_the_rule_says_itself() -> None:
    assert DecisionRule().sentence == (
        "within or over where at least 95 % probable, else doubtful (ISO 14253-1, JCGM 106)"
    )
    assert DecisionRule(simple_acceptance=True).sentence == "simple acceptance: the reading alone decides"


def test_states_of_a_ramp_come_in_order() -> None:
    gaps = np.linspace(0, 2, 401)
    states = decide(gaps, np.full(401, 0.05), 0.889, DecisionRule())
    assert [state for state, _ in itertools.groupby(states)] == ["within", "doubtful", "over"]
