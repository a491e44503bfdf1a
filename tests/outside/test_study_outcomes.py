"""The studies of an archive beside statsmodels and SciPy, which others made."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq, minimize

from fitup.study.change_ranks import mid_ranks, smaller_share
from fitup.study.outcome_model import chance_interval, fit_outcomes, gap_interval
from fitup.study.recurring_shares import binomial_tail, clopper_pearson, fisher_exact
from tests.study.simulated_outcomes import Truth, simulated


@pytest.mark.parametrize("seed", range(5))
def test_plain_line_is_that_of_statsmodels(seed: int) -> None:
    """statsmodels.discrete.discrete_model.Logit: parameters and log likelihood."""
    sm = pytest.importorskip("statsmodels.api")
    gap, sound = simulated(seed, Truth(welds=150, slope_per_mm=-6.0))
    theirs = sm.Logit(sound.astype(float), sm.add_constant(gap)).fit(disp=False, method="newton", tol=1e-12)
    mine = fit_outcomes(gap, sound, plain=True)
    np.testing.assert_allclose((mine.intercept, mine.slope_per_mm), theirs.params, rtol=1e-7)
    assert mine.log_likelihood == pytest.approx(theirs.llf, rel=1e-10)


def test_plain_interval_of_a_chance_is_the_profile_of_statsmodels() -> None:
    """Likelihood ratio with statsmodels' binomial model, the line held at a point by an offset."""
    sm = pytest.importorskip("statsmodels.api")
    gap, sound = simulated(7, Truth(welds=150, slope_per_mm=-6.0))
    full = sm.Logit(sound.astype(float), sm.add_constant(gap)).fit(disp=False).llf

    def excess(logit: float, at: float) -> float:
        held = sm.GLM(
            sound.astype(float),
            (gap - at)[:, None],
            family=sm.families.Binomial(),
            offset=np.full(len(gap), logit),
        ).fit(start_params=[mine.slope_per_mm])
        return float(2 * (full - held.llf) - stats.chi2.ppf(0.95, 1))

    mine = fit_outcomes(gap, sound, plain=True)
    middle = float(mine.intercept + mine.slope_per_mm * 0.8)
    low, high = (brentq(excess, middle, middle + far, args=(0.8,)) for far in (-2.5, 2.5))
    np.testing.assert_allclose(
        chance_interval(mine, 0.8), 1 / (1 + np.exp(-np.array([low, high]))), atol=1e-5
    )


@pytest.mark.parametrize("seed", range(4))
def test_penalised_line_is_what_a_general_optimiser_finds(seed: int) -> None:
    """SciPy's Nelder-Mead on the penalised likelihood, written out with a determinant."""
    gap, sound = simulated(seed, Truth(welds=50))

    def loss(beta: np.ndarray) -> float:
        design = np.column_stack([np.ones(len(gap)), gap])
        p = 1 / (1 + np.exp(-design @ beta))
        information = design.T @ (design * (p * (1 - p))[:, None])
        with np.errstate(divide="ignore", invalid="ignore"):
            value = np.sum(np.where(sound, np.log(p), np.log1p(-p)))
        return float(-value - 0.5 * np.linalg.slogdet(information)[1])

    best = minimize(
        loss, [5.0, -5.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12, "maxiter": 4000}
    )
    mine = fit_outcomes(gap, sound)
    np.testing.assert_allclose((mine.intercept, mine.slope_per_mm), best.x, rtol=1e-5)
    assert mine.log_likelihood == pytest.approx(-best.fun, abs=1e-8)

    def excess(gap_mm: float) -> float:
        def held(slope: np.ndarray) -> float:
            return loss(np.array([np.log(19.0) - slope[0] * gap_mm, slope[0]]))

        found = minimize(
            held, [mine.slope_per_mm], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
        )
        return 2 * (found.fun - best.fun) - stats.chi2.ppf(0.95, 1)

    interval, middle = gap_interval(mine, 0.95), mine.gap_at(0.95)
    assert interval.low_mm == pytest.approx(brentq(excess, middle - 1.0, middle, xtol=1e-7), abs=1e-4)
    assert interval.high_mm == pytest.approx(brentq(excess, middle, middle + 1.0, xtol=1e-7), abs=1e-4)


