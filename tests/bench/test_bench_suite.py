"""The coverage suite's cameras, recipes, cache and figures on made-up scenes; the suite is `make bench`."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.errors import PhotoError, RetakeError
from fitup.scale import target_layout
from tests.bench import suite_photos
from tests.bench.rendering import Camera, Picture, develop
from tests.bench.suite import (
    SuiteOutcome,
    assumed_radius_mm,
    by_the_strip,
    displaced,
    false_over_spots,
    is_level,
    labels_of,
    suite_outcome,
)
from tests.bench.suite_cameras import FACTOR_CAMERAS, ORDINARY_CAMERAS, cameras_for
from tests.bench.suite_figures import suite_figures, suite_row
from tests.bench.suite_light import LightSource, photo_light
from tests.bench.suite_photos import build, plan, recipe, suite_photo, tidy
from tests.bench.suite_picture import draw_suite
from tests.bench.suite_scenes import demo_sources, hostile_sources
from tests.bench.test_bench_scoring import LIMIT_MM, S_MM, opened, reading_of, truth_of
from tests.bench.truth import Score, Truth, score


def test_places_beside_an_unchecked_print_are_those_of_its_own_ruler():
    target = {"form": "strip-8x5", "strip_number": 2, "print_scale_along": 0.97}
    unchecked = replace(truth_of(opened(40, 50)), data={"target": target})
    checked = replace(unchecked, data={"target": target, "print_check": {}})
    # What lies 48.5 mm from the datum mark lies at the mark 50 of a ruler that was copied at 97 %.
    assert by_the_strip(unchecked).gap_at(np.array([50.0])) == pytest.approx(
        unchecked.gap_at(np.array([48.5]))
    )
    assert by_the_strip(checked) is checked


@pytest.mark.parametrize(
    ("data", "level"),
    [
        ({"joint": {}}, True),
        ({"joint": {"kind": "butt"}, "stations": {"step_mm": [0.0, 0.0]}}, True),
        ({"joint": {"kind": "butt"}, "stations": {"step_mm": [0.0, 0.5]}}, False),
        ({"joint": {}, "hi_lo_mm": [0.1, 0.13]}, False),
        ({"joint": {"kind": "tee"}}, False),
    ],
)
def test_a_step_is_drawn_only_where_the_scene_has_none_of_its_own(data: dict, level: bool) -> None:
    assert is_level(replace(truth_of(opened(40, 50)), data=data)) is level


def test_what_is_displaced_moves_readings_and_tells_anew_what_intervals_hold() -> None:
    gap = np.full(len(S_MM), 0.3)
    own = scored(gap, gap)  # u = 0.03
    assert own.covered.all()
    by_mm = np.where(np.arange(len(own.error_mm)) % 2 == 0, 0.07, 0.05)  # 2.3 and 1.7 u
    moved = displaced(own, by_mm)
    np.testing.assert_allclose(moved.error_mm, by_mm, atol=1e-12)
    np.testing.assert_allclose(moved.read_mm - own.read_mm, by_mm, atol=1e-12)
    np.testing.assert_array_equal(moved.covered, by_mm < 0.06)
    assert moved.openings == own.openings


@pytest.fixture
def source(tmp_path: Path) -> LightSource:
    """A small photo with a chain that is known."""
    linear, picture = small_light(), Picture(vignetting=0, veil=0)
    camera = Camera(aim_mm=(0, 0), distance_mm=200, lean_x_deg=0, lean_y_deg=0, width_px=96, height_px=64,
                    distortion=0.0)  # fmt: skip
    pixels = develop(linear, np.full(3, 0.66, np.float32), camera, picture)
    Image.fromarray(pixels).save(tmp_path / "one.png")
    data = {"camera": {"picture": picture.truth()}, "joint": {"kind": "butt"},
            "target": {"form": "strip-8x5", "strip_number": 2}}  # fmt: skip
    truth = replace(truth_of(opened(40, 50)), name="one", photo=tmp_path / "one.png", data=data)
    return LightSource(truth=truth, scene_factor="clean", exif=Image.Exif().tobytes())


def small_light() -> np.ndarray:
    u = np.arange(96)
    ramp = 0.15 + 0.5 * (0.5 + 0.5 * np.sin(u / 9))
    return np.broadcast_to(ramp[None, :, None], (64, 96, 3)).astype(np.float32).copy()


# ------------------------------------------------------------------------------------------------ cameras


def test_every_camera_has_its_own_name_and_the_factors_are_spread_evenly_over_scenes():
    names = [camera.name for camera in (*ORDINARY_CAMERAS, *FACTOR_CAMERAS)]
    assert len(set(names)) == len(names)
    used = Counter(c.name for k in range(16) for c in cameras_for(k, 3, 9))
    assert set(used) == set(names)
    factor = [used[c.name] for c in FACTOR_CAMERAS]
    assert max(factor) - min(factor) <= 1


def test_a_factors_camera_is_an_ordinary_phone_but_for_what_is_set():
    bright = next(c for c in FACTOR_CAMERAS if c.name == "exposure-bright")
    assert bright.picture.paper_level == 0.95
    assert 0.8 <= bright.picture.blur_px <= 1.3
    assert not bright.ordinary


def test_cameras_are_drawn_from_their_names_alone():
    """Numbers written down once: photos of earlier runs stay comparable."""
    one = ORDINARY_CAMERAS[0].picture
    assert (one.blur_px, one.s_curve, one.quality) == (1.05, 0.34, 86)


# -------------------------------------------------------------------------------------- light of a photo


def test_a_photos_light_is_the_light_that_it_was_made_of(source):
    """Within what blur, noise, clipping and rounding to 8 bits leave of a smooth picture."""
    light = photo_light(source.truth.photo, source.truth.data["camera"]["picture"])
    inside = np.s_[8:-8, 8:-8]
    ratio = light.linear[inside].mean((0, 2)) / small_light()[inside].mean((0, 2))
    assert np.abs(ratio - 1).max() < 0.02


def trial_digest_anew_by_its_own_camera_a_photo_stays_the_same(source):
    light = photo_light(source.truth.photo, source.truth.data["camera"]["picture"])
    camera = Camera(aim_mm=(0, 0), distance_mm=200, lean_x_deg=0, lean_y_deg=0, width_px=96, height_px=64,
                    distortion=0.0)  # fmt: skip
    own = Picture(vignetting=0, veil=0, corner_blur_px=0, blur_px=0.3, photons=1e9, read_noise=0)
    again = develop(light.linear, light.paper, camera, own).astype(int)
    with Image.open(source.truth.photo) as image:
        first = np.asarray(image).astype(int)
    assert np.abs(again.mean(0) - first.mean(0)).max() < 1.5


# ------------------------------------------------------------------------------------------------- cache


def test_photos_are_made_once_and_anew_when_their_recipe_changes(source, tmp_path, monkeypatch):
    cameras = (ORDINARY_CAMERAS[0], next(c for c in FACTOR_CAMERAS if c.scale == 0.5))
    photos = [suite_photo(source, camera, tmp_path / "cache") for camera in cameras]
    assert build(photos, tell=lambda name: None) == 2
    bits = [photo.path.read_bytes() for photo in photos]
    with Image.open(photos[1].path) as half:
        assert half.size == (48, 32)
    assert build(photos, tell=lambda name: None) == 0

    (tmp_path / "cache" / "another__phone-1.jpg").write_bytes(b"of an older plan")
    tidy(photos, tmp_path / "cache")
    assert {path.suffix for path in (tmp_path / "cache").iterdir()} == {".jpg", ".recipe"}
    assert len(list((tmp_path / "cache").iterdir())) == 4
    photos[0].path.unlink()
    assert build(photos, tell=lambda name: None) == 1
    assert [photo.path.read_bytes() for photo in photos] == bits  # bit for bit: seeds follow from the recipe

    other = replace(cameras[0], picture=replace(cameras[0].picture, blur_px=2.0))
    changed = replace(photos[0], camera=other)
    assert not changed.ready
    assert recipe(changed) != recipe(photos[0])
    monkeypatch.setattr(suite_photos.suite_shot, "trial_digest", lambda camera: "another chain")
    assert not photos[1].ready


def test_a_hostile_scene_takes_part_with_its_photo_and_when_rendered_is_seen_by_others(tmp_path):
    scene = write_scene(tmp_path / "hostile")
    (own,) = hostile_sources(tmp_path / "linear", tmp_path / "hostile")
    (photo,) = plan([own], tmp_path / "cache")
    assert (photo.path, photo.ready, photo.good) == (tmp_path / "hostile" / "h99_made_up.jpg", True, False)
    assert labels_of(photo) == ("camera: own", "scene: clean")

    (tmp_path / "linear").mkdir()
    np.savez(tmp_path / "linear" / "h99_made_up.npz", light=small_light(), paper=np.full(3, 0.66))
    _, rendered = hostile_sources(tmp_path / "linear", tmp_path / "hostile")
    assert rendered.distortion == pytest.approx(0.0008)
    others = plan([rendered], tmp_path / "cache")
    assert len(others) > 5
    assert sum(other.good for other in others) >= 2
    assert build(others[:1], tell=lambda name: None) == 1
    with Image.open(others[0].path) as picture:
        assert picture.size == (96, 64)
        assert picture.getexif()[0x0110] == "N1"
    assert np.array_equal(others[0].truth.gap_mm, scene["stations"]["gap_mm"])


def write_scene(folder: Path) -> dict:
    """A hostile scene's committed photo and truth, made up."""
    folder.mkdir()
    exif = Image.Exif()
    exif[0x0110] = "N1"
    Image.new("RGB", (96, 64)).save(folder / "h99_made_up.jpg", exif=exif.tobytes())
    corner = np.hypot(96, 64) / 2 / 80.0
    content = {
        "factor": "clean",
        "camera": {"size_px": [96, 64], "focal_px": 80.0, "distortion": {"k1": 0.0008 / corner**2}},
        "stations": {"s_mm": [0.0, 0.5], "gap_mm": [0.3, 0.4], "hidden": [False, False]},
    }
    (folder / "h99_made_up.truth.json").write_text(json.dumps(content))
    return content


