"""The map of the joint's plane through a lens: with a profile, without one, and with a wrong one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from fitup.photo import Photo
from fitup.scale import (
    LensChoice,
    LensProfile,
    PlaneFrame,
    ScaleMap,
    choose_lens,
    edge_profiles,
    find_target,
    rectified,
    scale_map,
    target_layout,
)
from fitup.scale.edge_profiles import edge_blur_px
from fitup.scale.lens_board import LensPhoto
from fitup.scale.lens_model import LensModel, turn_matrix
from fitup.scale.lens_set import fit_profile
from tests.scale.drawing_world import Camera, Scene
from tests.scale.drawing_world import draw as draw_plain
from tests.scale.drawing_world import photo_of as plain_photo
from tests.scale.lens_world import (
    PHONE,
    PHONE_INFO,
    SIZE,
    ULTRA_WIDE,
    Board,
    draw,
    focused,
    photo_of,
    pose_at,
    random_poses,
    seen,
    views_of,
    with_orientation,
)

STRIP = Board(layout=target_layout(1))
WORLD = {
    "phone": (PHONE, (280.0, 420.0), pose_at((5, -4), 2, 235, np.array([105.0, 10, 0]))),
    "ultra-wide": (ULTRA_WIDE, (130.0, 230.0), pose_at((5, -4), 2, 150, np.array([105.0, 10, 0]))),
}
JOINT_MM = np.stack(np.meshgrid(np.linspace(5, 205, 9), [8.0, 20, 40]), axis=-1).reshape(-1, 2)
HALF_MM = np.array([0.0, 0.5])


@cache
def profile(name: str) -> LensProfile:
    """Fitted from a slightly bowed and stretched board, as any profile is."""
    lens, distances, _ = WORLD[name]
    board = Board(stretch=0.002, bow_mm=(0.1, -0.1, 0.1))
    views = views_of(lens, random_poses(lens, 5, 12, distances), board, seed=5)
    photos = [
        LensPhoto(name=v.name, camera=PHONE_INFO, size_px=SIZE, view=v, blur_px=1.0, trouble="")
        for v in views
    ]
    kind = "fisheye" if name == "ultra-wide" else "auto"
    return fit_profile(photos, kind, day="2026-03-01")[0]


def taken(name: str) -> LensModel:
    lens, _, pose = WORLD[name]
    return focused(lens, float(np.linalg.norm(pose.rotation @ STRIP.middle_mm + pose.translation)))


@cache
def photo(name: str, orientation: int = 1) -> Photo:
    return with_orientation(photo_of(draw(taken(name), WORLD[name][2], STRIP)), orientation)


@cache
def mapped(name: str, orientation: int = 1) -> ScaleMap:
    shot = photo(name, orientation)
    return scale_map(shot, find_target(shot, choose_lens(shot, (profile(name),))))


def truth_px(name: str, mm: np.ndarray, orientation: int = 1) -> np.ndarray:
    """Where points of the plate are seen in the photo, turned upright."""
    shot = photo(name, orientation)
    px, _ = seen(taken(name), WORLD[name][2], np.column_stack((mm, np.full(len(mm), -0.1))))
    middle = (np.array([shot.width_px, shot.height_px]) - 1) / 2
    return (px - (np.array(SIZE) - 1) / 2) @ turn_matrix(orientation).T + middle


def scale_error(name: str, scale: ScaleMap, orientation: int = 1) -> np.ndarray:
    ends = [scale.to_mm(truth_px(name, JOINT_MM + sign * HALF_MM, orientation)) for sign in (1, -1)]
    return np.linalg.norm(ends[0] - ends[1], axis=1) - 1


def stated(scale: ScaleMap) -> np.ndarray:
    parts = scale.relative_u(JOINT_MM)
    return np.sqrt(sum(parts[key] ** 2 for key in ("saddles", "thickness", "lens and distance")))


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("name", WORLD)
def test_with_its_profile_a_lens_leaves_nothing_to_speak_of(name, orientation):
    scale = mapped(name, orientation)
    assert scale.lens is profile(name)
    assert len(scale.sighting.saddle_ids) == 116
    error = scale_error(name, scale, orientation)
    assert np.abs(error).max() < 1e-3
    assert np.mean(np.abs(error) < 2 * stated(scale)) > 0.9
    assert stated(scale).max() < 2e-3
    assert np.abs(np.log(scale.focal_px / taken(name).focal_px)) < 2 * scale.u_focal_relative
    assert scale.focal_source == "lens profile"
    assert "lens profile" in scale.model


def test_without_it_a_distorting_lens_is_told_from_the_strip_and_stays_covered():
    shot = photo("phone")
    sighting = find_target(shot)
    assert sighting.lens_guessed  # a plane misses the saddles as if the strip were bent
    scale = scale_map(shot, sighting)
    assert scale.lens is None
    assert "lens profile" in sighting.choice.notes[0]
    error = scale_error("phone", scale)
    assert np.mean(np.abs(error) < 2 * stated(scale)) > 0.9
    assert stated(scale).mean() > 2 * stated(mapped("phone")).mean()


@pytest.mark.parametrize("distortion", [0.004, -0.004, 0.008, -0.008])
def test_a_slight_distortion_stays_in_the_map_and_is_covered(distortion):
    """Below the bent alarm: the strip's residuals narrow down what the lens may do, either sign."""
    scene = Scene(camera=Camera(distortion=distortion))
    scale = scale_map(shot := plain_photo(draw_plain(scene), 26.8), find_target(shot))
    assert scale.optics is None
    ends = [scale.to_mm(scene.to_px(JOINT_MM + sign * HALF_MM)) for sign in (1, -1)]
    error = np.linalg.norm(ends[0] - ends[1], axis=1) - 1
    z = error / stated(scale)
    assert np.mean(np.abs(z) < 1.96) >= 0.9
    assert np.sqrt(np.mean(z**2)) > 0.1  # and is not drowned in a guess for the worst lens
    straight = scale_map(shot := plain_photo(draw_plain(Scene()), 26.8), find_target(shot))
    lens = "lens and distance"
    assert straight.relative_u(JOINT_MM)[lens].mean() < 0.8 * scale.relative_u(JOINT_MM)[lens].mean()


