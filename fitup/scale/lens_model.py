"""Where a lens puts what an ideal pinhole camera would see, and back: the two lens models of OpenCV.

A lens model moves points of the picture. *Ideal* pixels are those of a pinhole camera with the model's own
focal length and centre; *real* pixels are those of the photo. In units of the focal length from the centre,
x = (x, y), r = |x|, the real point is

opencv    x (1 + k1 r² + k2 r⁴ + k3 r⁶) / (1 + k4 r² + k5 r⁴ + k6 r⁶) + 2 (p·x) x + r² p,  p = (p2, p1)
fisheye   x θd / r,  θd = θ (1 + k1 θ² + k2 θ⁴ + k3 θ⁶ + k4 θ⁸),  θ = atan r

with the coefficients in OpenCV's order (its documentation of camera calibration and of the fisheye model).
Beyond the reach of what was fitted both are continued straight, so that a far point never folds back into
the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["COEFFICIENTS", "LensKind", "LensModel", "turn_matrix"]

Array = NDArray[np.float64]
LensKind = Literal["opencv", "fisheye"]

COEFFICIENTS: dict[LensKind, tuple[str, ...]] = {
    "opencv": ("k1", "k2", "p1", "p2", "k3", "k4", "k5", "k6"),
    "fisheye": ("k1", "k2", "k3", "k4"),
}
_RIM = 1.15  # how far beyond the picture's farthest corner the model is used as it is
_LEAST_SLOPE = 0.05  # growth of the real radius below which the model is folding back
_FISHEYE_LIMIT = 8.0  # ideal radius over focal length: 83 degrees from the axis
_NEWTON_STEPS = 30

# What brings stored pixel directions upright, by EXIF orientation (EXIF 2.3, tag 274): rows for u and v.
_TURNS: dict[int, tuple[tuple[int, int], tuple[int, int]]] = {
    1: ((1, 0), (0, 1)),
    2: ((-1, 0), (0, 1)),
    3: ((-1, 0), (0, -1)),
    4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)),
    6: ((0, -1), (1, 0)),
    7: ((0, -1), (-1, 0)),
    8: ((0, 1), (-1, 0)),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class LensModel:
    """One lens: size of its pictures, focal length and centre in px, coefficients in OpenCV's order.

    Pixels are square. Raises ValueError for a wrong number of coefficients or what is not finite.
    """

    kind: LensKind
    size_px: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    coefficients: tuple[float, ...]

    def __post_init__(self) -> None:
        counts = {"opencv": (0, 4, 5, 8), "fisheye": (0, 4)}[self.kind]
        if len(self.coefficients) not in counts:
            raise ValueError(f"a lens of kind {self.kind} has {counts} coefficients")
        numbers = (self.focal_px, *self.centre_px, *self.coefficients)
        if not np.all(np.isfinite(numbers)) or self.focal_px <= 0:
            raise ValueError("a lens needs finite numbers and a positive focal length")

    @property
    def camera_matrix(self) -> Array:
        """(3, 3) as OpenCV writes it."""
        f, (u, v) = self.focal_px, self.centre_px
        return np.array([[f, 0, u], [0, f, v], [0, 0, 1.0]])

    def distort(self, ideal_px: Array) -> Array:
        """Ideal points (..., 2) px to where the lens puts them, real px."""
        centre = np.array(self.centre_px)
        x = (ideal_px - centre) / self.focal_px
        return np.asarray(centre + self.focal_px * self._moved(x)[0])

    def undistort(self, real_px: Array) -> Array:
        """Real points (..., 2) px to where a pinhole camera would have them; the inverse of `distort`."""
        centre = np.array(self.centre_px)
        wanted = (np.asarray(real_px, dtype=np.float64) - centre) / self.focal_px
        x = self._start(wanted)
        for _ in range(_NEWTON_STEPS):
            moved, slope = self._moved(x)
            miss, (a, b), (c, d) = wanted - moved, slope[..., 0, :].T, slope[..., 1, :].T
            step = np.stack(
                (d * miss[..., 0].T - b * miss[..., 1].T, a * miss[..., 1].T - c * miss[..., 0].T)
            )
            step = (step / (a * d - b * c)).T
            x = x + step
            if not step.size or np.max(np.abs(step)) < 1e-13 * max(1.0, float(np.max(np.abs(x)))):
                break
        return np.asarray(centre + self.focal_px * x)

    def slope(self, ideal_px: Array) -> Array:
        """(..., 2, 2) derivative of `distort`."""
        return self._moved((ideal_px - np.array(self.centre_px)) / self.focal_px)[1]

    def coefficient_shifts(self, ideal_px: Array) -> Array:
        """(K, ..., 2) shift in real px of ideal points for a unit change of each coefficient."""
        x = (ideal_px - np.array(self.centre_px)) / self.focal_px
        shifts = _by_coefficient(self.kind, self.coefficients, x)
        return np.asarray(self.focal_px * np.moveaxis(shifts, -1, 0))

    def turned(self, orientation: int) -> LensModel:
        """Return the same lens for pictures turned upright by an EXIF orientation (1 to 8).

        A turn or a mirror image maps pixels one to one; the radial part does not change, the tangential
        pair (p2, p1) turns as a vector does.
        """
        turn = turn_matrix(orientation)
        middle = (np.array(self.size_px) - 1) / 2
        size = self.size_px if orientation < 5 else self.size_px[::-1]
        centre = (np.array(size) - 1) / 2 + turn @ (np.array(self.centre_px) - middle)
        coefficients = self.coefficients
        if self.kind == "opencv" and coefficients:
            p2, p1 = turn @ np.array([coefficients[3], coefficients[2]])
            coefficients = (*coefficients[:2], float(p1), float(p2), *coefficients[4:])
        return replace(
            self, size_px=size, centre_px=(float(centre[0]), float(centre[1])), coefficients=coefficients
        )

    def with_focal(self, focal_px: float) -> LensModel:
        """Return the same lens at another focus: all angles stay."""
        return replace(self, focal_px=focal_px)

    @property
    def covers_the_picture(self) -> bool:
        """Whether the model is one to one as far as the corners (fisheye: or as 83 degrees from the axis)."""
        far = self._corner if self.kind == "opencv" else min(self._corner, _FISHEYE_LIMIT)
        return float(self._reach) >= far

    @cached_property
    def _corner(self) -> float:
        """Ideal radius of the picture's farthest corner, over the focal length; infinite if there is none."""
        width, height = self.size_px
        corners = np.array([[0, 0], [width - 1, 0], [0, height - 1], [width - 1, height - 1.0]])
        far = float(np.max(np.linalg.norm(corners - np.array(self.centre_px), axis=1))) / self.focal_px
        radii = np.linspace(0, _FISHEYE_LIMIT, 1601)
        real = _radial(self.kind, self.coefficients, radii)[0] * radii
        beyond = np.flatnonzero(real >= far)
        return float(radii[beyond[0]]) if len(beyond) else np.inf

    @cached_property
    def _reach(self) -> float:
        """Ideal radius over the focal length up to which the model is used as it is."""
        end = min(_RIM * self._corner, _FISHEYE_LIMIT)
        radii = np.linspace(0, end, 801)
        radial, slope = _radial(self.kind, self.coefficients, radii)
        growth = radial + radii * slope
        if self.kind == "fisheye":
            growth = growth * (1 + radii**2)  # over the angle instead of its tangent
        folded = np.flatnonzero(~((growth > _LEAST_SLOPE) & (radial > 0)))
        return float(radii[max(folded[0] - 1, 1)]) if len(folded) else float(end)

    def _start(self, wanted: Array) -> Array:
        """Rough inverse along the radius, by table: Newton from here does not wander."""
        r = np.linalg.norm(wanted, axis=-1, keepdims=True)
        radii = np.linspace(0, self._reach, 257)
        real = _radial(self.kind, self.coefficients, radii)[0] * radii
        inside = np.interp(r, real, radii)
        ratio = np.where(r > 0, inside / np.maximum(r, 1e-300), 1.0)
        beyond = np.maximum(r - real[-1], 0)
        return np.asarray(wanted * (ratio + beyond / np.maximum(r, 1e-300)))

    def _moved(self, x: Array) -> tuple[Array, Array]:
        """Real points and the (..., 2, 2) derivative, both over the focal length."""
        r = np.linalg.norm(x, axis=-1, keepdims=True)
        reach = self._reach
        inner = x * np.minimum(1.0, reach / np.maximum(r, 1e-300))
        moved, slope = _inside(self.kind, self.coefficients, inner)
        far = r > reach
        if not np.any(far):
            return moved, slope
        # Beyond the reach: as at the reach, and straight outwards from there.
        out = x / np.maximum(r, 1e-300)
        ratio = (reach / np.maximum(r, 1e-300))[..., None]
        across = np.eye(2) - out[..., :, None] * out[..., None, :]
        straight = out[..., :, None] * out[..., None, :] + (1 - ratio) * across
        beyond = slope @ (ratio * across) + straight
        return (
            np.asarray(np.where(far, moved + x - inner, moved)),
            np.asarray(np.where(far[..., None], beyond, slope)),
        )


