"""The demo photos are complete, small enough, and agree with the truth beside them."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from fitup.scale import target_layout

FOLDER = Path(__file__).resolve().parent.parent / "demo_images"
PHOTOS = sorted(FOLDER.glob("*.jpg"))
HOSTILE = sorted(FOLDER.glob("hostile/*.jpg"))
SIDES = sorted(FOLDER.glob("sides/*.jpg"))  # joints from both sides, small photos too
# The other kinds, the seam, the phones, the lens board.
OTHERS = sorted(set(FOLDER.glob("*/*.jpg")) - set(HOSTILE + SIDES))
JOINTS = [p for p in OTHERS if p.parent.name != "lens_board"]
photos = pytest.mark.parametrize("photo", PHOTOS, ids=lambda p: p.stem)
others = pytest.mark.parametrize("photo", OTHERS, ids=lambda p: p.stem)
small = pytest.mark.parametrize("photo", HOSTILE + SIDES, ids=lambda p: p.stem)
joints = pytest.mark.parametrize("photo", JOINTS, ids=lambda p: p.stem)


def _truth(photo: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(photo.with_suffix(".truth.json").read_text(encoding="utf-8"))
    return content


def test_there_are_enough_photos_and_they_stay_small() -> None:
    assert len(PHOTOS) >= 12
    sizes = [p.stat().st_size for p in PHOTOS]
    assert max(sizes) <= 2_500_000
    assert sum(sizes) <= 30_000_000
    assert {p.name.replace(".truth.json", "") for p in FOLDER.glob("*.truth.json")} == {
        p.stem for p in PHOTOS
    }


def test_the_job_has_every_verdict_it_promises_and_one_upright_photo() -> None:
    assert {_truth(p)["expected_verdict"] for p in PHOTOS} == {"within", "re-fixture"}
    assert sum(_truth(p)["camera"]["exif_orientation"] == 6 for p in PHOTOS) == 1


@photos
def test_photo_is_a_twelve_megapixel_jpeg_with_a_phones_exif(photo: Path) -> None:
    with Image.open(photo) as image:
        exif = image.getexif()
        detail = exif.get_ifd(0x8769)
        assert image.format == "JPEG"
        assert list(image.size) == _truth(photo)["camera"]["size_px"]
        assert image.width * image.height >= 12_000_000
    assert exif[0x010F] == "Nordlicht"
    assert exif[0x0110] in {"N1", "N2"}
    assert exif[0x0112] == _truth(photo)["camera"]["exif_orientation"]
    assert len(detail[0x9003]) == len("2026:05:11 09:14:22")
    # The nominal focal length in the file must be 2-4 % short of the effective one (close focus).
    nominal_px = detail[0xA405] / 43.267 * np.hypot(*_truth(photo)["camera"]["size_px"])
    assert 1.02 < _truth(photo)["camera"]["focal_px"] / nominal_px < 1.04
    assert 4 < float(detail[0x920A]) < 8


@photos
def test_truth_is_complete_and_says_that_it_is_invented(photo: Path) -> None:
    truth = _truth(photo)
    assert truth["name"] == photo.stem
    assert truth["invented"] is True
    assert truth["target"]["form"] == "strip-30x5"
    for key in ("description", "sheet_mm", "wire", "arris_radius_mm", "hi_lo_mm"):
        assert key in truth
    stations = truth["stations"]
    s = np.array(stations["s_mm"])
    assert np.allclose(np.diff(s), 0.5)
    assert all(len(stations[k]) == len(s) for k in ("gap_mm", "near_xy_mm", "far_xy_mm", "hidden"))
    assert len(truth["hi_lo_mm"]) == len(s)


@photos
def test_gap_is_the_arrises_distance_square_to_the_joint(photo: Path) -> None:
    truth = _truth(photo)
    angle = np.radians(truth["joint"]["angle_deg"])
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    near, far = (np.array(truth["stations"][k]) for k in ("near_xy_mm", "far_xy_mm"))
    assert np.allclose((far - near) @ across, truth["stations"]["gap_mm"], atol=2e-4)
    assert np.allclose(near @ along, truth["stations"]["s_mm"], atol=2e-4)  # s from the datum mark's foot
    assert min(truth["stations"]["gap_mm"]) > 0
    hidden = np.array(truth["stations"]["hidden"])
    limit = float(truth["wire"].removesuffix("mm"))
    over = np.array(truth["stations"]["gap_mm"])[~hidden].max() > limit
    assert truth["expected_verdict"] == ("re-fixture" if over else "within")


@photos
def test_pose_in_the_truth_finds_the_datum_corner_in_the_picture(photo: Path) -> None:
    """The pattern's first square is black and what lies left of it is paper, where the pose says."""
    camera = _truth(photo)["camera"]
    scale = _truth(photo)["target"]
    points = np.array([[3.5, -3.5, 0], [-1.5, -3.5, 0], [213.0, -3.5, 0]])
    points *= [scale["print_scale_along"], scale["print_scale_across"], 1]
    seen = (points - camera["position_mm"]) @ np.array(camera["rotation_target_to_camera"]).T
    column, row = (seen[:, :2] / seen[:, 2:] * camera["focal_px"] + camera["principal_point_px"]).T
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"), dtype=float)
    level = [
        grey[int(v) - 8 : int(v) + 9, int(u) - 8 : int(u) + 9].mean()
        for u, v in zip(column, row, strict=True)
    ]
    assert level[0] < 90
    assert min(level[1:]) > 170


