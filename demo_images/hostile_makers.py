"""Makes what hostile_parts.py lists: lamps, drops, grease, film, lines; the rest is in hostile_things.py."""

from __future__ import annotations

from typing import Any

import hostile_parts as hp
import mitsuba as mi
import numpy as np
from assemble import put
from geometry import Shape, dome, grid_shape, ribbon
from hostile_scene import HostileScene
from hostile_things import (
    add_blade,
    add_clamp,
    add_cover,
    add_doubler,
    add_grit,
    add_rod,
    add_tack,
)
from materials import _bitmap, _noise, matte, metal_plain
from numpy.typing import NDArray

__all__ = ["add_part"]

Floats = NDArray[np.float64]
Parts = dict[str, Any]


def add_part(parts: Parts, scene: HostileScene, part: Any, k: int) -> None:
    """Add one of hostile_parts to the scene's dictionary under names of its own."""
    makers = {
        hp.Lamp: _lamp,
        hp.Flash: _flash,
        hp.Panel: _panel,
        hp.Drops: _drops,
        hp.Patch: _patch,
        hp.PlasticFilm: _film,
        hp.Line: _line,
        hp.Strokes: _strokes,
        hp.Grit: add_grit,
        hp.Rod: add_rod,
        hp.Blade: add_blade,
        hp.Tack: add_tack,
        hp.Clamp: add_clamp,
        hp.Cover: add_cover,
        hp.Doubler: add_doubler,
    }
    makers[type(part)](parts, scene, part, f"{type(part).__name__.lower()}{k}")


def _area(colour: Any) -> Parts:
    return {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in colour]}}


def _rectangle(place: Any, aim: Any, half: tuple[float, float], colour: Any, up: Any) -> Parts:
    turn = mi.ScalarTransform4f().look_at(origin=list(place), target=list(aim), up=list(up))
    return {
        "type": "rectangle",
        "to_world": turn @ mi.ScalarTransform4f().scale([half[0], half[1], 1]),
        "emitter": _area(colour),
    }


def _lamp(parts: Parts, scene: HostileScene, part: hp.Lamp, name: str) -> None:
    half = (part.long_mm or part.size_mm) / 2, part.size_mm / 2
    parts[name] = _rectangle(part.place, part.aim, half, part.colour, (0.02, 0.05, 1.0))


def _flash(parts: Parts, scene: HostileScene, part: hp.Flash, name: str) -> None:
    camera = scene.camera
    place = camera.position_mm + np.array([*part.beside_mm, -2.0]) @ camera.rotation
    colour = part.radiance * np.array([1.0, 0.97, 0.93])
    half = part.size_mm / 2
    parts[name] = _rectangle(place, place + camera.rotation[2], (half, half), colour, camera.rotation[1])


def _panel(parts: Parts, scene: HostileScene, part: hp.Panel, name: str) -> None:
    x0, x1 = scene.joint.x_range
    place = ((x0 + x1) / 2, 0.0, part.z)
    half = (x1 - x0) / 2 - 4.0, part.half_width_mm
    parts[name] = _rectangle(place, (place[0], 0.0, 0.0), half, part.colour, (0.0, 1.0, 0.0))


def _drops(parts: Parts, scene: HostileScene, part: hp.Drops, name: str) -> None:
    """Domes of a clear liquid; their rims run flat so that they meet the metal as a wetting drop does."""
    liquid = {"type": "dielectric", "int_ior": 1.36, "ext_ior": 1.0}
    for k, (x, y, along, across, height) in enumerate(part.at):
        rng = np.random.default_rng([79, part.seed, k])
        drop = dome(np.array([x, y, 0.0]), np.array([along, across, height]), rng, rippled=False)
        put(parts, f"clear_{name}_{k}", drop, liquid)


