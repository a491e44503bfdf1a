"""The deposition balance: any three of gap, feed, travel and wire tell the fourth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.verdict.fill import FillBalance, wire_area_mm2
from fitup.verdict.groove import Groove

BUTT = Groove(closed_mm2=0.0, per_gap_mm=1.27, words="")
CORNER = Groove(closed_mm2=0.8, per_gap_mm=0.9, words="")
SPEEDS = st.floats(1.0, 60.0)


def test_worked_case_of_the_trade() -> None:
    """0.889 mm wire at 12.7 mm/s fills a 0.889 mm gap through 1.27 mm sheet up to 6.98 mm/s travel.

    Common practice, no source; the number follows from the volumes.
    """
    balance = FillBalance(groove=BUTT)
    assert balance.travel_mm_s(0.889, 0.889, 12.7) == pytest.approx(6.98, abs=0.005)
    assert balance.gap_mm(0.889, 12.7, 6.98) == pytest.approx(0.889, abs=0.0005)
    assert balance.feed_mm_s(0.889, 0.889, 6.98) == pytest.approx(12.7, abs=0.005)
    assert balance.wire_mm(0.889, 12.7, 6.98) == pytest.approx(0.889, abs=0.0005)


@given(wire=st.floats(0.4, 3.2), sheet=st.floats(0.3, 12.0), speed=SPEEDS)
def test_wire_fed_at_travel_speed_fills_pi_d_squared_over_4_t(
    wire: float, sheet: float, speed: float
) -> None:
    balance = FillBalance(groove=Groove(closed_mm2=0.0, per_gap_mm=sheet, words=""))
    assert balance.gap_mm(wire, speed, speed) == pytest.approx(math.pi * wire**2 / (4 * sheet), rel=1e-12)


@given(
    gap=st.floats(0.01, 3.0),
    wire=st.floats(0.4, 3.2),
    travel=SPEEDS,
    groove=st.sampled_from((BUTT, CORNER)),
    reinforcement=st.floats(0.0, 2.0),
)
def test_the_fourth_comes_back_from_any_three(
    gap: float, wire: float, travel: float, groove: Groove, reinforcement: float
) -> None:
    balance = FillBalance(groove=groove, reinforcement_mm2=reinforcement)
    feed = balance.feed_mm_s(gap, wire, travel)
    assert wire_area_mm2(wire) * feed == pytest.approx(
        (groove.closed_mm2 + groove.per_gap_mm * gap + reinforcement) * travel, rel=1e-12
    )
    assert balance.gap_mm(wire, feed, travel) == pytest.approx(gap, rel=1e-9, abs=1e-9)
    assert balance.travel_mm_s(gap, wire, feed) == pytest.approx(travel, rel=1e-9)
    assert balance.wire_mm(gap, feed, travel) == pytest.approx(wire, rel=1e-9)


def test_settings_that_fill_not_even_a_closed_joint_have_a_gap_below_zero() -> None:
    assert FillBalance(groove=CORNER, reinforcement_mm2=0.2).gap_mm(0.9, 10.0, 10.0) < 0


def test_a_closed_butt_joint_takes_no_metal() -> None:
    balance = FillBalance(groove=BUTT)
    assert balance.feed_mm_s(0.0, 0.9, 10.0) == 0
    assert balance.travel_mm_s(0.0, 0.9, 10.0) == math.inf
    assert FillBalance(groove=BUTT, reinforcement_mm2=0.3).needed_mm2(0.0) == 0.3


def test_area_of_a_wire() -> None:
    assert wire_area_mm2(2.0) == math.pi
