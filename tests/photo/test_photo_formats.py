"""Every format, mode and orientation gives the same upright grey picture."""

from __future__ import annotations

import hashlib
import os
import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from fitup.errors import PhotoError
from fitup.photo import Photo, open_photo
from tests.photo.pictures import deep, exif_block, luma, scene, stored, textured, written

# (format, mode, options of the writer, mean and largest allowed difference in grey levels)
LOSSLESS, LOSSY = (0.3, 1.0), (1.0, 40.0)
WAYS: dict[str, tuple[str, str, dict[str, Any], tuple[float, float]]] = {
    "jpeg-colour": ("JPEG", "RGB", {"quality": 95}, LOSSY),
    "jpeg-colour-444": ("JPEG", "RGB", {"quality": 95, "subsampling": 0}, LOSSY),
    "jpeg-grey": ("JPEG", "L", {"quality": 95}, LOSSY),
    "jpeg-progressive": ("JPEG", "RGB", {"quality": 95, "progressive": True}, LOSSY),
    "jpeg-rgb-inside": ("JPEG", "RGB", {"quality": 95, "keep_rgb": True}, LOSSY),
    "jpeg-restart-markers": ("JPEG", "RGB", {"quality": 95, "restart_marker_rows": 1}, LOSSY),
    "jpeg-cmyk": ("JPEG", "CMYK", {"quality": 95}, LOSSY),
    "png-colour": ("PNG", "RGB", {}, LOSSLESS),
    "png-grey": ("PNG", "L", {}, LOSSLESS),
    "png-alpha": ("PNG", "RGBA", {}, LOSSLESS),
    "png-grey-alpha": ("PNG", "LA", {}, LOSSLESS),
    "webp-lossy": ("WEBP", "RGB", {"quality": 98}, LOSSY),
    "webp-lossless": ("WEBP", "RGB", {"lossless": True}, LOSSLESS),
    "webp-alpha": ("WEBP", "RGBA", {"lossless": True}, LOSSLESS),
    "tiff-colour": ("TIFF", "RGB", {}, LOSSLESS),
    "tiff-grey": ("TIFF", "L", {}, LOSSLESS),
    "tiff-alpha": ("TIFF", "RGBA", {}, LOSSLESS),
    "tiff-cmyk": ("TIFF", "CMYK", {}, LOSSLESS),
    "tiff-lzw": ("TIFF", "RGB", {"compression": "tiff_lzw"}, LOSSLESS),
    "tiff-deflate": ("TIFF", "RGB", {"compression": "tiff_deflate"}, LOSSLESS),
    "tiff-packbits": ("TIFF", "L", {"compression": "packbits"}, LOSSLESS),
    "tiff-big": ("TIFF", "RGB", {"big_tiff": True}, LOSSLESS),
    "heic-colour": ("HEIF", "RGB", {"quality": 95}, LOSSY),
    "heic-grey": ("HEIF", "L", {"quality": 95}, LOSSY),
    "heic-alpha": ("HEIF", "RGBA", {"quality": 95}, LOSSY),
    "avif-colour": ("AVIF", "RGB", {"quality": 95, "speed": 10}, LOSSY),
    "avif-alpha": ("AVIF", "RGBA", {"quality": 95, "speed": 10}, LOSSY),
}


def opened(data: bytes, folder: Path, name: str = "photo.bin") -> Photo:
    path = folder / name
    path.write_bytes(data)
    return open_photo(path)


def check_soundness(photo: Photo, data: bytes) -> None:
    assert photo.pixels.flags.c_contiguous
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.byte_count == len(data)
    assert photo.grey8.dtype == np.uint8


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("way", list(WAYS))
def test_upright_grey_in_every_format_and_orientation(way: str, orientation: int, tmp_path: Path) -> None:
    format_, mode, options, (mean, largest) = WAYS[way]
    image = stored(Image.fromarray(scene()).convert(mode), orientation)
    data = written(image, format_, exif=exif_block(orientation).tobytes(), **options)
    photo = opened(data, tmp_path)
    difference = np.abs(photo.pixels - luma(scene()))
    assert photo.format == format_
    assert (photo.width_px, photo.height_px) == (320, 260)
    assert difference.mean() < mean
    assert difference.max() <= largest
    # HEIF is turned by the library, on the container's word, which is told where nothing is mirrored.
    known = orientation if format_ != "HEIF" or orientation in (1, 3, 6, 8) else 1
    assert photo.camera.orientation == known
    check_soundness(photo, data)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".png", ".tiff"])