def _patch(parts: Parts, scene: HostileScene, part: hp.Patch, name: str) -> None:
    rng = np.random.default_rng([83, part.seed])
    px = 22.0
    shape = (round(2 * part.half[1] * px), round(2 * part.half[0] * px))
    v, u = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    x, y = u / px - part.half[0], v / px - part.half[1]
    r = np.hypot(x / part.half[0], y / part.half[1]) + 0.10 * _noise(rng, shape, (1.6 * px, 1.6 * px))
    share = np.clip((1 - r) / 0.25, 0, 1)
    if part.kind == "finger":
        swirl = np.hypot(x + 1.5, (y + 0.5 * part.half[1]) * 0.75) + 0.35 * _noise(
            rng, shape, (2.2 * px, 2.2 * px)
        )
        share = share * (0.3 + 0.7 * np.clip(0.6 + 1.2 * np.sin(2 * np.pi * swirl / 0.47), 0, 1))
    else:
        share = share * np.clip(0.75 + 0.3 * _noise(rng, shape, (0.15 * px, 3.0 * px)), 0, 1)
    grease = {
        "type": "roughconductor",
        "material": "Cr",
        "distribution": "ggx",
        "alpha": 0.34 if part.kind == "finger" else 0.15,
        "specular_reflectance": {"type": "rgb", "value": [0.66, 0.68, 0.62]},
    }
    bsdf = {"type": "mask", "opacity": _bitmap(np.clip(share * part.strength, 0, 1), "clamp"),
            "bsdf": {"type": "twosided", "bsdf": grease}}  # fmt: skip
    for side, mesh in _on_faces(scene, part).items():
        put(parts, f"clear_{name}_{side}", mesh, bsdf)


