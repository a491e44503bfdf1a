from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fitup.profile import GapProfile, Influence


def parts(**changes: Any) -> dict[str, Any]:
    gap = np.array([0.5, np.nan, 0.7])
    points = np.zeros((3, 2))
    return {
        "station_mm": np.array([10.0, 10.5, 11.0]),
        "gap_mm": gap,
        "u_gap_mm": np.array([0.03, np.nan, 0.03]),
        "near_mm": gap,
        "far_mm": gap,
        "near_px": points,
        "far_px": points,
        "centre_px": points,
        "unseen_reason": ("", "glare", ""),
        "budget": (),
        "notes": (),
        "step_mm": 0.5,
    } | changes


def test_seen_is_where_a_gap_was_measured() -> None:
    np.testing.assert_array_equal(GapProfile(**parts()).seen, [True, False, True])


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"station_mm": np.zeros(0)}, "station_mm"),
        ({"station_mm": np.array([10.0, 10.5, 11.5])}, "without holes"),
        ({"station_mm": np.array([10.0, 9.5, 9.0])}, "rise"),
        ({"station_mm": np.array([10.0, np.nan, 11.0])}, "no number"),
        ({"gap_mm": np.zeros(2)}, "gap_mm"),
        ({"near_px": np.zeros((3, 3))}, "near_px"),
        ({"gap_mm": np.array([0.5, np.nan, np.inf])}, "infinite"),
        ({"u_gap_mm": np.array([0.03, np.nan, np.nan])}, "every seen station"),
        ({"u_gap_mm": np.array([0.03, np.nan, -0.01])}, "every seen station"),
        ({"u_gap_mm": np.array([0.03, 0.03, 0.03])}, "every unseen station"),
        ({"unseen_reason": ("", "", "")}, "unseen_reason"),
        ({"unseen_reason": ("", "glare", "glare")}, "unseen_reason"),
        ({"unseen_reason": ("", "glare")}, "2 entries for 3"),
        ({"step_mm": 0.0}, "step_mm"),
        ({"budget": (Influence(name="grain", u_mm=np.zeros(2), common=False, remedy=""),)}, "grain"),
    ],
)
def test_a_profile_that_contradicts_itself_is_refused(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        GapProfile(**parts(**changes))


@pytest.mark.parametrize("u_mm", [np.zeros((2, 2)), np.array([0.1, -0.1])])
def test_an_influence_is_one_row_of_standard_uncertainties(u_mm: np.ndarray) -> None:
    with pytest.raises(ValueError, match="grain"):
        Influence(name="grain", u_mm=u_mm, common=False, remedy="")
