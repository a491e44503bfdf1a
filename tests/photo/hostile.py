"""Files that must be refused with one sentence, and odd ones that must open, for any test."""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from tests.photo.pictures import exif_block, scene, textured, written

__all__ = ["hostile_files", "odd_files"]

Maker = Callable[[], bytes]


def hostile_files(folder: Path) -> dict[str, Path]:
    """Write all hostile files into `folder` and return id -> path; every one must end in a PhotoError."""
    paths = {}
    for file_id, (name, make) in _CONTENTS.items():
        paths[file_id] = folder / f"{file_id}-{name}"
        paths[file_id].write_bytes(make())
    return paths | _unusual_entries(folder)


def odd_files(folder: Path) -> dict[str, Path]:
    """Write odd but sound photos into `folder` and return id -> path; every one must open."""
    paths = {}
    for file_id, (name, make) in _ODD.items():
        paths[file_id] = folder / name
        paths[file_id].write_bytes(make())
    return paths


def _unusual_entries(folder: Path) -> dict[str, Path]:
    """Directory entries that are no ordinary files."""
    paths = {
        "missing": folder / "missing.jpg",
        "missing-folder": folder / "nowhere" / "photo.jpg",
        "folder": folder / "folder.jpg",
        "name-too-long": folder / ("x" * 300 + ".jpg"),
        "below-a-file": folder / "empty-photo.jpg" / "photo.jpg",
        "too-many-bytes": folder / "huge.jpg",
    }
    paths["folder"].mkdir()
    with paths["too-many-bytes"].open("wb") as file:
        file.write(_jpeg())
        file.truncate(2_000_000_000)  # sparse: takes no room on the disk
    if os.name == "posix":
        paths |= {
            "named-pipe": folder / "pipe.jpg",
            "device": Path("/dev/zero"),
            "dangling-link": folder / "dangling.jpg",
            "link-loop": folder / "loop.jpg",
        }
        os.mkfifo(paths["named-pipe"])
        paths["dangling-link"].symlink_to(folder / "gone.jpg")
        paths["link-loop"].symlink_to(paths["link-loop"])
    return paths


@cache
def _picture() -> Image.Image:
    return Image.fromarray(textured(640, 480))


@cache
def _jpeg() -> bytes:
    return written(_picture(), "JPEG", quality=90)


@cache
def _progressive() -> bytes:
    return written(_picture(), "JPEG", quality=90, progressive=True)


@cache
def _png() -> bytes:
    return written(Image.fromarray(scene()), "PNG")


@cache
def _webp() -> bytes:
    return written(_picture(), "WEBP", quality=90)


@cache
def _tiff(compression: str | None = None) -> bytes:
    return written(Image.fromarray(scene()), "TIFF", compression=compression)


@cache
def _heic() -> bytes:
    return written(_picture(), "HEIF", quality=90)


@cache
def _avif() -> bytes:
    return written(_picture(), "AVIF", quality=90, speed=10)


def _with(data: bytes, at: int, new: bytes) -> bytes:
    return data[:at] + new + data[at + len(new) :]


def _frame(data: bytes) -> int:
    """Position of the start-of-frame marker of a JPEG."""
    return max(data.find(b"\xff\xc0"), data.find(b"\xff\xc2"))


def _resized_jpeg(width: int, height: int) -> bytes:
    return _with(_jpeg(), _frame(_jpeg()) + 5, struct.pack(">HH", height, width))


