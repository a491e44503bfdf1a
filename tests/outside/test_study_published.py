"""Studies against published examples, each figure to the digits printed; its source stands beside it.

Tables that are not typed into `published_studies.py` are read from ../shared/data where that is present.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from fitup.study.agreement import agreement, repeatability_coefficient
from fitup.study.anova import one_way
from fitup.study.calibration_control import control_of
from fitup.study.capability import capability
from fitup.study.crossed import CrossedStudy, crossed_study
from fitup.study.linearity import StraightFit, fit_line
from fitup.study.readings import Readings
from fitup.study.york import york_line
from tests.outside.published_studies import (
    AIAG,
    LINE_WIDTHS,
    LINEARITY,
    PEAK_FLOW,
    PEARSON_YORK,
    SIRSTV,
)

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data"


def as_printed(value: float, printed: str) -> bool:
    """Whether a value, rounded as the printed one is, is the printed one."""
    mantissa, _, exponent = printed.lower().partition("e")
    digits = len(mantissa.partition(".")[2])
    scale = 10.0 ** int(exponent or 0)
    return f"{value / scale:.{digits}f}" == f"{float(mantissa):.{digits}f}"


def readings_of(cells: np.ndarray) -> Readings:
    parts, persons, repeats = (index.ravel() for index in np.indices(cells.shape))
    return Readings(
        value_mm=cells.ravel(),
        part=tuple(map(str, parts + 1)),
        person=tuple("ABC"[k] for k in persons),
        repeat=tuple(map(str, repeats + 1)),
    )


# ------------------------------------------------- AIAG MSA manual, 4th ed.: 10 parts, 3 appraisers, 3 trials


@pytest.fixture(scope="module")
def aiag() -> CrossedStudy:
    return crossed_study(readings_of(np.array(AIAG)), limit_mm=1.0)


@pytest.mark.parametrize(
    ("row", "ss", "ms"),
    # Output of a general statistics package on these data, quoted in public test files.
    [
        ("part", "88.3619", "9.81799"),
        ("person", "3.1673", "1.58363"),
        ("interaction", "0.3590", "0.01994"),
        ("repeat", "2.7589", "0.04598"),
        ("pooled", "3.1179", "0.03997"),
    ],
)
def test_aiag_sums_of_squares(aiag: CrossedStudy, row: str, ss: str, ms: str) -> None:
    found = getattr(aiag.anova, row)
    assert as_printed(found.ss, ss)
    assert as_printed(found.ms, ms)


def test_aiag_tests_and_pooling(aiag: CrossedStudy) -> None:
    table = aiag.anova
    assert as_printed(table.total.ss, "94.6471")
    assert table.pooled.df == 78
    assert as_printed(aiag.f_interaction, "0.434")
    assert as_printed(aiag.p_interaction, "0.974")
    assert aiag.pooled
    # The same source has main effects over the interaction; over the pooled error they are others.
    assert as_printed(table.part.over(table.interaction)[0], "492.291")
    assert as_printed(table.person.over(table.interaction)[0], "79.406")
    assert aiag.error is not table.interaction
    assert as_printed(table.part.over(aiag.error)[0], "245.614")


@pytest.mark.parametrize(
    ("component", "variance", "contribution", "study"),
    # The same package; percent.
    [
        ("grr", "0.09143", "7.76", "27.86"),
        ("repeatability", "0.03997", "3.39", "18.42"),
        ("reproducibility", "0.05146", "4.37", "20.90"),
        ("part", "1.08645", "92.24", "96.04"),
    ],
)
def test_aiag_components(
    aiag: CrossedStudy, component: str, variance: str, contribution: str, study: str
) -> None:
    found = getattr(aiag, component)
    assert as_printed(found.variance_mm2, variance)
    assert as_printed(100 * found.share_of_contribution, contribution)
    assert as_printed(100 * found.share_of_study, study)


def test_aiag_standard_deviations_and_categories(aiag: CrossedStudy) -> None:
    """The manual's table by analysis of variance."""
    printed = {
        "repeatability": "0.199933",
        "reproducibility": "0.226838",
        "grr": "0.302373",
        "part": "1.042327",
        "total": "1.085",
    }
    for name, number in printed.items():
        # The manual adds rounded variances: 0.302373 where the unrounded ones give 0.3023715.
        assert getattr(aiag, name).sigma_mm == pytest.approx(
            float(number), abs=2e-6 if name != "total" else 5e-4
        )
    assert as_printed(100 * aiag.grr.share_of_study, "27.9")
    assert aiag.ndc_exact == pytest.approx(4.861, abs=1e-3)
    assert aiag.ndc == 4


