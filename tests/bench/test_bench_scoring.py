"""The benchmark's scoring on made-up readings whose score is plain; the benchmark itself is `make bench`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.bench.truth import Reading, Truth, runs_of, score

LIMIT_MM = 0.9
S_MM = np.arange(0, 100.5, 0.5)


def truth_of(gap_mm: np.ndarray, hidden: np.ndarray | None = None) -> Truth:
    hidden = np.zeros(len(S_MM), bool) if hidden is None else hidden
    return Truth(name="made up", photo=Path("none"), s_mm=S_MM, gap_mm=gap_mm, hidden=hidden, data={})


def reading_of(
    gap_mm: np.ndarray, u_mm: float = 0.03, spots: tuple[tuple[float, float], ...] = ()
) -> Reading:
    words = np.where(gap_mm + 1.645 * u_mm <= LIMIT_MM, "within", "doubtful")
    words = np.where(gap_mm - 1.645 * u_mm > LIMIT_MM, "over", words)
    return Reading(
        station_mm=S_MM,
        gap_mm=gap_mm,
        state=np.where(np.isnan(gap_mm), "unseen", words),
        px_per_mm=np.full(len(S_MM), 13.0),
        u_mm=np.full(len(S_MM), u_mm),
        over_spots_mm=spots,
    )


def opened(start: float, end: float, to_mm: float = 1.2) -> np.ndarray:
    return np.where(np.abs(S_MM - (start + end) / 2) <= (end - start) / 2, to_mm, 0.3)


def test_a_right_reading_has_no_error_and_full_coverage():
    gap = opened(40, 50)
    one = score(truth_of(gap), reading_of(gap), LIMIT_MM)
    assert np.all(one.error_mm == 0)
    assert one.covered.all()
    assert one.seen_share == 1
    assert [(o.missed, o.overlooked) for o in one.openings] == [(False, False)]


def test_hidden_stations_count_only_as_falsely_seen():
    hidden = (S_MM >= 20) & (S_MM <= 25)
    gap = opened(40, 50)
    wrong = np.where(hidden, 0.05, gap)
    one = score(truth_of(gap, hidden), reading_of(wrong), LIMIT_MM)
    assert np.all(one.error_mm == 0)
    assert one.false_seen == one.false_seen_within == 11
    assert len(one.error_mm) == len(S_MM) - 11
    unseen = score(truth_of(gap, hidden), reading_of(np.where(hidden, np.nan, gap)), LIMIT_MM)
    assert unseen.false_seen == 0
    assert unseen.seen_share == 1


def test_an_opening_read_as_closed_is_missed_and_overlooked():
    one = score(truth_of(opened(40, 50)), reading_of(np.full(len(S_MM), 0.3)), LIMIT_MM)
    assert [(o.missed, o.overlooked) for o in one.openings] == [(True, True)]


def test_an_opening_half_found_is_missed_but_not_overlooked():
    one = score(truth_of(opened(40, 50)), reading_of(opened(40, 45)), LIMIT_MM)
    assert [(o.missed, o.overlooked) for o in one.openings] == [(True, False)]


@pytest.mark.parametrize("value", [np.nan, 0.9])
def test_unseen_and_doubtful_openings_are_not_missed(value):
    one = score(truth_of(opened(40, 50)), reading_of(opened(40, 50, value)), LIMIT_MM)
    assert [(o.missed, o.overlooked) for o in one.openings] == [(False, False)]


def test_openings_shorter_than_3_mm_are_not_counted():
    assert not score(truth_of(opened(40, 42)), reading_of(opened(40, 42)), LIMIT_MM).openings
    assert score(truth_of(opened(40, 42.5)), reading_of(opened(40, 42.5)), LIMIT_MM).openings


def test_a_spot_is_false_only_where_the_truth_is_nowhere_over():
    spots = ((10.0, 14.0), (38.0, 52.0), (80.0, 81.0))  # nothing there; the opening; too short to count
    one = score(truth_of(opened(40, 50)), reading_of(opened(40, 50), spots=spots), LIMIT_MM)
    assert one.false_over_spots == ((10.0, 14.0),)


def test_interval_is_cut_at_zero():
    true = np.zeros(len(S_MM))
    assert score(
        truth_of(true), reading_of(true - 0.2), LIMIT_MM
    ).covered.all()  # nothing below zero is claimed
    assert score(truth_of(true), reading_of(true + 0.05), LIMIT_MM).covered.all()
    assert not score(truth_of(true), reading_of(true + 0.07), LIMIT_MM).covered.any()
    assert not score(truth_of(true + 0.1), reading_of(true - 0.2), LIMIT_MM).covered.any()


def test_runs():
    assert runs_of(np.array([True, False, True, True])) == [(0, 0), (2, 3)]
    assert runs_of(np.zeros(3, bool)) == []