def test_the_plan_without_any_render_has_200_photos_with_every_factor(tmp_path):
    photos = plan(demo_sources(), tmp_path)
    assert len(photos) >= 200
    assert len({photo.path for photo in photos}) == len(photos)
    labels = Counter(label for photo in photos for label in labels_of(photo))
    assert {f"camera: {c.factor}" for c in FACTOR_CAMERAS} <= set(labels)
    assert sum(photo.good for photo in photos) >= 25


# ----------------------------------------------------------------------------------------------- scoring


def outcome(own: Score | None, **changed: object) -> SuiteOutcome:
    fields = {
        "name": "a", "scene": "s", "camera": "c", "labels": ("camera: blur",), "good": True,
        "verdict": "within", "said": "", "visible": len(S_MM), "score": own,
    }  # fmt: skip
    return SuiteOutcome(**(fields | changed))  # type: ignore[arg-type]


def scored(read: np.ndarray, true: np.ndarray, hidden: np.ndarray | None = None) -> Score:
    return score(truth_of(true, hidden), reading_of(read), LIMIT_MM)


def test_assumed_radii_scatter_about_the_scenes_own_as_the_product_states():
    data = {"arris_radius_mm": 0.05}
    told = [assumed_radius_mm(replace(truth_of(opened(1, 2)), name=f"{k}", data=data)) for k in range(400)]
    assert np.mean(told) == pytest.approx(0.05, abs=0.003)
    assert np.std(told) == pytest.approx(0.4 * 0.05, rel=0.15)
    assert min(told) > 0
    assert told[0] == assumed_radius_mm(replace(truth_of(opened(3, 9)), name="0", data=data))


