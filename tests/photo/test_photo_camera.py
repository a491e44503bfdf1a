"""What is believed of EXIF, what is not, and what is never looked at."""

from __future__ import annotations

import dataclasses
import math
import struct
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from fitup.photo import CameraInfo, open_photo
from fitup.photo.camera import read_camera
from tests.photo.pictures import exif_block, scene, written


def read(**tags: Any) -> CameraInfo:
    return read_camera(exif_block(**tags).tobytes().removeprefix(b"Exif\0\0"))[0]


def test_all_fields_of_a_photo(tmp_path: Path) -> None:
    exif = exif_block(
        6,
        make="Invented",
        model="Pocket 5",
        software="1.2",
        lens_model="main 5.7 mm",
        focal_length=IFDRational(57, 10),
        focal_length_35mm=26,
        zoom=IFDRational(1, 1),
        taken="2031:02:03 14:05:06",
        offset="+01:00",
    )
    path = tmp_path / "photo.jpg"
    path.write_bytes(written(Image.fromarray(scene()), "JPEG", exif=exif))
    assert open_photo(path).camera == CameraInfo(
        make="Invented",
        model="Pocket 5",
        software="1.2",
        lens_model="main 5.7 mm",
        focal_length_mm=pytest.approx(5.7),
        focal_length_35mm=26.0,
        digital_zoom_ratio=1.0,
        taken_at="2031-02-03T14:05:06+01:00",
        orientation=6,
    )


def test_photo_without_exif(tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(written(Image.fromarray(scene()), "JPEG"))
    photo = open_photo(path)
    assert photo.camera == CameraInfo()
    assert photo.notes == ()


def _focal_block(kind: int, value: bytes) -> bytes:
    """EXIF with one focal length of any type and bytes, however absurd."""
    main = struct.pack("<HHHIII", 1, 34665, 4, 1, 26, 0)
    details = struct.pack("<HHHII", 1, 37386, kind, 1, 44) + bytes(4)
    return b"II*\0\x08\0\0\0" + main + details + value


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (5, struct.pack("<II", 0, 0)),
        (5, struct.pack("<II", 5, 0)),
        (5, struct.pack("<II", 0, 5)),
        (5, struct.pack("<II", 0xFFFFFFFF, 1)),
        (10, struct.pack("<ii", -57, 10)),
        (12, struct.pack("<d", math.nan)),
        (12, struct.pack("<d", math.inf)),
        (12, struct.pack("<d", -math.inf)),
        (12, struct.pack("<d", 1e300)),
    ],
)
def test_absurd_focal_lengths_are_no_focal_length(kind: int, value: bytes) -> None:
    assert read_camera(_focal_block(kind, value))[0].focal_length_mm is None


def test_the_block_of_the_absurd_values_reads_sane_ones() -> None:
    info, notes = read_camera(_focal_block(5, struct.pack("<II", 57, 10)))
    assert info.focal_length_mm == pytest.approx(5.7)
    assert notes == ()


def test_unknown_35mm_equivalent_and_unused_zoom() -> None:
    info = read(focal_length_35mm=0, zoom=IFDRational(0, 1))
    assert info.focal_length_35mm is None
    assert info.digital_zoom_ratio is None


@pytest.mark.parametrize(("zoom", "noted"), [(1.0, False), (1.9, False), (2.0, True), (7.5, True)])
def test_digital_zoom_is_noted_from_2(zoom: float, noted: bool) -> None:
    block = exif_block(zoom=IFDRational(round(zoom * 10), 10)).tobytes().removeprefix(b"Exif\0\0")
    notes = read_camera(block)[1]
    assert bool(notes) == noted
    assert all("digital zoom" in note for note in notes)


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_orientations_that_do_not_exist(orientation: int) -> None:
    info, notes = read_camera(exif_block(orientation).tobytes().removeprefix(b"Exif\0\0"))
    assert info.orientation == 1
    assert bool(notes) == (orientation != 0)


@pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", ""])
def test_unset_clocks_give_no_time(taken: str) -> None:
    assert read(taken=taken).taken_at is None


def test_strange_offset_is_left_out() -> None:
    assert read(taken="2031:02:03 14:05:06", offset="+99:99").taken_at == "2031-02-03T14:05:06"


def test_text_is_made_safe_to_print() -> None:
    make = read(make="Inv\x1b[31m\nented" + "x" * 5000).make
    assert make is not None
    assert make.isprintable()
    assert len(make) <= 128


def test_place_is_never_read(tmp_path: Path) -> None:
    exif = exif_block(make="Invented")
    exif.get_ifd(34853).update(
        {1: "N", 2: (12.0, 34.0, 56.78), 3: "E", 4: (98.0, 7.0, 6.54), 29: "2031:02:03"}
    )
    path = tmp_path / "photo.jpg"
    path.write_bytes(written(Image.fromarray(scene()), "JPEG", exif=exif))
    with Image.open(path) as image:
        assert image.getexif().get_ifd(34853)[1] == "N", "the file does carry a place"
    photo = open_photo(path)
    assert photo.camera == CameraInfo(make="Invented")
    assert not {"gps", "latitude", "place"} & {field.name for field in dataclasses.fields(CameraInfo)}


@given(st.binary(max_size=400), st.sampled_from([b"II*\0", b"MM\0*", b""]))
def test_no_bytes_whatsoever_make_it_fail(noise: bytes, start: bytes) -> None:
    info, _ = read_camera(start + noise)
    assert info.orientation in range(1, 9)


@given(st.data())
def test_any_damage_to_a_sound_block_is_survived(data: st.DataObject) -> None:
    block = bytearray(exif_block(6, make="Invented", focal_length=IFDRational(57, 10)).tobytes()[6:])
    for _ in range(data.draw(st.integers(1, 8))):
        block[data.draw(st.integers(0, len(block) - 1))] = data.draw(st.integers(0, 255))
    info, _ = read_camera(bytes(block[: data.draw(st.integers(0, len(block)))]))
    assert info.focal_length_mm is None or 0.1 <= info.focal_length_mm <= 5000
