"""The map of the joint's plane on drawn photos with known truth, and whether its uncertainty is honest."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import RetakeError, UsageError
from fitup.photo import Photo
from fitup.scale import PrintRecord, ScaleMap, TargetSighting, find_target, scale_map, target_layout
from fitup.scale.saddles import project
from tests.scale.drawing_world import Camera, Scene, draw, equivalent_mm, photo_of, random_scene

# Where joints lie: beside the strip, over its whole length.
JOINT_MM = np.array([[x, y] for y in (8.0, 20.0, 40.0) for x in (5.0, 105.0, 205.0)])
HALF_MM = np.array([0.0, 0.5])
SCALE_SHARE = 5e-4  # largest error of a length of 1 mm across, ideal lens and print: 0.05 %
EYES = 3  # a standard uncertainty may be missed by this factor once in 370 independent trials


def scale_error(scene: Scene, scale: ScaleMap, points_mm=JOINT_MM) -> np.ndarray:
    """Relative error of a length of 1 mm across the joint, at true places of the joint's plane."""
    length = scale.to_mm(scene.to_px(points_mm + HALF_MM)) - scale.to_mm(scene.to_px(points_mm - HALF_MM))
    return np.linalg.norm(length, axis=1) - 1


def measured(scene: Scene, record: PrintRecord | None = None, exif: bool = True, **options) -> ScaleMap:
    """Draw, find, map; the EXIF is what an honest phone of 5.6 mm focal length would write."""
    stretch = scene.distance_mm / (scene.distance_mm - 5.6)
    f35 = equivalent_mm(scene.camera) / stretch if exif else None
    photo = photo_of(draw(scene), f35, 5.6 if exif else None)
    return scale_map(photo, find_target(photo), record, **options)


@cache
def plain() -> tuple[Scene, ScaleMap]:
    return Scene(), measured(Scene())


def record_for(along: float, across: float) -> PrintRecord:
    return PrintRecord(
        number="1", date="2026-01-01", instrument="drawn", u_instrument_mm=0.02,
        along_mm=140 * along, across_mm=140 * across,
    )  # fmt: skip


@pytest.mark.parametrize(
    "scene",
    [
        Scene(),
        Scene(tilt_x_deg=0, tilt_y_deg=0, roll_deg=0),
        Scene(tilt_x_deg=25),
        Scene(tilt_y_deg=-25, distance_mm=260),
        Scene(distance_mm=300, look_at_mm=(100, 40)),
        Scene(roll_deg=90, camera=Camera(width_px=1512, height_px=2016)),
        Scene(roll_deg=180),
        Scene(blur_px=1.5, noise=3.0),
    ],
    ids=["hand-held", "square on", "leaning", "oblique", "far", "portrait", "upside down", "soft and noisy"],
)
def test_scale_is_right_across_poses(scene):
    scale = measured(scene)
    assert np.abs(scale_error(scene, scale)).max() < SCALE_SHARE
    assert scale.camera_known


def test_scale_is_right_without_exif():
    scale = measured(Scene(), exif=False)
    assert np.abs(scale_error(Scene(), scale)).max() < SCALE_SHARE
    assert scale.focal_source in {"assumed", "fitted"}


def test_short_strip_and_covered_strip_say_that_they_know_less():
    short = target_layout(2, "strip-8x5")
    scene = Scene(layout=short, look_at_mm=(28, 10))
    scale = measured(scene)
    points = np.array([[5.0, 20.0], [28.0, 20.0], [51.0, 20.0]])
    error, u = scale_error(scene, scale, points), scale.relative_u_saddles(points)
    assert np.all(np.abs(error) < EYES * u)
    assert u.min() > 2 * plain()[1].relative_u_saddles(points).max()


def test_camera_stands_where_it_stood():
    scene, scale = plain()
    true = -scene.rotation.T @ scene.translation + [0, 0, scene.thickness_mm]
    assert scale.camera_position_mm == pytest.approx(true, abs=3.0)  # focal length known to 1.5 % only
    assert scale.focal_px == pytest.approx(scene.camera.focal_px, rel=0.015)
    assert scale.focal_source == "exif 35 mm, close focus"
    assert scale.tilt_deg == pytest.approx(np.degrees(np.arccos(abs(scene.rotation[2, 2]))), abs=0.3)