# ----------------------------------------------------------- the other kinds, the seam, the phones, the board


def _seen(truth: dict[str, Any], points_mm: Any) -> NDArray[np.float64]:
    """Points (N, 3) of the first target's frame in the picture, through the general calibration library."""
    camera = truth["camera"]
    lens = np.array([camera["distortion"][k] for k in ("k1", "k2", "p1", "p2", "k3")])
    turn = np.array(camera["rotation_target_to_camera"])
    shift = -turn @ np.array(camera["position_mm"])
    points = np.asarray(points_mm, dtype=float)
    found, _ = cv2.projectPoints(
        points, cv2.Rodrigues(turn)[0], shift, np.array(camera["camera_matrix"]), lens
    )
    return np.asarray(found, dtype=float).reshape(-1, 2)


def test_all_photos_together_stay_under_sixty_eight_megabytes() -> None:
    assert sum(p.stat().st_size for p in PHOTOS + OTHERS) <= 60_000_000
    assert sum(p.stat().st_size for p in HOSTILE) <= 6_000_000
    assert sum(p.stat().st_size for p in SIDES) <= 2_000_000
    assert max(p.stat().st_size for p in OTHERS) <= 2_000_000
    assert {p.name.replace(".truth.json", "") for p in FOLDER.glob("*/*.truth.json")} == {
        p.stem for p in OTHERS + HOSTILE + SIDES
    }


def test_every_kind_of_joint_is_there() -> None:
    kinds = {_truth(p)["joint"]["kind"] for p in JOINTS}
    assert kinds == {
        "butt",
        "seam",
        "corner-full-open",
        "corner-half-open",
        "corner-flush",
        "corner-inside",
        "tee",
        "lap",
        "edge",
    }
    assert {_truth(p)["expected_verdict"] for p in JOINTS} == {"within", "re-fixture"}
    assert 10 <= len(OTHERS) - len(JOINTS) <= 12


@others
def test_other_photo_is_a_twelve_megapixel_jpeg_with_its_phones_exif(photo: Path) -> None:
    truth = _truth(photo)
    with Image.open(photo) as image:
        exif = image.getexif()
        detail = exif.get_ifd(0x8769)
        assert image.format == "JPEG"
        assert list(image.size) == truth["camera"]["size_px"] == [4000, 3000]
    assert (exif[0x010F], exif[0x0110]) in {
        ("Nordlicht", "N1"),
        ("Moorbirke", "W5"),
        ("Moorbirke", "W5 Tele"),
    }
    assert exif[0x0112] == 1
    nominal_px = detail[0xA405] / 43.267 * np.hypot(4000, 3000)
    assert 1.01 < truth["camera"]["focal_px"] / nominal_px < 1.04
    assert truth["name"] == photo.stem
    assert truth["invented"] is True


@joints
def test_stations_of_any_kind_agree_with_their_own_bounds(photo: Path) -> None:
    truth = _truth(photo)
    stations, joint = truth["stations"], truth["joint"]
    along, across, out = (np.array(joint[k]) for k in ("along", "across", "out"))
    near, far = (np.array(stations[k]) for k in ("near_xyz_mm", "far_xyz_mm"))
    s = np.array(stations["s_mm"])
    assert np.allclose(
        np.array([along, across, out]) @ np.array([along, across, out]).T, np.eye(3), atol=1e-6
    )
    assert np.allclose(np.diff(s), 0.5)
    assert np.allclose((far - near) @ across, stations["gap_mm"], atol=3e-4)
    assert np.allclose((far - near) @ out, stations["step_mm"], atol=3e-4)
    assert np.allclose(near @ along, s, atol=2e-4)
    assert np.allclose(far @ along, s, atol=2e-4)
    assert min(stations["gap_mm"]) > 0.05
    hidden = np.array(stations["hidden"])
    seen = _seen(truth, (near + far) / 2)
    inside = ((seen > 6) & (seen < np.array(truth["camera"]["size_px"]) - 7)).all(1)
    assert not hidden[inside].any()
    over = np.array(stations["gap_mm"])[~hidden].max() > float(truth["wire"].removesuffix("mm"))
    assert truth["expected_verdict"] == ("re-fixture" if over else "within")