def _many_scans() -> bytes:
    data = _progressive()
    last = data.rfind(b"\xff\xda")
    return data[:last] + data[last:-2] * 2000 + b"\xff\xd9"


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _drawn_png(width: int, height: int, rows: bytes, *more: bytes, packed: bytes | None = None) -> bytes:
    """A grey 8-bit PNG from its raw rows, with any size in its header and sums that are right."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = zlib.compress(rows) if packed is None else packed
    chunks = [_chunk(b"IHDR", header), *more, _chunk(b"IDAT", body), _chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def _rows(width: int, height: int) -> bytes:
    return (b"\0" + bytes(range(256)) * (width // 256 + 1))[: width + 1] * height


def _webp_header(width: int, height: int) -> bytes:
    size = struct.pack("<I", width - 1)[:3] + struct.pack("<I", height - 1)[:3]
    body = b"WEBP" + b"VP8X" + struct.pack("<I", 10) + b"\0\0\0\0" + size
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _ifd(*entries: tuple[int, int, int, int], start: bytes = b"II*\0", following: int = 0) -> bytes:
    """A little-endian TIFF stream with one directory of (tag, type, count, value)."""
    packed = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return start + struct.pack("<IH", 8, len(entries)) + packed + struct.pack("<I", following)


def _tiff_picture(width: int, height: int, *more: tuple[int, int, int, int], following: int = 0) -> bytes:
    entries = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1)]
    entries += [(273, 4, 1, 8), (277, 3, 1, 1), (278, 4, 1, height), (279, 4, 1, 64), *more]
    return _ifd(*sorted(entries), following=following)


def _box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body) + 8) + kind + body


def _float_tiff() -> bytes:
    return written(Image.fromarray(scene()[..., 0].astype(np.float32)), "TIFF")


def _noise() -> bytes:
    return b"\x07" + np.random.default_rng(5).bytes(20_000)


_MP4 = _box(b"ftyp", b"isom\0\0\2\0isomiso2mp41") + _box(b"mdat", b"\0" * 5000)
_HEIC_START = _box(b"ftyp", b"heic\0\0\0\0mif1heic")

_CONTENTS: dict[str, tuple[str, Maker]] = {
    # no photos at all
    "empty": ("photo.jpg", lambda: b""),
    "one-byte": ("photo.jpg", lambda: b"\xff"),
    "zeros": ("photo.jpg", lambda: bytes(50_000)),
    "noise": ("photo.jpg", _noise),
    "text": ("photo.jpg", lambda: b"Fit-up list of frame 12\n" * 40),
    "web-page": ("photo.jpg", lambda: b"<!DOCTYPE html><html><body>not found</body></html>"),
    "drawing": ("photo.png", lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
    "pdf": ("photo.jpg", lambda: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<<>>\nendobj\n"),
    "gif": ("photo.gif", lambda: written(_picture(), "GIF")),
    "gif-bomb": (
        "photo.gif",
        lambda: b"GIF89a\xff\xff\x29\x04\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\xff\xff\xff\xff\0;",
    ),
    "bmp": ("photo.jpg", lambda: written(_picture(), "BMP")),
    "video": ("photo.mp4", lambda: _MP4),
    "video-named-heic": ("photo.heic", lambda: _MP4),
    "sound": ("photo.webp", lambda: b"RIFF\x24\0\0\0WAVEfmt " + bytes(40)),
    "zip": ("photo.jpg", lambda: b"PK\3\4" + bytes(100)),
    "raw-dng": ("photo.dng", lambda: _tiff_picture(640, 480, (50706, 1, 4, 0x00000401))),
    "raw-cr3": ("photo.cr3", lambda: _box(b"ftyp", b"crx \0\0\0\1crx isom") + bytes(500)),
    "jpeg-xl": ("photo.jxl", lambda: b"\xff\x0a" + bytes(100)),
    # JPEG
    "jpeg-start-only": ("photo.jpg", lambda: b"\xff\xd8\xff"),
    "jpeg-start-and-end": ("photo.jpg", lambda: b"\xff\xd8\xff\xd9"),
    "jpeg-cut-header": ("photo.jpg", lambda: _jpeg()[:300]),
    "jpeg-cut-half": ("photo.jpg", lambda: _jpeg()[: len(_jpeg()) // 2]),
    "jpeg-cut-last-byte": ("photo.jpg", lambda: _jpeg()[:-1]),
    "jpeg-cut-end-marker": ("photo.jpg", lambda: _jpeg()[:-2]),
    "jpeg-cut-then-zeros": ("photo.jpg", lambda: _jpeg()[:20_000] + bytes(30_000)),
    "jpeg-early-end": ("photo.jpg", lambda: _with(_jpeg(), len(_jpeg()) // 2, b"\xff\xd9")),
    "jpeg-hole": ("photo.jpg", lambda: _with(_jpeg(), len(_jpeg()) // 2, bytes(4096))),
    "jpeg-progressive-cut": ("photo.jpg", lambda: _progressive()[: len(_progressive()) // 2]),
    "jpeg-many-scans": ("photo.jpg", _many_scans),
    "jpeg-65535-square": ("photo.jpg", lambda: _resized_jpeg(65535, 65535)),
    "jpeg-20000x14000": ("photo.jpg", lambda: _resized_jpeg(20000, 14000)),
    "jpeg-taller-than-its-data": ("photo.jpg", lambda: _resized_jpeg(640, 4000)),
    "jpeg-no-height": ("photo.jpg", lambda: _resized_jpeg(640, 0)),
    "jpeg-12-bit": ("photo.jpg", lambda: _with(_jpeg(), _frame(_jpeg()) + 4, b"\x0c")),
    "jpeg-lying-segment": ("photo.jpg", lambda: _with(_jpeg(), 4, b"\xff\xff")),
    "jpeg-segment-of-no-length": ("photo.jpg", lambda: _with(_jpeg(), 4, b"\0\0")),
    "jpeg-no-tables": ("photo.jpg", lambda: _jpeg().replace(b"\xff\xdb", b"\xff\xfe")),
    "jpeg-1x1": ("photo.jpg", lambda: written(Image.new("RGB", (1, 1)), "JPEG")),
    "thumbnail": ("photo.jpg", lambda: written(Image.fromarray(scene(160, 120)), "JPEG")),
    # PNG
    "png-signature-only": ("photo.png", lambda: _png()[:8]),
    "png-cut-half": ("photo.png", lambda: _png()[: len(_png()) // 2]),
    "png-no-end": ("photo.png", lambda: _png()[:-12]),
    "png-flipped-bit": ("photo.png", lambda: _with(_png(), 2000, bytes([_png()[2000] ^ 1]))),
    "png-line-endings-changed": ("photo.png", lambda: _png().replace(b"\r\n", b"\n")),
    "png-too-few-rows": ("photo.png", lambda: _drawn_png(300, 300, _rows(300, 150))),
    "png-bad-filter": ("photo.png", lambda: _drawn_png(300, 300, b"\x09" + _rows(300, 300)[1:])),
    "png-data-no-deflate": ("photo.png", lambda: _drawn_png(300, 300, b"", packed=b"no deflate stream")),
    "png-65536-square": ("photo.png", lambda: _drawn_png(65536, 65536, bytes(1_000_000))),
    "png-no-width": ("photo.png", lambda: _drawn_png(0, 300, _rows(300, 300))),
    "png-hdr-curve": (
        "photo.png",
        lambda: _drawn_png(300, 300, _rows(300, 300), _chunk(b"cICP", b"\x09\x10\0\1")),
    ),
    # WebP
    "webp-cut": ("photo.webp", lambda: _webp()[: len(_webp()) // 2]),
    "webp-16384-square": ("photo.webp", lambda: _webp_header(16384, 16384)),
    "webp-no-picture": ("photo.webp", lambda: _webp_header(640, 480)),
    "webp-start-only": ("photo.webp", lambda: b"RIFF\4\0\0\0WEBP"),
    "webp-hole": ("photo.webp", lambda: _with(_webp(), 20_000, bytes(8192))),
    "webp-frame-overwritten": ("photo.webp", lambda: _with(_webp(), 22, bytes(20))),
    # TIFF
    "tiff-start-only": ("photo.tif", lambda: b"II*\0"),
    "tiff-cut": ("photo.tif", lambda: _tiff()[: len(_tiff()) // 2]),
    "tiff-deflate-damaged": ("photo.tif", lambda: _with(_tiff("tiff_deflate"), 400, bytes(500))),
    "tiff-lzw-damaged": ("photo.tif", lambda: _with(_tiff("tiff_lzw"), 400, bytes(500))),
    "tiff-jpeg-damaged": ("photo.tif", lambda: _with(_tiff("jpeg"), 2000, bytes(500))),
    "tiff-directory-outside": ("photo.tif", lambda: b"II*\0" + struct.pack("<I", 1 << 30) + bytes(100)),
    "tiff-strip-outside": ("photo.tif", lambda: _tiff_picture(640, 480, (279, 4, 1, 640 * 480))),
    "tiff-100000-square": ("photo.tif", lambda: _tiff_picture(100_000, 100_000)),
    "tiff-too-little-data": ("photo.tif", lambda: _tiff_picture(640, 480)),
    "tiff-floating-point": ("photo.tif", _float_tiff),
    "tiff-no-picture": ("photo.tif", lambda: _ifd((271, 2, 4, 0x41414141))),
    # HEIF and AVIF
    "heic-start-only": ("photo.heic", lambda: _HEIC_START),
    "heic-cut-half": ("photo.heic", lambda: _heic()[: len(_heic()) // 2]),
    "heic-cut-last-byte": ("photo.heic", lambda: _heic()[:-1]),
    "heic-box-of-no-size": ("photo.heic", lambda: _HEIC_START + b"\0\0\0\2meta" + bytes(100)),
    "heic-hole": ("photo.heic", lambda: _with(_heic(), 50_000, bytes(8192))),
    "heic-header-zeroed": ("photo.heic", lambda: _with(_heic(), 60, bytes(200))),
    "avif-cut-half": ("photo.avif", lambda: _avif()[: len(_avif()) // 2]),
    "avif-header-zeroed": ("photo.avif", lambda: _with(_avif(), 60, bytes(200))),
}


def _jpeg_with_exif(block: bytes) -> bytes:
    body = b"Exif\0\0" + block
    return b"\xff\xd8\xff\xe1" + struct.pack(">H", len(body) + 2) + body + _jpeg()[2:]


def _wild_exif() -> bytes:
    """Directory entries that point everywhere and claim gigabytes."""
    return _ifd((271, 2, 0xFFFFFFFF, 8), (274, 3, 1, 99), (272, 2, 40, 0xFFFFFF00), (34665, 4, 1, 8))


_ODD: dict[str, tuple[str, Maker]] = {
    "png-named-jpg": ("png-inside.jpg", _png),
    "jpeg-named-heic": ("jpeg-inside.heic", _jpeg),
    "no-suffix": ("photo", _jpeg),
    "upper-case-suffix": ("IMG.JPG", _jpeg),
    "not-ascii": ("Prüfung – 溶接 🔧.jpg", _jpeg),
    "control-characters": ("line\nbreak\x1b[31m.jpg", _jpeg),
    "not-unicode": (os.fsdecode(b"\xff\xfe.jpg"), _jpeg),
    "longest-name": ("y" * 251 + ".jpg", _jpeg),
    "looks-like-an-option": ("--help.jpg", _jpeg),
    "trailing-data": ("trailing.jpg", lambda: _jpeg() + b"ftypmp42" + bytes(10_000)),
    "padded-end": ("padded.jpg", lambda: _jpeg()[:-2] + bytes(6) + b"\xff\xd9"),
    "exif-noise": ("exif-noise.jpg", lambda: _jpeg_with_exif(_noise()[:5000])),
    "exif-empty": ("exif-empty.jpg", lambda: _jpeg_with_exif(b"")),
    "exif-cut": ("exif-cut.jpg", lambda: _jpeg_with_exif(exif_block(1, make="Invented").tobytes()[6:30])),
    "exif-wild": ("exif-wild.jpg", lambda: _jpeg_with_exif(_wild_exif())),
    "exif-self-reference": ("exif-loop.jpg", lambda: _jpeg_with_exif(_ifd((34665, 4, 1, 8), following=8))),
    "tiff-page-loop": ("loop.tif", lambda: _looped_tiff()),
}


def _looped_tiff() -> bytes:
    """A TIFF whose second page is its first one."""
    data = _tiff()
    start = struct.unpack_from("<I", data, 4)[0]
    end = start + 2 + 12 * struct.unpack_from("<H", data, start)[0]
    return _with(data, end, struct.pack("<I", start))
