"""The decision rule against worked numbers of JCGM 106:2012, ISO 14253-1:2017 and ILAC-G8:09/2019."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from fitup.verdict import DecisionRule, StationState, probability_within
from fitup.verdict.decision import decide

# Far from zero, so that the normal law of the examples and the one cut at zero are the same.
AWAY_MM = 1000.0


def conformance(reading: float, u: float, limit: float) -> float:
    """P(true value <= limit), with reading and limit moved away from zero together."""
    return float(probability_within(np.array([AWAY_MM + reading]), np.array([u]), AWAY_MM + limit)[0])


def test_jcgm_106_one_sided_upper_limit() -> None:
    """Breakdown voltage -5.47 V, u 0.05 V, limit -5.40 V: 0.92 (JCGM 106:2012, from memory)."""
    assert conformance(-5.47, 0.05, -5.40) == pytest.approx(0.92, abs=0.005)
    assert conformance(-5.47, 0.05, -5.40) == pytest.approx(0.919243, abs=1e-6)  # Φ(1.4)


def test_jcgm_106_one_sided_lower_limit() -> None:
    """Pressure 509.7 kPa, u 8.6, lower limit 490: 0.99 (JCGM 106:2012, from memory); mirrored here."""
    assert conformance(-509.7, 8.6, -490.0) == pytest.approx(0.99, abs=0.005)


def test_jcgm_106_two_sided_limits_by_difference() -> None:
    """13.6 mm²/s, u 1.8, limits 12.5 to 16.3: 0.66 (JCGM 106:2012, from memory)."""
    inside = conformance(13.6, 1.8, 16.3) - conformance(13.6, 1.8, 12.5)
    assert inside == pytest.approx(0.66, abs=0.005)


@pytest.mark.parametrize(("reading", "published"), [(10.0, 0.01242 / 2), (10.5, 0.10574)])
def test_specific_risk_of_a_calibration_package(reading: float, published: float) -> None:
    """N(reading, 0.4) outside 9 to 11: 0.01242, 0.10574 (published tests of an open metrology package).

    The first is the sum of both sides and is halved here; the second lies above the upper limit but for 1e-4.
    """
    assert 1 - conformance(reading, 0.4, 11.0) == pytest.approx(published, abs=1.5e-4)


# Guard band in units of u, upper bound of the specific risk as printed.
# ILAC-G8:09/2019, second-hand: w = r U with U = 2 u.
ILAC_G8 = [(6.0, 1e-6), (3.0, 0.0016), (2.0, 0.025), (1.66, 0.05), (0.0, 0.50)]


@pytest.mark.parametrize(("guard_in_u", "risk"), ILAC_G8)
def test_guard_bands_keep_the_risk_of_ilac_g8(guard_in_u: float, risk: float) -> None:
    u_mm = 0.01
    assert 1 - conformance(-guard_in_u * u_mm, u_mm, 0.0) <= risk + 1e-9


def test_iso_14253_guard_band_is_1_65_u_on_both_sides_of_the_limit() -> None:
    """ISO 14253-1:2017: default 95 %, guard band 1.65 u (second-hand); the quantile is 1.644854."""
    u_mm, limit_mm = 0.03, 0.889
    gaps_mm = limit_mm + u_mm * np.array([-1.6449, -1.6448, 1.6448, 1.6449])
    states = decide(gaps_mm, np.full(4, u_mm), limit_mm, DecisionRule())
    assert [str(state) for state in states] == ["within", "doubtful", "doubtful", "over"]


def test_a_length_whose_conformity_is_not_proven() -> None:
    """10.00 ± 0.05 mm, measured 10.03, U 0.04: not proven (second-hand, a page of low authority)."""
    assert decide(np.array([10.03]), np.array([0.02]), 10.05, DecisionRule()) == (StationState.DOUBTFUL,)


def test_drawn_gaps_keep_the_promised_share() -> None:
    """Monte Carlo in the manner of JCGM 101: that share of gaps drawn from N(g, u²) cut at 0 is inside."""
    random = np.random.default_rng(106)
    gap_mm, u_mm, limit_mm = 0.10, 0.15, 0.35
    drawn = random.normal(gap_mm, u_mm, 400_000)
    true_mm = drawn[drawn >= 0]
    promised = float(probability_within(np.array([gap_mm]), np.array([u_mm]), limit_mm)[0])
    five_sigma = 5 * np.sqrt(promised * (1 - promised) / len(true_mm))
    assert np.mean(true_mm <= limit_mm) == pytest.approx(promised, abs=five_sigma)


def widest_within(u: float, limit: float, rule: DecisionRule) -> float:
    """The largest reading that is still within, by bisection."""
    low, high = -limit, 2 * limit
    for _ in range(60):
        middle = (low + high) / 2
        (state,) = decide(np.array([AWAY_MM + middle]), np.array([u]), AWAY_MM + limit, rule)
        low, high = (middle, high) if state is StationState.WITHIN else (low, middle)
    return low


def global_risks(process: float, u: float, limit: float, rule: DecisionRule) -> tuple[float, float]:
    """P(said within and not conforming), P(conforming and not said within); limits on both sides of 0.

    True values N(0, process²), readings N(true, u²); the lower limit is decided as the upper one, mirrored.
    """
    bound = widest_within(u, limit, rule)
    edges = np.linspace(-8, 8, 160_001) * process
    true = (edges[1:] + edges[:-1]) / 2
    weight = np.diff(norm.cdf(edges / process))
    p_within = norm.cdf((bound - true) / u) - norm.cdf((-bound - true) / u)
    inside = np.abs(true) <= limit
    return float(weight @ (p_within * ~inside)), float(weight @ ((1 - p_within) * inside))


def test_risks_of_a_calibration_package_by_simple_acceptance() -> None:
    """Process N(0, 4²), test N(0, 1²), limits ±8: PFA 0.008, PFR 0.015.

    From the published tests of an open metrology package.
    """
    accepted, rejected = global_risks(4.0, 1.0, 8.0, DecisionRule(simple_acceptance=True))
    assert accepted == pytest.approx(0.008006, abs=1e-5)
    assert rejected == pytest.approx(0.014851, abs=1e-5)


def test_risks_of_jcgm_106_resistors_with_a_guard_band() -> None:
    """1500 Ω ± 0.20 accepted within ± 0.18, process 0.12, u 0.04: R_C 0.01, R_P 0.07 (9.5.4, from memory).

    The guard band of 0.02 is half of u: a conformance probability of Φ(0.5).
    """
    rule = DecisionRule(conformance_probability=norm.cdf(0.5))
    accepted, rejected = global_risks(0.12, 0.04, 0.20, rule)
    assert accepted == pytest.approx(0.009878, abs=1e-5)
    assert rejected == pytest.approx(0.069027, abs=1e-5)
    accepted, rejected = global_risks(0.12, 0.04, 0.20, DecisionRule(simple_acceptance=True))
    assert accepted == pytest.approx(0.018942, abs=1e-5)
    assert rejected == pytest.approx(0.037208, abs=1e-5)


def test_prior_conformance_of_jcgm_106_resistors() -> None:
    """N(1500, 0.12²) within ± 0.20: 0.90 (9.5.4, from memory)."""
    assert 2 * conformance(0.0, 0.12, 0.20) - 1 == pytest.approx(0.904419, abs=1e-6)