def test_an_opening_called_within_is_missed_and_makes_the_joints_within_wrong():
    row = suite_row("x", [outcome(scored(np.full(len(S_MM), 0.3), opened(40, 50)))])
    assert (row["openings"], row["missed"], row["partly_within"], row["within_wrong"]) == (1, 1, 1, 1)
    row = suite_row("x", [outcome(scored(opened(40, 45), opened(40, 50)), verdict="re-fixture")])
    assert (row["openings"], row["missed"], row["partly_within"], row["within_wrong"]) == (1, 0, 1, 0)


def test_an_opening_under_a_tack_is_none():
    hidden = (S_MM >= 38) & (S_MM <= 52)
    row = suite_row("x", [outcome(scored(np.where(hidden, np.nan, 0.3), opened(40, 50), hidden))])
    assert (row["openings"], row["missed"]) == (0, 0)


def test_a_refused_photo_counts_as_seen_nowhere():
    gap = np.full(len(S_MM), 0.3)
    row = suite_row("x", [outcome(scored(gap, gap)), outcome(None, verdict="retake", reason="no target")])
    assert (row["photos"], row["refused"], row["seen_share"]) == (2, 1, 0.5)
    assert (row["coverage_95"], row["rms_err_over_u"]) == (1.0, 0.0)


