"""Bias and linearity, agreement, control: what must not change them, what is refused, what is proposed."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.scale import PrintRecord, load_print_record, save_print_record
from fitup.study.agreement import agreement
from fitup.study.agreement_report import agreement_sentences
from fitup.study.bias_study import BiasReadings, BiasStudy, accepted, bias_study, read_bias
from fitup.study.calibration_control import control_of
from fitup.study.capability import capability
from fitup.study.linearity import fit_line
from fitup.study.york import york_line

REFERENCES = np.repeat([0.1, 0.2, 0.4, 0.6, 0.9, 1.2], 5)
RECORD = PrintRecord(
    number="P-1", date="2026-05-04", instrument="C-7", u_instrument_mm=0.02, along_mm=140.1, across_mm=139.9
)


def readings(
    intercept: float = 0.02,
    slope: float = 1.01,
    noise: float = 0.004,
    bend: float = 0.0,
    seed: int = 3,
    u_reference: float = 0.0,
) -> BiasReadings:
    random = np.random.default_rng(seed)
    true = {at: at + u_reference * random.standard_normal() for at in np.unique(REFERENCES)}
    x = np.array([true[at] for at in REFERENCES])
    value = intercept + slope * x + bend * (x - 0.6) ** 2 + noise * random.standard_normal(len(x))
    u = np.full(len(x), u_reference) if u_reference else None
    return BiasReadings(reference_mm=REFERENCES, value_mm=value, u_reference_mm=u, content=b"readings")


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.01, 100), st.floats(-5, 5))
def test_the_line_moves_with_its_readings(seed: int, scale: float, shift: float) -> None:
    random = np.random.default_rng(seed)
    x = np.sort(random.uniform(0, 2, 8))
    y = 0.1 + 0.9 * x + random.normal(0, 0.01, 8)
    order = random.permutation(8)
    plain, mixed = fit_line(x, y), fit_line(x[order], y[order])
    assert mixed.line.slope == pytest.approx(plain.line.slope, rel=1e-9)
    moved = fit_line(scale * x, scale * (y + shift))
    assert moved.line.slope == pytest.approx(plain.line.slope, rel=1e-7)
    assert moved.line.intercept == pytest.approx(scale * (plain.line.intercept + shift), rel=1e-6, abs=1e-6)
    assert moved.line.u_slope == pytest.approx(plain.line.u_slope, rel=1e-6)
    assert plain.line.value(plain.line.intercept + plain.line.slope * x) == pytest.approx(x)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_york_takes_the_axes_alike(seed: int) -> None:
    """Swapped axes give the swapped line, which least squares does not."""
    random = np.random.default_rng(seed)
    x = np.linspace(0.1, 1.5, 7)
    u_x, u_y = random.uniform(0.005, 0.03, (2, 7))
    seen_x, seen_y = x + u_x * random.standard_normal(7), 0.05 + 1.1 * x + u_y * random.standard_normal(7)
    one, other = york_line(seen_x, seen_y, u_x, u_y), york_line(seen_y, seen_x, u_y, u_x)
    assert other.line.slope == pytest.approx(1 / one.line.slope, rel=1e-7)
    assert other.line.intercept == pytest.approx(-one.line.intercept / one.line.slope, rel=1e-6, abs=1e-9)
    assert other.chi2 == pytest.approx(one.chi2, rel=1e-6)


def test_york_without_errors_of_the_references_is_weighted_least_squares() -> None:
    random = np.random.default_rng(2)
    x, u_y = np.linspace(0, 2, 9), random.uniform(0.01, 0.05, 9)
    y = 0.1 + 0.95 * x + u_y * random.standard_normal(9)
    found = york_line(x, y, 1e-9, u_y)
    A = np.stack([np.ones(9), x], axis=1) / u_y[:, None]
    wanted = np.linalg.lstsq(A, y / u_y, rcond=None)[0]
    assert (found.line.intercept, found.line.slope) == pytest.approx(tuple(wanted), rel=1e-6)
    assert np.array(found.line.covariance) == pytest.approx(np.linalg.inv(A.T @ A), rel=1e-6)


def test_york_states_how_far_its_slope_is_off() -> None:
    random = np.random.default_rng(6)
    x, off = np.linspace(0.1, 1.5, 8), []
    for _ in range(400):
        found = york_line(
            x + 0.02 * random.standard_normal(8), x + 0.03 * random.standard_normal(8), 0.02, 0.03
        )
        off.append((found.line.slope - 1.0) / found.line.u_slope)
    assert abs(np.mean(off)) < 0.2
    assert 0.9 < np.std(off) < 1.1


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([1, 2], [1, 2], "three readings"),
        ([1, 1, 1], [1, 2, 3], "three readings"),
        ([1, 2, 3], [1, 2], "needs a reference"),
        ([1, 2, np.nan], [1, 2, 3], "finite"),
        ([1, 2, 3], [3, 2, 1], "do not rise"),
        ([1, 2, 3], [1, 1, 1], "do not rise"),
        ([[1, 2, 3]], [[1, 2, 3]], "needs a reference"),
    ],
)
def test_readings_that_fix_no_line(x: list, y: list, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        fit_line(x, y)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (([1.0], [1.0], [0.1], [0.1]), "two points"),
        (([1, 1], [1, 2], 0.1, 0.1), "two points"),
        (([1, 2], [1, 2], 0.0, 0.1), "above zero"),
        (([1, 2], [1, 2], 0.1, -0.1), "above zero"),
        (([1, np.inf], [1, 2], 0.1, 0.1), "finite"),
    ],
)
def test_points_that_fix_no_york_line(points: tuple, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        york_line(*points)


def test_a_line_without_repeats_has_no_lack_of_fit() -> None:
    fit = fit_line([0.1, 0.5, 1.0], [0.12, 0.51, 1.03])
    assert fit.pure_error is None
    assert math.isnan(fit.f_lack)
    assert math.isnan(fit.p_lack)
    assert math.isnan(fit.u_repeat)


# ---------------------------------------------------------------------------------------- agreement, control


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-3, 3))
def test_agreement_turns_with_its_instruments(seed: int, shift: float) -> None:
    random = np.random.default_rng(seed)
    a, b = random.uniform(0, 2, (2, 12))
    one, other = agreement(a, b), agreement(b, a)
    assert other.bias == pytest.approx(-one.bias, abs=1e-12)
    assert other.limits == pytest.approx((-one.limits[1], -one.limits[0]))
    moved = agreement(a + shift, b)
    assert moved.bias == pytest.approx(one.bias + shift, abs=1e-9)
    assert moved.sd == pytest.approx(one.sd)
    wanted = np.polynomial.polynomial.polyfit(one.mean, one.difference, 1)[1]
    assert one.trend_slope == pytest.approx(wanted, rel=1e-6, abs=1e-9)


def test_a_difference_that_grows_with_the_gap_is_told() -> None:
    gap = np.linspace(0.1, 1.5, 15)
    noise = 0.01 * np.random.default_rng(1).standard_normal(15)
    assert agreement(1.1 * gap + noise, gap).trend_p < 0.001
    assert agreement(gap + noise + 0.05, gap).trend_p > 0.01


@pytest.mark.parametrize(("a", "b"), [([1, 2], [1, 2]), ([1, 2, 3], [1, 2]), ([1, 2, np.nan], [1, 2, 3])])
def test_pairs_that_are_too_few_or_no_numbers(a: list, b: list) -> None:
    with pytest.raises(UsageError):
        agreement(a, b)


def test_limits_hold_most_differences() -> None:
    random = np.random.default_rng(9)
    held = []
    for _ in range(300):
        d = 0.02 + 0.03 * random.standard_normal(20)
        found = agreement(0.7 + d, np.full(20, 0.7))
        held.append(found.bias_interval[0] <= 0.02 <= found.bias_interval[1])
    assert 0.92 <= np.mean(held) <= 0.98


def test_check_references_outside_of_the_calibration_are_refused() -> None:
    fit = fit_line(REFERENCES, readings().value_mm)
    for reference, value in (([2.0], [2.0]), ([], []), ([0.5, 0.6], [0.5])):
        with pytest.raises(UsageError):
            control_of(fit, reference, value)


def test_capability_refuses_what_cannot_be() -> None:
    for more in ({"tolerance": 0.0}, {"tolerance": 1.0, "u_cal": -0.1}, {"tolerance": 1.0, "u_av": np.nan}):
        with pytest.raises(UsageError):
            capability(**more)


# --------------------------------------------------------------------------------------- the study as a whole


def test_a_bias_is_found_and_proposed() -> None:
    study = bias_study(readings())
    assert study.proposed
    assert "--accept" in study.reason
    assert study.line.intercept == pytest.approx(0.02, abs=4 * study.line.u_intercept)
    assert study.line.slope == pytest.approx(1.01, abs=4 * study.line.u_slope)


@pytest.mark.parametrize(
    ("given_readings", "words"),
    [
        (readings(intercept=0.0, slope=1.0), "No bias shows"),
        (readings(bend=0.2), "no straight line"),
        (readings(intercept=0.6), "larger than any"),
        (readings(slope=1.3), "larger than any"),
        (
            BiasReadings(
                reference_mm=np.array([0.1, 0.1, 0.9, 0.9]), value_mm=np.array([0.2, 0.21, 1.0, 1.01])
            ),
            "too few",
        ),
        (
            BiasReadings(reference_mm=np.linspace(0.1, 1.2, 12), value_mm=np.linspace(0.2, 1.3, 12) + 1e-3),
            "read once",
        ),
    ],
)
def test_when_nothing_is_proposed_the_reason_is_told(given_readings: BiasReadings, words: str) -> None:
    study = bias_study(given_readings)
    assert not study.proposed
    assert words in study.reason
    with pytest.raises(UsageError, match="no correction is proposed"):
        accepted(study, RECORD, who="Petra Lund")


def test_references_with_their_own_uncertainty_are_taken_with_errors_on_both_axes() -> None:
    study = bias_study(readings(u_reference=0.005, noise=0.002))
    assert study.york is not None
    assert study.york.df == 4
    assert study.line.u_slope > 2 * study.fit.line.u_slope  # least squares would claim to know it too well
    # The same readings with exact references look bent: only their uncertainty explains them.
    plain = bias_study(replace(study.readings, u_reference_mm=None))
    assert not plain.proposed
    assert "no straight line" in plain.reason


def test_false_proposals_are_few() -> None:
    told = [bias_study(readings(0.0, 1.0, seed=seed)).proposed for seed in range(200)]
    assert np.mean(told) < 0.1  # 5 % is what the test allows
    blades = [bias_study(readings(0.0, 1.0, seed=seed, u_reference=0.005)).proposed for seed in range(200)]
    assert np.mean(blades) < 0.1


@pytest.fixture
def study() -> BiasStudy:
    return bias_study(readings())


def test_an_accepted_correction_is_in_the_record_with_name_and_day(study: BiasStudy, tmp_path: Path) -> None:
    record = accepted(study, RECORD, who=" Petra Lund ", references="B-3", day="2026-05-11")
    fix = record.correction
    assert fix is not None
    assert (fix.accepted_by, fix.accepted_on, fix.references) == ("Petra Lund", "2026-05-11", "B-3")
    assert fix.gap_mm(study.line.intercept + study.line.slope * REFERENCES) == pytest.approx(REFERENCES)
    assert replace(record, correction=None) == RECORD
    save_print_record(record, tmp_path / "print.json")
    assert load_print_record(tmp_path / "print.json") == record


def test_who_may_not_accept(study: BiasStudy) -> None:
    with pytest.raises(UsageError, match="give the name"):
        accepted(study, RECORD, who=" ")
    once = accepted(study, RECORD, who="Petra Lund")
    with pytest.raises(UsageError, match="have a correction already"):
        accepted(study, once, who="Petra Lund")
    again = replace(study, readings=replace(study.readings, corrected=True))
    with pytest.raises(UsageError, match="have a correction already"):
        accepted(again, RECORD, who="Petra Lund")
    two = replace(study, readings=replace(study.readings, phones=("Nordlicht N1", "Nordlicht N2")))
    with pytest.raises(UsageError, match="2 phones"):
        accepted(two, RECORD, who="Petra Lund")
    assert accepted(two, RECORD, who="Petra Lund", phone="Nordlicht N1").correction.phone == "Nordlicht N1"
    one = replace(study, readings=replace(study.readings, phones=("Nordlicht N1",)))
    assert accepted(one, RECORD, who="Petra Lund").correction.phone == "Nordlicht N1"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("gap_mm\n0.1\n", "no column 'reference_mm'"),
        ("part,gap_mm\nJ1,0.1\n", "the reference"),
        ("reference_mm,gap_mm,u_reference_mm\n0.1,0.1,-0.1\n", "below zero"),
        ("reference_mm,gap_mm\nabc,0.1\n", "line 2"),
        ("reference_mm,reference,gap_mm\n0.1,0.1,0.1\n", "mean the same"),
    ],
)
def test_tables_that_are_no_bias_readings(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=words):
        read_bias(tmp_path / "r.csv")


def test_parts_named_by_their_gaps_are_references(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(
        "part,person,gap_mm,camera,corrected,taken\n0.10mm,A,0.11,N1,no,2026-05-11T10:00\n"
        "0.02in,A,0.5,N1,yes,2026-05-12T10:00\n",
        encoding="utf-8",
    )
    found = read_bias(tmp_path / "r.csv")
    assert found.reference_mm == pytest.approx([0.1, 0.508])
    assert (found.phones, found.corrected) == (("N1",), True)
    assert found.days == ("2026-05-11", "2026-05-12")


def test_uncertain_references_need_readings_that_say_how_certain_they_are() -> None:
    bare = BiasReadings(
        reference_mm=np.array([0.1, 0.5, 1.0]),
        value_mm=np.array([0.1, 0.5, 1.0]),
        u_reference_mm=np.full(3, 0.01),
    )
    with pytest.raises(UsageError, match="read every reference several times"):
        bias_study(bare)
    told = bias_study(replace(bare, u_value_mm=np.full(3, 0.01)))
    assert told.york is not None
    with pytest.raises(UsageError, match="give it to all, or none"):
        bias_study(replace(bare, u_value_mm=np.full(3, 0.01), u_reference_mm=np.array([0.0, 0.1, 0.1])))


@pytest.mark.parametrize(("pairs", "told"), [(19, True), (20, False)])
def test_limits_from_few_pairs_come_with_a_word(pairs: int, told: bool) -> None:
    random = np.random.default_rng(3)
    gap = random.uniform(0.1, 1.0, pairs)
    found = agreement(gap + random.normal(0.0, 0.01, pairs), gap)
    said = " ".join(agreement_sentences(found, ("photo", "feeler"), None))
    assert ("go by the intervals of the limits" in said) is told