@pytest.mark.parametrize("name", WORLD)
def test_pixels_and_millimetres_there_and_back(name):
    scale = mapped(name)
    assert scale.to_mm(scale.to_px(JOINT_MM)) == pytest.approx(JOINT_MM, abs=1e-9)
    assert np.abs(scale.to_px(JOINT_MM) - truth_px(name, JOINT_MM)).max() < 0.6
    h = 1e-4
    sides = [(scale.to_px(JOINT_MM + h * e) - scale.to_px(JOINT_MM - h * e)) / (2 * h) for e in np.eye(2)]
    area = np.abs(sides[0][:, 0] * sides[1][:, 1] - sides[0][:, 1] * sides[1][:, 0])
    assert scale.px_per_mm(JOINT_MM) == pytest.approx(np.sqrt(area), rel=1e-6)


def test_another_plane_of_the_same_photo_sees_through_the_same_lens():
    scale = mapped("phone")
    frame = PlaneFrame(
        origin_mm=np.array([0.0, 25.0, 0.0]), along=np.eye(3)[0], across=np.array([0.0, 0.6, -0.8])
    )
    plane = np.array([[20.0, 1.0], [150.0, 3.0], [100.0, -2.0]])
    px, _ = seen(taken("phone"), WORLD["phone"][2], frame.to_space(plane) - np.array([0, 0, 0.1]))
    assert np.abs(scale.onto(frame).to_px(plane) - px).max() < 0.6
    assert scale.onto(frame).to_mm(px) == pytest.approx(plane, abs=0.1)


@pytest.mark.parametrize("name", WORLD)
def test_rectified_picture_shows_the_plane_square_on(name):
    """Straight lines of the print come out straight: the datum side of the pattern to a few hundredths."""
    scale, step = mapped(name), 0.1
    to_plane = np.array([[step, 0, -2.0], [0, step, -37.0], [0, 0, 1]])
    flat = rectified(photo(name).grey8, scale, to_plane, (2140, 420))
    assert flat.shape == (420, 2140)
    column, row = np.array([330, 1005, 1500]), np.array([60, 200, 333])
    px = scale.to_px(np.column_stack((column, row)) * step + [-2.0, -37.0]).astype(np.float32)
    direct = cv2.remap(photo(name).grey8, px[:, None, 0], px[:, None, 1], cv2.INTER_LINEAR).ravel()
    assert np.abs(flat[row, column].astype(int) - direct).max() <= 3


@pytest.mark.parametrize("name", WORLD)
def test_edges_of_the_print_are_found_where_the_lens_puts_them(name):
    x, profiles = edge_profiles(photo(name), mapped(name))
    assert len(profiles) >= 30
    middle = np.abs(profiles - (profiles[:, :3].mean(1) + profiles[:, -3:].mean(1))[:, None] / 2).argmin(1)
    assert np.abs(np.median(x[middle])) < 0.6
    assert edge_blur_px(x, profiles) == pytest.approx(0.95, abs=0.25)


def test_a_profile_of_another_lens_is_contradicted_and_not_used():
    shot = photo("phone")
    wrong = replace(
        profile("phone"),
        lens=replace(profile("phone").lens, focal_px=1100.0, coefficients=(-0.2, 0, 0, 0, 0)),
    )
    scale = scale_map(shot, find_target(shot, LensChoice(profile=wrong, given=True)))
    assert scale.lens is None
    assert scale.sighting.choice.profile is wrong
    assert "contradicts" in " ".join(scale.sighting.choice.notes)
    error = scale_error("phone", scale)
    assert np.mean(np.abs(error) < 2 * stated(scale)) > 0.8


def test_a_profile_made_at_another_distance_knows_what_focus_may_do():
    optics = [profile("phone").optics(1, z) for z in (profile("phone").distance_mm, 200.0, 120.0)]
    u = [np.sqrt(one.covariance[0, 0]) for one in optics]
    assert u[0] < u[1] < u[2]
    truth = [focused(PHONE, z).focal_px for z in (profile("phone").distance_mm, 200.0, 120.0)]
    for one, focal, spread in zip(optics, truth, u, strict=True):
        assert abs(np.log(one.model.focal_px / focal)) < 2.5 * spread


def test_what_a_profile_leaves_open_is_less_than_an_unknown_lens_and_not_nothing():
    known, unknown = mapped("phone"), scale_map(photo("phone"), find_target(photo("phone")))
    lens = "lens and distance"
    assert 1e-5 < known.relative_u(JOINT_MM)[lens].mean() < 0.7 * unknown.relative_u(JOINT_MM)[lens].mean()
