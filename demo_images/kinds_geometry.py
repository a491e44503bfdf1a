"""The joint kinds as swept cross-sections: which plates there are and where the opening's two bounds lie.

World frame of these scenes: x along the joint, (y, z) the cross-section with plate A's face in z = 0 and its
body at z < 0, y towards and across the joint. Cross-sections follow the drawing in README.md.

A plate is given by its outer arris (on the face that can carry a target), the unit vector `into` from there
along the face into the body, and the face's outward `normal`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from geometry import STEP_MM, waviness
from numpy.typing import NDArray

__all__ = ["Bounds", "KindJoint", "Plate"]

Floats = NDArray[np.float64]
Run = Callable[[Floats], Floats]
REACH_MM = 9.0  # how far from the joint a dent under a lap joint reaches (one sigma)


def _none(x: Floats) -> Floats:
    return np.zeros_like(x)


@dataclass(frozen=True, kw_only=True, eq=False)
class Plate:
    """A plate's swept end at the mesh's S stations; lengths in mm, directions in (y, z).

    `ground_mm` (S,): how much of the outer arris was ground away along the land. `dent_mm` (S,): how deep the
    face lies below its plane where it meets the joint, `dent_at_mm` from the end. `width_mm` is the plate's
    size from the end inwards.
    """

    key: str
    arris: Floats
    into: Floats
    normal: Floats
    sheet_mm: float
    width_mm: float
    ground_mm: Floats
    dent_mm: Floats | None = None
    dent_at_mm: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Bounds:
    """The opening at some x: bounds (N, 2) in (y, z), unit vectors across (v) and out of its plane (w)."""

    near: Floats
    far: Floats
    across: Floats
    out: Floats
    land_near: Floats | None = None
    land_far: Floats | None = None

    @property
    def gap(self) -> Floats:
        """(N,) distance in the opening plane, square to the joint."""
        return np.asarray((self.far - self.near) @ self.across)

    @property
    def step(self) -> Floats:
        """(N,) the rest: how much higher the far bound lies, out of the opening plane."""
        return np.asarray((self.far - self.near) @ self.out)


@dataclass(frozen=True, kw_only=True, eq=False)
class KindJoint:
    """A joint of one kind; functions take x in mm. `sheet_mm` is plate A's thickness, `other_mm` B's."""

    kind: str
    gap: Run
    x_range: tuple[float, float]
    sheet_mm: float = 1.5
    other_mm: float = 1.5
    included_deg: float = 90.0
    set_in_mm: float = 0.75  # half-open corner: how far B's end lies below A's face
    step: Run = field(default=_none)
    ground: Run = field(default=_none)
    waviness_um: float = 6.0
    seed: int = 0
    width_mm: float = 150.0

    @cached_property
    def mesh_x(self) -> Floats:
        """(S,) stations of the mesh."""
        start, end = self.x_range
        return np.linspace(start, end, round((end - start) / STEP_MM) + 1)

    @cached_property
    def _made(self) -> tuple[tuple[Plate, ...], Bounds]:
        maker = {
            "butt": _butt,
            "seam": _butt,
            "corner-full-open": _full_open,
            "corner-half-open": _half_open,
            "corner-flush": _flush,
            "tee": _tee,
            "corner-inside": _tee,
            "lap": _lap,
            "edge": _edge,
            "board": _board,
        }[self.kind]
        return maker(self)

    @property
    def plates(self) -> tuple[Plate, ...]:
        """Plate A first."""
        return self._made[0]

    def plate(self, key: str) -> Plate:
        """The plate called `key`."""
        return next(p for p in self.plates if p.key == key)

    def bounds(self, x: Floats) -> Bounds:
        """The opening's bounds at x, exactly as the mesh has them."""
        made = self._made[1]

        def at(values: Floats) -> Floats:
            return np.stack([np.interp(x, self.mesh_x, values[:, k]) for k in (0, 1)], axis=-1)

        def length(values: Floats | None) -> Floats | None:
            return None if values is None else np.interp(x, self.mesh_x, values)

        return Bounds(
            near=at(made.near),
            far=at(made.far),
            across=made.across,
            out=made.out,
            land_near=length(made.land_near),
            land_far=length(made.land_far),
        )

    def wave(self, k: int) -> Floats:
        """(S,) unevenness of cut edge k."""
        return waviness(self.mesh_x, self.waviness_um / 1000, self.seed * 2 + k)

    def cross(self, y: Floats | float, z: Floats | float) -> Floats:
        """(S, 2) points of the cross-section."""
        pair = np.broadcast_arrays(np.asarray(y, float), np.asarray(z, float), self.mesh_x)[:2]
        return np.stack(pair, axis=-1)


def _vector(y: float, z: float) -> Floats:
    return np.array([y, z], dtype=float)


def _plate_a(j: KindJoint, y: Floats) -> Plate:
    """Plate A with its end at y (S,)."""
    return Plate(
        key="A",
        arris=j.cross(y, 0.0),
        into=_vector(-1, 0),
        normal=_vector(0, 1),
        sheet_mm=j.sheet_mm,
        width_mm=j.width_mm,
        ground_mm=_none(j.mesh_x),
    )


