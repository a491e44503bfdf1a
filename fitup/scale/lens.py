"""What is known of one phone's lens: a lens profile, and what it means for one photo.

A profile belongs to one module of one phone at one picture size. It is kept in the frame of the picture *as
stored*, before the EXIF orientation; `LensProfile.optics` turns it as the photo is turned. A lens focused at
the distance Z sits at f·Z/(Z - f) from the sensor if it moves as a whole, and nearer to f if not: `focus` is
the share of that stretch that the lens board's photos showed.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitup.scale.lens_model import LensModel, turn_matrix

__all__ = ["PARAMETERS", "LensProfile", "Optics", "stretch"]

Array = NDArray[np.float64]

PARAMETERS = ("log focal", "centre u", "centre v", "focus")  # then the coefficients
# What a lens does from one photo to the next: stabiliser and focus drive move it, warmth too. Shares of
# the focal length and of the picture's diagonal; orders of magnitude, from memory.
_U_FOCAL, _U_CENTRE = 0.001, 0.001
_USUAL_FOCAL_MM = 5.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Optics:
    """The lens of one photo: upright, at its focus, with what is not known of it.

    covariance (3 + K, 3 + K) of log focal length, centre [px] and coefficients; left_px is what the model
    leaves unexplained, root mean square over the picture. A lens guessed from the target alone claims no more
    certainty than an unknown one.
    """

    model: LensModel
    covariance: Array
    left_px: float
    guessed: bool = False

    @classmethod
    def guess(cls, model: LensModel) -> Optics:
        """Return a lens that the target's own saddles tell."""
        size = 3 + len(model.coefficients)
        return cls(model=model, covariance=np.zeros((size, size)), left_px=0.0, guessed=True)

    def fields(self, ideal_px: Array) -> Array:
        """(M, N, 2) shifts in ideal px of points (N, 2), each of unit variance, together all that is unknown.

        The pinhole camera behind the lens stands still: only what lies between it and the pixels moves.
        """
        model = self.model
        slope = model.slope(ideal_px)
        arm = ideal_px - np.array(model.centre_px)
        focal = model.distort(ideal_px) - np.array(model.centre_px) - np.einsum("nij,nj->ni", slope, arm)
        centre = np.moveaxis(np.eye(2) - slope, -1, 0)
        real = np.concatenate((focal[None], centre, model.coefficient_shifts(ideal_px)))
        ideal = np.linalg.solve(slope, np.moveaxis(real, 0, -1))
        return np.asarray(np.moveaxis(ideal @ _root(self.covariance), -1, 0))


@dataclass(frozen=True, kw_only=True, eq=False)
class LensProfile:
    """A lens as the lens board's photos showed it, in the frame of the picture as stored.

    make, model and both focal lengths [mm] are the photos' EXIF, None where it says nothing. `lens` holds at
    the distance `distance_mm`. covariance (4 + K, 4 + K) of `PARAMETERS` and the coefficients. rms_px is the
    root mean square distance of the saddles from the fit, left_px the part of it that is no noise.
    """

    make: str | None
    model: str | None
    software: str | None
    focal_length_mm: float | None
    focal_length_35mm: float | None
    lens: LensModel
    focus: float
    distance_mm: float
    covariance: tuple[tuple[float, ...], ...]
    rms_px: float
    left_px: float
    photo_count: int
    point_count: int
    date: str

    @cached_property
    def sha256(self) -> str:
        """Digest of everything in the profile, the same wherever its file lies."""
        text = json.dumps(self.entries, sort_keys=True, ensure_ascii=True, allow_nan=False)
        return hashlib.sha256(text.encode("ascii")).hexdigest()

    @property
    def entries(self) -> dict[str, Any]:
        """All that a profile's file holds, as plain numbers and texts."""
        lens = self.lens
        return {
            "make": self.make,
            "model": self.model,
            "software": self.software,
            "focal_length_mm": self.focal_length_mm,
            "focal_length_35mm": self.focal_length_35mm,
            "size_px": list(lens.size_px),
            "kind": lens.kind,
            "focal_px": lens.focal_px,
            "centre_px": list(lens.centre_px),
            "coefficients": list(lens.coefficients),
            "focus": self.focus,
            "distance_mm": self.distance_mm,
            "covariance": [list(row) for row in self.covariance],
            "rms_px": self.rms_px,
            "left_px": self.left_px,
            "photo_count": self.photo_count,
            "point_count": self.point_count,
            "date": self.date,
        }

    @property
    def u_focal(self) -> float:
        """Relative standard uncertainty of the focal length at the board's distance."""
        return float(np.sqrt(self.covariance[0][0]))

    @property
    def sentence(self) -> str:
        """One sentence for a person."""
        width, height = self.lens.size_px
        module = "" if self.focal_length_mm is None else f", {self.focal_length_mm:g} mm"
        phone = " ".join(part for part in (self.make, self.model) if part) or "camera not named"
        return (
            f"Lens profile {self.sha256[:8]} of {self.date}: {phone}{module}, {width} × {height} px, "
            f"from {self.photo_count} photos, {self.rms_px:.2f} px rms."
        )

    def optics(self, orientation: int = 1, distance_mm: float | None = None) -> Optics:
        """Return the lens as in a photo with this EXIF orientation, at this distance from the target."""
        C = np.array(self.covariance)
        by_focus = 0.0
        if distance_mm is not None:
            by_focus = stretch(distance_mm, self.distance_mm, self.focal_length_mm)
        model = self.lens.with_focal(self.lens.focal_px * float(np.exp(self.focus * by_focus))).turned(
            orientation
        )
        T = np.zeros((len(C) - 1, len(C)))
        T[0, 0], T[0, 3] = 1.0, by_focus
        T[1:3, 1:3] = turn_matrix(orientation)
        T[3:, 4:] = np.eye(len(C) - 4)
        if model.kind == "opencv" and len(C) > 4:
            T[5:7, 6:8] = turn_matrix(orientation)[
                ::-1, ::-1
            ]  # the pair is kept as (p1, p2), turned as (p2, p1)
        covariance = T @ C @ T.T
        centre = _U_CENTRE * float(np.hypot(*model.size_px))
        covariance[range(3), range(3)] += np.array([_U_FOCAL**2, centre**2, centre**2])
        return Optics(model=model, covariance=covariance, left_px=self.left_px)


def stretch(
    distance_mm: float | NDArray[np.float64], reference_mm: float, focal_length_mm: float | None
) -> Any:
    """Relative growth of the focal length between two focus distances of a lens that moves whole."""
    known = focal_length_mm is not None and 1.0 <= focal_length_mm <= 60.0
    focal = focal_length_mm if known and focal_length_mm is not None else _USUAL_FOCAL_MM
    least = 2.0 * focal
    return np.log1p(-focal / max(reference_mm, least)) - np.log1p(-focal / np.maximum(distance_mm, least))


def _root(covariance: Array) -> Array:
    """(P, M) whose square is the covariance."""
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    values, vectors = np.linalg.eigh(covariance / scale[:, None] / scale)
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0)))
