"""Real photographs by others at the front door: none holds a strip of ours, so none may give a measurement.

Boards of other makers, an ordinary landscape, phones' HEIC files (../shared/real, sources in its README.md),
the photographs of Debian's package opencv-doc (BSD-3-Clause and older licences, see its copyright file), and
the pictures of scikit-image's data set, written as JPEG. Each must end in one sentence, never in a traceback
and never in a result: as a photo without a target where it is a sound one, as an unusable file where not.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage import data as skimage_data

from fitup.cli.boundary import run
from fitup.errors import ExitCode, FitupError, PhotoError, RetakeError
from fitup.inspection import InspectionSettings, inspect
from fitup.photo import PhotoLimits
from fitup.verdict import parse_wire

ROOT = Path(__file__).resolve().parents[2]
REAL = ROOT.parent / "shared" / "real"
DEBIAN = Path("/usr/share/doc/opencv-doc/examples/data")
INSTALLED = Path(skimage_data.__file__).parent
SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"))
SHORT_SIDE_PX = PhotoLimits().short_side_px

BOARDS = sorted(p for ending in ("*.jpg", "*.png") for p in (REAL / "boards").rglob(ending))
LANDSCAPES = [REAL / "formats" / f"Landscape_{turn}.jpg" for turn in (1, 3, 6, 8)]
HEIC = {"arrow.heic": RetakeError, "aux_YCbCr.heic": RetakeError, "xiaomi.heic": RetakeError,
        "truncated.heic": PhotoError, "corrupted.heic": PhotoError}  # fmt: skip
DEBIAN_PHOTOS = sorted(p for ending in ("*.jpg", "*.png") for p in DEBIAN.glob(ending))
SKIMAGE = sorted(p for ending in ("*.png", "*.jpg") for p in INSTALLED.glob(ending))
# What the search for the strip and for its saddles may say of a photo without one.
NO_STRIP = {"no target", "too few markers", "unknown board", "mirrored target"}

here = pytest.mark.skipif(not BOARDS, reason="real photographs are not here (../shared/real)")
packaged = pytest.mark.skipif(not DEBIAN_PHOTOS, reason="Debian's package opencv-doc is not installed")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def fitup(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command line in an empty folder; gives code, stdout and stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FITUP_DEBUG", raising=False)

    def call(*arguments: object) -> tuple[int, str, str]:
        code = run([str(argument) for argument in arguments])
        return code, *capsys.readouterr()

    return call


def refusal(path: Path) -> FitupError:
    """What the front door says of a photo that it must not measure."""
    with pytest.raises(FitupError) as caught:
        inspect(path, SETTINGS)
    words = str(caught.value)
    assert words.endswith(".")
    assert "\n" not in words
    assert "Traceback" not in words
    assert len(words) < 400
    return caught.value


def expect_no_strip(path: Path) -> None:
    """Refused for want of a strip, or, when a picture is too small for any strip, for its size."""
    said = refusal(path)
    with Image.open(path) as picture:
        width, height = picture.size
    if min(width, height) < SHORT_SIDE_PX:
        assert isinstance(said, PhotoError)
        assert f"{SHORT_SIDE_PX}" in str(said)
        return
    assert isinstance(said, RetakeError), said
    assert said.exit_code == ExitCode.RETAKE
    assert said.reason in NO_STRIP
    assert said.remedy


def label(path: Path) -> str:
    return path.name


@here
@pytest.mark.parametrize("path", [*BOARDS, *LANDSCAPES], ids=label)
def test_board_or_landscape_asks_for_another_photo(path):
    expect_no_strip(path)


@here
@pytest.mark.parametrize("name", HEIC)
def test_phone_file_asks_for_another_photo_or_file(name):
    said = refusal(REAL / "formats" / name)
    assert isinstance(said, HEIC[name])
    if isinstance(said, RetakeError):
        assert said.reason in NO_STRIP


@packaged
@pytest.mark.parametrize("path", DEBIAN_PHOTOS, ids=label)
def test_packaged_photo_asks_for_another_photo(path):
    expect_no_strip(path)


@pytest.mark.parametrize("path", SKIMAGE, ids=label)
def test_picture_written_as_jpeg_asks_for_another_photo(path, tmp_path):
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    copy = tmp_path / f"{path.stem}.jpg"
    cv2.imwrite(str(copy), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    expect_no_strip(copy)
    if min(picture.shape[:2]) < SHORT_SIDE_PX:  # the same again, large enough for the search to run
        enlarged = np.kron(picture, np.ones((3, 3, 1), np.uint8))
        cv2.imwrite(str(copy), enlarged)
        expect_no_strip(copy)


@here
def test_command_line_says_one_sentence_for_each_and_measures_none(fitup: Run, tmp_path):
    """A whole heap at once: the worst of the codes is "retake", and nothing is written but the sentences."""
    photos = [*BOARDS, *LANDSCAPES]
    code, out, err = fitup("inspect", *photos, "--wire", "0.9mm", "--out", tmp_path / "results")
    assert code == ExitCode.RETAKE
    said = [line for line in err.splitlines() if line.startswith("fitup: ")]
    assert len(said) == len(err.splitlines()) == len(photos)
    assert "Traceback" not in out + err
    assert "largest gap" not in out
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


@here
def test_command_line_gives_scripts_the_same_answer(fitup: Run):
    photos = [BOARDS[0], LANDSCAPES[0], REAL / "formats" / "truncated.heic"]
    code, out, _ = fitup("inspect", *photos, "--wire", "0.9mm", "--json", "--no-files")
    lines = [json.loads(line) for line in out.splitlines()]
    assert [line["exit_code"] for line in lines] == [ExitCode.RETAKE, ExitCode.RETAKE, ExitCode.WRONG_USE]
    assert code == ExitCode.WRONG_USE  # a fault of a file comes before a finding
    assert all(line.get("record") is None for line in lines)
