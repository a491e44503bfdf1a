"""What every format's reader shares: limits, the decoded picture, grey from colour, turning, silence."""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import PhotoError

__all__ = [
    "Grey",
    "PhotoLimits",
    "Picture",
    "check_hole",
    "check_size",
    "decode_quietly",
    "to_grey",
    "turn_upright",
]

Grey = NDArray[np.uint8] | NDArray[np.uint16]
Decoded = TypeVar("Decoded")

# EXIF 2.3, tag 274: what brings stored pixels upright, as (turn, flip afterwards).
_TURNS: dict[int, tuple[int | None, int | None]] = {
    1: (None, None),
    2: (None, 1),
    3: (cv2.ROTATE_180, None),
    4: (None, 0),
    5: (cv2.ROTATE_90_CLOCKWISE, 1),
    6: (cv2.ROTATE_90_CLOCKWISE, None),
    7: (cv2.ROTATE_90_CLOCKWISE, 0),
    8: (cv2.ROTATE_90_COUNTERCLOCKWISE, None),
}

# What decoders write straight to the process's error stream: libjpeg's words and OpenCV's log lines.
_DECODER_CHATTER = re.compile(
    rb"Premature end|Corrupt JPEG|extraneous bytes|Invalid JPEG|Invalid SOS|Unsupported|Unknown Adobe|libpng|"
    rb"TIFF|^> |^\s*$|\[ ?(?:WARN|ERROR|INFO|DEBUG|FATAL) ?:|Inconsistent progression|Warning:|bad Huffman"
)
_HOLE_BYTES = 4096
_error_stream = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class PhotoLimits:
    """What is refused before anything is decoded, read from the file's header alone."""

    file_bytes: int = 60_000_000
    pixels: int = 120_000_000
    short_side_px: int = 240
    """A strip needs some hundred pixels across the picture to be found at all."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """A decoded file before it is turned upright."""

    format: str
    grey: Grey
    exif: bytes | None = None
    turned: int | None = None
    """EXIF orientation that the decoder has applied already; None when the pixels lie as stored."""
    notes: tuple[str, ...] = ()


def check_size(name: str, width: int, height: int, limits: PhotoLimits) -> None:
    """Refuse pictures over the limits or too small to measure in; raises PhotoError."""
    if width * height > limits.pixels:
        raise PhotoError(
            f"{name} has {width} x {height} pixels, more than the {limits.pixels / 1e6:g} million allowed: "
            "take the photo with the camera's standard resolution."
        )
    if min(width, height) < limits.short_side_px:
        raise PhotoError(
            f"{name} has only {width} x {height} pixels, under {limits.short_side_px} on the short side: "
            "use the original photo from the camera, not a thumbnail."
        )


def check_hole(name: str, data: bytes) -> None:
    """Refuse coded pictures with a block of zeros, as a broken copy leaves; raises PhotoError.

    For formats without sums, whose decoders paint over the hole without a word; coded pictures hold no such
    runs, and 4096 bytes are the smallest block that file systems lose.
    """
    if bytes(_HOLE_BYTES) in data:
        raise PhotoError(f"{name} is damaged (a part of it is blank): copy the original photo again.")


def to_grey(pixels: NDArray[Any], *, rgb: bool) -> Grey:
    """Grey (H, W) of decoded pixels (H, W[, 1..4]) by the Rec. 601 luma weights on encoded values.

    The same weights as JPEG's luma plane, so that one scene reads alike in every format; a fourth channel
    (transparency) is left out. `rgb` tells the channel order: red first, or blue first as OpenCV decodes.
    """
    if pixels.ndim == 2:
        return np.ascontiguousarray(pixels)
    channels = pixels.shape[2]
    if channels <= 2:
        return np.ascontiguousarray(pixels[:, :, 0])
    code = {
        (3, True): cv2.COLOR_RGB2GRAY,
        (4, True): cv2.COLOR_RGBA2GRAY,
        (3, False): cv2.COLOR_BGR2GRAY,
        (4, False): cv2.COLOR_BGRA2GRAY,
    }[channels, rgb]
    return _grey(cv2.cvtColor(np.ascontiguousarray(pixels), code))


def turn_upright(grey: Grey, orientation: int) -> Grey:
    """Turn and flip stored pixels upright by the EXIF orientation 1..8; C-contiguous."""
    turn, flip = _TURNS[orientation]
    if turn is not None:
        grey = _grey(cv2.rotate(grey, turn))
    if flip is not None:
        grey = _grey(cv2.flip(grey, flip))
    return _grey(grey)


def _grey(pixels: NDArray[Any]) -> Grey:
    """C-contiguous, and the type checker told what OpenCV's stubs leave open."""
    grey: Grey = np.ascontiguousarray(pixels)
    return grey


def decode_quietly(decode: Callable[[], Decoded], *, pass_on: bool = True) -> tuple[Decoded, bytes]:
    """Run a decoder and return its result with what it wrote to the process's error stream.

    libjpeg and OpenCV write warnings to file descriptor 2 from C, and they are the only sign that
    a picture's data are damaged in the middle: they are kept from the user's screen and given back.
    What is not theirs is passed on, unless the decoder's words are too many to be known (`pass_on`).
    """
    with _error_stream, _captured_error_stream(pass_on) as words:
        result = decode()
    return result, words[0] if words else b""


@contextmanager
def _captured_error_stream(pass_on: bool) -> Iterator[list[bytes]]:
    words: list[bytes] = []
    try:
        kept = os.dup(2)
    except OSError:  # a process without an error stream has nothing to be kept clean
        yield words
        return
    with tempfile.TemporaryFile() as caught:
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2(caught.fileno(), 2)
        try:
            yield words
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            caught.seek(0)
            words.append(caught.read())
            if pass_on:
                _pass_on(words[0])


def _pass_on(written: bytes) -> None:
    """Give the error stream what other threads wrote to it meanwhile."""
    foreign = [line for line in written.splitlines(keepends=True) if not _DECODER_CHATTER.search(line)]
    if foreign:
        os.write(2, b"".join(foreign))
