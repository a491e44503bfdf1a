"""Surfaces and light: brushed and mill-finished steel, cut faces, paper, bench, workshop light.

All textures are made from seeded noise; nothing is loaded from outside.
"""

from __future__ import annotations

from typing import Any

import cv2
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

__all__ = ["bench", "cut_face", "matte", "metal_plain", "paper", "plate_top", "workshop"]

Array = NDArray[np.float32]
TOP_UV_MM = np.array([360.0, 156.0])  # world size (s, n) of one repeat of a plate's textures
TOP_ORIGIN_MM = -80.0  # s of the textures' left side: their seam lies outside the pictures
TOP_PX_PER_MM = 14.0
STAINLESS = np.array([0.945, 0.985, 0.935], dtype=np.float32)  # takes the pink out of chromium's constants


def _bitmap(values: NDArray[Any], wrap: str = "repeat") -> dict[str, Any]:
    data = np.ascontiguousarray(values if values.ndim == 3 else values[..., None], dtype=np.float32)
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(data),
        "raw": True,
        "filter_type": "bilinear",
        "wrap_mode": wrap,
        "format": "variant",
    }


def _noise(rng: np.random.Generator, shape: tuple[int, int], sigma: tuple[float, float]) -> Array:
    """Unit-rms noise (H, W), smoothed by `sigma` pixels along rows and columns."""
    coarse = [max(1, int(s / 5)) for s in sigma]
    if max(coarse) > 1:  # long smoothing on a coarser grid, then a cubic stretch: same look, far less work
        small = rng.standard_normal(
            [-(-n // c) for n, c in zip(shape, coarse, strict=True)], dtype=np.float32
        )
        small = gaussian_filter(small, [s / c for s, c in zip(sigma, coarse, strict=True)], mode="wrap")
        field = _stretch(small, (coarse[0], coarse[1]), shape)
    else:
        field = gaussian_filter(rng.standard_normal(shape, dtype=np.float32), sigma, mode="wrap")
    return np.asarray(field / field.std(), dtype=np.float32)


def _stretch(field: Array, times: tuple[int, int], shape: tuple[int, int]) -> Array:
    """Enlarge by whole factors, cubic (a remap would quantise positions and show as a weave)."""
    rows, columns = field.shape
    large = cv2.resize(field, (columns * times[1], rows * times[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(large[: shape[0], : shape[1]], dtype=np.float32)


def plate_top(
    finish: str,
    seed: int,
    detail: float = 1.0,
    dirt: float = 1.0,
    tint: list[tuple[float, float]] | None = None,
    size_mm: NDArray[np.float64] = TOP_UV_MM,
) -> dict[str, Any]:
    """A stainless plate's top. finish: "along" or "across" (brushed), "mill" (2B), "polished".

    tint: (s, n) of welds; size_mm: world size (s, n) of one repeat.
    """
    rng = np.random.default_rng([29, seed])
    px = TOP_PX_PER_MM * detail
    shape = (round(size_mm[1] * px), round(size_mm[0] * px))
    height, streak, alpha = _finish(finish, rng, shape, px)
    smudge = _smudges(rng, shape, px) * dirt
    least = 0.012 if finish == "polished" else 0.05
    shade = np.clip(0.93 + 0.045 * streak - 0.08 * smudge, 0.3, 1.0)
    scratch = _scratches(rng, shape, px)
    shade = np.clip(shade + 0.05 * scratch, 0, 1)
    colour = shade[..., None] * STAINLESS
    if tint:
        _heat_tint(colour, tint, px)
    inner = {
        "type": "roughconductor",
        "material": "Cr",
        "distribution": "ggx",
        "alpha_u": _bitmap(
            np.clip(alpha[0] * (1 + 0.15 * streak) + 0.06 * smudge + 0.12 * scratch, least, 0.6)
        ),
        "alpha_v": _bitmap(np.clip(alpha[1] * (1 + 0.15 * streak) + 0.06 * smudge, least, 0.6)),
        "specular_reflectance": _bitmap(colour),
    }
    return {"type": "twosided", "bsdf": {"type": "bumpmap", "arbitrary": _bitmap(height), "bsdf": inner}}


def _finish(
    finish: str, rng: np.random.Generator, shape: tuple[int, int], px: float
) -> tuple[Array, Array, tuple[float, float]]:
    """Height in mm, streaks (unit rms) and roughness along u and v; rows of a texture run along v."""
    if finish == "mill":
        grains = _noise(rng, shape, (1.0, 1.6)) * 0.00035 + _noise(rng, shape, (2.2 * px, 9 * px)) * 0.006
        lines = _noise(rng, shape, (1.2, 30 * px))
        return (
            grains + 0.0002 * lines,
            lines * 0.6 + 0.4 * _noise(rng, shape, (3 * px, 12 * px)),
            (0.21, 0.24),
        )
    if finish == "polished":
        cloud = _noise(rng, shape, (6 * px, 9 * px))
        lines = _noise(rng, shape, (0.7, 12 * px))
        return 0.0025 * cloud + 0.00006 * lines, 0.5 * cloud + 0.5 * lines, (0.022, 0.03)
    lengths = ((0.45, 3.0, 0.8), (0.6, 14.0, 1.0), (1.3, 45.0, 0.9))  # (width px, length mm, weight)
    flip = finish == "across"
    size = shape[::-1] if flip else shape
    grain = sum(w * _noise(rng, size, (across, long * px / 2)) for across, long, w in lengths)
    broad = _noise(rng, size, (1.2 * px, 60 * px))
    grain, broad = (grain.T, broad.T) if flip else (grain, broad)
    grain = np.asarray(grain / grain.std(), dtype=np.float32)
    height = grain * (0.0020 * 14.0 / px) + 0.003 * _noise(rng, shape, (8 * px, 8 * px))
    alpha = (0.24, 0.09) if flip else (0.09, 0.24)
    return height, np.clip(0.8 * grain + 0.5 * broad, -3, 3), alpha


def _scratches(rng: np.random.Generator, shape: tuple[int, int], px: float) -> Array:
    """A few fine handling scratches in any direction, 0..1."""
    out = np.zeros(shape, dtype=np.uint8)
    for _ in range(14):
        start = rng.uniform([0, 0], [shape[1], shape[0]])
        angle, length, sag = rng.uniform(0, np.pi), rng.uniform(8, 60) * px, rng.normal(0, 0.03)
        way = np.linspace(0, length, 30)
        x = start[0] + way * np.cos(angle) - sag * way * (length - way) / length * np.sin(angle)
        y = start[1] + way * np.sin(angle) + sag * way * (length - way) / length * np.cos(angle)
        line = np.rint(np.column_stack((x, y)) * 16).astype(np.int32)
        cv2.polylines(out, [line], False, int(rng.integers(60, 255)), 1, cv2.LINE_AA, 4)
    return out.astype(np.float32) / 255


def _smudges(rng: np.random.Generator, shape: tuple[int, int], px: float) -> Array:
    """Finger marks and wiping traces, 0..1, on few places only."""
    cloud = np.clip(_noise(rng, shape, (7 * px, 11 * px)) - 0.9, 0, 1)
    film = np.clip(0.5 * _noise(rng, shape, (25 * px, 25 * px)) + 0.3, 0, 1) * 0.5
    out = np.clip(0.25 * cloud + film, 0, 1).astype(np.float32)
    y, x = np.mgrid[: round(26 * px), : round(18 * px)].astype(np.float32) / px
    for _ in range(5):
        r = np.hypot((x - 9) / 8, (y - 13) / 11.5)
        ridges = 0.5 + 0.5 * np.sin(
            2 * np.pi * np.hypot(x - 9, (y - 19) * 0.8) / 0.48 + 1.1 * np.sin(y * 0.5)
        )
        mark = np.clip(1.4 - 1.6 * r, 0, 1) * ridges * rng.uniform(0.25, 0.75)
        top, left = (int(rng.integers(0, n - m)) for n, m in zip(shape, mark.shape, strict=True))
        window = out[top : top + mark.shape[0], left : left + mark.shape[1]]
        np.maximum(window, mark, out=window)
    return out


def _heat_tint(colour: NDArray[Any], spots: list[tuple[float, float]], px: float) -> None:
    """Temper colours around welds: straw, purple, blue rings; spots in (s, n) mm of the plate's uv."""
    steps = np.array([0.0, 2.4, 3.2, 4.0, 4.8, 5.8, 7.5, 9.5])
    tones = np.array(
        [[0.42, 0.40, 0.40], [0.40, 0.38, 0.40], [0.42, 0.48, 0.62], [0.52, 0.46, 0.66], [0.78, 0.60, 0.52],
         [0.92, 0.80, 0.55], [0.98, 0.95, 0.86], [1, 1, 1]]
    )  # fmt: skip
    height, width = colour.shape[:2]
    for s, n in spots:
        reach = np.arange(-round(10 * px), round(10 * px))
        columns, rows = (round((s - TOP_ORIGIN_MM) * px) + reach) % width, (round(n * px) + reach) % height
        r = np.hypot(reach[None, :] / px, reach[:, None] / px)
        ring = np.stack([np.interp(r, steps, tones[:, k]) for k in range(3)], axis=-1)
        colour[np.ix_(rows, columns)] *= ring


def cut_face(kind: str, seed: int) -> dict[str, Any]:
    """The cut face: "laser" (bright, striated) or "sheared" (burnished above, torn and darker below)."""
    rng = np.random.default_rng([31, seed])
    shape = (96, 1024)  # v: 3 mm down the face, u: 20 mm along it
    lines = _noise(rng, shape, (14.0, 2.2)) + 0.6 * _noise(rng, shape, (4.0, 0.8))
    depth = np.linspace(0, 1, 96, dtype=np.float32)[:, None]
    torn = np.clip((depth - 0.16) / 0.05, 0, 1) if kind == "sheared" else 0.3 * depth
    shade = np.clip((0.78 - 0.34 * torn) * (1 + 0.17 * lines), 0.08, 1.0)
    rough = np.clip(0.22 + 0.2 * torn + 0.04 * lines, 0.1, 0.6)
    metal = {
        "type": "roughconductor",
        "material": "Cr",
        "distribution": "ggx",
        "alpha": _bitmap(rough, "mirror"),
        "specular_reflectance": _bitmap(shade[..., None] * STAINLESS, "mirror"),
    }
    oxide = {
        "type": "diffuse",
        "reflectance": _bitmap(shade[..., None] * np.array([0.52, 0.50, 0.46]), "mirror"),
    }
    inner = {"type": "blendbsdf", "weight": 0.45, "metal": metal, "oxide": oxide}
    bumped = {"type": "bumpmap", "arbitrary": _bitmap(0.006 * lines, "mirror"), "bsdf": inner}
    return {"type": "twosided", "bsdf": bumped}


def metal_plain(shade: float = 0.9, alpha: float = 0.18) -> dict[str, Any]:
    """Bare metal of one roughness."""
    return {
        "type": "twosided",
        "bsdf": {
            "type": "roughconductor",
            "material": "Cr",
            "distribution": "ggx",
            "alpha": alpha,
            "specular_reflectance": {"type": "rgb", "value": [float(v) for v in shade * STAINLESS]},
        },
    }


def matte(rgb: tuple[float, float, float], gloss: float | None = None) -> dict[str, Any]:
    """Paint, rubber, ink; with `gloss` (roughness) a plastic sheen."""
    colour = {"type": "rgb", "value": list(rgb)}
    if gloss is None:
        return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": colour}}
    inner = {"type": "roughplastic", "diffuse_reflectance": colour, "alpha": gloss, "int_ior": 1.45}
    return {"type": "twosided", "bsdf": inner}


def paper(ink_share: NDArray[np.uint8], seed: int) -> dict[str, Any]:
    """Laser print on office paper from a strip's raster (255 = paper); toner reflects some 3.5 %."""
    rng = np.random.default_rng([37, seed])
    share = ink_share.astype(np.float32)[..., None] / 255
    mottle = 1 + 0.012 * _noise(rng, ink_share.shape, (6.0, 6.0))[..., None]
    white, ink = (
        np.array([0.80, 0.795, 0.765], dtype=np.float32),
        np.array([0.034, 0.034, 0.036], dtype=np.float32),
    )
    colour = _bitmap((ink + (white - ink) * share) * mottle, "clamp")
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": colour}}


def bench(kind: str, seed: int) -> dict[str, Any]:
    """Bench top, 700 mm wide: "steel" (dark, oily), "ply" (worn), "rubber" (black mat), "green" (paint)."""
    rng = np.random.default_rng([41, seed])
    shape = (1400, 1400)
    cloud = (
        0.6 * _noise(rng, shape, (30, 30))
        + 0.4 * _noise(rng, shape, (4, 4))
        + 0.3 * _noise(rng, shape, (1, 1))
    )
    scuff = np.clip(_noise(rng, shape, (0.8, 60)) - 2.2, 0, 1) + np.clip(
        _noise(rng, shape, (50, 0.8)) - 2.4, 0, 1
    )
    base = {"steel": (0.075, 0.073, 0.070), "ply": (0.33, 0.22, 0.125), "rubber": (0.022, 0.022, 0.023),
            "green": (0.05, 0.085, 0.06)}[kind]  # fmt: skip
    shade = 1 + 0.16 * cloud + 1.3 * scuff
    if kind == "ply":
        rings = _noise(rng, shape, (2.5, 120))
        shade = 1 + 0.10 * cloud + 0.16 * rings + 0.25 * _noise(rng, shape, (0.9, 25)).clip(-3, 0.4)
    colour = np.clip(np.array(base) * shade[..., None], 0.006, 0.9)
    inner = {"type": "principled", "base_color": _bitmap(colour), "roughness": 0.45, "specular": 0.4}
    if kind == "rubber":
        inner["roughness"] = 0.8
    return {"type": "twosided", "bsdf": inner}


def workshop(seed: int, tubes: float = 1.0, windows: float = 1.0, turn_deg: float = 0.0) -> dict[str, Any]:
    """Light of an invented workshop as an environment map: ceiling, tubes, windows, walls, floor."""
    rng = np.random.default_rng([43, seed])
    height, width = 512, 1024
    v, u = np.mgrid[:height, :width].astype(np.float32)
    elevation = np.pi / 2 - np.pi * (v + 0.5) / height
    azimuth = 2 * np.pi * (u + 0.5) / width
    sky = np.where(elevation > 0, 0.24, 0.05) + 0.1 * np.clip(np.sin(elevation), 0, 1)
    sky = sky * (1 + 0.25 * _noise(rng, (height, width), (10, 20)))
    light = np.clip(sky, 0.02, None)[..., None] * np.array([1.0, 0.97, 0.9])
    up = elevation > np.radians(8)
    across = np.cos(azimuth) / np.tan(
        np.clip(elevation, 0.1, None)
    )  # where a ray meets a ceiling at height 1
    along = np.sin(azimuth) / np.tan(np.clip(elevation, 0.1, None))
    for row in (-1.15, -0.35, 0.55, 1.4):
        lamp = up & (abs(across - row) < 0.045) & (abs((along + 0.4) % 1.5 - 0.75) < 0.6) & (abs(along) < 3.2)
        light[lamp] = np.array([13.0, 13.3, 12.6]) * tubes
    for start in (0.6, 1.05, 1.5, 1.95):
        pane = (abs(azimuth - start) < 0.19) & (elevation > 0.12) & (elevation < 0.62)
        pane &= (abs((azimuth - start) * 20 % 2 - 1) > 0.1) & (abs((elevation * 16) % 2 - 1) > 0.08)
        light[pane] = np.array([5.0, 5.6, 6.4]) * windows
    for _ in range(26):  # machines, shelves, people: dark and coloured blocks along the walls
        a, e = rng.uniform(0, 2 * np.pi), rng.uniform(-0.3, 0.25)
        block = (abs(azimuth - a) < rng.uniform(0.03, 0.2)) & (abs(elevation - e) < rng.uniform(0.05, 0.22))
        light[block] = rng.uniform(0.02, 0.3) * rng.uniform(0.6, 1.0, 3)
    turn = mi.ScalarTransform4f().rotate([0, 0, 1], turn_deg).rotate([1, 0, 0], 90)
    return {
        "type": "envmap",
        "bitmap": mi.Bitmap(gaussian_filter(light, (1.2, 1.2, 0)).astype(np.float32)),
        "to_world": turn,
    }
