"""Open a photo: read the file once, tell its kind, decode it, turn it upright."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path, PurePath

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import PhotoError
from fitup.photo.camera import CameraInfo, read_camera
from fitup.photo.heif import read_avif, read_heif
from fitup.photo.jpeg import read_jpeg
from fitup.photo.kind import file_kind, note_on_name
from fitup.photo.picture import Grey, PhotoLimits, Picture, turn_upright
from fitup.photo.png import read_png
from fitup.photo.tiff import read_tiff
from fitup.photo.tone import linear_table
from fitup.photo.webp import read_webp

__all__ = ["Photo", "open_photo"]

_READERS: dict[str, Callable[[bytes, str, PhotoLimits], Picture]] = {
    "JPEG": read_jpeg,
    "PNG": read_png,
    "WEBP": read_webp,
    "TIFF": read_tiff,
    "HEIF": read_heif,
    "AVIF": read_avif,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    """An opened photo; pixels are grey, display-encoded and upright, and must not be written to."""

    name: str
    sha256: str
    byte_count: int
    format: str
    """JPEG, PNG, WEBP, TIFF, HEIF, AVIF or MPO, by content."""
    pixels: Grey
    """(height, width), uint8 or uint16, C-contiguous."""
    camera: CameraInfo
    notes: tuple[str, ...]
    """What a careful user should know of the file, one phrase each."""

    @property
    def width_px(self) -> int:
        """Width of the upright picture."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height of the upright picture."""
        return int(self.pixels.shape[0])

    @cached_property
    def grey8(self) -> NDArray[np.uint8]:
        """8-bit view for detectors, (height, width); the pixels themselves where they have 8 bits."""
        if self.pixels.dtype == np.uint8:
            return np.asarray(self.pixels, dtype=np.uint8)
        return np.asarray(cv2.convertScaleAbs(self.pixels, alpha=1 / 257), dtype=np.uint8)

    def linear(self, rows: slice, columns: slice) -> NDArray[np.float32]:
        """Linear light (0 black, 1 white) of a window, through the inverse sRGB curve."""
        window = self.pixels[rows, columns]
        return linear_table(np.iinfo(self.pixels.dtype).max + 1).take(window)


def open_photo(path: str | os.PathLike[str], limits: PhotoLimits = PhotoLimits()) -> Photo:  # noqa: B008
    """Open any phone photo: JPEG, PNG, WebP, TIFF, HEIC/HEIF, AVIF, MPO.

    The file is read once; size limits are applied to its header before anything is decoded. Raises
    PhotoError, one sentence with the file's name and what to do, for whatever is no sound photo.
    """
    name = _shown(os.fspath(path))
    data = _read_file(os.fspath(path), name, limits)
    kind = file_kind(data, name)
    try:
        picture = _READERS[kind](data, name, limits)
        camera, camera_notes = read_camera(picture.exif)
        if picture.turned is None:
            pixels = turn_upright(picture.grey, camera.orientation)
        else:
            pixels = picture.grey
            camera = replace(camera, orientation=picture.turned)
    except MemoryError as error:
        raise PhotoError(f"{name} needs more memory than there is: close other programs.") from error
    return Photo(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        byte_count=len(data),
        format=picture.format,
        pixels=pixels,
        camera=camera,
        notes=note_on_name(name, kind) + picture.notes + camera_notes,
    )


def _shown(path: str) -> str:
    """File name that is safe to print: no control characters, no undecodable bytes."""
    name = PurePath(path).name or path or "the empty name"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in name)


def _read_file(path: str, name: str, limits: PhotoLimits) -> bytes:
    """Bytes of a regular file within the limit; devices and pipes are refused without waiting on them."""
    try:
        _check_file(Path(path).stat(), name, limits)
        # Without O_NONBLOCK a pipe put in the file's place after the check would block for ever.
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(path, flags), "rb", buffering=0) as file:
            status = os.fstat(file.fileno())
            _check_file(status, name, limits)
            data = file.read(status.st_size + 1)  # one more, which a growing file would fill
    except FileNotFoundError as error:
        raise PhotoError(f"{name} does not exist: check the name and the folder.") from error
    except PermissionError as error:
        raise PhotoError(f"{name} may not be read: ask for permission to read it, or copy it.") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "not a valid file name"
        raise PhotoError(f"{name} cannot be read ({reason}): copy the photo again.") from error
    if len(data) != status.st_size:
        raise PhotoError(f"{name} changed while it was read: wait until copying has ended and try again.")
    return data


def _check_file(status: os.stat_result, name: str, limits: PhotoLimits) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise PhotoError(f"{name} is a folder: name the photo in it.")
    if not stat.S_ISREG(status.st_mode):
        raise PhotoError(f"{name} is not a file (a device or pipe): name a photo.")
    if status.st_size == 0:
        raise PhotoError(f"{name} is empty: copy the photo from the phone again.")
    if status.st_size > limits.file_bytes:
        raise PhotoError(
            f"{name} has {status.st_size / 1e6:.0f} MB, more than the {limits.file_bytes / 1e6:g} allowed: "
            "take the photo with the camera's standard settings."
        )
