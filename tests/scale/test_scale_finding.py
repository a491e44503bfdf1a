"""Finding the strip in drawn photos: any way up, partly covered, disturbed, and what must be refused."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.photo import Photo
from fitup.scale import find_target, find_targets, target_layout
from tests.scale.drawing_world import INK, PAPER, Camera, Scene, draw, encode, photo_of

SADDLE_PX = 0.1  # largest saddle error in a sharp drawn photo with noise of 1.5 grey levels
SEED = 11


def saddle_errors(scene: Scene, sighting) -> np.ndarray:
    return np.linalg.norm(sighting.saddles_px - scene.to_px(sighting.saddles_mm, 0.0), axis=1)


def refusal(pixels: np.ndarray) -> RetakeError:
    with pytest.raises(RetakeError) as caught:
        find_target(photo_of(pixels))
    assert caught.value.message.endswith(".")
    assert caught.value.remedy.endswith(".")
    return caught.value


@pytest.fixture(scope="module")
def plain() -> tuple[Scene, np.ndarray]:
    scene = Scene()
    return scene, draw(scene)


def test_every_saddle_is_found_in_place(plain):
    scene, pixels = plain
    sighting = find_target(photo_of(pixels))
    assert sighting.layout == target_layout(1)
    assert len(sighting.saddle_ids) == 116
    assert sighting.dropped_count == 0
    assert saddle_errors(scene, sighting).max() < SADDLE_PX
    assert np.array_equal(sighting.saddles_mm, sighting.layout.saddles_mm[sighting.saddle_ids])


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_photo_may_lie_any_way_up(plain, quarter_turns):
    scene, pixels = plain
    turned = np.ascontiguousarray(np.rot90(pixels, quarter_turns))
    sighting = find_target(photo_of(turned))
    true = scene.to_px(sighting.saddles_mm, 0.0)
    for _ in range(quarter_turns):  # one quarter turn anticlockwise at a time
        height = pixels.shape[1] if _ % 2 == 0 else pixels.shape[0]
        true = np.column_stack((true[:, 1], height - 1 - true[:, 0]))
    assert len(sighting.saddle_ids) == 116
    assert np.abs(sighting.saddles_px - true).max() < SADDLE_PX


@pytest.mark.parametrize(
    ("form", "number", "distance_mm"),
    [("strip-30x5", 13, 240.0), ("strip-8x5", 1, 140.0), ("strip-8x5", 50, 200.0)],
)
def test_every_form_is_known_by_its_markers(form, number, distance_mm):
    layout = target_layout(number, form)
    scene = Scene(layout=layout, look_at_mm=(layout.length_mm / 2, 5), distance_mm=distance_mm)
    sighting = find_target(photo_of(draw(scene)))
    assert sighting.layout == layout
    assert len(sighting.saddle_ids) == len(layout.saddles_mm)


def test_covered_part_costs_saddles_and_no_accuracy(plain):
    scene, pixels = plain
    pixels = pixels.copy()
    corners = scene.to_px(np.array([[60, 6], [140, 6], [140, -45], [60, -45]]))
    cv2.fillConvexPoly(pixels, np.rint(corners).astype(np.int32), 110)
    sighting = find_target(photo_of(pixels))
    x = sighting.saddles_mm[:, 0]
    assert not np.any((x > 61) & (x < 139))
    assert len(x) >= 60
    assert saddle_errors(scene, sighting).max() < SADDLE_PX


def test_quarter_of_the_strip_is_enough(plain):
    scene, pixels = plain
    pixels = pixels.copy()
    corners = scene.to_px(np.array([[50, 6], [230, 6], [230, -60], [50, -60]]))
    cv2.fillConvexPoly(pixels, np.rint(corners).astype(np.int32), 110)
    sighting = find_target(photo_of(pixels))
    assert 16 <= len(sighting.saddle_ids) <= 28
    assert saddle_errors(scene, sighting).max() < SADDLE_PX


def test_saddles_moved_by_glare_are_dropped(plain):
    """A highlight pulls single corners away while they still look perfect: shift patches of the picture."""
    scene, pixels = plain
    rng = np.random.default_rng(SEED)
    moved = rng.choice(116, 14, replace=False)
    v, u = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]].astype(np.float32)
    du, dv = np.zeros_like(u), np.zeros_like(u)
    for point in scene.to_px(scene.layout.saddles_mm[moved], 0.0):
        angle, shift = rng.uniform(0, 2 * np.pi), rng.uniform(1.5, 2.5)  # px: 0.2 to 0.4 mm
        weight = np.exp(-(((u - point[0]) ** 2 + (v - point[1]) ** 2) / (2 * 12.0**2)))
        du += (shift * np.cos(angle) * weight).astype(np.float32)
        dv += (shift * np.sin(angle) * weight).astype(np.float32)
    disturbed = cv2.remap(pixels, u + du, v + dv, cv2.INTER_LINEAR)
    sighting = find_target(photo_of(disturbed))
    assert not set(moved) & set(sighting.saddle_ids.tolist())
    assert sighting.dropped_count >= len(moved)
    assert len(sighting.saddle_ids) >= 80
    assert np.median(saddle_errors(scene, sighting)) < SADDLE_PX


def test_sixteen_bit_photo_gives_the_same(plain):
    _, pixels = plain
    eight = find_target(photo_of(pixels))
    sixteen = find_target(photo_of(pixels.astype(np.uint16) * 257))
    assert np.array_equal(eight.saddles_px, sixteen.saddles_px)


def test_of_two_strips_the_better_seen_is_used_and_the_other_named():
    scene = Scene(look_at_mm=(105, -70), distance_mm=270)
    other = replace(scene, layout=target_layout(5), look_at_mm=(105, 50))
    upper, lower = draw(scene), draw(other)
    both = np.vstack((upper[:756], lower[756:]))
    corners = scene.to_px(np.array([[90, 10], [240, 10], [240, -45], [90, -45]]))
    cv2.fillConvexPoly(both, np.rint(corners).astype(np.int32), 110)
    sighting = find_target(photo_of(both))
    assert sighting.layout.strip_number == 5
    assert any("Strip 1 is in the photo too" in note for note in sighting.notes)


def test_the_same_strip_twice_is_refused():
    scene = Scene(look_at_mm=(105, -70), distance_mm=270)
    both = np.vstack((draw(scene)[:756], draw(replace(scene, look_at_mm=(105, 50)))[756:]))
    assert refusal(both).reason == "same strip twice"


def two_strips(first: int = 1, second: int = 5, **options) -> tuple[np.ndarray, Scene, Scene]:
    """Two strips above one another, each with its own camera: finding knows nothing of poses."""
    upper = Scene(look_at_mm=(105, -70), distance_mm=270, layout=target_layout(first))
    lower = replace(upper, look_at_mm=(105, 50), layout=target_layout(second), **options)
    return np.vstack((draw(upper)[:756], draw(lower)[756:])), upper, lower


def test_all_strips_are_found_each_as_if_it_were_alone():
    pixels, upper, lower = two_strips()
    corners = upper.to_px(np.array([[90, 10], [240, 10], [240, -45], [90, -45]]))
    cv2.fillConvexPoly(pixels, np.rint(corners).astype(np.int32), 110)
    found = find_targets(photo_of(pixels))
    assert [sighting.layout.strip_number for sighting in found] == [5, 1]  # best seen first
    for scene, sighting in zip((lower, upper), found, strict=True):
        assert (
            saddle_errors(scene, sighting).max() < 1.5 * SADDLE_PX
        )  # smaller in the photo than the plain one
        assert sighting.notes == ()
    alone = find_target(photo_of(pixels))
    assert np.array_equal(alone.saddles_px, found[0].saddles_px)


def test_strips_of_different_forms_are_found_together():
    short = target_layout(3, "strip-8x5")
    pixels, _, _ = two_strips()
    scene = Scene(look_at_mm=(28, 70), distance_mm=270, layout=short)
    pixels[900:] = draw(scene)[900:]
    found = find_targets(photo_of(pixels))
    assert [(seen.layout.name, seen.layout.strip_number) for seen in found] == [
        ("strip-30x5", 1),
        ("strip-8x5", 3),
    ]


def test_a_strip_seen_at_a_steep_slant_is_found_where_two_are_expected():
    large = Camera(width_px=4032, height_px=3024, focal_px=3120.0)
    upper = Scene(look_at_mm=(105, -70), distance_mm=270, camera=large)
    lower = replace(upper, look_at_mm=(105, 50), tilt_x_deg=50.0, distance_mm=360, layout=target_layout(5))
    photo = photo_of(np.vstack((draw(upper, 1)[:1512], draw(lower)[1512:])))
    assert [seen.layout.strip_number for seen in find_targets(photo)] == [1]
    first, second = find_targets(photo, expected=2)
    assert (first.layout.strip_number, second.layout.strip_number) == (1, 5)
    assert np.median(saddle_errors(lower, second)) < 2 * SADDLE_PX  # the drawing is coarse at that slant


def test_one_strip_is_found_as_before(plain):
    _, pixels = plain
    (found,) = find_targets(photo_of(pixels))
    assert np.array_equal(found.saddles_px, find_target(photo_of(pixels)).saddles_px)


def test_one_of_two_strips_twice_is_refused():
    pixels, _, _ = two_strips(second=1)
    with pytest.raises(RetakeError) as caught:
        find_targets(photo_of(pixels))
    assert caught.value.reason == "same strip twice"


def test_a_bent_strip_beside_a_sound_one_is_named_and_left_out():
    pixels, _, _ = two_strips(bow_mm=3.0)
    (found,) = find_targets(photo_of(pixels))
    assert found.layout.strip_number == 1
    assert any("Strip 5 is in the photo too and cannot be used" in note for note in found.notes)


def test_all_strips_of_a_photo_without_any_is_refused_like_one():
    with pytest.raises(RetakeError) as caught:
        find_targets(photo_of(np.full((756, 1008), 128, np.uint8)))
    assert caught.value.reason == "no target"


def test_mirrored_photo_is_refused_as_such(plain):
    _, pixels = plain
    assert refusal(pixels[:, ::-1]).reason == "mirrored target"
    assert refusal(pixels[::-1]).reason == "mirrored target"


@pytest.mark.parametrize("bow_mm", [1.2, -1.2, 2.0, 4.0, -8.0])
def test_bent_strip_is_refused(bow_mm):
    assert refusal(draw(Scene(bow_mm=bow_mm))).reason in {"bent target", "unknown board"}


def test_lens_within_its_bound_is_not_called_bent():
    """1 % at the corner is the most that the stated uncertainty allows for."""
    for distortion in (-0.01, 0.01):
        sighting = find_target(photo_of(draw(Scene(camera=Camera(distortion=distortion)))))
        assert len(sighting.saddle_ids) > 100


def test_three_markers_are_not_enough(plain):
    scene, pixels = plain
    pixels = pixels.copy()
    corners = scene.to_px(np.array([[13.8, 6], [230, 6], [230, -60], [13.8, -60]]))
    cv2.fillConvexPoly(pixels, np.rint(corners).astype(np.int32), 110)
    for corner in ((0, -7), (0, -21)):  # leave the three markers of the right-hand column of the two
        patch = scene.to_px(np.array(corner) + np.array([[0, 0], [7, 0], [7, -7], [0, -7]]))
        cv2.fillConvexPoly(pixels, np.rint(patch).astype(np.int32), 110)
    failure = refusal(pixels)
    assert failure.reason == "too few markers"
    assert "Only 3 markers" in failure.message


def test_two_rows_of_squares_carry_no_scale_across(plain):
    scene, pixels = plain
    pixels = pixels.copy()
    corners = scene.to_px(np.array([[-20, -13], [230, -13], [230, -60], [-20, -60]]))
    cv2.fillConvexPoly(pixels, np.rint(corners).astype(np.int32), 110)
    assert refusal(pixels).reason == "saddles in a line"


@pytest.mark.parametrize("legacy", [False, True])
def test_foreign_board_with_our_numbers_is_refused(legacy):
    """A board of other proportions shares single numbers with strip 1, and not their places."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    board = cv2.aruco.CharucoBoard((9, 6), 7.0, 5.0, book)
    board.setLegacyPattern(legacy)
    picture = board.generateImage((1080, 720), marginSize=60)
    light = INK + (PAPER - INK) / 255 * picture.astype(np.float32)
    assert refusal(encode(cv2.GaussianBlur(light, (0, 0), 0.9), 1.5, SEED)).reason == "unknown board"