def test_aiag_with_the_interaction_kept_has_more_repeatability() -> None:
    """0.214435: two public packages that never pool; 28.75 % is what pooling was left out of."""
    kept = crossed_study(readings_of(np.array(AIAG)), limit_mm=1.0, alpha=0.99)
    assert not kept.pooled
    assert as_printed(kept.repeatability.sigma_mm, "0.214435")
    assert as_printed(100 * kept.grr.share_of_study, "28.75")
    assert kept.interaction.set_to_zero


# ------------------------------------------------------------------- ISO 22514-7:2012, tables A.4 to A.6, A.3


@pytest.fixture(scope="module")
def iso() -> CrossedStudy:
    path = SHARED / "iso22514_7_a4_gauge_rr.csv"
    if not path.is_file():
        pytest.skip("../shared/data is not here")
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return crossed_study(
        Readings(
            value_mm=np.array([float(row["value"]) for row in rows]),
            part=tuple(row["part"] for row in rows),
            person=tuple(row["operator"] for row in rows),
            repeat=tuple(row["trial"] for row in rows),
        ),
        limit_mm=9.0,
    )


def test_iso_table_a5_and_a6(iso: CrossedStudy) -> None:
    table = iso.anova
    for row, ss, ms in (
        (table.person, "0.519", "0.260"),
        (table.part, "526.9", "58.54"),
        (table.interaction, "0.686", "0.0381"),
        (table.repeat, "1.917", "0.0320"),
    ):
        assert as_printed(row.ss, ss)
        assert as_printed(row.ms, ms)
    assert iso.f_interaction == pytest.approx(1.193, abs=1e-3)  # printed from rounded mean squares
    assert iso.pooled
    assert as_printed(table.pooled.ms, "0.0334")
    assert iso.person.sigma_mm == pytest.approx(0.08683, abs=1e-5)
    assert as_printed(iso.repeatability.sigma_mm, "0.1827")
    assert as_printed(table.person.over(iso.error)[0], "7.776")
    assert as_printed(table.part.over(iso.error)[0], "1754")
    kept = crossed_study(
        readings_of(iso.cross.value_mm), limit_mm=9.0, alpha=0.5
    )  # p is 0.296, so that this keeps it
    assert not kept.pooled
    assert as_printed(kept.part.variance_mm2, "6.50")
    assert as_printed(kept.person.variance_mm2, "0.00738")
    assert as_printed(kept.interaction.variance_mm2, "0.00205")
    assert kept.interaction.sigma_mm == pytest.approx(0.04528, abs=1e-5)
    assert as_printed(kept.person.sigma_mm, "0.08591")


def test_iso_combination_of_the_line_and_the_gauge_study(widths: StraightFit) -> None:
    """ISO 22514-7:2012, A.3 to A.5: u_CAL 0.005, u_RE 0.00144, tolerance 9."""
    made = capability(
        tolerance=9.0,
        u_cal=0.005,
        u_lin=widths.u_linearity,
        u_evr=widths.u_repeat,
        u_resolution=0.00144,
        u_evo=0.1827,
        u_av=0.08683,
    )
    assert as_printed(made.u_ms, "0.0836")
    assert made.u_mp == pytest.approx(0.2093, abs=1e-4)
    assert as_printed(100 * made.q_ms, "3.7")
    assert as_printed(100 * made.q_mp, "9.3")
    assert as_printed(made.c_ms, "5.38")
    assert as_printed(made.c_mp, "4.30")


