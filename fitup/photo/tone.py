"""The tone curve of sRGB, which Display P3 shares, between display-encoded values and linear light."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["linear_table", "linear_to_srgb", "srgb_to_linear"]

# IEC 61966-2-1:1999: a straight piece near black, then an offset power of 2.4.
_SLOPE = 12.92
_OFFSET = 0.055
_POWER = 2.4
_ENCODED_KNEE = 0.04045
_LINEAR_KNEE = 0.0031308


def srgb_to_linear(encoded: ArrayLike) -> NDArray[np.floating[Any]]:
    """Turn display-encoded values (0..1, any shape) into linear light; float32 stays float32.

    Values below 0 mirror those above, as in the extended ranges of the standard's amendment, so that the
    curve stays monotonic for overshooting models. Source: IEC 61966-2-1:1999.
    """
    value = _floating(encoded)
    size = np.abs(value)
    power = ((size + _OFFSET) / (1 + _OFFSET)) ** _POWER
    return _signed(np.where(size <= _ENCODED_KNEE, size / _SLOPE, power), value)


def linear_to_srgb(linear: ArrayLike) -> NDArray[np.floating[Any]]:
    """Turn linear light (0..1, any shape) into display-encoded values; the inverse of `srgb_to_linear`."""
    value = _floating(linear)
    size = np.abs(value)
    power = (1 + _OFFSET) * size ** (1 / _POWER) - _OFFSET
    return _signed(np.where(size <= _LINEAR_KNEE, size * _SLOPE, power), value)


@cache
def linear_table(levels: int) -> NDArray[np.float32]:
    """Linear light of every code of an integer picture: `levels` is 256 or 65536; shape (levels,)."""
    table = srgb_to_linear(np.arange(levels) / (levels - 1)).astype(np.float32)
    table.flags.writeable = False
    return table


def _signed(size: NDArray[Any], value: NDArray[Any]) -> NDArray[np.floating[Any]]:
    return np.asarray(np.copysign(size, value))


def _floating(values: ArrayLike) -> NDArray[np.floating[Any]]:
    array = np.asarray(values)
    return array if array.dtype == np.float32 else array.astype(np.float64)
