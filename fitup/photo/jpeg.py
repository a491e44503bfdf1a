"""JPEG: the header by walking the segments, the pixels as the luma plane, damage told from both."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass, field
from io import BytesIO

import cv2
import numpy as np

from fitup.errors import PhotoError
from fitup.photo.camera import read_directory
from fitup.photo.colour import note_on_profile
from fitup.photo.picture import Grey, PhotoLimits, Picture, check_size, decode_quietly, to_grey

__all__ = ["read_jpeg"]

_START_OF_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_END, _START_OF_SCAN = 0xD9, 0xDA
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})
# In a scan, 0xFF is data when a 0 follows, a restart when D0..D7 does, and padding when another FF does.
_NEXT_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
_MAX_SCANS = 100  # real progressive photos have about ten; thousands are an attack on the decoder's time
_GAIN_MAP_SIGNS = (b"hdrgm:", b"hdr-gain-map", b"HDRGainMap", b"hdrgainmap", b"iso:std:iso:ts:21496")
_PADDING = re.compile(rb"(\d+) extraneous bytes before marker 0xd9")
_MAX_PADDING = 16  # bytes; a scan that lost its way leaves more
_DAMAGE_SIGNS = (b"Corrupt JPEG data", b"Premature end", b"Inconsistent progression")
_NUMBER_OF_PICTURES = 0xB001  # CIPA DC-007, multi-picture format


@dataclass
class _Header:
    width: int = 0
    height: int = 0
    components: int = 0
    precision: int = 0
    scans: int = 0
    end: int | None = None
    exif: bytes | None = None
    profile: bytes = b""
    pictures: int = 1
    signs: set[str] = field(default_factory=set)


def read_jpeg(data: bytes, name: str, limits: PhotoLimits) -> Picture:
    """Decode a JPEG's luma plane (H, W) as stored; raises PhotoError for what is damaged or over limits."""
    header = _walk(data, name)
    if not header.width or not header.height:
        raise PhotoError(f"{name} is a damaged JPEG without a picture size: copy the original photo again.")
    check_size(name, header.width, header.height, limits)
    if header.precision != 8:
        raise PhotoError(f"{name} is a JPEG of {header.precision} bits: save it as an 8-bit JPEG.")
    if header.end is None:
        raise _incomplete(name)
    grey = _decode(data, name, header)
    if grey.shape != (header.height, header.width):
        raise PhotoError(f"{name} is a damaged JPEG whose size is in doubt: copy the original photo again.")
    multi = header.pictures > 1 and "gain map" not in header.signs
    return Picture(
        format="MPO" if multi else "JPEG",
        grey=grey,
        exif=header.exif,
        notes=_notes(header, multi),
    )


def _walk(data: bytes, name: str) -> _Header:
    """Follow the segments from the start to the end marker of the first picture."""
    header, at = _Header(), 2
    while at + 4 <= len(data) or data[at : at + 2] == b"\xff\xd9":
        if data[at] != 0xFF:
            break
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
        elif marker == _END:
            header.end = at + 2
            break
        elif marker in _WITHOUT_LENGTH:
            at += 2
        else:
            stop = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
            _note_segment(header, marker, data[at + 4 : stop])
            at = _after_scan(data, stop, header, name) if marker == _START_OF_SCAN else stop
    if header.end is not None and header.end < len(data):
        _look_for_gain_map(header, data[header.end :])
    return header


def _after_scan(data: bytes, at: int, header: _Header, name: str) -> int:
    """Position of the marker that follows a scan's data."""
    header.scans += 1
    if header.scans > _MAX_SCANS:
        raise PhotoError(f"{name} is a JPEG of over {_MAX_SCANS} scans, which no camera writes: use a photo.")
    match = _NEXT_MARKER.search(data, at)
    return match.start() if match else len(data)


def _note_segment(header: _Header, marker: int, body: bytes) -> None:
    if marker in _START_OF_FRAME and not header.width and len(body) >= 6:
        header.precision = body[0]
        header.height = int.from_bytes(body[1:3], "big")
        header.width = int.from_bytes(body[3:5], "big")
        header.components = body[5]
    elif marker == 0xE1 and body.startswith(b"Exif\0"):
        header.exif = header.exif or body[6:]
    elif marker == 0xE1:
        _look_for_gain_map(header, body)
        if b"MotionPhoto" in body or b"MicroVideo" in body:
            header.signs.add("moving picture")
    elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0"):
        header.profile += body[14:]
    elif marker == 0xE2 and body.startswith(b"MPF\0"):
        count = read_directory(body[4:])[0].get(_NUMBER_OF_PICTURES, (1.0,))
        header.pictures = int(count[0]) if isinstance(count, tuple) and count else 1
    elif marker == 0xE2:
        _look_for_gain_map(header, body)


def _look_for_gain_map(header: _Header, body: bytes) -> None:
    if any(sign in body for sign in _GAIN_MAP_SIGNS):
        header.signs.add("gain map")


def _decode(data: bytes, name: str, header: _Header) -> Grey:
    if header.components == 4:
        return _decode_with_pillow(data, name)
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        grey, words = decode_quietly(lambda: cv2.imdecode(np.frombuffer(data, np.uint8), flags))
    except cv2.error:
        return _decode_with_pillow(data, name)
    if grey is None:
        return _decode_with_pillow(data, name)
    if _tells_of_damage(words):
        raise PhotoError(f"{name} is damaged inside the picture: copy the original photo again.")
    return np.asarray(grey, dtype=np.uint8)


def _tells_of_damage(words: bytes) -> bool:
    """Judge libjpeg's warning (it writes only the first): some cameras pad the end, which is harmless."""
    padding = _PADDING.search(words)
    if padding:
        return int(padding[1]) > _MAX_PADDING
    return any(sign in words for sign in _DAMAGE_SIGNS)


def _decode_with_pillow(data: bytes, name: str) -> Grey:
    """Decode the kinds that OpenCV does not read or not exactly: CMYK, arithmetic coding."""
    from PIL import JpegImagePlugin

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = JpegImagePlugin.JpegImageFile(BytesIO(data))
            return to_grey(np.asarray(image if image.mode == "L" else image.convert("RGB")), rgb=True)
    except Exception as error:  # hostile data make decoders raise anything
        raise PhotoError(f"{name} is a damaged JPEG: copy the original photo again.") from error


def _incomplete(name: str) -> PhotoError:
    return PhotoError(f"{name} is an incomplete or damaged JPEG: copy the original photo again.")


def _notes(header: _Header, multi: bool) -> tuple[str, ...]:
    notes = note_on_profile(header.profile)
    if header.components == 4:
        notes += ("a CMYK picture: its tone curve is not that of a camera",)
    if "gain map" in header.signs:
        notes += ("carries a gain map (HDR); the standard picture was used",)
    if multi:
        notes += (f"holds {header.pictures} pictures; the first was used",)
    if "moving picture" in header.signs:
        notes += ("carries a moving picture, which was ignored",)
    return notes
