"""PNG: every chunk checked by its sum before the pixels are decoded."""

from __future__ import annotations

import zlib

import cv2
import numpy as np

from fitup.errors import PhotoError
from fitup.photo.colour import HDR_TRANSFERS, note_on_profile, refuse_hdr
from fitup.photo.picture import PhotoLimits, Picture, check_size, decode_quietly, to_grey

__all__ = ["read_png"]

_KEPT = (b"tRNS", b"eXIf", b"iCCP", b"sRGB", b"gAMA", b"cICP", b"acTL")
_MAX_PROFILE = 1_000_000  # bytes looked at of an inflated colour profile: it may be a bomb
_SRGB_GAMMA = range(43000, 48000)  # encoders write 45455 for sRGB's curve, in 1/100000


def read_png(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode a PNG of any bit depth and colour type to grey (H, W) as stored; raises PhotoError."""
    if data[:8] != b"\x89PNG\r\n\x1a\n" or data[12:16] != b"IHDR" or len(data) < 33:
        raise _damaged(name)
    width, height = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    check_size(name, width, height, limits)
    chunks = _walk(data, name)
    transfer = chunks.get(b"cICP", b"")[1:2]
    if transfer and transfer[0] in HDR_TRANSFERS:
        raise refuse_hdr(name, transfer[0])
    try:
        pixels, _ = decode_quietly(lambda: cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED))
    except cv2.error as error:
        raise _damaged(name) from error
    if pixels is None or pixels.shape[:2] != (height, width):
        raise _damaged(name)
    return Picture(
        format="PNG",
        grey=to_grey(pixels, rgb=False),
        exif=chunks.get(b"eXIf"),
        notes=_notes(chunks, has_alpha=data[25] in (4, 6)),
    )


def _walk(data: bytes, name: str) -> dict[bytes, bytes]:
    """Check every chunk to the end mark and return the bodies worth knowing."""
    chunks: dict[bytes, bytes] = {}
    at, kind = 8, b""
    while kind != b"IEND":
        length = int.from_bytes(data[at : at + 4], "big")
        stop = at + 12 + length
        if stop > len(data):
            raise PhotoError(f"{name} is incomplete (the PNG ends too early): copy the original photo again.")
        kind = data[at + 4 : at + 8]
        if zlib.crc32(memoryview(data)[at + 4 : stop - 4]) != int.from_bytes(data[stop - 4 : stop], "big"):
            raise _damaged(name)
        if kind in _KEPT:
            chunks.setdefault(kind, data[at + 8 : stop - 4])
        at = stop
    return chunks


def _notes(chunks: dict[bytes, bytes], *, has_alpha: bool) -> tuple[str, ...]:
    notes: tuple[str, ...] = ()
    if b"iCCP" in chunks:
        notes += note_on_profile(_profile(chunks[b"iCCP"]))
    elif b"gAMA" in chunks and b"sRGB" not in chunks:
        gamma = int.from_bytes(chunks[b"gAMA"][:4], "big")
        if gamma not in _SRGB_GAMMA:
            notes += (f"its gamma of {gamma / 1e5:g} differs from the sRGB tone curve, which was assumed",)
    if b"acTL" in chunks:
        notes += ("an animated picture: the first one was used",)
    if has_alpha or b"tRNS" in chunks:
        notes += ("transparency was ignored",)
    return notes


def _profile(body: bytes) -> bytes:
    packed = body.partition(b"\0")[2][1:]
    try:
        return zlib.decompressobj().decompress(packed, _MAX_PROFILE) or b"?"
    except zlib.error:
        return b"?"  # unreadable is unknown


def _damaged(name: str) -> PhotoError:
    return PhotoError(f"{name} is a damaged PNG: copy the original photo again.")
