"""TIFF: header and most pixels by Pillow, 16-bit colour by OpenCV (Pillow would cut it to 8 bits)."""

from __future__ import annotations

import warnings
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
_OFFSETS_AND_LENGTHS = ((273, 279), (324, 325))  # of strips and of tiles
_RAW_TAGS = (50706, 33421)  # DNG version, sensor colour pattern
_RAW_PHOTOMETRICS = (32803, 34892)
_WHITE_IS_ZERO = 0


def read_tiff(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode the first page of a TIFF to grey (H, W), upright already; raises PhotoError."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = _open(data, name)
        tags = image.tag_v2
        if any(tag in tags for tag in _RAW_TAGS) or tags.get(_PHOTOMETRIC) in _RAW_PHOTOMETRICS:
            raise PhotoError(f"{name} is a camera's raw file: use the JPEG or HEIC photo instead.")
        check_size(name, *image.size, limits)
        _check_extent(image, len(data), name)
        orientation = _orientation(tags.get(_ORIENTATION))
        try:
            grey, _ = decode_quietly(lambda: _decode(image, data))
        except PhotoError:
            raise
        except Exception as error:  # hostile data make decoders raise anything
            raise _damaged(name) from error
        pages = _pages(image)
    if grey is None:
        raise PhotoError(
            f"{name} is a TIFF that no camera writes: save it with 8 or 16 bits as grey or colour."
        )
    notes = note_on_profile(_bytes(tags.get(_PROFILE)))
    if pages > 1:
        notes += (f"holds {pages} pictures; the first was used",)
    if image.mode == "CMYK":
        notes += ("a CMYK picture: its tone curve is not that of a camera",)
    return Picture(format="TIFF", grey=grey, exif=data, turned=orientation, notes=notes)


def _open(data: bytes, name: str) -> TiffImageFile:
    from PIL.TiffImagePlugin import TiffImageFile

    try:
        return TiffImageFile(BytesIO(data))
    except Exception as error:  # hostile data make decoders raise anything
        raise _damaged(name) from error


def _check_extent(image: TiffImageFile, size: int, name: str) -> None:
    """Refuse a file whose strips or tiles reach beyond its end."""
    for offsets_tag, lengths_tag in _OFFSETS_AND_LENGTHS:
        offsets, lengths = image.tag_v2.get(offsets_tag, ()), image.tag_v2.get(lengths_tag, ())
        offsets = offsets if isinstance(offsets, tuple) else (offsets,)
        lengths = lengths if isinstance(lengths, tuple) else (lengths,)
        if any(at + length > size for at, length in zip(offsets, lengths, strict=False)):
            raise PhotoError(f"{name} is incomplete (the TIFF ends too early): copy it again.")


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
    pixels: NDArray[Any] | None = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None or pixels.dtype != np.uint16:
        return None
    return to_grey(pixels, rgb=False)


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