# ------------------------------------------------------------- NIST StRD SiRstv: certified, 15 digits printed


def test_nist_sirstv() -> None:
    table = one_way([np.array(group) for group in SIRSTV])
    certified = {
        "between": (table.between.ss, 5.11462616000000e-02),
        "within": (table.within.ss, 2.16636560000000e-01),
        "F": (table.f, 1.18046237440255),
        "R2": (table.r2, 1.90999039051129e-01),
        "residual sd": (math.sqrt(table.within.ms), 1.04076068334656e-01),
    }
    assert (table.between.df, table.within.df) == (4, 20)
    for name, (value, known) in certified.items():
        # Seven equal leading digits and readings in binary: 12 digits are what double precision can hold.
        assert -math.log10(abs(value - known) / known) > 12, name


# ---------------------------------------- NIST line widths: e-Handbook 2.3.6.7.3; ISO 22514-7 A.1, table A.3


@pytest.fixture(scope="module")
def widths() -> StraightFit:
    return line_through(LINE_WIDTHS)


def line_through(table: dict[float, tuple[float, ...]]) -> StraightFit:
    reference = [at for at, readings in table.items() for _ in readings]
    return fit_line(reference, [one for readings in table.values() for one in readings])


def test_nist_line_widths(widths: StraightFit) -> None:
    line = widths.line
    printed = [
        (line.intercept, "0.2357623"),
        (line.slope, "0.9870377"),
        (line.u_intercept, "0.02430034"),
        (line.u_slope, "0.00344058"),
        (line.intercept / line.u_intercept, "9.702014"),
        (line.slope / line.u_slope, "286.881171"),
        (line.covariance[0][0], "5.905067e-4"),
        (line.covariance[0][1], "-7.649453e-5"),
        (line.covariance[1][1], "1.183759e-5"),
    ]
    for value, number in printed:
        assert as_printed(value, number), number


def test_iso_analysis_of_the_same_data(widths: StraightFit) -> None:
    pure, lack = widths.pure_error, widths.lack_of_fit
    assert pure is not None
    assert lack is not None
    for value, number in (
        (widths.reference.mean(), "6.462"),
        (widths.reading.mean(), "6.614"),
        (widths.residual.ss, "0.1462"),
        (lack.ss, "0.0228"),
        (lack.ms, "0.0028"),
        (pure.ms, "0.0041"),
        (widths.f_lack, "0.6918"),
        (widths.f_lack_critical, "2.2662"),
        (widths.u_repeat, "0.0641"),
    ):
        assert as_printed(float(value), number), number
    # Printed 0.1235, 0.0533 and 2.2661: cut off, or made of rounded numbers.
    assert pure.ss == pytest.approx(0.1235, abs=1e-4)
    assert widths.u_linearity == pytest.approx(0.0533, abs=1e-4)


def test_propagation_alone_misses_what_check_standards_show(widths: StraightFit) -> None:
    """The e-Handbook's lesson: 0.068 µm by propagation at most, 0.119 µm by check standards."""
    at = widths.line.intercept + widths.line.slope * np.linspace(0.0, 11.0, 23)
    largest = float(widths.line.u_value(at, widths.s).max())
    assert largest == pytest.approx(0.068, abs=1e-3)
    assert largest < 0.119


