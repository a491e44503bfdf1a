"""What makes a demo photo, and small helpers to write one down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from camera import Camera, Picture
from geometry import Joint
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

__all__ = ["Scene", "Tack", "bump", "knots", "view"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Tack:
    """A tack weld at s, half axes along, across and its height, mm."""

    s: float
    half: tuple[float, float, float] = (2.9, 2.3, 0.7)


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """Everything that makes one photo."""

    name: str
    description: str
    joint: Joint
    camera: Camera
    picture: Picture
    sheet_mm: float = 1.5
    wire: str = "0.9mm"
    verdict: str = "within"
    finish: str = "along"
    cut: str = "laser"
    below: str = "trough"  # what lies under the gap: "trough", "bench", "backlit"
    bench: str = "steel"
    strip: int = 1
    print_factors: tuple[float, float] = (1.0, 1.0)
    arris_mm: float = 0.05
    burr_mm: float = 0.0
    dirt: float = 1.0
    tacks: tuple[Tack, ...] = ()
    marks: tuple[str, ...] = ()  # "pen", "scratch"
    props: tuple[str, ...] = ()
    light: dict[str, float] = field(default_factory=dict)  # of the workshop's environment map
    lamps: tuple[tuple[tuple[float, float, float], float, float], ...] = ()  # (place, size mm, radiance)
    taken_at: str = "2026:05:11 09:14:22"
    folder: str = "."
    bytes_limit: int = 1_850_000
    more: dict[str, Any] = field(default_factory=dict)  # extra truth


def knots(*pairs: tuple[float, float]) -> Callable[[Floats], Floats]:
    """A smooth run through (s, gap) knots, flat beyond the ends."""
    at, value = np.array(pairs, dtype=float).T
    curve = PchipInterpolator(at, value)
    return lambda s: curve(np.clip(s, at[0], at[-1]))


def bump(
    base: Callable[[Floats], Floats], at: float, width: float, top: float, power: float = 2.0
) -> Callable[[Floats], Floats]:
    """`base`, opened to `top` at `at`; `width` = full width at half height, `power` > 2 = flatter top."""
    return lambda s: base(s) + (top - base(np.array(at))) * 0.5 ** (np.abs(2 * (s - at) / width) ** power)


def view(aim_y: float, **changes: Any) -> Camera:
    """A camera some 23 cm above the strip, nearly upright, with `changes`."""
    standard: dict[str, Any] = {
        "aim_mm": (103.0, aim_y),
        "distance_mm": 228.0,
        "lean_x_deg": 2.0,
        "lean_y_deg": -3.0,
    }
    return Camera(**(standard | changes))
