"""The camera beside the joint in numbers: distance, sampling, angles, and how near it could come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises
from fitup.scale import ScaleMap
from fitup.scale.saddles import project

__all__ = ["View", "view_of"]

NEAREST_MM = 100.0  # nearer than this many phones do not focus (from memory)
_ROOM = 0.95  # of the frame that strip and its rim may fill


@dataclass(frozen=True, kw_only=True)
class View:
    """How the camera looked at the decisive place, or at the joint's middle.

    `most_px_per_mm` is the sampling with which the target still fits into the frame and the phone focuses.
    `tilt_deg` is the angle of the optical axis to the target's normal, `slant_deg` that of the line of sight
    across the joint to the normal of the plane it opens in; `target_mm` from the pattern's rim to the joint.
    """

    px_per_mm: float
    most_px_per_mm: float
    distance_mm: float
    tilt_deg: float
    slant_deg: float
    steepest_deg: float
    target_mm: float

    def distance_for(self, px_per_mm: float) -> float:
        """Distance from which the same camera has another sampling [mm]."""
        return self.distance_mm * self.px_per_mm / px_per_mm


def view_of(scale: ScaleMap, arrises: Arrises, station_mm: float) -> View:
    """Look at the station of the band that is nearest to `station_mm`."""
    band = arrises.band
    index = int(np.argmin(np.abs(band.station_mm - station_mm)))
    place = band.xy_mm[index]
    sampling = float(scale.px_per_mm(place))
    distance = float(np.linalg.norm(scale.camera_position_mm - [*place, 0.0]))
    fits = sampling * _room_left(scale)
    return View(
        px_per_mm=sampling,
        most_px_per_mm=max(min(fits, sampling * distance / NEAREST_MM), 1e-3),
        distance_mm=distance,
        tilt_deg=float(scale.tilt_deg),
        slant_deg=float(np.degrees(np.arctan(abs(arrises.tangent[index])))),
        steepest_deg=float(np.degrees(np.arctan(arrises.section.steepest_tangent))),
        target_mm=float(_beside(scale, place)),
    )


def _room_left(scale: ScaleMap) -> float:
    """By how much the target's picture could grow before it passes the frame."""
    layout = scale.sighting.layout
    ends = scale.sighting.to_px(
        np.array([[0.0, -layout.width_mm / 2], [layout.length_mm, -layout.width_mm / 2]])
    )
    way = np.maximum(np.abs(ends[1] - ends[0]), 1e-6)
    return float(_ROOM * (np.array(scale.size_px) / way).min())


def _beside(scale: ScaleMap, place_mm: NDArray[np.float64]) -> float:
    """How far a place lies, as the photo shows it, from the pattern's rim on the joint's side [mm]."""
    seen = scale.to_ideal_px(scale.to_px(place_mm))
    on_print = project(np.linalg.inv(scale.sighting.homography).astype(np.float64), seen)
    return max(float(on_print[1]), 0.0)
