"""A known picture without any symmetry, and ways to write it in every format; for the tests of any step."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image

# What a camera held in each way stores, by EXIF 2.3 tag 274: the inverse of the turn that brings it upright.
STORED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def scene(width: int = 320, height: int = 260) -> NDArray[np.uint8]:
    """Upright RGB picture (height, width, 3): smooth, coloured, no turn or flip leaves it alike."""
    v, u = np.mgrid[0:height, 0:width].astype(np.float64)
    red = 40 + 180 * u / width
    green = 60 + 120 * v / height
    blue = 200 - 100 * (u + v) / (width + height)
    rgb = np.stack([red, green, blue], axis=-1)
    rgb[20:60, 30:110] = (230, 220, 210)
    rgb[180:200, 250:300] = (20, 30, 40)
    return np.clip(rgb, 0, 255).astype(np.uint8)


def textured(width: int, height: int, seed: int = 3) -> NDArray[np.uint8]:
    """The scene with fine noise, so that a compressed file has data all over the picture."""
    noise = np.random.default_rng(seed).normal(0, 12, (height, width, 1))
    return np.clip(scene(width, height) + noise, 0, 255).astype(np.uint8)


def luma(rgb: NDArray[Any]) -> NDArray[np.float64]:
    """Grey by ITU-R BT.601 weights, the luma of JFIF (ITU-T T.871), unrounded."""
    return np.asarray(rgb[..., :3].astype(np.float64) @ np.array([0.299, 0.587, 0.114]))


def exif_block(orientation: int = 1, **more: Any) -> Image.Exif:
    """EXIF with an orientation; `more` maps the names below to values."""
    exif = Image.Exif()
    exif[274] = orientation
    main = {"make": 271, "model": 272, "software": 305}
    shooting = {
        "focal_length": 37386,
        "focal_length_35mm": 41989,
        "zoom": 41988,
        "lens_model": 42036,
        "taken": 36867,
        "offset": 36881,
    }
    for name, value in more.items():
        if name in main:
            exif[main[name]] = value
        else:
            exif.get_ifd(34665)[shooting[name]] = value
    return exif


def stored(image: Image.Image, orientation: int) -> Image.Image:
    """The picture as a camera would store it with that orientation."""
    return image if orientation == 1 else image.transpose(STORED[orientation])


def written(image: Image.Image, format: str, **options: Any) -> bytes:
    """Bytes of the picture written by Pillow (HEIF: by pillow-heif)."""
    stream = BytesIO()
    if format == "HEIF":
        pillow_heif.from_pillow(image).save(stream, **options)
    else:
        image.save(stream, format, **options)
    return stream.getvalue()


def deep(rgb: NDArray[np.uint8], suffix: str) -> tuple[bytes, NDArray[np.uint16]]:
    """A 16-bit colour file (PNG or TIFF) written by OpenCV, and its RGB values."""
    values = rgb.astype(np.uint16) * 257
    values[::2] += 100  # levels that 8 bits cannot hold
    ok, block = cv2.imencode(suffix, values[..., ::-1])
    assert ok
    return block.tobytes(), values