def test_view_tangents_point_from_the_plate_to_the_camera():
    scene, scale = plain()
    true = -scene.rotation.T @ scene.translation
    expected = (true[:2] - JOINT_MM) / true[2]
    assert scale.view_tangents(JOINT_MM) == pytest.approx(expected, abs=0.01)


def test_print_record_corrects_both_directions():
    scene = Scene(print_factors=(1.006, 0.996))
    scale = measured(scene, record_for(1.006, 0.996))
    assert np.abs(scale_error(scene, scale)).max() < SCALE_SHARE
    x = scale.to_mm(scene.to_px(np.array([[10.0, 20.0], [200.0, 20.0]])))[:, 0]
    assert x[1] - x[0] == pytest.approx(190.0, rel=SCALE_SHARE)
    assert scale.relative_u(JOINT_MM)["print"] == pytest.approx(
        np.full(len(JOINT_MM), 0.0539 / 139.44), rel=1e-2
    )


def test_unchecked_print_is_wrong_within_its_stated_uncertainty():
    scene = Scene(print_factors=(1.004, 0.997))
    scale = measured(scene)
    u = scale.relative_u(JOINT_MM)
    assert u["print"] == pytest.approx(np.full(len(JOINT_MM), 0.005))
    total = np.sqrt(sum(part**2 for part in u.values()))
    assert np.all(np.abs(scale_error(scene, scale)) < 2 * total)


def test_thick_target_is_right_when_told_and_wrong_when_not():
    scene = Scene(thickness_mm=1.0)
    assert np.abs(scale_error(scene, measured(scene, thickness_mm=1.0))).max() < SCALE_SHARE
    silent = scale_error(scene, measured(scene))  # 0.9 mm untold at 230 mm: lengths read 0.39 % short
    assert silent == pytest.approx(np.full(len(JOINT_MM), -0.9 / 229), rel=0.15)


@pytest.mark.parametrize("thickness", [-0.1, 50.0, float("nan")])
def test_impossible_thickness_is_refused(thickness):
    photo = photo_of(draw(Scene()))
    with pytest.raises(UsageError, match="impossible"):
        scale_map(photo, find_target(photo), thickness_mm=thickness)


def test_wrong_exif_is_overruled_by_the_picture():
    """A crop or a foreign lens: a tilted strip contradicts the equivalent focal length it carries."""
    scene = Scene(tilt_x_deg=25)
    photo = photo_of(draw(scene), f35_mm=50.0)
    scale = scale_map(photo, find_target(photo))
    assert scale.focal_source == "fitted"
    assert not scale.camera_known
    assert abs(np.log(scale.focal_px / scene.camera.focal_px)) < 2 * scale.u_focal_relative
    assert np.abs(scale_error(scene, scale)).max() < SCALE_SHARE


def test_cropped_picture_is_measured_with_an_unknown_camera():
    """A picture cropped on one side only: its middle is far from where the lens looked."""
    scene = Scene(tilt_x_deg=25, tilt_y_deg=12, look_at_mm=(118, 10), distance_mm=270)
    whole = measured(scene)
    assert whole.camera_known
    scene = replace(scene, camera=Camera(centre_offset_px=(-250.0, 0.0)))
    scale = measured(scene)
    assert not scale.camera_known
    assert scale.focal_source == "fitted"
    assert np.abs(scale_error(scene, scale)).max() < SCALE_SHARE
    lens = "lens and distance"
    assert scale.relative_u(JOINT_MM)[lens].max() > 1.5 * whole.relative_u(JOINT_MM)[lens].max()


@given(
    x=st.floats(-100, 310), y=st.floats(-100, 150),
)  # fmt: skip
def test_millimetres_survive_the_way_to_pixels_and_back(x, y):
    scale = plain()[1]
    point = np.array([x, y])
    assert np.abs(scale.to_mm(scale.to_px(point)) - point).max() < 1e-9
    pixel = scale.to_px(point)
    assert np.abs(scale.to_px(scale.to_mm(pixel)) - pixel).max() < 1e-9 * np.abs(pixel).max()


