"""Whatever file the user names: one clear sentence or an opened photo, nothing printed, no long wait."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.errors import PhotoError
from fitup.photo import PhotoLimits, open_photo
from tests.photo.hostile import _CONTENTS, _ODD, hostile_files, odd_files
from tests.photo.pictures import exif_block, scene, written


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return hostile_files(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return odd_files(tmp_path_factory.mktemp("odd"))


_ENTRIES = ["missing", "missing-folder", "folder", "name-too-long", "below-a-file", "too-many-bytes"]
_POSIX = ["named-pipe", "device", "dangling-link", "link-loop"] if os.name == "posix" else []


@pytest.mark.parametrize("file_id", [*_CONTENTS, *_ENTRIES, *_POSIX])
def test_hostile_file_is_refused_with_one_sentence(
    file_id: str, hostile: dict[str, Path], capfd: pytest.CaptureFixture[str]
) -> None:
    path = hostile[file_id]
    start = time.perf_counter()
    with pytest.raises(PhotoError) as caught:
        open_photo(path)
    message = str(caught.value)
    assert message.startswith(path.name)
    assert message.endswith(".")
    assert ": " in message, "says what to do"
    assert message.isprintable()
    assert len(message.replace(path.name, "")) < 160
    assert time.perf_counter() - start < 2
    assert capfd.readouterr() == ("", "")


def test_list_of_hostile_files_is_complete(hostile: dict[str, Path]) -> None:
    assert set(hostile) == {*_CONTENTS, *_ENTRIES, *_POSIX}
    assert len(hostile) >= 25


@pytest.mark.parametrize("file_id", list(_ODD))
def test_odd_file_opens(file_id: str, odd: dict[str, Path], capfd: pytest.CaptureFixture[str]) -> None:
    photo = open_photo(odd[file_id])
    assert min(photo.width_px, photo.height_px) >= 260
    assert photo.name.isprintable()
    photo.name.encode("utf-8")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("file_id", "words"),
    [
        ("png-named-jpg", "its content is PNG although its name ends in .jpg"),
        ("jpeg-named-heic", "its content is JPEG although its name ends in .heic"),
        ("exif-noise", "EXIF data are damaged"),
        ("exif-cut", "EXIF data are damaged"),
        ("exif-wild", "EXIF data are damaged"),
    ],
)
def test_odd_file_is_noted(file_id: str, words: str, odd: dict[str, Path]) -> None:
    assert words in "; ".join(open_photo(odd[file_id]).notes)


@pytest.mark.parametrize(
    ("file_id", "words"),
    [
        ("empty", "is empty"),
        ("missing", "does not exist"),
        ("folder", "is a folder"),
        ("text", "is a text file"),
        ("pdf", "is a PDF document"),
        ("gif", "is a GIF picture"),
        ("video-named-heic", "is a video"),
        ("raw-dng", "raw file"),
        ("raw-cr3", "raw file"),
        ("zeros", "filled with zeros"),
        ("png-cut-half", "incomplete"),
        ("heic-cut-half", "incomplete"),
        ("tiff-cut", "incomplete"),
        ("webp-cut", "incomplete"),
        ("jpeg-cut-half", "incomplete"),
        ("jpeg-hole", "damaged inside the picture"),
        ("png-65536-square", "more than the 120 million allowed"),
        ("jpeg-20000x14000", "20000 x 14000"),
        ("png-hdr-curve", "HDR tone curve PQ"),
        ("too-many-bytes", "2000 MB"),
        ("jpeg-1x1", "only 1 x 1 pixels"),
    ],
)
def test_sentence_names_the_cause(file_id: str, words: str, hostile: dict[str, Path]) -> None:
    with pytest.raises(PhotoError, match=words):
        open_photo(hostile[file_id])


@pytest.mark.parametrize("path", ["", "bad\0name.jpg"])
def test_impossible_names_are_refused(path: str) -> None:
    with pytest.raises(PhotoError):
        open_photo(path)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything"
)
def test_unreadable_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(b"\xff\xd8\xff")
    path.chmod(0)
    with pytest.raises(PhotoError, match="permission"):
        open_photo(path)


def test_permission_error_becomes_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(b"\xff\xd8\xff")

    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(PhotoError, match="permission"):
        open_photo(path)


def test_file_that_vanishes_after_the_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "gone.jpg"
    path.write_bytes(written(_image(), "JPEG"))
    real = os.open

    def vanish(name: str, flags: int) -> int:
        path.unlink()
        return real(name, flags)

    monkeypatch.setattr(os, "open", vanish)
    with pytest.raises(PhotoError, match="does not exist"):
        open_photo(path)


@pytest.mark.parametrize("change", [b"more", None], ids=["grows", "shrinks"])
def test_file_that_changes_while_read(
    change: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "copying.jpg"
    path.write_bytes(written(_image(), "JPEG"))
    real = os.fstat

    def change_then_report(descriptor: int) -> os.stat_result:
        status = real(descriptor)
        with path.open("r+b") as file:
            file.seek(0, os.SEEK_END)
            file.write(change) if change else file.truncate(100)
        return status

    monkeypatch.setattr(os, "fstat", change_then_report)
    with pytest.raises(PhotoError, match="changed while it was read"):
        open_photo(path)


@pytest.mark.skipif(os.name != "posix", reason="named pipes of this kind exist on POSIX only")
def test_pipe_put_in_place_after_the_check_does_not_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "swapped.jpg"
    path.write_bytes(b"\xff\xd8\xff")
    real = os.open

    def swap(name: str, flags: int) -> int:
        path.unlink()
        os.mkfifo(path)
        return real(name, flags)

    monkeypatch.setattr(os, "open", swap)
    with pytest.raises(PhotoError, match="not a file"):
        open_photo(path)


def test_limits_hold_on_their_borders(tmp_path: Path) -> None:
    path = tmp_path / "photo.png"
    path.write_bytes(written(_image(), "PNG"))
    size, pixels = path.stat().st_size, 320 * 260
    opened = open_photo(path, PhotoLimits(file_bytes=size, pixels=pixels, short_side_px=260))
    assert (opened.width_px, opened.height_px) == (320, 260)
    for limits in (
        PhotoLimits(file_bytes=size - 1),
        PhotoLimits(pixels=pixels - 1),
        PhotoLimits(short_side_px=261),
    ):
        with pytest.raises(PhotoError):
            open_photo(path, limits)


def _image() -> Image.Image:
    return Image.fromarray(scene())


_SMALL = {
    "JPEG": {"quality": 80},
    "PNG": {},
    "WEBP": {"quality": 80},
    "TIFF": {"compression": "tiff_lzw"},
    "HEIF": {"quality": 60},
    "AVIF": {"quality": 60, "speed": 10},
}


@pytest.mark.parametrize("format_", list(_SMALL))
def test_random_damage_is_refused_or_survived(
    format_: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Anything but a photo of the stored size or one sentence would raise here; nothing may be printed."""
    random = np.random.default_rng(11)
    data = written(_image(), format_, exif=exif_block(6, make="Invented").tobytes(), **_SMALL[format_])
    path = tmp_path / "damaged"
    refused = 0
    for _ in range(25):
        damaged = bytearray(data)
        # Half of the damage goes into the header, where the decoders decide what to allocate.
        reach = len(data) if random.random() < 0.5 else min(len(data), 600)
        for at in random.integers(0, reach, random.integers(1, 12)):
            damaged[at] = random.integers(0, 256)
        path.write_bytes(damaged)
        try:
            photo = open_photo(path)
        except PhotoError:
            refused += 1
        else:
            assert photo.pixels.ndim == 2
            assert photo.pixels.flags.c_contiguous
    assert refused > 0
    assert capfd.readouterr() == ("", "")
