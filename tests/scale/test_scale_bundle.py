"""Two targets bundled: exact where nothing is uncertain, honest elsewhere, better than one by one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fitup.errors import RetakeError, UsageError
from fitup.joint import JointKind, JointSetup
from fitup.scale import (
    PlateLine,
    PrintRecord,
    TargetPair,
    bundle,
    gap_and_step,
    opening_frame,
    scale_map,
    target_layout,
)
from fitup.scale.bundle import THICKNESS_SHARE
from fitup.scale.bundle_fit import PrintedPlane, fit_planes
from fitup.scale.layout import TargetLayout
from fitup.scale.plane import CameraPrior, fit_pose, turn_matrix
from fitup.scale.space import CAUSES, PairSpace
from tests.scale.two_plates import TwoPlates

X_MM = np.linspace(5.0, 50.0, 6)
SETUP = JointSetup(kind=JointKind.CORNER_FULL_OPEN)
CHECKED = PrintRecord(
    number="1", date="2026-01-01", instrument="drawn", u_instrument_mm=0.02, along_mm=140, across_mm=140
)
SURE = CameraPrior(focal_px=3100.0, u_relative=1e-9, u_centre_share=1e-9, source="told")


@cache
def plain() -> tuple[TwoPlates, TargetPair]:
    world = TwoPlates()
    return world, bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))


def printed(world: TwoPlates) -> tuple[PrintedPlane, PrintedPlane]:
    first, second = (
        PrintedPlane(
            points_mm=seen.saddles_mm, points_px=seen.saddles_px, free=seen.homography, thickness_mm=t
        )
        for seen, t in zip(world.sightings(), world.thicknesses_mm, strict=True)
    )
    return first, second


def frame_of(world: TwoPlates, pair: TargetPair):
    line = PlateLine(point_mm=np.array([0.0, world.joint_mm]), direction=np.array([1.0, 0.0]))
    return opening_frame(SETUP, line, world.sheet_mm, pair.included_angle_deg)


@pytest.mark.parametrize("included", [60.0, 90.0, 120.0, 175.0])
def test_without_noise_the_plates_lie_where_they_lie(included):
    world = TwoPlates(included_deg=included, view_deg=(180 - included) / 2)
    fit = fit_planes(printed(world), world.size_px, SURE, 1e-18 * np.eye(2))
    assert max(fit.rms_px) < 1e-7
    relative = fit.rotations[0].T @ fit.rotations[1]
    assert relative == pytest.approx(world.second_rotation, abs=1e-8)
    origin = fit.rotations[0].T @ (fit.translations[1] - fit.translations[0])
    assert origin == pytest.approx(world.second_origin, abs=1e-5)


def test_pair_tells_angle_plane_and_frame():
    world, pair = plain()
    assert pair.included_angle_deg == pytest.approx(90, abs=3 * pair.u_included_angle_deg)
    assert pair.convex
    frame = pair.second_frame
    assert np.cross(frame.along, frame.across) == pytest.approx(pair.second_plane.normal)
    assert pair.second_plane.normal @ frame.origin_mm == pytest.approx(pair.second_plane.offset_mm)
    true = world.second_rotation[:, 2] @ world.second_origin
    u = np.sqrt(pair.second_plane.covariance[3, 3])
    assert pair.second_plane.offset_mm == pytest.approx(true, abs=3 * u)


def test_plates_folded_to_the_inside_are_told_from_an_outside_corner():
    world = TwoPlates(included_deg=270.0, view_deg=-25.0, joint_mm=60.0, second_joint_mm=60.0)
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    assert not pair.convex
    assert pair.included_angle_deg == pytest.approx(90, abs=3 * pair.u_included_angle_deg)


def test_both_maps_agree_with_the_space_and_carry_their_uncertainty():
    world, pair = plain()
    points = np.column_stack((X_MM, X_MM / 3))
    for scale, on in ((pair.first, pair.on_first), (pair.second, pair.on_second)):
        px = scale.to_px(points)
        space = np.column_stack((points, np.zeros(len(points))))
        if scale is pair.second:
            pose = pair.second_in_first
            space = space @ pose.rotation.T + pose.translation_mm
        assert on(px).points_mm == pytest.approx(space, abs=1e-8)
        parts = scale.relative_u(points)
        assert all(np.all(np.isfinite(part)) and np.all(part >= 0) for part in parts.values())
    alone = scale_map(world.photo(), world.sightings()[0], CHECKED)
    assert pair.first.u_focal_relative < alone.u_focal_relative / 2
    second = pair.first.onto(pair.second_frame)
    assert second.to_px(points) == pytest.approx(pair.second.to_px(points), abs=1e-7)


def test_rays_pass_through_the_points_they_meet():
    world, pair = plain()
    px = world.to_px(world.far_inner(X_MM))
    origin, directions = pair.ray(px)
    for points in (pair.on_first(px, 2.0), pair.on_second(px, 1.0)):
        arm = points.points_mm - origin
        assert np.abs(np.cross(arm, directions)).max() < 1e-9 * np.linalg.norm(arm, axis=1).max()


def moved(space: PairSpace, parameter: int, by: float) -> PairSpace:
    rotations, shifts, K = space.rotations.copy(), space.translations_mm.copy(), space.camera_matrix.copy()
    plate, axis = divmod(parameter, 6)
    if parameter < 12 and axis < 3:
        rotations[plate] = turn_matrix(by * np.eye(3)[axis]) @ rotations[plate]
    elif parameter < 12:
        shifts[plate, axis - 3] += by
    elif parameter == 12:
        K[:2, :2] *= np.exp(by)
    else:
        K[parameter - 13, 2] += by
    return replace(space, rotations=rotations, translations_mm=shifts, camera_matrix=K)


@pytest.mark.parametrize("parameter", range(15))
def test_tangents_are_the_derivatives(parameter):
    world, pair = plain()
    count = pair.space.responses.shape[1]
    space = replace(pair.space, responses=np.eye(17, count), influence_covariance=np.eye(count))
    px = world.to_px(world.far_inner(X_MM))
    step = 1e-6 if parameter in (0, 1, 2, 6, 7, 8, 12) else 1e-4
    up, down = moved(space, parameter, step), moved(space, parameter, -step)
    for index in (0, 1):
        here = space.on_plate(index, px, 2.0)
        above, below = up.on_plate(index, px, 2.0), down.on_plate(index, px, 2.0)
        numeric = (above.points_mm - below.points_mm) / (2 * step)
        assert here.tangents[:, :, parameter] == pytest.approx(numeric, rel=1e-5, abs=1e-5)
        raised = (up.height_over(1, above)[0] - down.height_over(1, below)[0]) / (2 * step)
        assert space.height_over(1, here)[1][:, parameter] == pytest.approx(raised, rel=1e-5, abs=1e-5)
    turned = (up.fold_rad[0] - down.fold_rad[0]) / (2 * step)
    by_one = replace(space, influence_covariance=np.diag(np.eye(count)[parameter]))
    assert by_one.fold_rad[1] == pytest.approx(abs(turned), rel=1e-4, abs=1e-6)


def test_depth_and_image_noise_move_points_as_stated():
    world, pair = plain()
    px = world.to_px(world.near_inner(X_MM))
    u = pair.on_first(px, 2.0, 0.05)
    here, lower = pair.on_first(px, 2.0), pair.on_first(px, 2.05)
    by_sheet = u.tangents[:, :, CAUSES["sheet"]].sum(2)
    assert by_sheet == pytest.approx(lower.points_mm - here.points_mm, abs=1e-4)
    noisy = pair.on_first(px, 2.0, covariance_px=np.tile(np.diag([0.04, 0.0]), (len(px), 1, 1)))
    moved_px = pair.on_first(px + np.array([0.2, 0]), 2.0).points_mm - here.points_mm
    assert np.sqrt(np.einsum("nii->n", noisy.noise)) == pytest.approx(
        np.linalg.norm(moved_px, axis=1), rel=1e-3
    )


def test_gap_and_step_of_a_corner():
    world = TwoPlates(gap_mm=0.8, step_mm=0.3, noise_px=0.05, view_deg=35)
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    near = pair.on_first(world.to_px(world.near_inner(X_MM)), world.sheet_mm)
    far = pair.on_second(world.to_px(world.far_inner(X_MM)), world.sheet_mm)
    both = gap_and_step(near, far, frame_of(world, pair), u_step_limit_mm=1.0)
    assert np.all(np.abs(both.gap.value_mm - 0.8) < 2 * both.gap.u_mm)
    assert np.all(np.abs(both.step.value_mm - 0.3) < 2 * both.step.u_mm)
    total = np.sqrt(sum(part**2 for part in both.gap.parts_mm.values()))
    assert total == pytest.approx(both.gap.u_mm)


def test_plates_known_to_be_level_steady_the_gap_off_the_bisector():
    """Thin strips lying not quite tight cost gap and step together; level plates give the gap back."""
    loose, level = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        own = np.sqrt(1 - THICKNESS_SHARE**2) * rng.standard_normal(2)  # one print record: one sheet
        thick = 0.1 + 0.05 * (THICKNESS_SHARE * rng.standard_normal() + own)
        world = TwoPlates(
            noise_px=0.05, seed=seed, view_deg=60, step_mm=float(0.05 * rng.standard_normal()),
            thicknesses_mm=(float(thick[0]), float(thick[1])),
        )  # fmt: skip
        pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
        near = pair.on_first(world.to_px(world.near_inner(X_MM)), world.sheet_mm)
        far = pair.on_second(world.to_px(world.far_inner(X_MM)), world.sheet_mm)
        for kept, expected in ((loose, None), (level, 0.05)):
            gap = gap_and_step(near, far, frame_of(world, pair), u_step_expected_mm=expected).gap
            assert ("step between plates" in gap.parts_mm) == (expected is not None)
            kept.append([gap.value_mm[0] - 1.0, gap.u_mm[0]])
    (e, u), (e_level, u_level) = np.array(loose).T, np.array(level).T
    assert np.sqrt((e_level**2).mean()) < 0.7 * np.sqrt((e**2).mean())
    assert np.all(u_level < u)
    assert 0.7 < np.sqrt(((e_level / u_level) ** 2).mean()) < 1.3


def test_common_errors_drop_out_of_a_short_distance():
    """A point is known to some tenths of a millimetre, the distance to its neighbour to hundredths."""
    world, pair = plain()
    near = pair.on_first(world.to_px(world.near_inner(X_MM)), world.sheet_mm)
    far = pair.on_second(world.to_px(world.far_inner(X_MM)), world.sheet_mm)
    gap = gap_and_step(near, far, frame_of(world, pair)).gap
    alone = np.sqrt(np.einsum("i,nij,j->n", world.across, far.covariance, world.across))
    assert gap.u_mm.max() < alone.min() / 3


def test_strips_of_one_sheet_keep_the_step_that_two_prints_lose():
    world = TwoPlates(noise_px=0.05)
    parts = {}
    for same in (True, False):
        pair = bundle(world.photo(), world.sightings(), same_sheet=same)
        near = pair.on_first(world.to_px(world.near_inner(X_MM)), world.sheet_mm)
        far = pair.on_second(world.to_px(world.far_inner(X_MM)), world.sheet_mm)
        parts[same] = gap_and_step(near, far, frame_of(world, pair), u_step_limit_mm=9.0).step.parts_mm[
            "print"
        ]
    assert parts[True].max() < 0.1 * parts[False].min()


@pytest.mark.parametrize(("error", "worst_um"), [(-0.03, 55.0), (0.03, 150.0)])
def test_two_strips_solved_one_by_one_are_wrong_where_the_bundle_is_not(error, worst_um):
    """A focal length 3 % off costs 60 to 180 µm one by one (a design study's figure); the bundle finds it.

    Strips of 100 × 30 mm 25 mm from the edge of a square corner, 1 mm open, seen 20 degrees off the bisector.
    """
    board = TargetLayout(
        name="test", strip_number=1, columns=10, rows=3, pitch_mm=10.0, marker_mm=7.0,
        dictionary="DICT_5X5_1000", first_id=0,
    )  # fmt: skip
    world = TwoPlates(
        layouts=(board, board), joint_mm=25.0, second_joint_mm=25.0, sheet_mm=0.0, view_deg=25.0,
        lean_deg=0.0, roll_deg=0.0,
    )  # fmt: skip
    x = np.array([50.0])
    px_near, px_far = world.to_px(world.near_inner(x)), world.to_px(world.far_inner(x))

    def gap_error_um(rotations, shifts, camera_matrix) -> float:
        space = replace(
            plain()[1].space, rotations=rotations, translations_mm=shifts, camera_matrix=camera_matrix
        )
        a, b = space.on_plate(0, px_near).points_mm[0], space.on_plate(1, px_far).points_mm[0]
        return 1000 * float((b - a) @ world.across - world.gap_mm)

    wrong = CameraPrior(focal_px=3100 * (1 + error), u_relative=1e-9, u_centre_share=1e-9, source="EXIF")
    apart = [
        fit_pose(part.points_mm, part.points_px, part.free, world.size_px, wrong, -part.thickness_mm)
        for part in printed(world)
    ]
    shifts = np.stack([fit.translation - 0.1 * fit.rotation[:, 2] for fit in apart])
    one_by_one = gap_error_um(np.stack([fit.rotation for fit in apart]), shifts, apart[0].camera_matrix)
    assert abs(one_by_one) > worst_um
    unsure = replace(wrong, u_relative=0.015)
    fit = fit_planes(printed(world), world.size_px, unsure, 1e-12 * np.eye(2))
    together = gap_error_um(np.stack(fit.rotations), np.stack(fit.translations), fit.camera_matrix)
    assert abs(together) < 0.1 * abs(one_by_one)


def test_wrong_exif_is_overruled_by_two_planes():
    world = TwoPlates(noise_px=0.05, view_deg=40)
    pair = bundle(world.photo(focal_error=0.25), world.sightings(), (CHECKED, CHECKED))
    assert not pair.first.camera_known
    assert pair.first.focal_px == pytest.approx(world.focal_px, rel=0.03)


def test_what_no_camera_sees_is_refused():
    world = TwoPlates()
    first, second = world.sightings()
    squeezed = TwoPlates(scales=((1.0, 1.0), (1.0, 1.12))).sightings()[1]
    with pytest.raises(RetakeError, match="no camera"):
        bundle(world.photo(), (first, squeezed), (CHECKED, CHECKED))
    with pytest.raises(UsageError, match="two targets"):
        bundle(world.photo(), (first,))
    with pytest.raises(UsageError, match="thickness"):
        bundle(world.photo(), (first, second), thicknesses_mm=(0.1, 99.0))


def test_forms_may_differ():
    world = TwoPlates(
        layouts=(target_layout(1), target_layout(4, "strip-8x5")), noise_px=0.05, distance_mm=280
    )
    pair = bundle(world.photo(), world.sightings(), (CHECKED, CHECKED))
    assert pair.included_angle_deg == pytest.approx(90, abs=3 * pair.u_included_angle_deg)