def test_arrays_keep_their_shape():
    scale = plain()[1]
    grid = np.stack(np.meshgrid(np.arange(3.0), np.arange(4.0)), -1)
    assert scale.to_px(grid).shape == (4, 3, 2)
    assert scale.px_per_mm(grid).shape == (4, 3)
    assert scale.view_tangents(grid).shape == (4, 3, 2)
    assert {part.shape for part in scale.relative_u(grid).values()} == {(4, 3)}
    assert scale.px_per_mm(grid[0, 0]).shape == ()
    assert scale.relative_u_saddles(grid[0, 0]).shape == ()
    assert set(scale.relative_u(grid)) == {"saddles", "print", "thickness", "lens and distance"}


def test_sampling_is_the_homographys_own():
    scale = plain()[1]
    step = 1e-4
    at = JOINT_MM[4]
    d = [(scale.to_px(at + step * e) - scale.to_px(at - step * e)) / (2 * step) for e in np.eye(2)]
    assert scale.px_per_mm(at) == pytest.approx(np.sqrt(abs(np.linalg.det(np.array(d)))), rel=1e-6)


def test_tangents_are_the_derivatives_of_a_fit_in_pixels():
    """The covariance belongs to the map: random parameter changes move points as the covariance says."""
    scale = plain()[1]
    rng = np.random.default_rng(5)
    root = np.linalg.cholesky(scale.parameter_covariance)
    lengths = []
    for _ in range(400):
        change = root @ rng.standard_normal(len(root))
        other = scale.homography + np.einsum("p,pij->ij", change, scale.tangents)
        back = np.linalg.inv(other)
        ends = project(back, scale.to_px(np.stack((JOINT_MM + HALF_MM, JOINT_MM - HALF_MM))))
        lengths.append(ends[0, :, 1] - ends[1, :, 1])
    assert np.std(lengths, axis=0) == pytest.approx(scale.relative_u_saddles(JOINT_MM), rel=0.15)


def synthetic_sighting(
    scene: Scene, noise_px: float, rng: np.random.Generator
) -> tuple[Photo, TargetSighting]:
    """Saddles at their true places plus noise; the picture itself stays blank."""
    layout, camera = scene.layout, scene.camera
    px = scene.to_px(layout.saddles_mm * scene.print_factors, 0.0)
    px = px + noise_px * rng.standard_normal(px.shape)
    matrix = cv2.findHomography(layout.saddles_mm, px, 0)[0]
    residual = np.linalg.norm(project(matrix, layout.saddles_mm) - px, axis=1)
    sighting = TargetSighting(
        layout=layout, saddle_ids=np.arange(len(px)), saddles_px=px,
        saddles_mm=layout.saddles_mm, residual_px=residual, homography=matrix,
        marker_count=layout.marker_count, dropped_count=0, reduction=1,
    )  # fmt: skip
    stretch = scene.distance_mm / (scene.distance_mm - 5.6)
    f35 = equivalent_mm(camera) / stretch * (1 + 0.015 * rng.standard_normal())
    photo = photo_of(np.zeros((camera.height_px, camera.width_px), np.uint8), float(f35), 5.6)
    return photo, sighting


@pytest.mark.parametrize("noise_px", [0.05, 0.2])
def test_uncertainty_from_saddles_is_the_real_scatter(noise_px):
    """Noise, principal point and EXIF wrong by what the fit assumes of them; lens and print perfect."""
    z, u = [], []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        scene = random_scene(seed)
        offset = 0.004 * 2 * scene.camera.half_diagonal * rng.standard_normal(2)
        scene = replace(scene, camera=replace(scene.camera, centre_offset_px=tuple(offset)))
        scale = scale_map(*synthetic_sighting(scene, noise_px, rng))
        u.append(scale.relative_u_saddles(JOINT_MM))
        z.append(scale_error(scene, scale) / u[-1])
    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.15
    assert np.mean(np.abs(z) < 2) > 0.92
    # An unchecked print may be stretched unequally, which a view from above can hardly tell from a tilt.
    assert np.median(u) < (7e-4 if noise_px < 0.1 else 1e-3)


