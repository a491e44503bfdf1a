"""The logistic line and its intervals: they cover, they agree with each other, and say when they cannot."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fitup.study.outcome import LEAST_EACH, LEAST_WELDS, study_outcomes
from fitup.study.outcome_model import chance_interval, fit_outcomes, gap_interval
from fitup.study.outcome_pairs import Weld
from tests.study.simulated_outcomes import Truth, simulated

REPEATS = 200


@pytest.mark.parametrize("truth", [Truth(), Truth(welds=200, slope_per_mm=-30.0)], ids=["gentle", "steep"])
def test_interval_covers_the_true_gap(truth: Truth) -> None:
    """95 % of 200, give or take: fewer than 179 would come once in a thousand. The benchmark takes 1000."""
    held = 0
    for seed in range(5000, 5000 + REPEATS):
        interval = gap_interval(fit_outcomes(*simulated(seed, truth)), 0.95)
        held += interval.low_mm <= truth.gap_95_mm <= interval.high_mm
    assert 179 <= held <= 199


def test_gap_and_chance_intervals_are_one_band() -> None:
    """Where the gap's interval begins, the chance is 95 % at the least; where it ends, at the most."""
    model = fit_outcomes(*simulated(1, Truth()))
    interval = gap_interval(model, 0.95)
    assert chance_interval(model, interval.low_mm)[0] == pytest.approx(0.95, abs=1e-4)
    assert chance_interval(model, interval.high_mm)[1] == pytest.approx(0.95, abs=1e-4)
    assert interval.low_mm < model.gap_at(0.95) < interval.high_mm


def test_penalty_matters_less_the_more_there_is() -> None:
    few, many = (
        [fit_outcomes(*simulated(3, Truth(welds=welds)), plain=plain).slope_per_mm for plain in (True, False)]
        for welds in (80, 8000)
    )
    assert abs(few[0] - few[1]) > 0.5
    assert abs(many[0] - many[1]) < 0.05
    assert few[0] < few[1] < 0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(-3.0, 3.0), st.floats(0.1, 10.0))
def test_units_and_zero_do_not_matter(seed: int, shift: float, scale: float) -> None:
    gap, sound = simulated(seed, Truth(welds=60))
    one, other = fit_outcomes(gap, sound), fit_outcomes(shift + scale * gap, sound)
    assert other.gap_at(0.95) == pytest.approx(shift + scale * one.gap_at(0.95), rel=1e-5, abs=1e-5)
    low, high = gap_interval(one, 0.95), gap_interval(other, 0.95)
    assume(low.bounded)
    assert high.low_mm == pytest.approx(shift + scale * low.low_mm, rel=1e-3, abs=1e-3 * scale)
    assert high.high_mm == pytest.approx(shift + scale * low.high_mm, rel=1e-3, abs=1e-3 * scale)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_fit_is_a_maximum_and_chances_are_chances(seed: int) -> None:
    model = fit_outcomes(*simulated(seed, Truth(welds=50)))
    from fitup.study.outcome_model import _likelihood

    for a, b in ((0.01, 0.0), (-0.01, 0.0), (0.0, 0.01), (0.0, -0.01)):
        logit = model.intercept + a + (model.slope_per_mm + b) * model.gap_mm
        assert _likelihood(logit, model.gap_mm, model.sound, plain=False) < model.log_likelihood
    low, high = chance_interval(model, 0.6)
    assert 0.0 <= low < float(model.chance(0.6)) < high <= 1.0


class TestSeparated:
    gap = np.concatenate([np.linspace(0.2, 0.8, 40), np.linspace(1.0, 1.5, 20)])
    sound = np.arange(60) < 40

    def test_a_plain_fit_has_no_end_and_says_so(self) -> None:
        with pytest.raises(ValueError, match="separated"):
            fit_outcomes(self.gap, self.sound, plain=True)

    def test_the_interval_holds_the_step(self) -> None:
        model = fit_outcomes(self.gap, self.sound)
        assert model.separated
        interval = gap_interval(model, 0.95)
        assert interval.bounded
        assert 0.5 < interval.low_mm < 0.8
        assert 0.9 < interval.high_mm < 1.3

    def test_touching_at_one_gap_is_separated_too(self) -> None:
        gap = np.append(self.gap, [0.9, 0.9])
        model = fit_outcomes(gap, np.append(self.sound, [True, False]))
        assert model.separated
        assert gap_interval(model, 0.95).bounded

    def test_the_wrong_way_round_gives_no_gap(self) -> None:
        model = fit_outcomes(self.gap, ~self.sound)
        assert model.slope_per_mm > 0
        assert not gap_interval(model, 0.95).bounded


