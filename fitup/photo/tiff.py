"""TIFF: header and most pixels by Pillow, 16-bit colour by OpenCV (Pillow would cut it to 8 bits)."""

from __future__ import annotations

import logging
import re
import warnings
import zlib
from contextlib import suppress
from io import BytesIO
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import PhotoError
from fitup.photo.colour import note_on_profile
from fitup.photo.picture import Grey, PhotoLimits, Picture, check_size, decode_quietly, to_grey

if TYPE_CHECKING:
    from PIL.TiffImagePlugin import TiffImageFile

__all__ = ["read_tiff"]

_REDUCED, _BITS, _PHOTOMETRIC, _ORIENTATION, _SAMPLE_FORMAT, _PROFILE = 254, 258, 262, 274, 339, 34675
_COMPRESSION, _UNCOMPRESSED, _DEFLATE = 259, 1, (8, 32946)
_DAMAGE = re.compile(rb"Decode\w*: |JPEGLib: |tempfile\.tif: |Corrupt JPEG|Premature end")
_OFFSETS_AND_LENGTHS = ((273, 279), (324, 325))  # of strips and of tiles
_RAW_TAGS = (50706, 33421)  # DNG version, sensor colour pattern
_RAW_PHOTOMETRICS = (32803, 34892)
_WHITE_IS_ZERO = 0


# Pillow reports odd tags to its logger, which without any handler would print them.
logging.getLogger("PIL").addHandler(logging.NullHandler())


def read_tiff(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode the first page of a TIFF to grey (H, W), upright already; raises PhotoError."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(data, name, limits)
    except (PhotoError, MemoryError):
        raise
    except Exception as error:  # hostile data make decoders raise anything, even on looking up a tag
        raise _damaged(name) from error


def _read(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    from PIL.TiffImagePlugin import TiffImageFile

    image = TiffImageFile(BytesIO(data))
    tags = image.tag_v2
    if any(tag in tags for tag in _RAW_TAGS) or tags.get(_PHOTOMETRIC) in _RAW_PHOTOMETRICS:
        raise PhotoError(f"{name} is a camera's raw file: use the JPEG or HEIC photo instead.")
    check_size(name, *image.size, limits)
    _check_data(image, data, name)
    orientation = _orientation(tags.get(_ORIENTATION))  # gone from the tags once Pillow has turned it
    grey, words = decode_quietly(lambda: _decode(image, data), pass_on=False)
    if _DAMAGE.search(words):
        raise _damaged(name)
    if grey is None:
        raise PhotoError(f"{name} is an unusual TIFF: save it with 8 or 16 bits as grey or colour.")
    return Picture(format="TIFF", grey=grey, exif=data, turned=orientation, notes=_notes(image))


def _notes(image: TiffImageFile) -> tuple[str, ...]:
    notes = note_on_profile(_bytes(image.tag_v2.get(_PROFILE)))
    pages = _pages(image)
    if pages > 1:
        notes += (f"holds {pages} pictures; the first was used",)
    if image.mode == "CMYK":
        notes += ("a CMYK picture: its tone curve is not that of a camera",)
    return notes


def _check_data(image: TiffImageFile, data: bytes, name: str) -> None:
    """Refuse a file whose strips or tiles reach beyond its end, or are damaged, which Pillow lets pass."""
    compression = image.tag_v2.get(_COMPRESSION, _UNCOMPRESSED)
    strips = _strips(image)
    if any(at + length > len(data) for at, length in strips):
        raise PhotoError(f"{name} is incomplete (the TIFF ends too early): copy it again.")
    if compression in _DEFLATE:
        most = image.size[0] * image.size[1] * 16  # bytes: four channels of 32 bits
        if not all(_inflates(data[at : at + length], most) for at, length in strips):
            raise _damaged(name)
    elif compression != _UNCOMPRESSED:
        with suppress(cv2.error):
            _, words = decode_quietly(lambda: _decode_with_opencv(data), pass_on=False)
            if _DAMAGE.search(words):
                raise _damaged(name)


def _strips(image: TiffImageFile) -> list[tuple[int, int]]:
    """(position, length) of every strip or tile."""
    strips: list[tuple[int, int]] = []
    for offsets_tag, lengths_tag in _OFFSETS_AND_LENGTHS:
        offsets, lengths = image.tag_v2.get(offsets_tag, ()), image.tag_v2.get(lengths_tag, ())
        offsets = offsets if isinstance(offsets, tuple) else (offsets,)
        lengths = lengths if isinstance(lengths, tuple) else (lengths,)
        strips += zip(offsets, lengths, strict=False)
    return strips


def _inflates(packed: bytes, most: int) -> bool:
    """Whether a deflate stream is sound to its closing sum, looked at in pieces: it may be a bomb."""
    inflater, seen = zlib.decompressobj(), 0
    try:
        while not inflater.eof and seen <= most:
            piece = inflater.decompress(packed, 1 << 20)
            seen, packed = seen + len(piece), inflater.unconsumed_tail
            if not piece and not packed:
                break
    except zlib.error:
        return False
    return inflater.eof


def _decode(image: TiffImageFile, data: bytes) -> Grey | None:
    """Grey pixels; None for floating point and other kinds without a display encoding."""
    bits = image.tag_v2.get(_BITS, (1,))
    formats = image.tag_v2.get(_SAMPLE_FORMAT, (1,))
    if max(bits) > 16 or set(formats) - {1}:
        return None
    if max(bits) == 16 and len(bits) >= 3:
        return _decode_deep_colour(data)
    if image.mode.startswith("I;16"):
        grey = np.asarray(image).astype(np.uint16)
        inverted = image.tag_v2.get(_PHOTOMETRIC) == _WHITE_IS_ZERO
        return np.asarray(65535 - grey if inverted else grey)
    if image.mode == "L":
        return np.asarray(image).copy()
    if image.mode == "1":
        return np.asarray(image.convert("L")).copy()
    return to_grey(np.asarray(image.convert("RGB")), rgb=True)


def _decode_deep_colour(data: bytes) -> Grey | None:
    pixels = _decode_with_opencv(data)
    if pixels is None or pixels.dtype != np.uint16:
        return None
    return to_grey(pixels, rgb=False)


def _decode_with_opencv(data: bytes) -> NDArray[Any] | None:
    pixels: NDArray[Any] | None = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    return pixels


def _orientation(value: object) -> int:
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _bytes(value: object) -> bytes | None:
    return value if isinstance(value, bytes) else None


def _pages(image: TiffImageFile) -> int:
    try:
        return int(image.n_frames)
    except Exception:  # a damaged chain of further pages does not concern the first one
        return 1


def _damaged(name: str) -> PhotoError:
    return PhotoError(f"{name} is a damaged TIFF: copy the original photo again.")
