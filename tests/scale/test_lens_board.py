"""The lens board in drawn pictures through a phone's and an ultra-wide lens, and sets that are too weak."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from fitup.errors import RetakeError, UsageError
from fitup.scale.lens_board import LensPhoto, look_at_board
from fitup.scale.lens_bundle import LensView
from fitup.scale.lens_model import LensModel
from fitup.scale.lens_set import LEAST_PHOTOS, fit_profile
from tests.scale.lens_world import (
    PHONE,
    PHONE_INFO,
    SIZE,
    ULTRA_WIDE,
    Board,
    Pose,
    draw,
    focused,
    photo_of,
    pose_at,
    random_poses,
    seen,
    views_of,
    with_orientation,
)

BOARD = Board()
POSES = {
    "square on": pose_at((2, -3), 3, 300, np.array([125.0, -95.0, 0])),
    "leaning": pose_at((20, 18), -12, 340, np.array([140.0, -80.0, 0])),
    "in a corner": pose_at((-8, 14), 95, 390, np.array([60.0, -150.0, 0])),
}
WIDE_POSES = {
    "square on": pose_at((2, -3), 3, 150, np.array([125.0, -95.0, 0])),
    "leaning": pose_at((-20, 18), 12, 190, np.array([140.0, -80.0, 0])),
}


def taken(lens: LensModel, pose: Pose) -> LensModel:
    return focused(lens, float(np.linalg.norm(pose.rotation @ BOARD.middle_mm + pose.translation)))


@cache
def picture(name: str, wide: bool = False) -> np.ndarray:
    lens, pose = (ULTRA_WIDE, WIDE_POSES[name]) if wide else (PHONE, POSES[name])
    return draw(taken(lens, pose), pose, BOARD)


def errors(found: LensPhoto, lens: LensModel, pose: Pose) -> np.ndarray:
    """(N, 2) px of the found saddles, each told by its place on the board."""
    px, _ = seen(lens, pose, BOARD.in_space(found.view.points_mm))
    return found.view.points_px - px


@pytest.mark.parametrize("name", POSES)
def test_saddles_of_a_phone_photo_are_found_and_right(name):
    found = look_at_board(photo_of(picture(name)))
    lens = taken(PHONE, POSES[name])
    _, inside = seen(lens, POSES[name], BOARD.in_space(BOARD.layout.saddles_mm))
    assert found.trouble == ""
    assert len(found.view.points_px) >= 0.95 * np.count_nonzero(inside)
    error = errors(found, lens, POSES[name])
    assert np.sqrt((error**2).sum(1).mean()) < 0.06
    assert np.abs(error).max() < 0.35
    assert found.blur_px == pytest.approx(0.95, abs=0.2)  # 0.9 px drawn, and the pixels' own


@pytest.mark.parametrize("name", WIDE_POSES)
def test_saddles_through_an_ultra_wide_lens(name):
    found = look_at_board(photo_of(picture(name, wide=True)))
    assert found.trouble == ""
    assert len(found.view.points_px) >= 90
    error = errors(found, taken(ULTRA_WIDE, WIDE_POSES[name]), WIDE_POSES[name])
    assert np.sqrt((error**2).sum(1).mean()) < 0.12


@pytest.mark.parametrize("orientation", range(1, 9))
def test_places_are_those_of_the_stored_picture_however_it_is_turned(orientation):
    stored = photo_of(picture("leaning"))
    found = look_at_board(with_orientation(stored, orientation))
    plain = look_at_board(stored)
    if orientation in (2, 4, 5, 7):  # those mirror, and a mirrored marker is none
        assert found.trouble == "shows no lens board"
        return
    assert found.size_px == SIZE
    assert len(found.view.points_px) >= len(plain.view.points_px) - 3
    assert (
        np.sqrt((errors(found, taken(PHONE, POSES["leaning"]), POSES["leaning"]) ** 2).sum(1).mean()) < 0.06
    )


def test_pictures_that_cannot_be_used_say_why():
    grey = picture("square on")
    for pixels, trouble in (
        (np.full((300, 400), 128, np.uint8), "shows no lens board"),
        (np.random.default_rng(0).integers(0, 255, (600, 800)).astype(np.uint8), "shows no lens board"),
        (cv2.GaussianBlur(grey, (0, 0), 3.2), "is blurred"),
        (np.where(np.arange(grey.shape[1]) < 1400, np.uint8(120), grey), "checker corners"),
    ):
        assert trouble in look_at_board(photo_of(pixels)).trouble


def lens_photos(views: tuple[LensView, ...], lens: LensModel = PHONE) -> list[LensPhoto]:
    return [
        LensPhoto(
            name=f"{v.name}.jpg", camera=PHONE_INFO, size_px=lens.size_px, view=v, blur_px=1.0, trouble=""
        )
        for v in views
    ]


@cache
def good_set() -> tuple[LensPhoto, ...]:
    views = views_of(PHONE, random_poses(PHONE, 1, 12, (280.0, 420.0)), BOARD, seed=1)
    return tuple(lens_photos(views))


def test_a_good_set_gives_a_profile_with_what_the_photos_say_of_the_phone():
    profile, fit = fit_profile(good_set(), day="2026-03-01")
    assert (profile.make, profile.model, profile.focal_length_mm) == ("Invented", "N7", 5.6)
    assert profile.lens.size_px == SIZE
    assert (profile.photo_count, profile.date) == (12, "2026-03-01")
    assert profile.point_count == fit.point_count > 900
    assert profile.lens.kind == "opencv"
    assert "12 photos" in profile.sentence
    again, _ = fit_profile(good_set(), day="2026-03-01")
    assert again.sha256 == profile.sha256


def test_an_ultra_wide_lens_is_fitted_by_the_fisheye_model_when_asked_and_found_without():
    views = views_of(ULTRA_WIDE, random_poses(ULTRA_WIDE, 8, 12, (130.0, 230.0)), BOARD, seed=8)
    asked, _ = fit_profile(lens_photos(views, ULTRA_WIDE), "fisheye")
    assert asked.lens.kind == "fisheye"
    by_itself, fit = fit_profile(lens_photos(views, ULTRA_WIDE))
    assert fit.rms_px < 0.2
    assert by_itself.lens.focal_px == pytest.approx(asked.lens.focal_px, rel=0.002)


def refusal(photos: list[LensPhoto]) -> str:
    with pytest.raises((RetakeError, UsageError)) as caught:
        fit_profile(photos)
    return getattr(caught.value, "reason", "") + ": " + str(caught.value)


def test_too_few_photos_are_refused_and_the_useless_ones_named():
    photos = list(good_set()[: LEAST_PHOTOS - 1])
    assert "too few lens photos" in refusal(photos)
    photos.append(replace(good_set()[9], trouble="is blurred"))
    assert "photo 9.jpg is blurred" in refusal(photos)
    assert "0 of 0 photos" in refusal([])


def test_photos_square_on_are_refused():
    looks = np.random.default_rng(2).uniform(-1, 1, (12, 2)) * [130, 100]
    poses = [
        pose_at((1.5, -1), 4 * k, 330, np.array([130 + x, -90 + y, 0])) for k, (x, y) in enumerate(looks)
    ]
    photos = lens_photos(views_of(PHONE, poses, BOARD, seed=2))
    assert "too few tilts" in refusal(photos)


def test_photos_tilted_about_one_direction_only_are_refused():
    looks = np.random.default_rng(3).uniform(-1, 1, (12, 2)) * [130, 100]
    poses = [
        pose_at((28.0 * (-1) ** k, 0.5), 3, 330, np.array([130 + x, -90 + y, 0]))
        for k, (x, y) in enumerate(looks)
    ]
    assert "too few tilts" in refusal(lens_photos(views_of(PHONE, poses, BOARD, seed=3)))


@pytest.mark.parametrize(
    ("name", "right", "below"), [("upper left", 0, 0), ("upper right", 1, 0), ("lower right", 1, 1)]
)
def test_a_corner_that_was_never_covered_is_named(name, right, below):
    def without(photo: LensPhoto) -> LensPhoto:
        corner = np.array([right, below]) * np.array(SIZE)
        away = np.any(np.abs(photo.view.points_px - corner) > 0.26 * np.array(SIZE), axis=1)
        view = photo.view
        return replace(
            photo, view=replace(view, points_mm=view.points_mm[away], points_px=view.points_px[away])
        )

    said = refusal([without(photo) for photo in good_set()])
    assert "corner not covered" in said
    assert name in said


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"model": "N8"}, "another phone"),
        ({"focal_length_mm": 2.2, "focal_length_35mm": 13.0}, "another lens"),
        ({"focal_length_35mm": 52.0}, "another lens"),
        ({"digital_zoom_ratio": 2.0}, "digital zoom"),
    ],
)
def test_a_photo_of_another_camera_among_them_is_named(change, word):
    photos = list(good_set())
    photos[5] = replace(photos[5], camera=replace(PHONE_INFO, **change))
    said = refusal(photos)
    assert word in said
    assert "photo 5.jpg" in said


def test_a_photo_of_another_size_is_named():
    photos = list(good_set())
    photos[3] = replace(photos[3], size_px=(1500, 2000))
    assert "another picture size (1500 × 2000)" in refusal(photos)


def test_photos_that_no_lens_explains_are_refused():
    """A board that bends anew for every photo."""
    rng = np.random.default_rng(4)
    views = []
    for k, pose in enumerate(random_poses(PHONE, 1, 12, (280.0, 420.0))):
        bent = Board(bow_mm=tuple(rng.normal(0, 12, 3)))
        views += views_of(PHONE, [pose], bent, seed=k)
    assert "no lens model" in refusal(lens_photos(tuple(views)))
