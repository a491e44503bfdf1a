"""`fitup lens`: from photos of the board to a kept profile, and inspecting with it; what is refused."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from fitup.scale import LensProfile, load_lens_profile, save_lens_profile
from fitup.scale.lens_fit import fit_lens
from fitup.scale.lens_model import LensModel
from tests.conftest import SCENES, true_gap
from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, draw
from tests.drawn_joint import Scene as Joint
from tests.scale.lens_world import FOCAL_MM, PHONE, Board, focused, random_poses, views_of
from tests.scale.lens_world import draw as draw_board

Run = Callable[..., tuple[int, str, str]]

# The drawn joint's phone (tests/drawn_joint.py) with a lens that is off by 1 % half way out.
JOINT_LENS = LensModel(
    kind="opencv", size_px=(WIDTH_PX, HEIGHT_PX), focal_px=3000.0,
    centre_px=((WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2), coefficients=(0.07, -0.16, 0.0003, -0.0002, 0.08),
)  # fmt: skip


def save(
    pixels: np.ndarray, path: Path, model: str = "N7", focal_mm: float = FOCAL_MM, f35: int = 26
) -> Path:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", model
    exif.get_ifd(0x8769)[0x920A] = focal_mm
    exif.get_ifd(0x8769)[0xA405] = f35
    Image.fromarray(pixels).save(path, quality=94, exif=exif)
    return path


@pytest.fixture(scope="session")
def board_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine photos of the lens board."""
    folder = tmp_path_factory.mktemp("board")
    board = Board()
    for k, pose in enumerate(random_poses(PHONE, 5, 9, (280.0, 420.0))):
        distance = float(np.linalg.norm(pose.rotation @ board.middle_mm + pose.translation))
        save(draw_board(focused(PHONE, distance), pose, board, seed=k), folder / f"B{k}.jpg")
    return folder


@pytest.fixture(scope="session")
def joint_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The drawn joint "opening" as that lens shows it: the straight picture bent."""
    # Middles of blocks of 4 × 4 pixels, enlarged: the lens bends less than that in between.
    v, u = np.mgrid[-4 : HEIGHT_PX + 4 : 4, -4 : WIDTH_PX + 4 : 4] + 1.5
    ideal = JOINT_LENS.undistort(np.stack((u, v), axis=-1)).astype(np.float32)
    fine = cv2.resize(ideal, None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
    where = fine[4 : 4 + HEIGHT_PX, 4 : 4 + WIDTH_PX]
    bent = cv2.remap(draw(joint()), where[..., 0], where[..., 1], cv2.INTER_CUBIC)
    return save(bent, tmp_path_factory.mktemp("joint") / "J4.jpg", "N1", 5.5)


def joint() -> Joint:
    return SCENES["opening"]


def joint_profile(**change: object) -> LensProfile:
    """A profile of the joint's phone, fitted to saddles of the board."""
    poses = random_poses(JOINT_LENS, 3, 12, (230.0, 330.0))
    fit = fit_lens(views_of(JOINT_LENS, poses, Board(), seed=3), JOINT_LENS.size_px, "opencv", 5.5)
    given = LensProfile(
        make="Nordlicht", model="N1", software=None, focal_length_mm=5.5, focal_length_35mm=None,
        lens=fit.lens, focus=fit.focus, distance_mm=fit.distance_mm,
        covariance=tuple(tuple(float(c) for c in row) for row in fit.covariance), rms_px=fit.rms_px,
        left_px=fit.left_px, photo_count=12, point_count=fit.point_count, date="2026-03-01",
    )  # fmt: skip
    return replace(given, **change)


def test_fit_keeps_a_profile_that_list_and_show_tell_of(fitup: Run, board_photos: Path) -> None:
    code, out, err = fitup("lens", "fit", board_photos)
    assert (code, err) == (0, "")
    assert out.count("checker corners, blur") == 9
    assert "finds it by itself" in out
    code, listed, _ = fitup("lens", "list")
    assert code == 0
    assert "Nordlicht N7, 5.6 mm, 2000 × 1500 px, from 9 photos" in listed
    kept = Path(out.splitlines()[-1].split(": kept")[0])
    profile = load_lens_profile(kept)
    lens = focused(PHONE, profile.distance_mm)
    assert abs(np.log(profile.lens.focal_px / lens.focal_px)) < 0.003
    assert profile.rms_px < 0.15
    code, shown, _ = fitup("lens", "show", kept)
    assert code == 0
    for word in (profile.sha256, "focal length", "centre", "k1", "rms"):
        assert word in shown


def test_fit_into_a_file_and_into_a_folder(fitup: Run, board_photos: Path, tmp_path: Path) -> None:
    assert fitup("lens", "fit", board_photos, "--out", "n7.json")[0] == 0
    (tmp_path / "shop").mkdir()
    assert fitup("lens", "fit", board_photos, "--lens-folder", "shop")[0] == 0
    assert len(list((tmp_path / "shop").glob("nordlicht_n7_*2000x1500.json"))) == 1
    assert "from 9 photos" in fitup("lens", "list", "--lens-folder", "shop")[1]
    assert "No lens profile" in fitup("lens", "list")[1]