def turn_matrix(orientation: int) -> Array:
    """(2, 2) what brings directions of the stored picture upright."""
    return np.array(_TURNS[orientation], dtype=np.float64)


def _polynomials(kind: LensKind, c: tuple[float, ...]) -> tuple[Array, Array]:
    """Coefficients of numerator and denominator of the radial ratio, lowest power first."""
    if not c:
        return np.array([1.0]), np.array([1.0])
    if kind == "fisheye":
        return np.array([1.0, *c]), np.array([1.0])
    k3 = c[4] if len(c) > 4 else 0.0
    return np.array([1.0, c[0], c[1], k3]), np.array([1.0, *c[5:]])


def _radial(kind: LensKind, c: tuple[float, ...], r: Array) -> tuple[Array, Array]:
    """Real over ideal radius and its derivative with respect to the ideal radius, for radii (...,)."""
    if kind == "fisheye" and c:
        theta = np.arctan(r)
        powers = np.polynomial.polynomial.Polynomial(_polynomials(kind, c)[0])
        t2 = theta**2
        bent = theta * powers(t2)
        d_bent = (powers(t2) + 2 * t2 * powers.deriv()(t2)) / (1 + r**2)
        small = r < 1e-6
        safe = np.where(small, 1.0, r)
        ratio = np.where(small, 1.0, bent / safe)
        return np.asarray(ratio), np.asarray(np.where(small, 0.0, (d_bent - ratio) / safe))
    over, under = (np.polynomial.polynomial.Polynomial(p) for p in _polynomials(kind, c))
    r2 = r**2
    n, d = over(r2), under(r2)
    d = np.where(np.abs(d) < 1e-9, 1e-9, d)
    slope = 2 * r * (over.deriv()(r2) * d - n * under.deriv()(r2)) / d**2
    return np.asarray(n / d), np.asarray(slope)


