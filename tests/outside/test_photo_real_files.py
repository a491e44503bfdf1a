"""Photographs and files by others: what must open, at which size, and what must be refused.

The files lie beside the project and are not part of it. Their sources: recurser/exif-orientation-examples
(Landscape_*), bigcat88/pillow_heif (*.heic), lovell/sharp (bombs, gain map, wide gamut, broken headers),
python-pillow/Pillow (multi-picture, CMYK, broken PNG), ros-industrial/industrial_calibration,
tony2guo/charuco-pose-estimation and opencv/opencv_contrib (boards). Sizes are those given by the repositories
or read by Pillow and pillow-heif, which are independent of the reading tested here for all but HEIC.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from fitup.errors import PhotoError
from fitup.photo import Photo, PhotoLimits, open_photo

REAL = Path(__file__).resolve().parents[2].parent / "shared" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="real photographs are not here (../shared/real)")

ANY_SIZE = PhotoLimits(short_side_px=1)  # several of these files are tiny on purpose

# file -> (format, upright width, height, bits, words in the notes)
OPENS: dict[str, tuple[str, int, int, int, tuple[str, ...]]] = {
    "formats/Landscape_1.jpg": ("JPEG", 1800, 1200, 8, ()),
    "formats/Landscape_3.jpg": ("JPEG", 1800, 1200, 8, ()),
    "formats/Landscape_6.jpg": ("JPEG", 1800, 1200, 8, ()),
    "formats/Landscape_8.jpg": ("JPEG", 1800, 1200, 8, ()),
    "formats/Channel_digital_image_CMYK_color_no_profile.jpg": ("JPEG", 500, 333, 8, ("CMYK",)),
    "formats/pil_sample_cmyk.jpg": ("JPEG", 100, 100, 8, ("CMYK",)),
    "formats/Flag_of_the_Netherlands-16bit.png": ("PNG", 900, 600, 16, ()),
    "formats/tiff_16bit_RGB.tiff": ("TIFF", 100, 40, 16, ()),
    "formats/arrow.heic": ("HEIF", 3024, 4032, 8, ("Display P3",)),
    "formats/aux_YCbCr.heic": ("HEIF", 4000, 1848, 8, ("gain map",)),
    "formats/xiaomi.heic": ("HEIF", 2592, 1944, 8, ()),
    "formats/exif_gps.jpg": ("JPEG", 8, 8, 8, ()),
    "formats/gain-map.jpg": ("JPEG", 3840, 2160, 8, ("gain map",)),
    "formats/invalid-exif.jpg": ("JPEG", 200, 200, 8, ("EXIF data are damaged",)),
    "formats/multiple_exif.jpg": ("JPEG", 1, 1, 8, ("EXIF data are damaged",)),
    "formats/p3.png": ("PNG", 8, 8, 8, ("Display P3", "transparency")),
    "formats/sugarshack.mpo": ("MPO", 640, 480, 8, ("holds 2 pictures",)),
    "boards/gridboard_phone.jpg": ("JPEG", 3024, 4032, 8, ("Display P3",)),
    "boards/charuco_obscured.jpg": ("JPEG", 960, 540, 8, ()),
    "boards/charuco_one_corner.jpg": ("JPEG", 960, 540, 8, ()),
    "boards/charuco_unobscured.jpg": ("JPEG", 960, 540, 8, ()),
    "boards/robot/0.png": ("PNG", 1600, 1200, 8, ()),
    "boards/robot/10.png": ("PNG", 1600, 1200, 8, ()),
    "boards/steel_plate/image.png": ("PNG", 1920, 1080, 8, ()),
    **{
        f"boards/small/{name}": (name[-3:].upper().replace("JPG", "JPEG"), 640, 480, 8, ())
        for name in (
            "img_00.jpg",
            "img_01.jpg",
            "img_02.jpg",
            "img_03.jpg",
            "choriginal.jpg",
            "chocclusion_original.jpg",
            "diamondmarkers.png",
            "gboriginal.png",
            "gbocclusion.png",
        )
    },
    "boards/small/singlemarkersoriginal.jpg": ("JPEG", 640, 480, 8, ("Display P3",)),
}

REFUSED: dict[str, str] = {
    "formats/65536-uint32-limit.png": "65536 x 65536",
    "formats/giant-image.jpg": "20000 x 14000",
    "formats/decompression_bomb.gif": "GIF",
    "formats/hopper_16bit.pgm": "netpbm",
    "formats/broken.png": "damaged PNG|incomplete",
    "formats/broken_data_stream.png": "damaged PNG",
    "formats/truncated.png": "incomplete",
    "formats/truncated_end_chunk.png": "incomplete",
    "formats/truncated.jpg": "incomplete",
    "formats/truncated.heic": "incomplete",
    "formats/corrupted.heic": "incomplete|damaged",
    "formats/corrupt-header.jpg": "damaged",
    "boards/small/tutorial_dict.yml": "text file",
    "boards/robot/0.yaml": "text file",
    "render/workshop.hdr": "HDR light map",
}


def _present(name: str) -> Path:
    path = REAL / name
    if not path.is_file():
        pytest.skip(f"{name} is not here (../shared/real)")
    return path


@pytest.mark.parametrize("name", list(OPENS))
def test_real_photo_opens(name: str, capfd: pytest.CaptureFixture[str]) -> None:
    format_, width, height, bits, words = OPENS[name]
    photo = open_photo(_present(name), ANY_SIZE)
    assert (photo.format, photo.width_px, photo.height_px) == (format_, width, height)
    assert photo.pixels.dtype == np.dtype(f"uint{bits}")
    assert len(photo.notes) == len(words)
    assert all(any(word in note for note in photo.notes) for word in words)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("name", list(REFUSED))
def test_real_file_is_refused(name: str, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(PhotoError, match=REFUSED[name]):
        open_photo(_present(name), ANY_SIZE)
    assert capfd.readouterr() == ("", "")


def test_every_format_file_has_an_expected_outcome() -> None:
    names = {f"formats/{path.name}" for path in (REAL / "formats").iterdir()}
    assert names <= {*OPENS, *REFUSED}


def test_the_four_landscapes_show_one_picture() -> None:
    """recurser/exif-orientation-examples: one picture saved under orientations 1, 3, 6 and 8."""
    pictures = [open_photo(_present(f"formats/Landscape_{turn}.jpg")) for turn in (1, 3, 6, 8)]
    assert [picture.camera.orientation for picture in pictures] == [1, 3, 6, 8]
    small = [_small(picture) for picture in pictures]
    for other in small[1:]:
        # The right way round they differ by their JPEG noise alone; turned about they would not agree.
        assert np.corrcoef(small[0].ravel(), other.ravel())[0, 1] > 0.99
        assert np.corrcoef(small[0].ravel(), other[::-1, ::-1].ravel())[0, 1] < 0.9


def _small(photo: Photo) -> np.ndarray:
    return cv2.resize(photo.grey8, (180, 120), interpolation=cv2.INTER_AREA).astype(float)


@pytest.mark.parametrize("name", ["arrow.heic", "aux_YCbCr.heic", "xiaomi.heic"])
def test_heic_size_is_that_of_the_container(name: str) -> None:
    """Independent of the library: the picture size (ispe) and rotation (irot) boxes of ISO/IEC 23008-12."""
    path = _present(f"formats/{name}")
    data = path.read_bytes()
    sizes, at = [], data.find(b"ispe")
    while at >= 0:
        sizes.append(
            (int.from_bytes(data[at + 8 : at + 12], "big"), int.from_bytes(data[at + 12 : at + 16], "big"))
        )
        at = data.find(b"ispe", at + 4)
    turn = data.find(b"irot")
    width, height = max(sizes, key=lambda size: size[0] * size[1])
    if turn >= 0 and data[turn + 4] & 1:
        width, height = height, width
    photo = open_photo(path)
    assert (photo.width_px, photo.height_px) == (width, height)


@pytest.mark.parametrize(
    "name", ["boards/gridboard_phone.jpg", "formats/Landscape_1.jpg", "formats/gain-map.jpg"]
)
def test_real_jpeg_grey_is_pillows_luma(name: str) -> None:
    """Pillow's own libjpeg as the independent reference for the luma plane."""
    photo = open_photo(_present(name))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(_present(name)) as image:
            image.draft("L", image.size)
            turns = {
                3: Image.Transpose.ROTATE_180,
                6: Image.Transpose.ROTATE_270,
                8: Image.Transpose.ROTATE_90,
            }
            turn = turns.get(image.getexif().get(274, 1))
            grey = np.asarray(image.transpose(turn) if turn is not None else image)
    assert np.abs(photo.pixels.astype(np.int16) - grey.astype(np.int16)).max() <= 1


def test_phone_exif_of_the_grid_board_photo() -> None:
    """As documented by the source of the photo: a 12-megapixel phone photo, turned by 90 degrees, 28 mm."""
    camera = open_photo(_present("boards/gridboard_phone.jpg")).camera
    assert camera.orientation == 6
    assert camera.focal_length_35mm == 28
    assert camera.focal_length_mm == pytest.approx(3.99)
    assert camera.taken_at is not None


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.999])
@pytest.mark.parametrize(
    "name",
    [
        "formats/arrow.heic",
        "formats/gain-map.jpg",
        "boards/gridboard_phone.jpg",
        "boards/steel_plate/image.png",
    ],
)
def test_real_photo_cut_off_anywhere_is_refused(name: str, share: float, tmp_path: Path) -> None:
    data = _present(name).read_bytes()
    if name == "formats/gain-map.jpg":  # what follows the first picture may be missing without harm
        data = data[: data.find(b"\xff\xd9\xff\xd8") + 2]
    path = tmp_path / Path(name).name
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(PhotoError):
        open_photo(path)