def test_shares_have_the_exact_interval_of_scipy() -> None:
    """scipy.stats.binomtest(...).proportion_ci(method="exact")."""
    for count, of in ((0, 1), (1, 1), (0, 12), (3, 12), (12, 12), (62, 190), (1, 100_000)):
        theirs = stats.binomtest(count, of).proportion_ci(0.95, method="exact")
        np.testing.assert_allclose([float(one) for one in clopper_pearson(count, of)], theirs, rtol=1e-5)
    assert [float(one) for one in clopper_pearson(0, 0)] == [0.0, 1.0]


def test_tails_are_those_of_scipy() -> None:
    for count, of, share in (
        (0, 10, 0.1),
        (3, 10, 0.1),
        (10, 10, 0.5),
        (25, 200, 0.05),
        (5400, 100_000, 0.05),
    ):
        assert float(binomial_tail(count, of, share)) == pytest.approx(
            stats.binom.sf(count - 1, of, share), rel=1e-9
        )


def test_tail_with_the_mean_is_no_less_than_with_each_probability() -> None:
    """scipy.stats.poisson_binom, whose probabilities differ: what is used here is on the safe side."""
    exact = getattr(stats, "poisson_binom", None)
    if exact is None:
        pytest.skip("this SciPy has no Poisson binomial distribution")
    rng = np.random.default_rng(1)
    for _ in range(20):
        p = rng.uniform(0.05, 0.4, 60)
        for count in range(int(np.ceil(p.sum() + 1)), 50, 5):
            assert float(binomial_tail(count, 60, p.mean())) >= exact.sf(count - 1, p) - 1e-14


def test_fisher_is_twice_the_smaller_tail_of_scipy() -> None:
    """scipy.stats.hypergeom; 1 where one side has none."""
    rng = np.random.default_rng(3)
    for n, m in ((5, 5), (110, 90), (1000, 20), (60_000, 40_000)):
        a, b = rng.integers(0, n + 1, 8), rng.integers(0, m + 1, 8)
        b[:4] = np.clip(np.round(a[:4] * m / n) + rng.integers(-3, 4, 4), 0, m)
        mine = fisher_exact(a, n, b, m)
        for index in range(8):
            table = stats.hypergeom(n + m, int(a[index] + b[index]), n)
            tail = min(table.sf(a[index] - 1), table.cdf(a[index]))
            assert mine[index] == pytest.approx(min(1.0, 2 * tail), rel=1e-6, abs=1e-300)
    assert float(fisher_exact(3, 5, 0, 0)) == 1.0


def test_ranks_and_their_test_are_those_of_scipy() -> None:
    """scipy.stats.rankdata and scipy.stats.brunnermunzel."""
    rng = np.random.default_rng(4)
    for n, m, step in ((5, 7, 0.2), (40, 60, 0.1), (300, 20, 0.0)):
        first, second = np.round(rng.normal(0.3, 1, n), 1), np.round(rng.normal(step, 2, m), 1)
        np.testing.assert_array_equal(mid_ranks(first), stats.rankdata(first))
        theirs = stats.brunnermunzel(first, second)
        assert smaller_share(first, second).probability == pytest.approx(theirs.pvalue, rel=1e-9)


def test_cuts_by_chance_are_as_rare_as_pettitt_says() -> None:
    """Series without a change: at 5 % no more than 5 % are told of, as the limit of long series is safe."""
    from fitup.study.change_ranks import strongest_cut

    rng = np.random.default_rng(5)
    told = np.mean([strongest_cut(rng.normal(size=100)).probability <= 0.05 for _ in range(2000)])
    assert 0.02 < told < 0.06