@joints
def test_outside_corners_say_how_long_their_lands_are(photo: Path) -> None:
    truth = _truth(photo)
    outside = truth["joint"]["kind"].startswith("corner-") and truth["joint"]["kind"] != "corner-inside"
    assert ("land_near_mm" in truth["stations"]) == outside
    if outside:
        assert max(truth["stations"]["land_near_mm"]) == pytest.approx(truth["sheet_mm"])
        assert 0.3 < min(truth["stations"]["land_far_mm"]) <= truth["other_sheet_mm"]


@others
def test_pose_of_every_target_finds_its_saddle_points_in_the_picture(photo: Path) -> None:
    """Where four squares meet, the grey corner finder of the general library stays within half a pixel."""
    truth = _truth(photo)
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"))
    whole = 0
    for place in truth["targets"]:
        layout = target_layout(place["strip_number"], place["form"])
        flat = np.column_stack((layout.saddles_mm, np.zeros(len(layout.saddles_mm))))
        at = _seen(truth, flat @ np.array(place["rotation_to_first"]).T + place["origin_in_first_mm"])
        at = at[((at > 25) & (at < np.array(truth["camera"]["size_px"]) - 26)).all(1)]
        whole += len(at) == len(flat)
        if len(at) < 6:
            continue
        stop = (cv2.TERM_CRITERIA_COUNT, 40, 0.0)
        start = at.astype(np.float32).reshape(-1, 1, 2)
        found = cv2.cornerSubPix(grey, start.copy(), (9, 9), (-1, -1), stop).reshape(-1, 2)
        assert np.median(np.linalg.norm(found - at, axis=1)) < 0.25
        assert np.abs((found - at).mean(0)).max() < 0.15
    assert whole >= 1 or truth["target"]["form"] == "lens-board"


def test_the_seams_photos_agree_where_they_overlap() -> None:
    whole = json.loads((FOLDER / "seam_900" / "seam_900.json").read_text(encoding="utf-8"))
    s, gap = (np.array(whole["stations"][k]) for k in ("s_mm", "gap_mm"))
    reach = []
    for photo in sorted((FOLDER / "seam_900").glob("*.jpg")):
        stations = _truth(photo)["stations"]
        own = np.array(stations["seam_s_mm"])
        assert np.allclose(np.interp(own, s, gap), stations["gap_mm"], atol=0.01)  # between half millimetres
        seen = own[~np.array(stations["hidden"])]
        reach.append((seen.min(), seen.max()))
    assert all(left[1] - right[0] > 30 for left, right in pairwise(reach))
    widest = s[np.argmax(gap)]
    assert sum(low + 5 < widest < high - 5 for low, high in reach) == 2


# ------------------------------------------------------------------------------------- the hostile photos

FACTORS = {
    "clean", "glare", "hi-lo shadow", "light through", "flash", "mixed light", "low light", "hdr halo",
    "motion", "coolant", "fingerprints", "protective film", "layout lines", "deburring", "dust and chips",
    "wire in the gap", "feeler blade", "tacks and clamp", "target curled", "target wrinkled",
    "target covered", "target over an edge", "two of a number", "screen", "photocopy", "mirror",
}  # fmt: skip


def test_every_hostile_factor_has_a_photo() -> None:
    assert {_truth(p)["factor"] for p in HOSTILE} == FACTORS
    assert sum(_truth(p)["expected_verdict"] == "within" for p in HOSTILE) == 1


@small
def test_small_photo_is_a_jpeg_with_its_phones_exif(photo: Path) -> None:
    truth = _truth(photo)
    with Image.open(photo) as image:
        exif = image.getexif()
        assert image.format == "JPEG"
        assert list(image.size) == truth["camera"]["size_px"] == [2016, 1512]
    assert (exif[0x010F], exif[0x0110], exif[0x0112]) == ("Nordlicht", "N1", 1)
    nominal_px = exif.get_ifd(0x8769)[0xA405] / 43.267 * np.hypot(2016, 1512)
    assert 1.03 < truth["camera"]["focal_px"] / nominal_px < 1.08  # so close the lens has moved out further
    assert (exif.get_ifd(0x8769)[0x9209] & 1) == (truth["factor"] == "flash")
    assert truth["name"] == photo.stem
    assert truth["invented"] is True
    assert photo.stat().st_size <= 340_000


