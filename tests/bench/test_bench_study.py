"""The gauge study's figures, from invented readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.study import StudyReading, study_figures

PARTS = np.linspace(0.2, 1.3, 8)


def readings(sigma_mm: float, phone_mm: float = 0.0, slope: float = 1.0) -> list[StudyReading]:
    """Eight parts, three phones that differ by phone_mm each, three repeats."""
    rng = np.random.default_rng(5)
    return [
        StudyReading(
            photo=f"p{part}_{phone}_{repeat}",
            part=part,
            phone="ABC"[phone],
            repeat=repeat,
            gap_mm=slope * true + phone * phone_mm + sigma_mm * float(rng.standard_normal()),
            u_mm=0.01,
            true_mm=float(true),
            reference_mm=float(true),
        )
        for part, true in enumerate(PARTS)
        for phone in range(3)
        for repeat in (1, 2, 3)
    ]


def test_figures_are_those_of_the_spread_that_was_put_in() -> None:
    result = study_figures(readings(0.01))
    assert result["share_of_tolerance"] == pytest.approx(6 * 0.01 / 0.9, rel=0.2)
    assert result["ndc"] >= 5
    assert result["blame"] == "repeatability"
    assert abs(result["bias_mm"]) < 0.004
    assert result["coverage_95"] > 0.9
    assert abs(result["bias_slope"]) < 3 * result["u_bias_slope"]


def test_phones_that_differ_are_to_blame_and_a_steep_line_is_told() -> None:
    result = study_figures(readings(0.005, phone_mm=0.05, slope=1.1))
    assert result["blame"] == "person"
    assert result["bias_by_phone_mm"]["C"] - result["bias_by_phone_mm"]["A"] == pytest.approx(0.1, abs=0.01)
    assert result["bias_slope"] == pytest.approx(0.1, abs=0.01)


def test_a_photo_without_a_reading_leaves_no_study_but_a_sentence() -> None:
    row = readings(0.01)
    row[7] = replace(row[7], gap_mm=float("nan"), said="too dark")
    result = study_figures(row)
    assert "share_of_tolerance" not in result
    assert result["no_study"]
    assert result["refused"] == {row[7].photo: "too dark"}
    assert study_figures([])["photos"] == 0