def _on_faces(scene: HostileScene, part: hp.Patch) -> dict[str, Shape]:
    """The part of a turned ellipse's box that lies on plate A's face and on B's, uv over the whole box."""
    a = np.radians(part.turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    reach = float(np.hypot(*part.half))
    x = np.arange(part.centre[0] - reach, part.centre[0] + reach, 0.1)
    bounds = scene.joint.bounds(x)
    limits = {"a": (part.centre[1] - reach, bounds.near[:, 0] - 0.06),
              "b": (bounds.far[:, 0] + 0.06, part.centre[1] + reach)}  # fmt: skip
    made = {}
    for side, (low, high) in limits.items():
        low, high = np.broadcast_to(low, x.shape), np.broadcast_to(high, x.shape)
        if (high - low).max() < 0.3:
            continue
        y = low[:, None] + np.clip(high - low, 0, None)[:, None] * np.linspace(0, 1, 40)
        z = 0.03 + (np.zeros_like(x) if side == "a" else scene.joint.step(x))
        points = np.stack(np.broadcast_arrays(x[:, None], y, z[:, None]), axis=-1)
        local = (points[..., :2] - part.centre) @ turn.T / np.array(part.half)
        uv = (local * [1, 1] + 1) / 2
        keep = grid_shape(points, uv)
        inside = (np.abs(keep.uv[keep.faces] - 0.5) < 0.5).all((1, 2))
        if inside.any():
            made[side] = Shape(points=keep.points, faces=_upward(keep.points, keep.faces[inside]), uv=keep.uv)
    return made


def _upward(points: Floats, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    corner = points[faces[0]]
    up = np.cross(corner[1] - corner[0], corner[2] - corner[0])[2]
    return faces if up > 0 else faces[:, ::-1]


def _film(parts: Parts, scene: HostileScene, part: hp.PlasticFilm, name: str) -> None:
    rng = np.random.default_rng([89, part.seed])
    at = np.array(part.edge)
    x = np.arange(at[0, 0], at[-1, 0], 0.15)
    rag = sum(
        w * _noise(rng, (1, len(x)), (1.0, s / 0.15))[0] for w, s in ((0.10, 0.25), (0.22, 1.5), (0.3, 6))
    )
    edge = np.maximum(np.interp(x, *at.T) + rag, 0.15 + scene.joint.bounds(x).far[:, 0])
    beside = np.r_[0, np.geomspace(0.05, 70.0, 70)]
    y = edge[:, None] + beside
    curl = np.clip(0.5 + 0.45 * _noise(rng, (1, len(x)), (1.0, 40.0))[0], 0.05, 1.5)
    blisters = np.clip(_noise(rng, (len(x), len(beside)), (30.0, 6.0)) - 1.6, 0, 1) * 0.25
    z = scene.joint.step(x)[:, None] + 0.07 + curl[:, None] * 0.45 * np.exp(-beside / 0.9) + blisters
    points = np.stack(np.broadcast_arrays(x[:, None], y, z), axis=-1)
    uv = np.stack(np.broadcast_arrays(x[:, None] / 100, y / 100), axis=-1)
    sheet = grid_shape(points, uv)
    sheet = Shape(points=sheet.points, faces=_upward(sheet.points, sheet.faces), uv=sheet.uv)
    plastic = matte(part.colour, 0.12)
    cover = {"type": "mask", "opacity": part.cover, "bsdf": plastic}
    put(parts, f"clear_{name}", sheet, cover)
    lip = points[:, 1] + [0, 0, 0.01]
    width = np.clip(0.22 + 0.10 * _noise(rng, (1, len(x)), (1.0, 12.0))[0], 0.06, 0.5)
    rim = ribbon(lip[:, :2], width, 0.0)
    rim.points[:, 2] = np.repeat(lip[:, 2] + 0.02, 2)
    put(parts, f"{name}_rim", rim, {"type": "mask", "opacity": 0.7, "bsdf": matte((0.62, 0.72, 0.80), 0.3)})


def _line(parts: Parts, scene: HostileScene, part: hp.Line, name: str) -> None:
    rng = np.random.default_rng([97, part.seed])
    at = np.array(part.through)
    x = np.arange(at[0, 0], at[-1, 0], 0.08)
    y = np.interp(x, *at.T) + 0.02 * _noise(rng, (1, len(x)), (1.0, 60.0))[0]
    width = part.width_mm * np.clip(1 + 0.12 * _noise(rng, (1, len(x)), (1.0, 15.0))[0], 0.4, 1.6)
    z = 0.004 + float(scene.joint.step(np.array(x.mean()))) * float(at[:, 1].mean() > 0)
    path = np.column_stack((x, y))
    if part.kind == "ink":
        put(parts, name, ribbon(path, width, z), matte((0.02, 0.022, 0.05), 0.2))
    else:
        put(parts, name, ribbon(path, width, z, 0.6), metal_plain(0.97, 0.14))


def _strokes(parts: Parts, scene: HostileScene, part: hp.Strokes, name: str) -> None:
    """Facets that a hand tool left beside the arrises, each tilted in its own way."""
    rng = np.random.default_rng([101, part.seed])
    for k in range(part.count):
        length, width = rng.uniform(2.5, 16.0), rng.uniform(0.12, 0.55)
        start = rng.uniform(part.reach[0], part.reach[1] - length)
        x = np.linspace(start, start + length, max(8, int(length / 0.15)))
        bounds = scene.joint.bounds(x)
        far = bool(rng.integers(2))
        side = 1.0 if far else -1.0
        beside = rng.uniform(0.02, 0.35) + 0.05 * np.sin(rng.uniform(0, 6) + x / rng.uniform(0.8, 4))
        edge = (bounds.far if far else bounds.near)[:, 0]
        shape = width * np.sin(np.linspace(0.15, np.pi - 0.15, len(x))) ** 0.5
        y = edge + side * (beside + 0.07 + shape / 2)
        facet = ribbon(np.column_stack((x, y)), shape, 0.012 + 0.0004 * k)
        tilt = np.radians(rng.uniform(-9, 14))
        rise = np.tan(tilt) * side * (facet.points[:, 1] - np.repeat(y, 2))
        facet.points[:, 2] += np.clip(rise, -0.008, 0.05)
        put(parts, f"{name}_{k}", facet, metal_plain(0.96, float(rng.uniform(0.05, 0.22))))