def test_stated_uncertainty_covers_lens_print_thickness_and_noise_together():
    """Everything wrong at once, each by a draw from what its influence states."""
    z = []
    for seed in range(200):
        rng = np.random.default_rng(1000 + seed)
        scene = random_scene(seed)
        camera = replace(
            scene.camera,
            distortion=float(rng.uniform(-0.01, 0.01)),
            centre_offset_px=tuple(0.004 * 2 * scene.camera.half_diagonal * rng.standard_normal(2)),
        )
        factors = tuple(1 + 0.005 * rng.standard_normal(2))
        scene = replace(
            scene, camera=camera, print_factors=factors, thickness_mm=float(rng.normal(0.1, 0.05))
        )
        scale = scale_map(*synthetic_sighting(scene, 0.05, rng), thickness_mm=0.1)
        total = np.sqrt(sum(part**2 for part in scale.relative_u(JOINT_MM).values()))
        z.append(scale_error(scene, scale) / total)
    assert np.mean(np.abs(z) < 2) > 0.93
    assert 0.7 < np.sqrt(np.mean(np.square(z))) < 1.2


def test_lens_term_is_small_beside_the_strip_and_grows_away_from_it():
    scale = plain()[1]
    beside = scale.relative_u(np.array([[x, y] for y in (10.0, 40.0) for x in (10.0, 105.0, 200.0)]))
    assert beside["lens and distance"].max() < 0.002
    away = scale.relative_u(np.array([[105.0, 120.0], [105.0, 240.0]]))["lens and distance"]
    assert away[0] > 3 * beside["lens and distance"].max()
    assert away[1] > 2 * away[0]


def test_lens_term_is_the_real_error_of_a_distorting_lens():
    """Beside and away from the strip, a corner displacement of ±0.6 % stays within what is stated."""
    rng = np.random.default_rng(3)
    points = np.array([[x, y] for y in (10.0, 40.0, 80.0) for x in (5.0, 105.0, 205.0)])
    for distortion in (-0.006, 0.006):
        for seed in range(20):
            scene = random_scene(seed, camera=Camera(distortion=distortion))
            scale = scale_map(*synthetic_sighting(scene, 0.03, rng))
            u = scale.relative_u(points)
            total = np.hypot(u["lens and distance"], u["saddles"])
            assert np.all(np.abs(scale_error(scene, scale, points)) < EYES * total)


@pytest.mark.parametrize("bow_mm", [-0.7, -0.4, 0.4, 0.7])
def test_slight_bow_that_passes_widens_the_uncertainty_enough(bow_mm):
    scene = Scene(bow_mm=bow_mm)
    scale = measured(scene)
    u = scale.relative_u(JOINT_MM)
    total = np.sqrt(u["saddles"] ** 2 + u["lens and distance"] ** 2 + u["thickness"] ** 2)
    assert np.all(np.abs(scale_error(scene, scale)) < 1.5 * total)
    # Part of a bow looks like the unequal stretch of an unchecked print.
    assert scale.bow_mm == pytest.approx(bow_mm, rel=0.35)


def test_blur_of_the_prints_edges_is_the_drawn_blur():
    """The pixel's own width and bilinear sampling add up to 0.25 px² of variance."""
    for blur in (0.8, 1.5):
        scene = Scene(blur_px=blur)
        expected = np.hypot(blur, 0.5)
        assert measured(scene).print_blur_px == pytest.approx(expected, rel=0.08)


def test_target_seen_from_behind_is_refused():
    scene = Scene()
    photo, sighting = synthetic_sighting(scene, 0.03, np.random.default_rng(1))
    flip = np.array([photo.width_px - 1, 0.0])
    mirrored = replace(
        sighting,
        saddles_px=np.abs(flip - sighting.saddles_px),
        homography=np.array([[-1.0, 0, flip[0]], [0, 1, 0], [0, 0, 1]]) @ sighting.homography,
    )
    with pytest.raises(RetakeError) as caught:
        scale_map(photo, mirrored)
    assert caught.value.reason == "no camera pose"