@pytest.mark.parametrize(
    ("gap", "sound"),
    [
        (np.linspace(0, 1, 9), np.ones(9, bool)),
        (np.linspace(0, 1, 9), np.zeros(9, bool)),
        (np.full(9, 0.5), np.arange(9) < 4),
    ],
)
def test_what_gives_no_line_is_refused(gap: np.ndarray, sound: np.ndarray) -> None:
    with pytest.raises(ValueError, match="needs"):
        fit_outcomes(gap, sound)


def test_outcomes_that_do_not_depend_on_the_gap_set_no_bound() -> None:
    rng = np.random.default_rng(2)
    unbounded = [
        not gap_interval(fit_outcomes(rng.uniform(0, 1, 80), rng.uniform(size=80) < 0.9), 0.95).bounded
        for _ in range(60)
    ]
    assert np.mean(unbounded) > 0.85  # one-sided at 2.5 %, and fits that rise


def weld(gap_mm: float, word: str = "sound", wire_um: int = 900, kind: str = "butt") -> Weld:
    return Weld(
        number=1,
        outcome_number=2,
        day="2026-05-01",
        job="",
        part="",
        joint="",
        serial="",
        wire_um=wire_um,
        joint_kind=kind,
        gap_mm=gap_mm,
        limit_mm=0.9,
        word=word,
    )


def welds_of(gap: np.ndarray, sound: np.ndarray, **more: object) -> list[Weld]:
    words = ["sound" if one else "repaired" for one in sound]
    return [weld(float(g), word, **more) for g, word in zip(gap, words, strict=True)]  # type: ignore[arg-type]


class TestStudy:
    def test_enough_data_gives_the_gap(self) -> None:
        truth = Truth()
        (study,) = study_outcomes(welds_of(*simulated(4, truth)))
        assert study.reason == ""
        assert study.interval is not None
        assert study.interval.low_mm < truth.gap_95_mm < study.interval.high_mm
        assert study.at_limit is not None
        assert study.at_limit.low < study.at_limit.chance < study.at_limit.high

    def test_wires_and_kinds_are_not_mixed(self) -> None:
        welds = [
            *(weld(0.5) for _ in range(3)),
            weld(0.5, wire_um=0),
            weld(0.5, kind="tee"),
            weld(0.4, kind="tee"),
        ]
        studies = study_outcomes(welds)
        assert [(one.wire_um, one.joint_kind, len(one.welds)) for one in studies] == [
            (900, "butt", 3),
            (900, "tee", 2),
            (0, "butt", 1),
        ]

    @pytest.mark.parametrize(
        ("good", "bad"), [(LEAST_WELDS - LEAST_EACH - 1, LEAST_EACH), (100, LEAST_EACH - 1), (4, 60), (1, 0)]
    )
    def test_too_little_is_said(self, good: int, bad: int) -> None:
        gap = np.concatenate([np.linspace(0.1, 0.9, good), np.linspace(0.7, 1.5, bad)])
        (study,) = study_outcomes(welds_of(gap, np.arange(good + bad) < good))
        assert study.reason.startswith("too little data: ")
        assert f"{good} sound welds and {bad} others" in study.reason
        assert math.isnan(study.gap_mm)
        assert study.model is None

    def test_the_least_that_is_enough(self) -> None:
        good, bad = LEAST_WELDS - LEAST_EACH, LEAST_EACH
        gap = np.concatenate([np.linspace(0.1, 0.9, good), np.linspace(0.85, 1.5, bad)])
        (study,) = study_outcomes(welds_of(gap, np.arange(good + bad) < good))
        assert study.reason == ""

    def test_one_gap_for_all(self) -> None:
        (study,) = study_outcomes(welds_of(np.full(60, 0.5), np.arange(60) < 30))
        assert "the same gap" in study.reason

    def test_the_wrong_way_round(self) -> None:
        gap, sound = simulated(4, Truth())
        (study,) = study_outcomes(welds_of(2.0 - gap, sound))
        assert study.reason.startswith("welds of wider gaps were not sound less often")
        assert study.interval is None

    def test_no_gap_is_told_outside_of_what_was_welded(self) -> None:
        gap, sound = simulated(4, Truth(welds=600, half_mm=0.6, slope_per_mm=-3.0, spread_mm=0.2))
        inside = gap > 0.3
        (study,) = study_outcomes(welds_of(gap[inside], sound[inside]))
        assert "smallest gaps" in study.reason
        assert math.isnan(study.gap_mm)

    def test_nothing_gives_nothing(self) -> None:
        assert study_outcomes([]) == ()
