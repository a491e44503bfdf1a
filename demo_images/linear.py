"""Linear light of a scene, kept in a folder, so that many cameras can look at it without rendering anew.

    from linear import load_linear
    kept = load_linear(Path("out/suite/linear/h01_clean.npz"))
    pixels = camera.develop(kept.light.astype(np.float32), kept.paper, scene.camera, scene.picture)

Only what is measured is rendered at full sampling: the joint with some millimetres on either side, and the
targets. The rest is rendered at a quarter of the size, smoothed and enlarged; the seams between both fade
over `FADE_PX`. So some thirty scenes can be made on two processor cores in about an hour.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Linear", "full_boxes", "linear_render", "load_linear", "save_linear"]

BESIDE_MM = 6.0  # how far from the joint the full sampling reaches
AROUND_MM = 2.5  # how far around a target's pattern
FADE_PX = 28
COARSE = 0.25


@dataclass(frozen=True, kw_only=True, eq=False)
class Linear:
    """Linear light (H, W, 3) float16 of the film (margin included), and the level of white paper (3,)."""

    light: NDArray[np.float16]
    paper: NDArray[np.float32]


def load_linear(path: Path) -> Linear:
    """Read NAME.npz: `light` (H, W, 3) float16, `paper` (3,) float32."""
    with np.load(path) as kept:
        return Linear(light=kept["light"], paper=kept["paper"])


def save_linear(path: Path, linear: Linear) -> None:
    """Write NAME.npz."""
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(path, light=linear.light, paper=linear.paper)


def linear_render(scene: Any, folder: Path, samples: int = 64, detail: float = 1.25) -> Linear:
    """Give the scene's linear light: from `folder` if it lies there, else rendered and put there.

    The renderer's variant must be set before (`mitsuba.set_variant`), unless the render is kept already.
    """
    path = folder / f"{scene.name}.npz"
    if path.exists():
        return load_linear(path)
    from render import _makers, paper_level

    world, _parts = _makers(scene)[0](scene, detail)
    options = argparse.Namespace(scale=1.0, crop=None, samples=samples)
    linear = Linear(light=_light(scene, world, samples), paper=paper_level(scene, world, options))
    save_linear(path, linear)
    return linear


def _light(scene: Any, world: Any, samples: int) -> NDArray[np.float16]:
    from render import render

    camera = scene.camera
    size = np.array([camera.width_px, camera.height_px]) + 2 * camera.margin_px
    coarse = render(scene, world, argparse.Namespace(scale=COARSE, crop=None, samples=samples))
    coarse = cv2.GaussianBlur(np.minimum(coarse, 12.0), (0, 0), 0.6)
    light = cv2.resize(coarse, size.tolist(), interpolation=cv2.INTER_CUBIC)
    light = np.maximum(light, 0).astype(np.float32)
    for left, top, width, height in full_boxes(scene):
        crop = [left, top, width, height]
        fine = render(scene, world, argparse.Namespace(scale=1.0, crop=crop, samples=samples))
        window = light[top : top + height, left : left + width]
        window += _fade(crop, size) * (np.minimum(fine, 12.0) - window)
    return light.astype(np.float16)


def _fade(box: list[int], size: NDArray[Any]) -> NDArray[np.float32]:
    """(height, width, 1) weight of a window: 1 inside, falling to 0 at those of its sides within the film."""
    ramps = []
    for start, length, whole in zip(box[:2], box[2:], size.tolist(), strict=True):
        at = np.arange(length) + 0.5
        low = at if start > 0 else np.full(length, float(FADE_PX))
        high = length - at if start + length < whole else np.full(length, float(FADE_PX))
        share = np.clip(np.minimum(low, high) / FADE_PX, 0, 1)
        ramps.append(share * share * (3 - 2 * share))
    return np.asarray(ramps[1][:, None, None] * ramps[0][:, None], dtype=np.float32)


def full_boxes(scene: Any) -> list[tuple[int, int, int, int]]:
    """Windows (left, top, width, height) on the film to render at full sampling, the seams' fade included."""
    groups = [_target_points(scene, k) for k in range(len(scene.targets))] + _joint_points(scene)
    size = np.array([scene.camera.width_px, scene.camera.height_px]) + 2 * scene.camera.margin_px
    boxes = []
    for points in groups:
        at = scene.camera.film_px(points)
        low = np.clip(np.floor(at.min(0)) - FADE_PX, 0, size).astype(int)
        high = np.clip(np.ceil(at.max(0)) + FADE_PX, 0, size).astype(int)
        if (high > low + 2 * FADE_PX).all():
            boxes.append((int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])))
    return boxes


def _target_points(scene: Any, k: int) -> NDArray[np.float64]:
    """A grid over the target's pattern where it lies in the world."""
    target = scene.targets[k]
    layout = target.layout
    x = np.linspace(-AROUND_MM, layout.length_mm + AROUND_MM, 12) * target.print_factors[0]
    y = np.linspace(-layout.width_mm - AROUND_MM, AROUND_MM, 8) * target.print_factors[1]
    flat = np.stack([*np.meshgrid(x, y), np.zeros((8, 12))], axis=-1).reshape(-1, 3)
    return np.asarray(target.place(flat, scene.joint) if hasattr(target, "place")
                      else target.frame(scene.joint).world(flat))  # fmt: skip


def _joint_points(scene: Any) -> list[NDArray[np.float64]]:
    """The joint's opening and its surroundings, in pieces so that a slanted joint's windows stay narrow."""
    joint, out = scene.joint, []
    x = np.linspace(*joint.x_range, 400)
    seen = scene.camera.film_px(np.column_stack((x, joint.bounds(x).near)))
    size = np.array([scene.camera.width_px, scene.camera.height_px]) + 2 * scene.camera.margin_px
    x = x[((seen > -40) & (seen < size + 40)).all(1)]
    slant = np.abs(np.ptp(scene.camera.film_px(np.column_stack((x, joint.bounds(x).near)))[:, 1]))
    for piece in np.array_split(x, 1 + int(slant > 160)):
        bounds = joint.bounds(piece)
        sides = [p.into for p in joint.plates]
        at = [bounds.near + BESIDE_MM * sides[0], bounds.far + BESIDE_MM * sides[-1], bounds.near, bounds.far]
        out.append(np.concatenate([np.column_stack((piece, yz)) for yz in at]))
    return out
