"""What the stages have found out about a photo's quality, put together; only the print is read once more."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises, CameraResponse
from fitup.photo import Photo
from fitup.profile.paper_noise import paper_noise
from fitup.profile.print_blur import PrintBlur, print_blur
from fitup.profile.result import GapProfile
from fitup.profile.view import View, view_of
from fitup.scale import ScaleMap

__all__ = ["PhotoReadings", "read_photo"]

_BILINEAR_VARIANCE = 1 / 6  # px², in the response's blur "as sampled"
_DARK = 0.12  # display-encoded: below it noise and the steps of 8 bits count (found on rendered photos)
_CLEAR_MM = 0.3  # beside the arrises, where plate begins
_SHINE = 0.2  # share of burnt samples beside a station, beyond the usual one, from which it glares


@dataclass(frozen=True, kw_only=True)
class PhotoReadings:
    """Numbers of one photo; shares 0 to 1, NaN where not known.

    `blur_px` is the standard deviation of the print's blur, in the direction where it is largest, `moved_px`
    how far the picture moved during the exposure and `moved_deg` that way's angle to the joint, 0 to 90.
    `burnt_share` and `dark_share` are of the plates in the band, `glare_share` of the stations with more
    burnt plate beside them than usual, `lost` shares of stations unseen by reason. `unflat_px` is the
    rms distance of the target's corners from where a plane would have them.
    """

    view: View
    blur_px: float
    moved_px: float
    moved_deg: float
    noise_levels: float
    burnt_share: float
    dark_share: float
    glare_share: float
    saddles_share: float
    unflat_px: float
    megapixels: float
    lens_profile: bool
    in_plate_plane: bool
    lost: dict[str, float]

    @property
    def blur_mm(self) -> float:
        """The blur on the plate."""
        return self.blur_px / self.view.px_per_mm

    @property
    def moved_way(self) -> str:
        """The motion's direction in words."""
        if self.moved_deg < 30:
            return "along the joint"
        return "across the joint" if self.moved_deg > 60 else "slantwise to the joint"


def read_photo(
    photo: Photo,
    scale: ScaleMap,
    arrises: Arrises,
    response: CameraResponse,
    profile: GapProfile,
    station_mm: float,
) -> PhotoReadings:
    """Gather the numbers; `station_mm` is the place that matters most."""
    blur = print_blur(photo, scale.sighting, response)
    burnt, dark = _exposure(arrises)
    usual = float(np.median(burnt))
    count = len(profile.seen)
    return PhotoReadings(
        view=view_of(scale, arrises, station_mm),
        blur_px=_blur(scale, response, blur),
        moved_px=blur.length_px if blur is not None and blur.moved else 0.0,
        moved_deg=_to_joint(profile, blur),
        noise_levels=paper_noise(photo, scale.sighting),
        burnt_share=usual,
        dark_share=dark,
        glare_share=float(np.mean(burnt > usual + _SHINE)),
        saddles_share=len(scale.sighting.saddle_ids) / len(scale.sighting.layout.saddles_mm),
        unflat_px=scale.residual_rms_px,
        megapixels=photo.width_px * photo.height_px / 1e6,
        lens_profile=scale.lens is not None,
        in_plate_plane=arrises.section.in_plate_plane,
        lost={word: n / count for word, n in Counter(profile.unseen_reason).items() if word},
    )


def _blur(scale: ScaleMap, response: CameraResponse, blur: PrintBlur | None) -> float:
    """The print's blur [px]: the response's where it was modelled, the widest where the camera moved."""
    sampled = response.blur_px if response.modelled else scale.print_blur_px
    sigma = float(np.sqrt(max(sampled**2 - _BILINEAR_VARIANCE, 0.01)))
    if blur is None or not blur.moved:
        return sigma
    return max(sigma, float(np.hypot(blur.sigma_px, blur.length_px / np.sqrt(12))))


def _to_joint(profile: GapProfile, blur: PrintBlur | None) -> float:
    """Angle between motion and joint in the photo, 0 to 90 degrees."""
    if blur is None:
        return float("nan")
    way = profile.centre_px[-1] - profile.centre_px[0]
    apart = abs(blur.direction_deg - float(np.degrees(np.arctan2(way[1], way[0])))) % 180
    return min(apart, 180 - apart)


def _exposure(arrises: Arrises) -> tuple[NDArray[np.float64], float]:
    """Share of burnt-out plate beside each station (N,), and of plate that is too dark."""
    band = arrises.band
    every = slice(None, None, 2)  # stations and samples hang together: a quarter of them tells the same
    n = band.n_mm[every]
    near, far = (edge[every, None] for edge in (arrises.near_mm - _CLEAR_MM, arrises.far_mm + _CLEAR_MM))
    plate = (n < near) | (n > far)
    count = np.maximum(plate.sum(axis=1), 1)
    burnt = (band.clipped[every, every] * plate).sum(axis=1) / count
    dark = ((band.profiles[every, every] < _DARK) & plate).sum() / max(int(plate.sum()), 1)
    return np.asarray(burnt, np.float64), float(dark)