@pytest.mark.parametrize("kind", ["blank", "noise", "checkerboard without markers", "dark"])
def test_photo_without_target_is_refused(kind):
    rng = np.random.default_rng(SEED)
    shape = (756, 1008)
    pixels = {
        "blank": np.full(shape, 128, np.uint8),
        "noise": rng.integers(0, 256, shape).astype(np.uint8),
        "checkerboard without markers": np.kron(np.indices((12, 16)).sum(0) % 2, np.ones((63, 63))).astype(
            np.uint8
        )
        * 200,
        "dark": np.zeros(shape, np.uint8),
    }[kind]
    assert refusal(pixels).reason == "no target"


def test_smallest_photos_are_refused_and_do_not_crash():
    for shape in ((1, 1), (3, 5), (16, 16), (240, 240)):
        assert refusal(np.full(shape, 90, np.uint8)).reason == "no target"


def test_same_photo_gives_the_same_bits(plain):
    _, pixels = plain
    first = find_target(photo_of(pixels))
    for _ in range(5):
        again = find_target(photo_of(pixels.copy()))
        assert np.array_equal(again.saddles_px, first.saddles_px)
        assert np.array_equal(again.homography, first.homography)


def test_photo_is_not_written_to(plain):
    _, pixels = plain
    photo: Photo = photo_of(pixels)
    before = photo.pixels.copy()
    find_target(photo)
    assert np.array_equal(photo.pixels, before)
