"""Why nothing was found in a photo, where the photo as a whole is to blame: too dark, burnt out, not sharp.

Asked only after a search has failed, when nothing in the photo has a known size: what is said is rough.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.photo.reading import Photo

__all__ = ["blaming", "fault_of"]

_REASONS = ("no target", "too few markers", "too few saddles")
# Found on drawn photos, spoilt step by step until the strip was not found any more.
_DARK_LEVEL, _BURNT_LEVEL, _BURNT_SHARE = 40, 250, 0.4
_BLUR_PX = 4.0
_TILE, _TILES, _LEAST_CONTRAST = 128, 12, 40.0


@contextmanager
def blaming(photo: Photo) -> Iterator[None]:
    """Let a RetakeError for want of a target say what is wrong with the whole photo, if anything is."""
    try:
        yield
    except RetakeError as error:
        fault = fault_of(photo.grey8) if error.reason in _REASONS else None
        if fault is None:
            raise
        what, remedy = fault
        raise RetakeError(error.reason, f"{error.message.rstrip('.')}; {what}.", remedy) from None


def fault_of(grey: NDArray[np.uint8]) -> tuple[str, str] | None:
    """What is wrong with an 8-bit grey picture (H, W), and what to do; None where nothing is."""
    coarse = grey[::8, ::8]
    if np.percentile(coarse, 95) < _DARK_LEVEL:
        return "the photo is very dark", "Bring more light and take the photo again."
    burnt = float(np.mean(coarse >= _BURNT_LEVEL))
    if burnt > _BURNT_SHARE:
        return (
            f"{100 * burnt:.0f} % of the photo is burnt out",
            "Expose darker by a tap on the bright plate, or turn the lamp away, and take the photo again.",
        )
    blur = _edge_blur(grey)
    if blur > _BLUR_PX:
        return (
            f"the photo is blurred or shaken, its sharpest edges by some {blur:.0f} px",
            "Tap the joint, wait until it is sharp, rest the phone on something, and take the photo again.",
        )
    return None


def _edge_blur(grey: NDArray[np.uint8]) -> float:
    """Blur of the sharpest edges [px], where the picture has the most contrast; 0 where it has none.

    The steepest slope of a step of height h that a Gaussian has blurred is h / (sigma √2π).
    """
    rows, columns = (size // _TILE for size in grey.shape)
    if not rows * columns:
        return 0.0
    tiles = grey[: rows * _TILE, : columns * _TILE].reshape(rows, _TILE, columns, _TILE).swapaxes(1, 2)
    flat = tiles.reshape(-1, _TILE, _TILE)
    spread = flat[:, ::8, ::8].std(axis=(1, 2))
    sigmas = []
    for tile in flat[np.argsort(spread)[-_TILES:]]:
        # Noise would be taken for steep edges: smoothed a little, which is taken out again.
        smooth = cv2.GaussianBlur(tile, (0, 0), 1.0).astype(np.float32)
        height = float(np.percentile(smooth, 98) - np.percentile(smooth, 2))
        if height < _LEAST_CONTRAST:
            continue
        slope = np.hypot(cv2.Sobel(smooth, -1, 1, 0, scale=1 / 8), cv2.Sobel(smooth, -1, 0, 1, scale=1 / 8))
        sigmas.append(height / np.sqrt(2 * np.pi) / float(np.percentile(slope, 99.5)))
    return float(np.sqrt(max(np.median(sigmas) ** 2 - 1.0, 0.0))) if sigmas else 0.0
