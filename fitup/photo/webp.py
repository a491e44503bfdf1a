"""WebP: sizes from the RIFF chunks, pixels by OpenCV."""

from __future__ import annotations

import cv2
import numpy as np

from fitup.errors import PhotoError
from fitup.photo.colour import note_on_profile
from fitup.photo.picture import PhotoLimits, Picture, check_hole, check_size, decode_quietly, to_grey

__all__ = ["read_webp"]

_KEPT = (b"VP8X", b"VP8 ", b"VP8L", b"EXIF", b"ICCP", b"ANIM", b"ALPH")


def read_webp(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode a WebP, lossy or lossless, to grey (H, W) as stored; raises PhotoError."""
    if int.from_bytes(data[4:8], "little") + 8 > len(data):
        raise PhotoError(f"{name} is incomplete (the WebP ends too early): copy the original photo again.")
    chunks = _walk(data)
    check_hole(name, chunks.get(b"VP8 ", b"") or chunks.get(b"VP8L", b""))
    size = _size(chunks)
    if size is None:
        raise _damaged(name)
    check_size(name, *size, limits)
    try:
        pixels, _ = decode_quietly(lambda: cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED))
    except cv2.error as error:
        raise _damaged(name) from error
    if pixels is None or pixels.shape[1::-1] != size:
        raise _damaged(name)
    exif = chunks.get(b"EXIF", b"").removeprefix(b"Exif\0\0")
    notes = note_on_profile(chunks.get(b"ICCP"))
    if b"ANIM" in chunks:
        notes += ("an animated picture: the first one was used",)
    if pixels.ndim == 3 and pixels.shape[2] == 4:
        notes += ("transparency was ignored",)
    return Picture(format="WEBP", grey=to_grey(pixels, rgb=False), exif=exif, notes=notes)


def _walk(data: bytes) -> dict[bytes, bytes]:
    chunks: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if kind in _KEPT:
            chunks.setdefault(kind, data[at + 8 : at + 8 + length])
        at += 8 + length + length % 2
    return chunks


def _size(chunks: dict[bytes, bytes]) -> tuple[int, int] | None:
    """(width, height) of the canvas, by RFC 9649; None when no chunk tells it."""
    if len(wide := chunks.get(b"VP8X", b"")) >= 10:
        return 1 + int.from_bytes(wide[4:7], "little"), 1 + int.from_bytes(wide[7:10], "little")
    if len(lossy := chunks.get(b"VP8 ", b"")) >= 10 and lossy[3:6] == b"\x9d\x01\x2a":
        return int.from_bytes(lossy[6:8], "little") & 0x3FFF, int.from_bytes(lossy[8:10], "little") & 0x3FFF
    if len(lossless := chunks.get(b"VP8L", b"")) >= 5 and lossless[0] == 0x2F:
        bits = int.from_bytes(lossless[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    return None


def _damaged(name: str) -> PhotoError:
    return PhotoError(f"{name} is a damaged WebP: copy the original photo again.")