def test_a_weak_set_is_refused_with_the_reason_and_nothing_is_written(
    fitup: Run, board_photos: Path, tmp_path: Path
) -> None:
    (tmp_path / "few").mkdir()
    for name in ("B0.jpg", "B1.jpg"):
        shutil.copy(board_photos / name, tmp_path / "few")
    (tmp_path / "few" / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more")
    save(np.full((1500, 2000), 90, np.uint8), tmp_path / "few" / "wall.jpg")
    code, out, err = fitup("lens", "fit", "few", "--out", "n7.json")
    assert code == 5
    assert "2 of 4 photos" in err
    assert "wall.jpg shows no lens board" in err
    assert "broken.jpg: not used, it cannot be opened" in out
    assert err.count("\n") == 1
    assert not (tmp_path / "n7.json").exists()


def test_photos_of_two_phones_are_refused(fitup: Run, board_photos: Path, tmp_path: Path) -> None:
    shutil.copytree(board_photos, tmp_path / "mixed")
    pixels = np.asarray(Image.open(board_photos / "B3.jpg"))
    save(pixels, tmp_path / "mixed" / "B3.jpg", "N8")
    code, _, err = fitup("lens", "fit", "mixed")
    assert code == 2
    assert "B3.jpg is of another phone (Nordlicht N8)" in err


WRONG = {
    "no photos": ["lens", "fit"],
    "folder missing": ["lens", "fit", "missing", "--lens-folder", "nowhere"],
    "suffix": ["lens", "fit", "x.jpg", "--out", "n7.txt"],
    "list of nothing": ["lens", "list", "--lens-folder", "nowhere"],
    "show nothing": ["lens", "show", "missing.json"],
    "inspect with nothing": ["inspect", "x.jpg", "--wire", "0.9mm", "--lens", "missing.json"],
    "inspect with no folder": ["inspect", "x.jpg", "--wire", "0.9mm", "--lens-folder", "nowhere"],
}


@pytest.mark.parametrize("arguments", WRONG.values(), ids=WRONG)
def test_wrong_use_is_one_sentence(fitup: Run, arguments: list[str]) -> None:
    code, _, err = fitup(*arguments)
    assert code in {2, 5}
    assert err.startswith("fitup: ")
    assert err.count("\n") == 1


def test_inspect_finds_the_profile_and_the_record_repeats_it(
    fitup: Run, joint_photo: Path, tmp_path: Path
) -> None:
    (tmp_path / "shop").mkdir()
    profile = joint_profile()
    save_lens_profile(profile, tmp_path / "shop" / "n1.json")
    options = ["--wire", "0.9mm", "--sheet", "1.5mm", "--arris-radius", "0.001mm"]
    code, _, err = fitup("inspect", joint_photo, *options, "--lens-folder", "shop", "--out", "with")
    assert (code, err) == (3, "")
    assert fitup("inspect", joint_photo, *options, "--out", "without")[0] == 3
    shutil.rmtree(tmp_path / "shop")
    records = {
        name: json.loads((tmp_path / name / "J4" / "record.json").read_text(encoding="utf-8"))
        for name in ("with", "without")
    }
    assert records["with"]["scale"]["lens"]["sha256"] == profile.sha256
    assert records["with"]["scale"]["lens"]["given_by"] == "program"
    assert records["without"]["scale"]["lens"] is None
    assert any("lens" in note for note in records["without"]["photo"]["notes"])
    worst = {name: np.nanmax(np.abs(gap_errors(record))) for name, record in records.items()}
    assert worst["with"] < 0.05
    assert fitup("record", "repeat", "with/J4", joint_photo)[0] == 0
    assert fitup("record", "repeat", "without/J4", joint_photo)[0] == 0


def gap_errors(record: dict) -> np.ndarray:
    stations = [s for s in record["profile"]["stations"] if s["gap_mm"] is not None]
    x = np.array([s["station_mm"] for s in stations])
    truth = true_gap(joint(), np.column_stack((x, np.zeros(len(x)))))
    return np.array([s["gap_mm"] for s in stations]) - truth


def test_a_profile_given_by_name_is_used_and_repeated(fitup: Run, joint_photo: Path, tmp_path: Path) -> None:
    profile = joint_profile(model="N2")
    save_lens_profile(profile, tmp_path / "n2.json")
    assert fitup("inspect", joint_photo, "--wire", "0.9mm", "--lens", "n2.json", "--out", "o")[0] == 3
    record = json.loads((tmp_path / "o" / "J4" / "record.json").read_text(encoding="utf-8"))
    assert record["scale"]["lens"]["given_by"] == "person"
    assert any("another phone" in note for note in record["photo"]["notes"])
    (tmp_path / "n2.json").unlink()
    assert fitup("record", "repeat", "o/J4", joint_photo)[0] == 0
    code, out, _ = fitup("record", "show", "o/J4")
    assert code == 0
    assert "another phone" in " ".join(out.split())
    assert f"Lens profile {profile.sha256[:8]} of 2026-03-01 was used." in " ".join(out.split())


def test_a_profile_for_another_size_is_refused(fitup: Run, joint_photo: Path, tmp_path: Path) -> None:
    save_lens_profile(joint_profile(lens=PHONE), tmp_path / "n.json")
    code, _, err = fitup("inspect", joint_photo, "--wire", "0.9mm", "--lens", "n.json", "--no-files")
    assert code == 2
    assert "2000 × 1500" in err


def test_a_damaged_profile_in_the_folder_is_told_of_and_stops_nothing(
    fitup: Run, joint_photo: Path, tmp_path: Path
) -> None:
    (tmp_path / "shop").mkdir()
    save_lens_profile(joint_profile(), tmp_path / "shop" / "n1.json")
    (tmp_path / "shop" / "bad.json").write_text("{", encoding="utf-8")
    code, out, err = fitup(
        "inspect", joint_photo, "--wire", "0.9mm", "--lens-folder", "shop", "--json", "--no-files"
    )
    assert code == 3
    assert "bad.json" in err
    assert json.loads(out)["record"]["scale"]["lens"]["used"] is True