@small
def test_small_photos_stations_agree_with_their_bounds_and_with_what_is_expected(photo: Path) -> None:
    truth = _truth(photo)
    stations, joint = truth["stations"], truth["joint"]
    along, across, out = (np.array(joint[k]) for k in ("along", "across", "out"))
    near, far = (np.array(stations[k]) for k in ("near_xyz_mm", "far_xyz_mm"))
    gap, s = np.array(stations["gap_mm"]), np.array(stations["s_mm"])
    assert np.allclose(np.diff(s), 0.5)
    assert np.allclose((far - near) @ across, gap, atol=3e-4)
    assert np.allclose((far - near) @ out, stations["step_mm"], atol=3e-4)
    assert np.allclose(near @ along, s, atol=2e-4)
    assert len(stations["disturbed"]) == len(stations["hidden"]) == len(s)
    beside = ~np.array(stations["hidden"]) & (s > 1) & (s < 55)  # beside the target, where a photo is judged
    limit = float(truth["wire"].removesuffix("mm"))
    over = int((gap[beside] > limit).sum())
    assert (over >= 6) == (truth["expected_verdict"] == "re-fixture")  # an opening of 3 mm and more, or none
    assert (gap[beside] > limit).any() == (truth["expected_verdict"] == "re-fixture")
    assert (gap[beside] < 0.7 * limit).sum() > 20  # and a good stretch
    assert set(truth["expected"]["verdicts"]) <= {"within", "re-fixture", "gauge", "retake"}
    assert ("within" in truth["expected"]["verdicts"]) == (truth["expected_verdict"] == "within")
    assert truth["expected"]["words"]


def test_things_that_stand_before_the_gap_hide_it_in_the_truth() -> None:
    hidden = {}
    for photo in HOSTILE:
        stations = _truth(photo)["stations"]
        s, covered = np.array(stations["s_mm"]), np.array(stations["hidden"])
        hidden[photo.stem[:3]] = set(s[covered & (s > 1) & (s < 55)].tolist())
    assert {5.0, 14.0, 20.0} <= hidden["h20"]  # the wire that lies on the joint
    assert {8.0, 12.5, 17.0} <= hidden["h21"]  # the feeler blade
    assert {14.0, 50.0} <= hidden["h22"]  # the tacks
    assert len([s for s in hidden["h19"] if s < 6.5]) >= 6  # the packed stretch
    assert not hidden["h01"]
    assert not hidden["h14"]  # one sees through drops
    assert not hidden["h16"]  # the film lies beside the gap


@small
def test_poses_of_small_photos_targets_find_their_saddle_points(photo: Path) -> None:
    """The flat ones: the grey corner finder of the general library stays within half a pixel."""
    truth = _truth(photo)
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"))
    for place in truth["targets"]:
        if place["bent"]:
            continue
        layout = target_layout(place["strip_number"], place["form"])
        scales = np.array([place["print_scale_along"], place["print_scale_across"], 1.0])
        flat = np.column_stack((layout.saddles_mm, np.zeros(len(layout.saddles_mm)))) * scales
        at = _seen(truth, flat @ np.array(place["rotation_to_first"]).T + place["origin_in_first_mm"])
        at = at[((at > 25) & (at < np.array(truth["camera"]["size_px"]) - 26)).all(1)]
        assert len(at) >= 6
        stop = (cv2.TERM_CRITERIA_COUNT, 40, 0.0)
        start = at.astype(np.float32).reshape(-1, 1, 2)
        found = cv2.cornerSubPix(grey, start.copy(), (9, 9), (-1, -1), stop).reshape(-1, 2)
        assert np.median(np.linalg.norm(found - at, axis=1)) < (0.6 if truth["factor"] == "motion" else 0.3)


def test_full_sampling_covers_the_joint_and_the_target_of_every_hostile_scene(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pytest.importorskip("scipy")
    monkeypatch.syspath_prepend(str(FOLDER))
    from hostile_scenes import HOSTILE as SCENES
    from hostile_scenes import linear_scenes
    from linear import FADE_PX, full_boxes

    assert {s.name for s in SCENES} == {p.stem for p in HOSTILE}
    for scene in linear_scenes():
        truth = _truth(FOLDER / "hostile" / f"{scene.name}.jpg")
        stations = truth["stations"]
        middle = (np.array(stations["near_xyz_mm"]) + stations["far_xyz_mm"]) / 2
        at = scene.camera.film_px(scene.first.world(middle))
        at = at[((at > 0) & (at < [2016, 1512])).all(1)]
        inside = np.zeros(len(at), dtype=bool)
        for left, top, width, height in full_boxes(scene):
            low, high = np.array([left, top]), np.array([left + width, top + height])
            margin_low, margin_high = FADE_PX * (low > 0), FADE_PX * (high < [2016, 1512])
            inside |= ((at >= low + margin_low) & (at <= high - margin_high)).all(1)
        assert inside.all()
