"""Smaller pictures of a photo for the phone's screen: all of it, or one spot close by; upright, in colour.

They are made in a worker, since they decode the photo, and kept, since they never change.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path

from PIL import Image, ImageOps
from pillow_heif import register_heif_opener

from fitup.errors import StorageError
from fitup.evidence.writing import write_file
from fitup.phone.pictures import VIEW_PX

__all__ = ["part_jpeg", "save_view"]

_QUALITY = 82
_DAMAGED = "the photo in the archive is damaged: have quality control verify the archive."


def save_view(photo: Path, view: Path, longest_px: int = VIEW_PX) -> tuple[int, int] | None:
    """Write the photo as a JPEG of at most `longest_px`; its own size upright, None where it cannot be shown.

    The photo was measured by the guarded door already, or refused there; a picture is never worth a result.
    """
    try:
        upright, size = _upright(photo, longest_px)
        write_file(view, _jpeg(upright, longest_px))
    except (OSError, ValueError, SyntaxError, MemoryError, StorageError):
        return None
    return size


def part_jpeg(content: bytes, most_px: int, box_px: tuple[int, int, int, int] | None) -> bytes:
    """The upright photo, or its part in a box (left, top, right, bottom), of at most `most_px`, as a JPEG.

    Raises
    ------
    StorageError
        When it cannot be shown.
    """
    try:
        upright, _ = _upright(io.BytesIO(content), most_px if box_px is None else None)
        return _jpeg(upright if box_px is None else upright.crop(_inside(box_px, upright.size)), most_px)
    except (OSError, ValueError, SyntaxError):
        raise StorageError(_DAMAGED) from None


def _inside(box: tuple[int, int, int, int], size: tuple[int, int]) -> tuple[int, int, int, int]:
    """The box as far as it lies in the picture; never empty."""
    width, height = size
    left, top = min(max(box[0], 0), width - 1), min(max(box[1], 0), height - 1)
    return left, top, min(max(box[2], left + 1), width), min(max(box[3], top + 1), height)


def _upright(photo: Path | io.BytesIO, longest_px: int | None) -> tuple[Image.Image, tuple[int, int]]:
    """The photo decoded, where it is a JPEG no finer than needed; and its full size upright."""
    register_heif_opener()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of absurd sizes, which the guarded door has refused before
        picture = Image.open(photo)
        turned = picture.getexif().get(0x0112) in (5, 6, 7, 8)
        size = picture.size[::-1] if turned else picture.size
        if longest_px is not None:
            picture.draft("RGB", (longest_px, longest_px))
        return ImageOps.exif_transpose(picture), size


def _jpeg(picture: Image.Image, longest_px: int) -> bytes:
    if max(picture.size) > longest_px:
        picture = picture.copy()
        picture.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    picture.convert("RGB").save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()