def _inside(kind: LensKind, c: tuple[float, ...], x: Array) -> tuple[Array, Array]:
    r = np.linalg.norm(x, axis=-1)
    ratio, slope = _radial(kind, c, r)
    per_r = np.where(r > 1e-12, slope / np.where(r > 1e-12, r, 1.0), 0.0)
    moved = ratio[..., None] * x
    outer = x[..., :, None] * x[..., None, :]
    derivative = ratio[..., None, None] * np.eye(2) + per_r[..., None, None] * outer
    if kind == "opencv" and c:
        p = np.array([c[3], c[2]])
        px = (x @ p)[..., None]
        moved = moved + 2 * px * x + (r**2)[..., None] * p
        mixed = x[..., :, None] * p + p[:, None] * x[..., None, :]
        derivative = derivative + 2 * (px[..., None] * np.eye(2) + mixed)
    return np.asarray(moved), np.asarray(derivative)


def _by_coefficient(kind: LensKind, c: tuple[float, ...], x: Array) -> Array:
    """(..., 2, K) derivative of the real point with respect to the coefficients, over the focal length."""
    r = np.linalg.norm(x, axis=-1)
    if not c:
        return np.zeros((*x.shape, 0))
    if kind == "fisheye":
        theta = np.arctan(r)
        ratio = np.where(r > 1e-12, theta / np.where(r > 1e-12, r, 1.0), 1.0)
        powers = np.stack([theta ** (2 * k + 2) for k in range(len(c))], axis=-1)
        return np.asarray(x[..., :, None] * (ratio[..., None] * powers)[..., None, :])
    r2 = r**2
    over, under = _polynomials(kind, c)
    n = np.polynomial.polynomial.polyval(r2, over)
    d = np.polynomial.polynomial.polyval(r2, under)
    radial = [r2 / d, r2**2 / d, r2**3 / d, *(-n / d**2 * r2**k for k in (1, 2, 3))]
    p1 = np.stack((2 * x[..., 0] * x[..., 1], r2 + 2 * x[..., 1] ** 2), axis=-1)
    p2 = np.stack((r2 + 2 * x[..., 0] ** 2, 2 * x[..., 0] * x[..., 1]), axis=-1)
    columns = [radial[0][..., None] * x, radial[1][..., None] * x, p1, p2]
    columns += [part[..., None] * x for part in radial[2:]]
    return np.stack(columns[: len(c)], axis=-1)
