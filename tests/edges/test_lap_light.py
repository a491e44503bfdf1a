"""What else a lap's lower sheet mirrors, told by its light against paper's and the end face's."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.edges.lap_light import USUAL, lap_reading

COUNT = 60
PAPER = 0.6


def told(face: float, base: float, paper_white: float = PAPER) -> tuple[float, float]:
    factor, u = lap_reading(np.full(COUNT, face), np.full(COUNT, base), paper_white)
    assert np.ptp(factor) == pytest.approx(0.0)
    return float(factor[0]), float(u[0])


def test_a_bright_base_as_bright_as_the_end_face_is_read_as_it_is() -> None:
    for light in (0.2, 0.5):
        factor, u = told(light, light)
        assert factor == pytest.approx(1.0)
        assert u < told(0.05, 0.5)[1]


def test_a_dark_base_lies_farther_out_whatever_the_end_face_is() -> None:
    for face in (0.05, 0.1, 0.3):
        assert told(face, 0.1) == pytest.approx(told(0.02, 0.1))
        assert told(face, 0.1)[0] > 1.2


def test_brighter_sheets_lie_nearer_and_darker_ones_farther_than_they_seem() -> None:
    factors = [told(0.02, PAPER * share)[0] for share in (0.15, USUAL, 0.5, 0.9)]
    assert factors[1] == pytest.approx(1.0)
    assert factors == sorted(factors, reverse=True)
    assert 1.2 < factors[0] < 2.0
    assert 0.5 < factors[-1] < 0.7


def test_exposure_does_not_matter() -> None:
    assert told(0.05, 0.3, 0.6) == pytest.approx(told(0.025, 0.15, 0.3))


def test_beyond_what_was_seen_nothing_more_is_made_of_it() -> None:
    assert told(0.1, 0.9)[0] == told(0.1, 5.0)[0]
    assert told(1e-6, 1e-5)[0] == told(1e-6, 2e-5)[0]


def test_without_paper_nothing_is_corrected_and_more_is_open() -> None:
    factor, u = told(0.05, 0.4, float("nan"))
    assert factor == 1.0
    assert u > told(0.05, 0.4)[1]


def test_one_odd_station_moves_none() -> None:
    face, base = np.full(COUNT, 0.05), np.full(COUNT, 0.3)
    base[30] = 3.0
    factor, _ = lap_reading(face, base, PAPER)
    np.testing.assert_allclose(factor, told(0.05, 0.3)[0], rtol=1e-6)