def test_16_bit_colour_stays_16_bit(suffix: str, orientation: int, tmp_path: Path) -> None:
    picture = np.asarray(stored(Image.fromarray(scene()), orientation))
    data, values = deep(picture, suffix)
    data = _with_orientation(data, orientation, suffix)
    upright = _upright(luma(values), orientation)
    photo = opened(data, tmp_path, f"photo{suffix}")
    assert photo.pixels.dtype == np.uint16
    assert photo.pixels.shape == (260, 320)
    # OpenCV's weights are multiples of 1/16384: two of 65535 levels at most.
    np.testing.assert_allclose(photo.pixels, upright, rtol=0, atol=2.0)
    assert np.abs(photo.grey8 - photo.pixels / 257.0).max() <= 0.5
    check_soundness(photo, data)


def _upright(values: np.ndarray, orientation: int) -> np.ndarray:
    """Pillow's own turning as the independent reference."""
    turns = {2: 0, 3: 3, 4: 1, 5: 5, 6: 4, 7: 6, 8: 2}
    image = Image.fromarray(values.astype(np.float32))
    return np.asarray(image if orientation == 1 else image.transpose(Image.Transpose(turns[orientation])))


def _with_orientation(data: bytes, orientation: int, suffix: str) -> bytes:
    """Put the orientation into a file written by OpenCV, which cannot do it itself."""
    if suffix == ".png":
        body = b"eXIf" + exif_block(orientation).tobytes().removeprefix(b"Exif\0\0")
        chunk = (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
        return data[:33] + chunk + data[33:]
    start = int.from_bytes(data[4:8], "little")
    count = int.from_bytes(data[start : start + 2], "little")
    entries = [data[at : at + 12] for at in range(start + 2, start + 2 + 12 * count, 12)]
    entries = [entry for entry in entries if entry[:2] != b"\x12\x01"]
    entries.append(b"\x12\x01\3\0\1\0\0\0" + orientation.to_bytes(4, "little"))
    entries.sort(key=lambda entry: int.from_bytes(entry[:2], "little"))
    directory = len(entries).to_bytes(2, "little") + b"".join(entries) + bytes(4)
    padding = b"\0" * (len(data) % 2)
    return data[:4] + (len(data) + len(padding)).to_bytes(4, "little") + data[8:] + padding + directory


@pytest.mark.parametrize("format_", ["PNG", "TIFF"])
def test_16_bit_grey_keeps_its_levels(format_: str, tmp_path: Path) -> None:
    values = (scene()[..., 0].astype(np.uint16) * 257) ^ 0x55
    photo = opened(written(Image.fromarray(values), format_), tmp_path)
    np.testing.assert_array_equal(photo.pixels, values)


def test_10_bit_heic_fills_16_bits(tmp_path: Path) -> None:
    values = np.repeat(scene()[..., :1].astype(np.uint16) * 257, 3, axis=2)
    stream = BytesIO()
    pillow_heif.from_bytes(mode="RGB;16", size=(320, 260), data=values.tobytes()).save(stream, quality=95)
    photo = opened(stream.getvalue(), tmp_path, "photo.heic")
    assert photo.pixels.dtype == np.uint16
    assert np.abs(photo.pixels - values[..., 0].astype(float)).mean() < 257


@pytest.mark.parametrize("format_", ["PNG", "TIFF"])
@pytest.mark.parametrize("mode", ["1", "P"])
def test_black_and_white_and_palette(mode: str, format_: str, tmp_path: Path) -> None:
    image = Image.fromarray(scene()).convert(mode)
    photo = opened(written(image, format_), tmp_path)
    difference = np.abs(photo.pixels - luma(np.asarray(image.convert("RGB"))))
    assert photo.pixels.dtype == np.uint8
    assert difference.max() <= 1


def test_multi_picture_file_uses_the_first(tmp_path: Path) -> None:
    first, second = Image.fromarray(scene()), Image.new("RGB", (320, 260), "white")
    data = written(first, "MPO", save_all=True, append_images=[second], quality=95)
    photo = opened(data, tmp_path, "photo.mpo")
    assert photo.format == "MPO"
    assert np.abs(photo.pixels - luma(scene())).mean() < 1
    assert photo.notes == ("holds 2 pictures; the first was used",)


def test_jpeg_grey_is_the_luma_that_libjpeg_decodes_for_pillow(tmp_path: Path) -> None:
    """Independent reference: Pillow's own libjpeg asked for the grey plane (draft mode)."""
    data = written(Image.fromarray(textured(640, 480)), "JPEG", quality=85)
    reference = Image.open(BytesIO(data))
    reference.draft("L", (640, 480))
    assert reference.mode == "L"
    difference = np.abs(opened(data, tmp_path).pixels.astype(int) - np.asarray(reference).astype(int))
    assert difference.max() <= 1


def test_plain_cv2_reading_agrees_on_turned_photos(tmp_path: Path) -> None:
    for orientation in range(1, 9):
        image = stored(Image.fromarray(textured(640, 480)), orientation)
        data = written(image, "JPEG", quality=85, exif=exif_block(orientation))
        photo = opened(data, tmp_path, "photo.jpg")
        reference = cv2.imread(str(tmp_path / "photo.jpg"), cv2.IMREAD_GRAYSCALE)
        np.testing.assert_array_equal(photo.pixels, reference)


def test_notes_on_colour_profiles(tmp_path: Path) -> None:
    image = Image.fromarray(scene())
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    wide = bytes(128) + "Display P3".encode("utf-16-be")  # as version 4 profiles spell their names
    for format_ in ("JPEG", "PNG", "TIFF", "WEBP"):
        plain = opened(written(image, format_, icc_profile=srgb), tmp_path).notes
        assert "".join(plain) == f"its content is {format_} although its name ends in .bin"
        assert "Display P3" in "".join(opened(written(image, format_, icc_profile=wide), tmp_path).notes)
        strange = opened(written(image, format_, icc_profile=b"strange".ljust(128, b"\0")), tmp_path).notes
        assert "unknown colour profile" in "".join(strange)


def test_gain_map_and_moving_picture_are_noted(tmp_path: Path) -> None:
    xmp = b'<x hdrgm:Version="1.0" GCamera:MotionPhoto="1"/>'
    photo = opened(written(Image.fromarray(scene()), "JPEG", xmp=xmp), tmp_path)
    assert any("gain map" in note for note in photo.notes)
    assert any("moving picture" in note for note in photo.notes)
    assert photo.format == "JPEG"


@pytest.mark.parametrize(("code", "curve"), [(16, "PQ"), (18, "HLG")])
def test_hdr_tone_curves_are_refused(code: int, curve: str, tmp_path: Path) -> None:
    stream = BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene())).save(
        stream, transfer_characteristics=code, color_primaries=9, matrix_coefficients=9, full_range_flag=1
    )
    with pytest.raises(PhotoError, match=curve):
        opened(stream.getvalue(), tmp_path, "photo.heic")


def test_the_file_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opens = []
    real = os.open

    def counting(name: Any, *more: Any, **named: Any) -> int:
        opens.append(str(name))
        return real(name, *more, **named)

    path = tmp_path / "photo.jpg"
    path.write_bytes(written(Image.fromarray(scene()), "JPEG"))
    monkeypatch.setattr(os, "open", counting)
    open_photo(path)
    assert opens.count(str(path)) == 1