def test_control_of_the_calibration_by_check_standards() -> None:
    """NIST/SEMATECH e-Handbook 2.3.7.1, from memory: with t for three check standards, day 4 is out."""
    reference = np.repeat([2.0, 3.0, 4.0, 6.0, 8.0, 10.0], 7)[:40]
    noise = 0.06 * np.random.default_rng(1).standard_normal(40)
    fit = fit_line(reference, 0.28 + 0.977 * reference + noise)
    checks = np.array([2.5, 3.29, 8.89])
    good = control_of(fit, checks, fit.line.intercept + fit.line.slope * checks)
    assert good.limit == pytest.approx(2.5046 * fit.s / fit.line.slope, rel=1e-4)  # t(1 - 0.05/6, 38)
    assert not good.out.any()
    assert control_of(
        fit, checks, fit.line.intercept + fit.line.slope * checks + [0, 0, 0.3]
    ).out.tolist() == [
        False,
        False,
        True,
    ]


# --------------------------------------- AIAG linearity = ISO 22514-7:2012, tables 7 and 8: 5 references × 12


def test_linearity_of_five_references() -> None:
    fit = line_through(LINEARITY)
    assert as_printed(fit.line.intercept, "0.7367")
    assert as_printed(fit.line.slope - 1, "-0.1317")
    assert as_printed(abs(float(fit.line.bias(10.0))), "0.58")
    assert as_printed(fit.s, "0.23954")
    assert as_printed(fit.r2_bias, "0.714318")
    assert as_printed(fit.mean_bias, "-0.053333")
    for one, number in zip(
        fit.biases, ("0.491667", "0.125000", "0.025000", "-0.291667", "-0.616667"), strict=True
    ):
        assert as_printed(one.bias, number)


# ----------------------------------------------------------------------------- two methods on the same items


def test_bland_altman_1986() -> None:
    flow = np.array(PEAK_FLOW, dtype=float)
    wright, again, mini, mini_again = flow.T
    # The paper takes two standard deviations, and rounds on the way: limits -79.7 and 75.5.
    paper = agreement(wright, mini, factor=2.0)
    assert as_printed(paper.bias, "-2.1")
    assert as_printed(paper.sd, "38.8")
    assert paper.limits == pytest.approx((-79.7, 75.5), abs=0.11)
    # Intervals from memory: -22.0 to 17.8; -114.3 to -45.1; 40.9 to 110.1.
    assert paper.bias_interval == pytest.approx((-22.0, 17.8), abs=0.06)
    assert paper.lower_interval == pytest.approx((-114.3, -45.1), abs=0.2)
    assert paper.upper_interval == pytest.approx((40.9, 110.1), abs=0.2)
    exact = agreement(wright, mini)
    assert as_printed(exact.bias, "-2.117647")
    assert as_printed(exact.sd, "38.765130")
    assert as_printed(exact.limits[0], "-78.097")
    assert as_printed(exact.limits[1], "73.862")
    # Correlation 0.94 says nothing of agreement: it is not what is told.
    assert np.corrcoef(wright, mini)[0, 1] == pytest.approx(0.943, abs=5e-4)
    # Coefficients of repeatability, from memory: 43.2 and 56.4.
    assert repeatability_coefficient(wright, again) == pytest.approx(43.2, abs=0.1)
    assert repeatability_coefficient(mini, mini_again) == pytest.approx(56.4, abs=0.1)


def test_pearson_york() -> None:
    x, y, weight_x, weight_y = np.array(PEARSON_YORK).T
    found = york_line(x, y, weight_x**-0.5, weight_y**-0.5)
    for value, number in (
        (found.line.intercept, "5.47991"),
        (found.line.slope, "-0.480533"),
        (found.chi2, "11.866"),
        (found.line.u_intercept, "0.2950"),
        (found.line.u_slope, "0.0580"),
    ):
        assert as_printed(value, number), number
    # Unweighted: Pearson's own line. A known library gives a rising one here: var(y) for the covariance.
    plain = york_line(x, y, 1.0, 1.0)
    assert as_printed(plain.line.intercept, "5.784")
    assert as_printed(plain.line.slope, "-0.54556")
