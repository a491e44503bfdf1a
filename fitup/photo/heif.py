"""HEIF (HEIC) by pillow-heif and AVIF by Pillow; both libraries are imported only for such files."""

from __future__ import annotations

import warnings
from io import BytesIO
from typing import Any

import numpy as np

from fitup.errors import PhotoError
from fitup.photo.colour import HDR_TRANSFERS, note_on_profile, refuse_hdr
from fitup.photo.picture import PhotoLimits, Picture, check_hole, check_size, decode_quietly, to_grey

__all__ = ["read_avif", "read_heif"]

_AGAIN = "copy the original photo again"


def read_heif(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode the main picture of a HEIF to grey (H, W); it arrives upright from the library."""
    import pillow_heif

    _check_boxes(data, name)
    try:
        image = pillow_heif.open_heif(data, convert_hdr_to_8bit=False, bgr_mode=False)
        size, info = image.size, image.info
    except Exception as error:  # hostile data make decoders raise anything
        raise _damaged(name, "HEIF") from error
    check_size(name, size[0], size[1], limits)
    transfer = (info.get("nclx_profile") or {}).get("transfer_characteristics")
    if transfer in HDR_TRANSFERS:
        raise refuse_hdr(name, int(transfer))
    try:
        pixels, _ = decode_quietly(lambda: np.asarray(image))
    except Exception as error:
        raise _damaged(name, "HEIF") from error
    exif = (info.get("exif") or b"").removeprefix(b"Exif\0\0")
    notes = _heif_notes(info, len(image))
    return Picture(
        format="HEIF", grey=to_grey(pixels, rgb=True), exif=exif, turned=_turned(data), notes=notes
    )


def _turned(data: bytes) -> int:
    """EXIF orientation that the library has applied, by the container's rotation (irot, anticlockwise).

    1 where pictures of the file are turned differently or mirrored: then it is not known.
    """
    at = 0
    while at + 8 <= len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        if kind == b"meta":
            boxes = data[at : at + size] if size else data[at:]
            turns = {part[0] & 3 for part in boxes.split(b"\x00\x00\x00\x09irot")[1:] if part}
            if b"imir" in boxes or len(turns) != 1:
                return 1
            return (1, 8, 3, 6)[turns.pop()]
        if size < 8:
            return 1
        at += size
    return 1


def _heif_notes(info: dict[str, Any], pictures: int) -> tuple[str, ...]:
    notes = note_on_profile(info.get("icc_profile"))
    if any("gainmap" in str(kind).lower() for kind in info.get("aux", ())):
        notes += ("carries a gain map (HDR); the standard picture was used",)
    if info.get("depth_images"):
        notes += ("carries a depth map: taken in a portrait mode, which may soften edges",)
    if pictures > 1:
        notes += (f"holds {pictures} pictures; the main one was used",)
    return notes


def read_avif(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode an AVIF to grey (H, W) as stored; the library hands its rotation over as EXIF orientation."""
    from PIL import AvifImagePlugin

    _check_boxes(data, name)
    if not AvifImagePlugin.SUPPORTED:
        raise PhotoError(f"{name} is an AVIF, which this installation cannot read: save it as a JPEG.")
    transfers = _transfers(data)
    if transfers and transfers <= set(HDR_TRANSFERS):
        raise refuse_hdr(name, min(transfers))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = AvifImagePlugin.AvifImageFile(BytesIO(data))
            check_size(name, *image.size, limits)
            pixels, _ = decode_quietly(lambda: np.asarray(image.convert("RGB")))
    except PhotoError:
        raise
    except Exception as error:  # hostile data make decoders raise anything
        raise _damaged(name, "AVIF") from error
    notes = note_on_profile(image.info.get("icc_profile"))
    if image.is_animated:
        notes += ("an animated picture: the first one was used",)
    exif = image.info.get("exif", b"").removeprefix(b"Exif\0\0")
    return Picture(format="AVIF", grey=to_grey(pixels, rgb=True), exif=exif, notes=notes)


def _check_boxes(data: bytes, name: str) -> None:
    """Refuse a file that ends inside one of its boxes (ISO/IEC 14496-12), as after a broken transfer."""
    at = 0
    seen: set[bytes] = set()
    while at + 8 <= len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if {b"meta", b"mdat"} <= seen and not kind.isalnum():
            return  # what phones hang on after the last box is not part of the picture
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        if size == 0:
            size = len(data) - at
        if size < 8:
            raise _damaged(name, "HEIF or AVIF")
        if at + size > len(data):
            raise PhotoError(f"{name} is incomplete (the file ends too early): {_AGAIN}.")
        if kind == b"mdat":  # phones leave zeros in other boxes
            check_hole(name, data[at : at + size])
        seen.add(kind)
        at += size


def _transfers(data: bytes) -> set[int]:
    """Transfer characteristics (ITU-T H.273) of all colour boxes of the header."""
    boxes = data[:65536].split(b"colrnclx")[1:]
    return {int.from_bytes(box[2:4], "big") for box in boxes if len(box) >= 4}


def _damaged(name: str, kind: str) -> PhotoError:
    return PhotoError(f"{name} is a damaged {kind} file or one that cannot be decoded: {_AGAIN}.")