def _butt(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    x = j.mesh_x
    half = j.gap(x) / 2
    a = _plate_a(j, -half + j.wave(0))
    arris = j.cross(half + j.wave(1), j.step(x))
    b = Plate(key="B", arris=arris, into=_vector(1, 0), normal=_vector(0, 1), sheet_mm=j.other_mm,
              width_mm=j.width_mm, ground_mm=_none(x))  # fmt: skip
    return (a, b), Bounds(near=a.arris, far=arris, across=_vector(1, 0), out=_vector(0, 1))


def _full_open(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """Both ends are cut back alike, so that the inner arrises part along v."""
    x, b = j.mesh_x, np.radians((180 - j.included_deg) / 2)
    across, out = _vector(np.cos(b), -np.sin(b)), _vector(np.sin(b), np.cos(b))
    normal, into = _vector(np.sin(2 * b), np.cos(2 * b)), _vector(np.cos(2 * b), -np.sin(2 * b))
    back = j.gap(x) / (2 * np.cos(b))
    a = _plate_a(j, -back + j.wave(0))
    inner_b = j.cross(0.0, -j.sheet_mm) + (back + j.wave(1))[:, None] * into + j.step(x)[:, None] * out
    plate_b = Plate(key="B", arris=inner_b + j.other_mm * normal, into=into, normal=normal,
                    sheet_mm=j.other_mm, width_mm=j.width_mm, ground_mm=j.ground(x))  # fmt: skip
    bounds = Bounds(
        near=a.arris - [0, j.sheet_mm],
        far=inner_b,
        across=across,
        out=out,
        land_near=np.full(len(x), j.sheet_mm),
        land_far=j.other_mm - plate_b.ground_mm,
    )
    return (a, plate_b), bounds


def _half_open(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """B stands upright with its inner face in y = 0; A's end is cut back by the gap."""
    x = j.mesh_x
    a = _plate_a(j, -j.gap(x) + j.wave(0))
    far = j.cross(0.0, -j.set_in_mm + j.wave(1))
    b = Plate(key="B", arris=far + _vector(j.other_mm, 0), into=_vector(0, -1), normal=_vector(1, 0),
              sheet_mm=j.other_mm, width_mm=j.width_mm, ground_mm=_none(x))  # fmt: skip
    near = np.stack((a.arris[:, 0], far[:, 1]), axis=-1)
    lands = np.full(len(x), j.sheet_mm), np.full(len(x), j.other_mm)
    return (a, b), Bounds(near=near, far=far, across=_vector(1, 0), out=_vector(0, 1), land_near=lands[0],
                          land_far=lands[1])  # fmt: skip


def _flush(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    x = j.mesh_x
    a = _plate_a(j, j.wave(0))
    far = j.cross(j.step(x), -j.sheet_mm - j.gap(x) + j.wave(1))
    b = Plate(key="B", arris=far, into=_vector(0, -1), normal=_vector(1, 0), sheet_mm=j.other_mm,
              width_mm=j.width_mm, ground_mm=j.ground(x))  # fmt: skip
    return (a, b), Bounds(
        near=a.arris - [0, j.sheet_mm],
        far=far,
        across=_vector(0, -1),
        out=_vector(1, 0),
        land_near=np.full(len(x), j.sheet_mm),
        land_far=j.other_mm - b.ground_mm,
    )


def _tee(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """A stands on the base, whose surface is y = 0; A's lower end is cut back by the gap."""
    x = j.mesh_x
    a = _plate_a(j, -j.gap(x) + j.wave(0))
    behind = 75.0 if j.kind == "tee" else j.sheet_mm + 1.0
    base = Plate(key="base", arris=j.cross(0.0, -behind), into=_vector(0, 1), normal=_vector(-1, 0),
                 sheet_mm=j.other_mm, width_mm=behind + j.width_mm, ground_mm=_none(x))  # fmt: skip
    return (a, base), Bounds(near=a.arris, far=j.cross(0.0, 0.0), across=_vector(1, 0), out=_vector(0, 1))


def _lap(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """A lies on the lower sheet, whose face is dented under A's edge where the gap is not at its smallest."""
    x = j.mesh_x
    a = _plate_a(j, j.wave(0))
    gap = j.gap(x)
    rest = float(gap.min())
    overlap = 40.0
    low = Plate(key="lower", arris=j.cross(-overlap, -j.sheet_mm - rest), into=_vector(1, 0),
                normal=_vector(0, 1), sheet_mm=j.other_mm, width_mm=overlap + j.width_mm,
                ground_mm=_none(x), dent_mm=gap - rest, dent_at_mm=overlap)  # fmt: skip
    near = a.arris - [0, j.sheet_mm]
    depth = -j.sheet_mm - rest - (gap - rest) * np.exp(-0.5 * (near[:, 0] / REACH_MM) ** 2)
    far = np.stack((near[:, 0], depth), axis=-1)
    return (a, low), Bounds(near=near, far=far, across=_vector(0, -1), out=_vector(1, 0))


def _edge(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """B lies under A, both ends in y = 0; B's face follows the gap."""
    x = j.mesh_x
    a = _plate_a(j, j.wave(0))
    far = j.cross(j.wave(1) + j.step(x), -j.sheet_mm - j.gap(x))
    b = Plate(key="B", arris=far, into=_vector(-1, 0), normal=_vector(0, 1), sheet_mm=j.other_mm,
              width_mm=j.width_mm, ground_mm=_none(x))  # fmt: skip
    return (a, b), Bounds(near=a.arris - [0, j.sheet_mm], far=far, across=_vector(0, -1), out=_vector(1, 0))


def _board(j: KindJoint) -> tuple[tuple[Plate, ...], Bounds]:
    """No joint: one sheet under a lens board."""
    a = _plate_a(j, _none(j.mesh_x))
    return (a,), Bounds(near=a.arris, far=a.arris, across=_vector(1, 0), out=_vector(0, 1))