def test_error_in_units_of_what_is_stated():
    true = np.full(len(S_MM), 0.3)
    row = suite_row("x", [outcome(scored(true + 0.06, true))])  # u = 0.03
    assert row["mean_err_over_u"] == row["rms_err_over_u"] == pytest.approx(2, abs=1e-3)
    assert row["coverage_95"] == 0


def test_a_spot_beside_an_opening_is_not_false_and_a_short_one_far_from_it_is():
    spots = ((36.0, 39.2), (60.0, 61.0))
    found = false_over_spots(truth_of(opened(40, 50)), reading_of(opened(40, 50), spots=spots), LIMIT_MM)
    assert found == ((60.0, 61.0),)


def test_refusals_without_reason_or_remedy_are_mute(source, tmp_path):
    photo = suite_photo(source, ORDINARY_CAMERAS[0], tmp_path)
    told = suite_outcome(photo, RetakeError("no target", "Nothing was found.", "Lay the strip down."))
    assert (told.verdict, told.reason, told.mute) == ("retake", "no target", False)
    assert told.visible == np.sum(target_layout(2, "strip-8x5").length_mm >= S_MM)
    assert suite_outcome(photo, RetakeError("no target", "Nothing was found.", " ")).mute
    assert suite_outcome(photo, PhotoError("Damaged.")).mute


def test_a_hostile_scenes_truth_says_which_verdicts_are_allowed(source, tmp_path):
    data = source.truth.data | {"expected": {"verdicts": ["gauge", "re-fixture"]}}
    hostile = replace(source, truth=replace(source.truth, data=data), scene_factor="glare")
    error = RetakeError("no target", "Nothing was found.", "Lay the strip down.")
    off = next(c for c in FACTOR_CAMERAS if c.name == "exposure-bright")
    assert suite_outcome(suite_photo(hostile, ORDINARY_CAMERAS[0], tmp_path), error).unexpected
    assert not suite_outcome(suite_photo(hostile, off, tmp_path), error).unexpected
    assert not suite_outcome(suite_photo(source, ORDINARY_CAMERAS[0], tmp_path), error).unexpected


def test_retakes_are_counted_with_their_reasons():
    gap = np.full(len(S_MM), 0.3)
    little = outcome(scored(gap, gap), verdict="retake", reason="too little seen: glare")
    refused = outcome(None, verdict="retake", reason="no target")
    result = suite_figures([little, refused, refused, outcome(scored(gap, gap))])
    assert result["retakes"] == {"no target": 2, "too little seen: glare": 1}
    assert (result["overall"]["refused"], result["overall"]["retakes"]) == (2, 3)


def test_targets_are_judged_and_everything_is_fit_for_json_and_picture(tmp_path):
    gap = opened(40, 50)
    sound = outcome(scored(gap, gap), verdict="re-fixture", labels=("camera: ordinary", "scene: clean"))
    wrong = outcome(
        scored(np.full(len(S_MM), 0.3), gap), labels=("camera: blur", "camera: blur: 2 px", "scene: clean")
    )
    result = suite_figures([sound, sound])
    assert [t["met"] for t in result["targets"]] == [
        True,
        True,
        True,
        False,
        True,
        True,
        True,
    ]  # covers too often
    result = suite_figures([sound, wrong, outcome(None, labels=("scene: kind: tee",), mute=True)])
    assert [row["factor"] for row in result["by_level"]] == ["camera: blur: 2 px"]
    assert "scene: kind: tee" in [row["factor"] for row in result["by_factor"]]
    assert not result["targets"][0]["met"]
    assert not result["targets"][4]["met"]
    json.dumps(result)
    draw_suite(result, tmp_path / "suite.png")
    with Image.open(tmp_path / "suite.png") as picture:
        assert picture.size[0] > 1000


def test_scored_truth_is_the_scenes(source, tmp_path):
    photo = suite_photo(source, ORDINARY_CAMERAS[0], tmp_path)
    truth = photo.truth
    assert isinstance(truth, Truth)
    assert (truth.name, truth.photo) == (photo.name, photo.path)
    assert np.array_equal(truth.gap_mm, source.truth.gap_mm)
