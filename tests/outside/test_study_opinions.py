"""Studies against statsmodels and SciPy on random data, and the line against NIST StRD Norris."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.stats
import statsmodels.api as sm
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from fitup.study.anova import one_way, two_way
from fitup.study.crossed import crossed_study
from fitup.study.intervals import Term, interval_of
from fitup.study.linearity import fit_line
from fitup.study.quantiles import chi2_quantile, chi2_tail, f_quantile, f_tail, t_quantile, t_tail
from fitup.study.york import york_line
from tests.outside.test_study_published import readings_of

SHAPES = [(2, 2, 2), (10, 3, 2), (5, 4, 3), (8, 3, 6)]


def drawn(shape: tuple[int, int, int], seed: int, interaction: float = 0.02) -> np.ndarray:
    random = np.random.default_rng(seed)
    p, o, r = shape
    return (
        0.6
        + 0.25 * random.standard_normal((p, 1, 1))
        + 0.03 * random.standard_normal((1, o, 1))
        + interaction * random.standard_normal((p, o, 1))
        + 0.02 * random.standard_normal((p, o, r))
    )


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("seed", range(3))
def test_two_way_table_is_that_of_statsmodels(shape: tuple[int, int, int], seed: int) -> None:
    value = drawn(shape, seed)
    part, person, _ = (index.ravel() for index in np.indices(shape))
    frame = pd.DataFrame({"y": value.ravel(), "part": part, "person": person})
    table = anova_lm(ols("y ~ C(part) * C(person)", frame).fit())
    ours = two_way(value)
    rows = {
        "C(part)": ours.part,
        "C(person)": ours.person,
        "C(part):C(person)": ours.interaction,
        "Residual": ours.repeat,
    }
    for name, row in rows.items():
        assert row.ss == pytest.approx(table.loc[name, "sum_sq"], rel=1e-9)
        assert row.df == table.loc[name, "df"]
    f, p = ours.interaction.over(ours.repeat)
    assert f == pytest.approx(table.loc["C(part):C(person)", "F"], rel=1e-9)
    assert p == pytest.approx(table.loc["C(part):C(person)", "PR(>F)"], rel=1e-7)


@pytest.mark.parametrize("seed", range(4))
def test_components_solve_the_expected_mean_squares(seed: int) -> None:
    """From statsmodels' mean squares, by the textbook's equations; what is negative is zero."""
    shape = (9, 3, 3)
    value = drawn(shape, seed, interaction=0.03)
    part, person, _ = (index.ravel() for index in np.indices(shape))
    frame = pd.DataFrame({"y": value.ravel(), "part": part, "person": person})
    table = anova_lm(ols("y ~ C(part) * C(person)", frame).fit())["mean_sq"]
    study = crossed_study(readings_of(value), limit_mm=0.9, alpha=0.25)
    assert not study.pooled
    both, error = table["C(part):C(person)"], table["Residual"]
    wanted = {
        "repeatability": error,
        "interaction": max((both - error) / 3, 0),
        "person": max((table["C(person)"] - both) / 27, 0),
        "part": max((table["C(part)"] - both) / 9, 0),
    }
    for name, variance in wanted.items():
        assert getattr(study, name).variance_mm2 == pytest.approx(variance, rel=1e-8, abs=1e-15)
    assert study.grr.variance_mm2 == pytest.approx(sum(wanted.values()) - wanted["part"], rel=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_one_way_is_that_of_scipy(seed: int) -> None:
    random = np.random.default_rng(seed)
    groups = [random.normal(196, 0.1, size) for size in (5, 3, 8, 1)]
    ours, theirs = one_way(groups), scipy.stats.f_oneway(*groups)
    assert ours.f == pytest.approx(theirs.statistic, rel=1e-7)
    assert ours.p == pytest.approx(theirs.pvalue, rel=1e-7)


@pytest.mark.parametrize("seed", range(4))
def test_line_is_that_of_statsmodels(seed: int) -> None:
    random = np.random.default_rng(seed)
    x = np.repeat(random.uniform(0.1, 2.0, 6), 4)
    y = 0.02 + 1.01 * x + random.normal(0, 0.01, x.size)
    theirs, ours = sm.OLS(y, sm.add_constant(x)).fit(), fit_line(x, y)
    assert (ours.line.intercept, ours.line.slope) == pytest.approx(tuple(theirs.params), rel=1e-9)
    assert np.array(ours.line.covariance) == pytest.approx(theirs.cov_params(), rel=1e-8)
    none = theirs.f_test((np.eye(2), np.array([0.0, 1.0])))
    assert ours.p_none == pytest.approx(float(none.pvalue), rel=1e-6)
    bias = sm.OLS(y - x, sm.add_constant(x)).fit()
    assert ours.r2_bias == pytest.approx(bias.rsquared, rel=1e-8)
    assert ours.p_slope == pytest.approx(bias.pvalues[1], rel=1e-6)
    # Lack of fit is the comparison of the line with a mean for every reference.
    free = ols("y ~ C(x)", pd.DataFrame({"x": x, "y": y})).fit()
    f, p, _ = free.compare_f_test(ols("y ~ x", pd.DataFrame({"x": x, "y": y})).fit())
    assert (ours.f_lack, ours.p_lack) == pytest.approx((f, p), rel=1e-6)


def test_line_on_nist_norris() -> None:
    """NIST StRD Norris, certified values; the data lie in SciPy's wheel (scipy/stats/tests/data)."""
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"
    if not path.is_file():
        pytest.skip("this SciPy comes without its test data")
    lines = path.read_text(encoding="utf-8").splitlines()[60:96]
    y, x = np.array([[float(word) for word in line.split()] for line in lines]).T
    assert len(x) == 36
    fit = fit_line(x, y)
    assert fit.line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert fit.line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_york_is_scipys_orthogonal_distance_regression(seed: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        odr = pytest.importorskip("scipy.odr")
    random = np.random.default_rng(seed)
    true = np.linspace(0.1, 1.5, 9)
    u_x, u_y = random.uniform(0.003, 0.02, (2, 9))
    x, y = true + u_x * random.standard_normal(9), 0.01 + 1.02 * true + u_y * random.standard_normal(9)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        theirs = odr.ODR(
            odr.RealData(x, y, sx=u_x, sy=u_y),
            odr.Model(lambda beta, at: beta[0] + beta[1] * at),
            beta0=[0.0, 1.0],
            sstol=1e-14,
            partol=1e-14,
        ).run()
    ours = york_line(x, y, u_x, u_y)
    assert (ours.line.intercept, ours.line.slope) == pytest.approx(tuple(theirs.beta), rel=1e-5, abs=1e-7)
    assert ours.chi2 == pytest.approx(theirs.sum_square, rel=1e-6)
    # ODR linearizes elsewhere: its uncertainties agree to the share that the points scatter by.
    assert ours.line.u_slope == pytest.approx(np.sqrt(theirs.cov_beta[1, 1]), rel=0.05)


@pytest.mark.parametrize(("df", "below"), [(2, 18), (9, 60), (18, 78), (1, 4)])
def test_quantiles_are_those_of_scipys_distributions(df: int, below: int) -> None:
    F, T, C = scipy.stats.f(df, below), scipy.stats.t(below), scipy.stats.chi2(df)
    for share in (0.025, 0.5, 0.95, 0.975):
        assert f_quantile(share, df, below) == pytest.approx(F.ppf(share), rel=1e-9)
        assert t_quantile(share, below) == pytest.approx(T.ppf(share), rel=1e-9, abs=1e-12)
        assert chi2_quantile(share, df) == pytest.approx(C.ppf(share), rel=1e-9)
    assert f_quantile(0.9, df, np.inf) == pytest.approx(C.ppf(0.9) / df, rel=1e-9)
    for value in (0.3, 1.0, 2.7):
        assert f_tail(value, df, below) == pytest.approx(F.sf(value), rel=1e-9)
        assert t_tail(-value, below) == pytest.approx(2 * T.sf(value), rel=1e-9)
        assert chi2_tail(value, df) == pytest.approx(C.sf(value), rel=1e-9)


def test_a_single_mean_square_has_the_chi_square_interval() -> None:
    low, high = interval_of([Term(coefficient=1.0, ms=0.04, df=78)])
    assert low == pytest.approx(78 * 0.04 / scipy.stats.chi2(78).ppf(0.975), rel=1e-9)
    assert high == pytest.approx(78 * 0.04 / scipy.stats.chi2(78).ppf(0.025), rel=1e-9)
