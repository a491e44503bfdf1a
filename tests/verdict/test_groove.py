"""Groove areas against areas of polygons drawn corner by corner (shoelace formula)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.joint import JointKind, JointSetup
from fitup.verdict import JointCase, Sheet
from fitup.verdict.groove import Groove, groove_of

Point = tuple[float, float]
SHEETS = st.floats(0.3, 6.0)
GAPS = st.floats(0.0, 3.0)


def sheet(thickness_mm: float) -> Sheet:
    return Sheet(thickness_mm=thickness_mm, table=None, as_written=f"{thickness_mm}mm")


def groove(kind: str, near: float, far: float | None = None, **setup: object) -> Groove:
    case = JointCase(
        setup=JointSetup.of(kind, **setup),  # type: ignore[arg-type]
        wire=None,
        sheet=sheet(near),
        other_sheet=None if far is None else sheet(far),
    )
    found = groove_of(case)
    assert found is not None
    return found


def polygon_area(*corners: Point) -> float:
    pairs = zip(corners, (*corners[1:], corners[0]), strict=True)
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2


@given(near=SHEETS, far=SHEETS, gap=GAPS, angle_deg=st.floats(45, 135))
def test_full_open_corner_is_the_v_between_its_cut_faces(
    near: float, far: float, gap: float, angle_deg: float
) -> None:
    """Inner arrises lie a gap apart; each cut face leaves its arris square to its plate."""
    half = math.radians(180 - angle_deg) / 2  # of the angle between the cut faces
    left, right = (-gap / 2, 0.0), (gap / 2, 0.0)
    outer_left = (left[0] - near * math.sin(half), near * math.cos(half))
    outer_right = (right[0] + far * math.sin(half), far * math.cos(half))
    area = groove("corner-full-open", near, far, included_angle_deg=angle_deg).area_mm2(gap)
    assert area == pytest.approx(polygon_area(left, outer_left, outer_right, right), rel=1e-9, abs=1e-12)


@given(sheet_mm=SHEETS, gap=GAPS)
def test_full_open_corner_of_90_degrees_is_half_t_squared_and_gap_t_over_root_2(
    sheet_mm: float, gap: float
) -> None:
    expected = sheet_mm**2 / 2 + gap * sheet_mm / math.sqrt(2)
    assert groove("corner-full-open", sheet_mm).area_mm2(gap) == pytest.approx(expected, rel=1e-12)


@given(near=SHEETS, far=SHEETS, gap=GAPS, share=st.floats(0.05, 1.0))
def test_half_open_corner_is_the_notch_and_the_slot_below_it(
    near: float, far: float, gap: float, share: float
) -> None:
    """Plate A ends at x = 0; plate B stands a gap off, its end `overlap` below A's face."""
    overlap = share * near
    corners = ((0.0, 0.0), (0.0, -near), (gap, -near), (gap, -overlap), (gap + far, -overlap))
    area = groove("corner-half-open", near, far, overlap_mm=overlap).area_mm2(gap)
    assert area == pytest.approx(polygon_area(*corners), rel=1e-9, abs=1e-12)


def test_half_open_corner_lies_half_a_sheet_deep_where_nothing_is_said_and_no_deeper_than_the_sheet() -> None:
    assert groove("corner-half-open", 2.0) == groove("corner-half-open", 2.0, overlap_mm=1.0)
    # the sheet that the other plate's end lies below is the one with the target
    assert groove("corner-half-open", 2.0, 1.0) == groove("corner-half-open", 2.0, 1.0, overlap_mm=1.0)
    deepest = groove("corner-half-open", 2.0, overlap_mm=5.0)
    assert (deepest.closed_mm2, deepest.per_gap_mm) == (2.0, 1.0)


