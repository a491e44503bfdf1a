"""Scale on real photographs of other boards: a part of each board predicts the spacing of the rest.

Photographs from public repositories (paths under ../shared/real/boards, sources in its README.md):
industrial_calibration (Apache-2.0), charuco-pose-estimation (MIT), opencv_contrib (Apache-2.0). The
boards' spacings are those that their owners state; nothing here was made with the code under test.
None of these photos carries EXIF, so the camera is unknown to the program.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.scale import ScaleMap, TargetSighting, find_target, scale_map
from fitup.scale.finding import find_board
from fitup.scale.layout import TargetLayout
from fitup.scale.plane import CameraPrior, fit_pose
from tests.scale.drawing_world import photo_of

BOARDS = Path(__file__).resolve().parents[2] / ".." / "shared" / "real" / "boards"
ANY_FLATNESS_MM = 5.0  # these are larger boards, seen through lenses that are left as they are
MEAN_SHARE = 0.02  # mean error of the predicted spacing, any photo; webcams of 640 × 480 among them


def board(columns: int, rows: int, pitch_mm: float, marker_mm: float, dictionary: str) -> TargetLayout:
    return TargetLayout(
        name="board", strip_number=0, columns=columns, rows=rows, pitch_mm=pitch_mm,
        marker_mm=marker_mm, dictionary=dictionary, first_id=0, thickness_mm=0.0,
    )  # fmt: skip


NOMINAL = board(5, 7, 20.0, 10.0, "DICT_6X6_250")
ROBOT = board(5, 7, 36.195, 18.256, "DICT_6X6_250")
PLATE = board(7, 5, 38.5, 28.875, "DICT_4X4_50")
TUTORIAL = board(5, 7, 40.0, 20.0, "DICT_6X6_250")
# Photo, board, saddles to be found at least (of 24).
PHOTOS = {
    "charuco_unobscured.jpg": (NOMINAL, 24),
    "charuco_obscured.jpg": (NOMINAL, 18),
    "robot/0.png": (ROBOT, 20),
    "robot/10.png": (ROBOT, 18),
    "steel_plate/image.png": (PLATE, 24),
    "small/img_00.jpg": (TUTORIAL, 24),
    "small/img_01.jpg": (TUTORIAL, 24),
    "small/img_02.jpg": (TUTORIAL, 20),
    "small/img_03.jpg": (TUTORIAL, 24),
    "small/chocclusion_original.jpg": (TUTORIAL, 16),
}


def picture(name: str) -> np.ndarray:
    path = BOARDS / name
    if not path.exists():
        pytest.skip(f"real photograph {name} is not here (looked beside the repository)")
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


@cache
def sighted(name: str) -> TargetSighting:
    return find_board(picture(name), (PHOTOS[name][0],), ANY_FLATNESS_MM)


def part_of(sighting: TargetSighting, keep: np.ndarray) -> TargetSighting:
    mm, px = sighting.saddles_mm[keep], sighting.saddles_px[keep]
    return replace(
        sighting, saddle_ids=sighting.saddle_ids[keep], saddles_mm=mm, saddles_px=px,
        residual_px=sighting.residual_px[keep], homography=cv2.findHomography(mm, px, 0)[0],
    )  # fmt: skip


def predicted_spacings(
    sighting: TargetSighting, scale: ScaleMap, keep: np.ndarray, noise_px: float
) -> tuple[np.ndarray, np.ndarray]:
    """Relative errors of one-pitch lengths along y outside the part, and their standard uncertainties."""
    pitch = sighting.layout.pitch_mm
    cells = {
        tuple(cell): i for i, cell in enumerate(np.rint(sighting.saddles_mm / pitch).astype(int).tolist())
    }
    pairs = [(i, cells[x, y - 1]) for (x, y), i in cells.items() if (x, y - 1) in cells]
    pairs = np.array([pair for pair in pairs if not keep[list(pair)].all()])
    ends = scale.to_mm(sighting.saddles_px[pairs])
    error = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) / pitch - 1
    middle = sighting.saddles_mm[pairs].mean(1)
    u = scale.relative_u(middle)
    reading = noise_px / scale.px_per_mm(middle) / pitch  # two saddles, one coordinate each
    return error, np.sqrt(u["saddles"] ** 2 + u["lens and distance"] ** 2 + reading**2)


def prediction(name: str, side: str) -> tuple[np.ndarray, np.ndarray]:
    sighting = sighted(name)
    layout, mm = sighting.layout, sighting.saddles_mm
    keep = mm[:, 1] >= -0.55 * layout.width_mm if side == "upper" else mm[:, 0] <= 0.55 * layout.length_mm
    photo = photo_of(picture(name))
    scale = scale_map(photo, part_of(sighting, keep))
    noise = float(np.sqrt((sighting.residual_px**2).mean()))
    return predicted_spacings(sighting, scale, keep, noise)


@pytest.mark.parametrize("name", PHOTOS)
def test_real_board_is_found(name):
    sighting = sighted(name)
    assert len(sighting.saddle_ids) >= PHOTOS[name][1]
    assert sighting.marker_count >= 4


@pytest.mark.parametrize("side", ["upper", "left"])
@pytest.mark.parametrize("name", PHOTOS)
def test_part_of_a_board_predicts_the_rest(name, side):
    error, u = prediction(name, side)
    assert len(error) >= 4
    assert abs(error.mean()) < MEAN_SHARE
    assert abs(error.mean()) < 3 * np.sqrt(np.mean(u**2))


def test_stated_uncertainties_are_honest_over_all_photos():
    """Pooled over photos and sides: errors against saddles, lens and reading noise."""
    pooled = [prediction(name, side) for name in PHOTOS for side in ("upper", "left")]
    z = np.concatenate([error / u for error, u in pooled])
    assert len(z) > 150
    assert np.mean(np.abs(z) < 2) > 0.85
    assert 0.5 < np.sqrt(np.mean(z**2)) < 1.6


def test_pose_on_the_steel_plate_is_the_published_one():
    """The repository's own pose of its board (charuco_tf.txt) with its own intrinsics (intrinsic.txt).

    Its board frame starts at the lower left corner, y up, as the board library had it then.
    """
    name = "steel_plate/image.png"
    sighting = sighted(name)
    pose = np.loadtxt(BOARDS / "steel_plate" / "charuco_tf.txt")
    K = np.loadtxt(BOARDS / "steel_plate" / "intrinsic.txt")
    height, width = picture(name).shape
    # The picture's middle stands in for the published principal point, so move the saddles by the difference.
    shift = np.array([K[0, 2], K[1, 2]]) - [(width - 1) / 2, (height - 1) / 2]
    px = sighting.saddles_px - shift
    prior = CameraPrior(
        focal_px=(K[0, 0] + K[1, 1]) / 2, u_relative=1e-4, u_centre_share=1e-6, source="published"
    )
    free = cv2.findHomography(sighting.saddles_mm, px, 0)[0]
    fit = fit_pose(sighting.saddles_mm, px, free, (width, height), prior, 0.0)
    corner = fit.rotation @ [0.0, -PLATE.width_mm, 0.0] + fit.translation
    # Its lengths are 1.039 times ours throughout, as if it had counted 40 mm a square: compare the direction.
    cosine = corner @ pose[:3, 3] / np.linalg.norm(corner) / np.linalg.norm(pose[:3, 3])
    assert np.degrees(np.arccos(cosine)) < 0.2
    turn = np.degrees(np.arccos((np.trace(fit.rotation.T @ pose[:3, :3]) - 1) / 2))
    assert turn < 0.6


@pytest.mark.parametrize("name", [*PHOTOS, "gridboard_phone.jpg", "small/diamondmarkers.png"])
def test_foreign_boards_are_never_taken_for_a_strip(name):
    with pytest.raises(RetakeError):
        find_target(photo_of(picture(name)))
