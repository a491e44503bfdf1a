"""A plane in the target's space in which lengths are measured: the plates' own, or a joint's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["PlaneFrame"]

Vector = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneFrame:
    """Origin and two axes at right angles, (3,) each [mm], in the target frame with z = 0 on the plate.

    Raises ValueError for axes that are not of unit length and square to each other.
    """

    origin_mm: Vector
    along: Vector
    across: Vector

    def __post_init__(self) -> None:
        both = np.stack([self.along, self.across])
        if not np.allclose(both @ both.T, np.eye(2), atol=1e-9):
            raise ValueError("the axes of a plane must be of unit length and square to each other")

    @classmethod
    def plate(cls) -> PlaneFrame:
        """Return the plate's own plane: the target's x and y."""
        return cls(origin_mm=np.zeros(3), along=np.eye(3)[0], across=np.eye(3)[1])

    @property
    def matrix(self) -> Vector:
        """(3, 3) with along, across and origin in its columns."""
        return np.stack([self.along, self.across, self.origin_mm], axis=1)

    @property
    def axes(self) -> Vector:
        """(3, 3) with along, across and the plane's normal in its columns."""
        return np.stack([self.along, self.across, np.cross(self.along, self.across)], axis=1)

    def to_space(self, points_mm: Vector) -> Vector:
        """Points of the plane (..., 2) to the target's space (..., 3)."""
        return np.asarray(self.origin_mm + points_mm @ np.stack([self.along, self.across]))