SLOTS = [
    ("butt", {}, 1.0, "thinner sheet"),
    ("seam", {}, 1.0, "thinner sheet"),
    ("edge", {}, 1.0, "thinner sheet"),
    ("corner-flush", {}, 1.0, "covered plate"),
    ("tee", {}, 2.0, "standing plate"),
    ("tee", {"target_on": "base"}, 1.0, "standing plate"),
    ("corner-inside", {}, 2.0, "standing plate"),
    ("corner-inside", {"target_on": "base"}, 1.0, "standing plate"),
    ("lap", {}, 2.0, "upper sheet"),
    ("lap", {"target_on": "lower"}, 1.0, "upper sheet"),
]


@pytest.mark.parametrize(("kind", "setup", "depth", "of"), SLOTS)
def test_other_joints_are_slots_as_deep_as_one_of_the_plates(
    kind: str, setup: dict[str, object], depth: float, of: str
) -> None:
    """The plate with the target is 2 mm thick here, the other one 1 mm."""
    found = groove(kind, 2.0, 1.0, **setup)
    assert found == Groove(closed_mm2=0.0, per_gap_mm=depth, words=f"gap × {of} {depth:g} mm")
    assert found.area_mm2(0.5) == 0.5 * depth


def test_one_sheet_is_not_called_the_thinner_one() -> None:
    assert groove("butt", 1.27).words == groove("butt", 1.27, 1.27).words == "gap × sheet 1.27 mm"


def test_words_of_corners_hold_the_numbers_put_in() -> None:
    assert groove("corner-full-open", 1.27).words == (
        "1.27 × 1.27 × sin 90° / 2 + gap × (1.27 + 1.27) / 2 × sin 45° = 0.8065 mm² + gap × 0.898 mm"
    )
    assert groove("corner-full-open", 2.0, 1.0, included_angle_deg=60.0).words == (
        "2 × 1 × sin 60° / 2 + gap × (2 + 1) / 2 × sin 30° = 0.866 mm² + gap × 0.75 mm"
    )
    assert groove("corner-half-open", 2.0, 1.5, overlap_mm=0.8).words == (
        "0.8 × 1.5 / 2 + gap × (2 − 0.8 / 2) = 0.6 mm² + gap × 1.6 mm"
    )


def test_words_keep_four_decimals_as_gauge_numbers_have_them() -> None:
    """18 and 16 ga by the manufacturers' standard are 1.21412 and 1.51892 mm."""
    near, far = 1.21412, 1.51892
    assert groove("corner-full-open", near, far).words == (
        "1.2141 × 1.5189 × sin 90° / 2 + gap × (1.2141 + 1.5189) / 2 × sin 45° = 0.9221 mm² + gap × 0.9663 mm"
    )
    assert groove("corner-half-open", near, far, overlap_mm=0.61234).words == (
        "0.6123 × 1.5189 / 2 + gap × (1.2141 − 0.6123 / 2) = 0.465 mm² + gap × 0.908 mm"
    )
    assert groove("corner-half-open", near, far, overlap_mm=0.60001).words == (
        "0.6 × 1.5189 / 2 + gap × (1.2141 − 0.6 / 2) = 0.4557 mm² + gap × 0.9141 mm"
    )


@pytest.mark.parametrize("kind", JointKind)
def test_without_sheet_there_is_no_groove(kind: JointKind) -> None:
    assert groove_of(JointCase(setup=JointSetup.of(kind), wire=None)) is None


@pytest.mark.parametrize("kind", JointKind)
@given(near=SHEETS, far=SHEETS, gaps=st.lists(GAPS, min_size=2, max_size=2), more=st.floats(0.0, 2.0))
def test_grooves_never_shrink_with_gap_or_sheet(
    kind: JointKind, near: float, far: float, gaps: list[float], more: float
) -> None:
    narrow, wide = sorted(gaps)
    here = groove(kind, near, far)
    assert here.area_mm2(wide) >= here.area_mm2(narrow)
    thicker = groove(kind, near + more, far + more)
    assert thicker.area_mm2(wide) >= here.area_mm2(wide) - 1e-12
