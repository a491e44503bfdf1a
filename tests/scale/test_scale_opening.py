"""Opening planes by hand, and gap and step: told apart where they can be, refused with a reason elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.joint import JointKind, JointSetup, TargetOn
from fitup.scale import (
    NotMeasurable,
    PlaneFrame,
    PlateLine,
    PrintRecord,
    bundle,
    gap_and_step,
    gap_to_plate,
    opening_frame,
    step_from_two_views,
)
from fitup.scale.opening import near_bound_mm
from tests.scale.two_plates import TwoPlates

LINE = PlateLine(point_mm=np.array([0.0, 20.0]), direction=np.array([2.0, 0.0]))
CHECKED = PrintRecord(
    number="1", date="2026-01-01", instrument="drawn", u_instrument_mm=0.02, along_mm=140, across_mm=140
)
X_MM = np.linspace(5.0, 50.0, 6)


def turned(frame: PlaneFrame) -> tuple[list[float], list[float]]:
    """Origin and across, without the direction along."""
    return list(frame.origin_mm[1:]), [round(float(v), 6) for v in frame.across[1:]]


@pytest.mark.parametrize(
    ("setup", "origin", "across", "start"),
    [
        (JointSetup(), [20, 0], [1, 0], 0),
        (JointSetup(kind=JointKind.SEAM), [20, 0], [1, 0], 0),
        (JointSetup(kind=JointKind.CORNER_FULL_OPEN), [20, -2], [0.707107, -0.707107], 0),
        (JointSetup(kind=JointKind.CORNER_FULL_OPEN, included_angle_deg=120), [20, -2], [0.866025, -0.5], 0),
        (JointSetup(kind=JointKind.CORNER_HALF_OPEN), [20, -1], [1, 0], 0),
        (JointSetup(kind=JointKind.CORNER_HALF_OPEN, overlap_mm=0.5), [20, -0.5], [1, 0], 0),
        (JointSetup(kind=JointKind.CORNER_FLUSH), [20, 0], [0, -1], 2),
        (JointSetup(kind=JointKind.TEE), [20, 0], [1, 0], 0),
        (JointSetup(kind=JointKind.TEE, target_on=TargetOn.BASE), [20, 0], [0, 1], 0),
        (JointSetup(kind=JointKind.CORNER_INSIDE, target_on=TargetOn.BASE), [20, 0], [0, 1], 0),
        (JointSetup(kind=JointKind.LAP), [20, 0], [0, -1], 2),
        (JointSetup(kind=JointKind.LAP, target_on=TargetOn.LOWER), [20, 0], [0, 1], 0),
        (JointSetup(kind=JointKind.EDGE), [20, 0], [0, -1], 2),
    ],
    ids=lambda value: f"{value.kind} {value.place}" if isinstance(value, JointSetup) else None,
)
def test_opening_plane_of_every_kind(setup, origin, across, start):
    frame = opening_frame(setup, LINE, 2.0)
    assert turned(frame) == (pytest.approx(origin), pytest.approx(across))
    assert frame.along == pytest.approx([1, 0, 0])
    assert near_bound_mm(setup, 2.0) == start


def test_a_measured_angle_goes_before_the_told_one():
    setup = JointSetup(kind=JointKind.CORNER_FULL_OPEN)
    measured = opening_frame(setup, LINE, 2.0, included_angle_deg=88.0)
    assert np.degrees(np.arctan2(-measured.across[2], measured.across[1])) == pytest.approx(46.0)


def test_a_slanted_line_slants_the_plane_and_its_sense_does_not_matter():
    there = PlateLine(point_mm=np.array([5.0, 20.0]), direction=np.array([1.0, 0.2]))
    back = PlateLine(point_mm=np.array([5.0, 20.0]), direction=np.array([-5.0, -1.0]))
    one, other = (opening_frame(JointSetup(), line, 2.0) for line in (there, back))
    assert one.along == pytest.approx(other.along)
    assert one.across == pytest.approx(other.across)
    assert one.across[1] > 0


@pytest.mark.parametrize("direction", [(0.0, 1.0), (0.0, 0.0), (np.nan, 1.0)])
def test_a_line_without_a_side_away_from_the_target_is_refused(direction):
    with pytest.raises(ValueError, match="direction"):
        PlateLine(point_mm=np.array([0.0, 20.0]), direction=np.array(direction))


def two_views(gap=0.6, step=0.2, tangents=(-0.27, 0.27), u=0.01, stations=5):
    t = np.tile(np.array(tangents)[:, None], (1, stations))
    return gap - step * t, np.full(t.shape, u), t


def test_two_views_tell_gap_and_step_apart():
    both = step_from_two_views(*two_views())
    assert both.gap.value_mm == pytest.approx(np.full(5, 0.6))
    assert both.step.value_mm == pytest.approx(np.full(5, 0.2))
    assert both.gap.u_mm == pytest.approx(np.full(5, 0.01 / np.sqrt(2)))
    assert both.step.u_mm == pytest.approx(np.full(5, 0.01 / (0.27 * np.sqrt(2))))


def test_apparent_gap_of_a_step_has_the_sign_that_a_camera_gives_it():
    """A far plate that stands out hides part of the gap from a camera beyond the joint."""
    world = TwoPlates(included_deg=180.0, view_deg=20.0, sheet_mm=0.0, step_mm=0.4, gap_mm=1.0, lean_deg=0.0)
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    px_far, px_near = world.to_px(world.far_inner(X_MM)), world.to_px(world.near_inner(X_MM))
    apparent = pair.first.to_mm(px_far)[:, 1] - pair.first.to_mm(px_near)[:, 1]
    tangent = pair.first.view_tangents(pair.first.to_mm(px_far))[:, 1]
    assert tangent.min() > 0
    assert apparent == pytest.approx(1.0 - 0.4 * tangent, abs=0.005)


def test_unequal_views_are_weighted_and_a_third_photo_helps():
    g, u, t = two_views(tangents=(-0.3, 0.2, 0.5))
    u[1] = 10.0  # knows nothing
    g[1] += 3.0
    both = step_from_two_views(g, u, t)
    assert both.step.value_mm == pytest.approx(np.full(5, 0.2), abs=1e-4)
    three = step_from_two_views(*two_views(tangents=(-0.3, 0.2, 0.5)))
    assert np.all(three.step.u_mm < both.step.u_mm)


def test_tilt_and_common_scale_stay_in_the_uncertainty():
    exact = step_from_two_views(*two_views())
    tilted = step_from_two_views(*two_views(), u_tangent=0.01, u_common_mm=np.full(5, 0.003))
    assert tilted.gap.u_mm == pytest.approx(np.sqrt(exact.gap.u_mm**2 + 0.003**2 + (0.2 * 0.01) ** 2 / 2))
    assert np.all(tilted.step.u_mm > exact.step.u_mm)
    assert tilted.gap.u_common_mm == pytest.approx(np.sqrt(tilted.gap.u_mm**2 - exact.gap.u_mm**2))


def test_views_from_one_side_are_no_measurement_of_the_step():
    answer = step_from_two_views(*two_views(tangents=(0.25, 0.28)))
    assert isinstance(answer, NotMeasurable)
    assert answer.sentence.startswith("Not measurable in this photo: the photos look")
    single = step_from_two_views(*two_views(tangents=(0.25,)))
    assert isinstance(single, NotMeasurable)


def test_stations_that_one_photo_has_not_seen_stay_open():
    g, u, t = two_views()
    g[0, 2] = np.nan
    both = step_from_two_views(g, u, t)
    assert np.isnan(both.gap.value_mm[2])
    assert np.isfinite(np.delete(both.gap.value_mm, 2)).all()
    assert np.isnan(both.step.u_mm[2])


def test_a_step_that_noise_drowns_is_not_told():
    both = step_from_two_views(*two_views(u=0.2))
    assert isinstance(both.step, NotMeasurable)
    assert "noise" in both.step.reason
    assert np.isfinite(both.gap.value_mm).all()


def lapped(gap: float, **options) -> TwoPlates:
    """Upper sheet with the first target, the lower one gap and sheet below it, seen from beyond the end."""
    sheet = 2.0
    return TwoPlates(
        included_deg=180.0, sheet_mm=0.0, gap_mm=0.0, step_mm=-(gap + sheet), view_deg=20.0, **options
    )


def test_offset_of_two_parallel_plates_less_the_sheet_is_the_gap_of_a_lap():
    world = lapped(0.5, noise_px=0.03, distance_mm=150.0)
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    arris = pair.on_first(world.to_px(world.near_inner(X_MM)))
    gap = gap_to_plate(pair.space, arris, 1, less_mm=2.0, u_less_mm=0.02, u_limit_mm=1.0)
    assert np.all(np.abs(gap.value_mm - 0.5) < 3 * gap.u_mm)
    assert np.all(gap.parts_mm["sheet"] >= 0.02)


def test_two_unchecked_prints_of_different_sheets_tell_no_lap_gap():
    world = lapped(0.5, noise_px=0.03)
    pair = bundle(world.photo(), world.sightings())
    arris = pair.on_first(world.to_px(world.near_inner(X_MM)))
    answer = gap_to_plate(pair.space, arris, 1, less_mm=2.0)
    assert isinstance(answer, NotMeasurable)
    assert "print" in answer.reason
    assert "one sheet" in answer.remedy


def test_distance_of_a_standing_plate_from_its_base():
    """The first target on the standing plate, the second on the base, which rises from the joint."""
    world = TwoPlates(
        included_deg=270.0, view_deg=-30.0, sheet_mm=0.0, gap_mm=0.0, joint_mm=40.0, second_joint_mm=40.0,
        noise_px=0.03,
    )  # fmt: skip
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    raised = world.near_inner(X_MM) - np.array([0, 0.7, 0])  # the lower arris, 0.7 mm from the base
    arris = pair.on_first(world.to_px(raised))
    gap = gap_to_plate(pair.space, arris, 1, u_limit_mm=1.0)
    assert np.all(np.abs(gap.value_mm - 0.7) < 3 * gap.u_mm)
    own, tangents, _ = pair.space.height_over(0, arris)
    assert np.abs(own).max() < 1e-9
    assert tangents.shape == (len(X_MM), pair.space.responses.shape[1])


def test_gap_is_told_where_the_step_is_not():
    world = TwoPlates(noise_px=0.05)
    pair = bundle(world.photo(), world.sightings())  # two prints, neither checked
    near = pair.on_first(world.to_px(world.near_inner(X_MM)), world.sheet_mm)
    far = pair.on_second(world.to_px(world.far_inner(X_MM)), world.sheet_mm)
    frame = opening_frame(
        JointSetup(kind=JointKind.CORNER_FULL_OPEN),
        PlateLine(point_mm=np.array([0.0, world.joint_mm]), direction=np.array([1.0, 0.0])),
        world.sheet_mm,
    )
    both = gap_and_step(near, far, frame)
    assert isinstance(both.step, NotMeasurable)
    assert np.all(np.abs(both.gap.value_mm - world.gap_mm) < 3 * both.gap.u_mm)
