"""Opening planes against a general library of transforms and cameras that shares no code with ours.

Every joint kind's bounding arrises are put into space with pytransform3d (homogeneous transforms, pinhole
camera; A. Fabisch, "pytransform3d: 3D Transformations for Python", JOSS 2019) from the cross-sections that
AWS A3.0 draws, and projected by its camera. The map of our opening plane must put the same points there.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pytransform3d import camera, rotations
from pytransform3d import transformations as pt

from fitup.joint import JointKind, JointSetup, TargetOn
from fitup.scale import PlateLine, ScaleMap, TargetPair, bundle, opening_frame
from fitup.scale.opening import apparent_factor, near_bound_mm
from tests.scale.two_plates import TwoPlates

Array = NDArray[np.float64]

SAME = 1e-9  # relative to the picture's size, or to a length
SIZE_PX = (4032, 3024)
FAR_MM = 500.0  # how far the camera is at most
S_MM = np.array([-40.0, 0.0, 3.0, 90.0])  # along the joint from the near line's point


@cache
def pair() -> TargetPair:
    world = TwoPlates()
    return bundle(world.photo(), world.sightings())


@st.composite
def cameras(draw) -> tuple[Array, float, Array]:
    """Plate to camera (4, 4), focal length, principal point: a camera 120 to 500 mm away, any way up."""
    angles = [draw(st.floats(-1.2, 1.2)), draw(st.floats(-0.6, 0.6)), draw(st.floats(-3.1, 3.1))]
    place = np.array([draw(st.floats(-50, 50)), draw(st.floats(-50, 50)), draw(st.floats(180, 500))])
    turned = rotations.matrix_from_euler(angles, 0, 1, 2, True) @ np.diag([1.0, -1.0, -1.0])
    centre = np.array([draw(st.floats(1800, 2200)), draw(st.floats(1400, 1600))])
    return pt.transform_from(turned, place), draw(st.floats(1500, 4500)), centre


@st.composite
def joints(draw) -> tuple[JointSetup, PlateLine, Array, float, float]:
    """Setup, near line, transform joint (s, n, z) to plate, thickness, gap."""
    kind = draw(st.sampled_from(list(JointKind)))
    places = {
        JointKind.TEE: [TargetOn.STANDING, TargetOn.BASE],
        JointKind.CORNER_INSIDE: [TargetOn.STANDING, TargetOn.BASE],
        JointKind.LAP: [TargetOn.UPPER, TargetOn.LOWER],
    }
    place = draw(st.sampled_from(places.get(kind, [TargetOn.PLATE])))
    angle = draw(st.floats(50, 130)) if kind is JointKind.CORNER_FULL_OPEN else 90.0
    overlap = draw(st.none() | st.floats(0.2, 2)) if kind is JointKind.CORNER_HALF_OPEN else None
    setup = JointSetup(kind=kind, target_on=place, included_angle_deg=angle, overlap_mm=overlap)
    slant = draw(st.floats(-0.7, 0.7))
    point = np.array([draw(st.floats(-20, 220)), draw(st.floats(4, 60))])
    stretch = draw(st.sampled_from([1.0, -3.0]))  # a direction of any length and sense
    line = PlateLine(point_mm=point, direction=stretch * np.array([np.cos(slant), np.sin(slant)]))
    turned = rotations.active_matrix_from_angle(2, slant)
    frame = pt.transform_from(turned, np.array([*point, 0.0]))
    return setup, line, frame, draw(st.floats(0.5, 4)), draw(st.floats(0.01, 3))


def bounding(setup: JointSetup, t: float, gap: float) -> tuple[Array, Array]:
    """(n, z) of the two arrises, or faces, that bound the gap, in the plane square to the joint."""
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        half_bend = np.deg2rad(180 - setup.included_angle_deg) / 2
        tilted = rotations.active_matrix_from_angle(0, -half_bend) @ [0.0, gap, 0.0]
        return np.array([0, -t]), np.array([0, -t]) + tilted[1:]
    if setup.kind is JointKind.CORNER_HALF_OPEN:
        h = t / 2 if setup.overlap_mm is None else setup.overlap_mm
        return np.array([0, -h]), np.array([gap, -h])
    if setup.kind in (JointKind.CORNER_FLUSH, JointKind.EDGE) or setup.place is TargetOn.UPPER:
        return np.array([0, -t]), np.array([0, -t - gap])
    if setup.place in (TargetOn.BASE, TargetOn.LOWER):
        return np.array([0.0, 0]), np.array([0, gap])
    return np.array([0.0, 0]), np.array([gap, 0])


def seen_at(points: Array, view: tuple[Array, float, Array]) -> Array:
    """Project points of the plate's space with pytransform3d's camera."""
    to_camera, focal, centre = view
    return camera.world2image(
        pt.vectors_to_points(points), pt.invert_transform(to_camera), SIZE_PX, SIZE_PX, focal, centre
    )


def in_front(points: Array, view: tuple[Array, float, Array]) -> bool:
    """No camera sees what lies behind it."""
    return bool(pt.transform(view[0], pt.vectors_to_points(points))[:, 2].min() > 30)


def with_camera(scale: ScaleMap, view: tuple[Array, float, Array]) -> ScaleMap:
    to_camera, focal, centre = view
    matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    return replace(scale, rotation=to_camera[:3, :3], translation_mm=to_camera[:3, 3], camera_matrix=matrix)


@settings(max_examples=300, deadline=None)
@given(joints(), cameras())
def test_both_sides_of_the_gap_are_seen_where_the_library_sees_them(joint, view):
    setup, line, frame, t, gap = joint
    opening = with_camera(pair().first, view).onto(opening_frame(setup, line, t))
    start = near_bound_mm(setup, t)
    for (n, z), across in zip(bounding(setup, t, gap), (start, start + gap), strict=True):
        local = np.column_stack((S_MM, np.full(4, n), np.full(4, z)))
        space = pt.transform(frame, pt.vectors_to_points(local))[:, :3]
        assume(in_front(space, view))
        seen = seen_at(space, view)
        mine = opening.to_px(np.column_stack((S_MM, np.full(4, across))))
        assert np.abs(mine - seen).max() <= SAME * max(np.abs(seen).max(), SIZE_PX[0])
        camera_place = pt.invert_transform(view[0])[:3, 3]
        steep = opening.camera_position_mm[2] / np.linalg.norm(camera_place - space[0])
        if abs(steep) > 0.05:  # seen edge on, a plane has no inverse
            back = opening.to_mm(seen)
            assert np.abs(back - np.column_stack((S_MM, np.full(4, across)))).max() < SAME * FAR_MM / steep**2


@settings(max_examples=100, deadline=None)
@given(cameras(), st.floats(0.0, 4.0), st.floats(0.0, 4.0))
def test_points_on_both_plates_come_back_from_their_pictures(view, depth_a, depth_b):
    """Rays of a picture by the library, met with both plates by our space."""
    to_camera, focal, centre = view
    second = pt.transform_from(
        rotations.active_matrix_from_angle(0, -1.3) @ np.diag([-1.0, -1.0, 1.0]), np.array([210.0, 30, -25])
    )
    camera_of_second = pt.concat(second, to_camera)
    matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    space = replace(
        pair().space,
        rotations=np.stack([to_camera[:3, :3], camera_of_second[:3, :3]]),
        translations_mm=np.stack([to_camera[:3, 3], camera_of_second[:3, 3]]),
        camera_matrix=matrix,
    )
    on_a = np.column_stack((S_MM, S_MM / 3, np.full(4, -depth_a)))
    on_b = pt.transform(second, pt.vectors_to_points(on_a + np.array([0, 0, depth_a - depth_b])))[:, :3]
    eye = pt.invert_transform(to_camera)[:3, 3]
    for index, points, normal, depth in ((0, on_a, np.eye(3)[2], depth_a), (1, on_b, second[:3, 2], depth_b)):
        slant = np.abs((points - eye) @ normal) / np.linalg.norm(points - eye, axis=1)
        if slant.min() < 0.05 or not in_front(points, view):
            continue
        back = space.on_plate(index, seen_at(points, view), depth).points_mm
        assert np.abs(back - points).max() < SAME * FAR_MM / slant.min() ** 2
    pose = space.second_in_first
    assert np.allclose(pose.rotation, second[:3, :3], atol=1e-12)
    assert np.allclose(pose.translation_mm, second[:3, 3], atol=1e-9)


@pytest.mark.parametrize(("view_deg", "factor"), [(0, 0.707), (25, 1.037), (45, 1.414), (65, 2.224)])
def test_a_square_corner_read_in_the_plate_plane_is_wrong_by_the_known_factor(view_deg, factor):
    """cos 45 + sin 45 · tan of the view angle: trigonometry by hand, for a gap that is small and far away."""
    setup = JointSetup(kind=JointKind.CORNER_FULL_OPEN)
    line = PlateLine(point_mm=np.array([0.0, 10.0]), direction=np.array([1.0, 0.0]))
    frame = opening_frame(setup, line, 0.0)
    assert apparent_factor(frame, np.tan(np.deg2rad(view_deg))) == pytest.approx(factor, abs=5e-4)
    look = rotations.active_matrix_from_angle(0, np.deg2rad(view_deg)) @ np.eye(3)
    turned = np.diag([1.0, -1.0, -1.0]) @ look
    view = (
        pt.transform_from(turned, np.array([0, 0, 2e4]) - turned @ [0, 10, 0]),
        3e5,
        np.array([2000.0, 1500]),
    )
    scale = with_camera(pair().first, view)
    far = frame.to_space(np.array([[0.0, 1e-2]]))
    naive = scale.onto(opening_frame(JointSetup(), line, 0.0)).to_mm(seen_at(far, view))[0, 1] / 1e-2
    assert naive == pytest.approx(factor, abs=1e-3)
