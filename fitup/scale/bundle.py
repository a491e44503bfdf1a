"""Two targets in one photo, one on each plate: both maps from one camera, and how the plates lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import UsageError
from fitup.photo import Photo
from fitup.scale.bow import bow_field
from fitup.scale.bundle_fit import BundleFit, PrintedPlane, fit_planes
from fitup.scale.finding import TargetSighting
from fitup.scale.focal import camera_prior, lens_prior, open_prior
from fitup.scale.lens import Optics
from fitup.scale.lens_term import LensTerm, lens_term
from fitup.scale.opening import PlaneFrame
from fitup.scale.print_check import DEFAULT_PRINT_U_RELATIVE, PrintRecord
from fitup.scale.saddles import jacobian, project
from fitup.scale.scale_map import (
    FITTED_SHARE,
    FOCAL_CONFLICT,
    SAME_FIT,
    SAME_FIT_PX,
    STRETCH_CONFLICT,
    U_PAPER,
    ScaleMap,
    ideal_saddles,
    map_of_fit,
    no_pose,
    optics_of,
    print_of,
    target_thickness,
)
from fitup.scale.space import CAUSES, PARAMETERS, PairSpace, RelativePose, SpacePlane, SpacePoints

__all__ = ["THICKNESS_SHARE", "TargetPair", "bundle"]

Array = NDArray[np.float64]

# Of the uncertainty of a strip's thickness: the paper's and its backing's own, alike in both strips of one
# sheet; what is left is how tight each of them lies (0.04 and 0.03 of 0.05 mm; common practice, no source).
THICKNESS_SHARE = 0.8

_U_WITHIN_SHEET = 1e-4  # relative, between two strips of one sheet; order of magnitude, from memory


@dataclass(frozen=True, kw_only=True, eq=False)
class TargetPair:
    """Two plates with a target each; everything in space is told in the first plate's frame.

    same_sheet is True where both strips are from one print, so that its error of scale is common to both.
    """

    first: ScaleMap
    second: ScaleMap
    space: PairSpace
    same_sheet: bool

    @property
    def second_in_first(self) -> RelativePose:
        """Where the second plate lies, with covariance."""
        return self.space.second_in_first

    @property
    def second_plane(self) -> SpacePlane:
        """The second plate's face as normal and offset, with covariance."""
        return self.space.second_plane

    @property
    def second_frame(self) -> PlaneFrame:
        """The second plate's face with its target's x and y, for `ScaleMap.onto` of the first."""
        return self.space.second_frame

    @property
    def included_angle_deg(self) -> float:
        """Angle between the plates: 180 where they lie in one plane, less when folded either way."""
        return 180.0 - float(np.degrees(self.space.fold_rad[0]))

    @property
    def u_included_angle_deg(self) -> float:
        """Standard uncertainty of the included angle."""
        return float(np.degrees(self.space.fold_rad[1]))

    @property
    def convex(self) -> bool:
        """Whether the second plate falls away behind the joint (a corner from outside) or rises from it."""
        return bool(self.second_plane.normal[1] > 0)

    def ray(self, points_px: ArrayLike) -> tuple[Array, Array]:
        """Camera's place (3,) and unit directions (..., 3) in which image points (..., 2) are seen."""
        return self.space.ray(self.first.to_ideal_px(points_px))

    def on_first(
        self,
        points_px: ArrayLike,
        depth_mm: float | Array = 0.0,
        u_depth_mm: float = 0.0,
        covariance_px: ArrayLike | None = None,
    ) -> SpacePoints:
        """Where rays of image points (N, 2) meet the first plate's face lowered by a depth (inner arrises).

        covariance_px (N, 2, 2) of the image points, none by default.
        """
        return self._on(0, points_px, depth_mm, u_depth_mm, covariance_px)

    def on_second(
        self,
        points_px: ArrayLike,
        depth_mm: float | Array = 0.0,
        u_depth_mm: float = 0.0,
        covariance_px: ArrayLike | None = None,
    ) -> SpacePoints:
        """Return the same for the second plate; the points are in the first plate's frame."""
        return self._on(1, points_px, depth_mm, u_depth_mm, covariance_px)

    def _on(
        self, index: int, points_px: ArrayLike, depth: float | Array, u_depth: float, noise: ArrayLike | None
    ) -> SpacePoints:
        px = self.first.to_ideal_px(points_px)
        return self.space.on_plate(index, px, depth, u_depth, noise, self.first.lens_term.fields(px))


def bundle(
    photo: Photo,
    sightings: Sequence[TargetSighting],
    print_records: tuple[PrintRecord | None, PrintRecord | None] = (None, None),
    thicknesses_mm: tuple[float | None, float | None] = (None, None),
    same_sheet: bool = False,
) -> TargetPair:
    """Fit the planes of two targets together, with one camera.

    Parameters
    ----------
    sightings : two; the first one's plate gives the frame
    print_records, thicknesses_mm : of each target, as for `scale_map`
    same_sheet : both strips were cut from one print; two strips with one print record are so anyhow

    Raises UsageError for other than two targets or an impossible thickness, RetakeError where no camera fits.
    """
    if len(sightings) != 2:
        raise UsageError(f"A bundle needs two targets in the photo, not {len(sightings)}.")
    same = same_sheet or (print_records[0] is not None and print_records[0] == print_records[1])
    thicknesses = [
        target_thickness(*each) for each in zip(sightings, print_records, thicknesses_mm, strict=True)
    ]
    stretches = _shared(print_records, np.sqrt(2.0), same)
    size = (photo.width_px, photo.height_px)
    optics = optics_of(photo, sightings[0])
    planes = _printed(sightings, print_records, thicknesses, optics)
    fit, source, known = _fit(photo, planes, stretches, optics)
    if optics is not None and not optics.guessed and not known:
        optics = None
        sightings = [replace(seen, choice=seen.choice.contradicted()) for seen in sightings]
        planes = _printed(sightings, print_records, thicknesses, None)
        fit, source, known = _fit(photo, planes, stretches, None)
    term, taken_up = _lens_taken_up(planes, fit, size, known, optics)
    first, second = (
        replace(
            map_of_fit(photo, sighting, record, thickness, fit.plane(k, thickness), source, known, optics),
            lens_term=term,
            distortion_response=taken_up[:, fit.own(k)],
        )
        for k, (sighting, record, thickness) in enumerate(
            zip(sightings, print_records, thicknesses, strict=True)
        )
    )
    return TargetPair(
        first=first,
        second=second,
        space=_space(fit, planes, (first, second), taken_up, _shared(print_records, 1.0, same), same),
        same_sheet=same,
    )


def _printed(
    sightings: Sequence[TargetSighting],
    records: Sequence[PrintRecord | None],
    thicknesses_mm: Sequence[float],
    optics: Optics | None,
) -> tuple[PrintedPlane, ...]:
    planes = []
    for sighting, record, thickness in zip(sightings, records, thicknesses_mm, strict=True):
        factors, _ = print_of(record)
        px, free = ideal_saddles(sighting, factors, optics)
        mm = sighting.saddles_mm * factors
        planes.append(PrintedPlane(points_mm=mm, points_px=px, free=free, thickness_mm=thickness))
    return tuple(planes)


def _shared(records: tuple[PrintRecord | None, PrintRecord | None], share: float, same: bool) -> Array:
    """(2, 2) covariance of the prints' relative errors, `share` times the printer's and the paper's own.

    What one sheet does as a whole, both strips of it do.
    """
    u = np.array([DEFAULT_PRINT_U_RELATIVE if record is None else record.u_relative for record in records])
    variance = share**2 * u**2 + U_PAPER**2
    if not same:
        return np.diag(variance)
    common = float(variance.min())
    return np.asarray(common + np.diag(variance - common + _U_WITHIN_SHEET**2))


def _fit(
    photo: Photo, planes: tuple[PrintedPlane, ...], stretch_covariance: Array, optics: Optics | None
) -> tuple[BundleFit, str, bool]:
    """Fit with what is known of the camera, or with almost nothing where the picture contradicts it.

    Returns the fit, the source of its focal length, and whether the camera was known, as for one target.
    """
    size = (photo.width_px, photo.height_px)
    prior = camera_prior(photo.camera, *size, _sampling(planes))
    if optics is not None and not optics.guessed:
        prior = lens_prior(optics)
    fit = fit_planes(planes, size, prior, stretch_covariance)
    conflict = abs(np.log(fit.focal_px / prior.focal_px)) > FOCAL_CONFLICT * prior.u_relative
    if not conflict and not _stretched(fit, stretch_covariance) and _as_well(fit, planes, 1.0):
        told = prior.source == "assumed" and fit.u_focal < FITTED_SHARE * prior.u_relative
        return fit, "fitted" if told else prior.source, True
    fit = fit_planes(planes, size, open_prior(prior.focal_px), stretch_covariance)
    if _stretched(fit, stretch_covariance) or not _as_well(fit, planes, 1.5):
        raise no_pose()
    return fit, "fitted", False


def _sampling(planes: tuple[PrintedPlane, ...]) -> float:
    """Sampling [px/mm] at the targets' middles, in the direction that the slant does not shorten.

    It stands for the distance that the lens is focused at; on which of the two is not known.
    """
    local = np.stack([jacobian(plane.free, plane.points_mm.mean(0)) for plane in planes])
    return float(np.exp(np.log(np.linalg.norm(local, ord=2, axis=(1, 2))).mean()))


def _stretched(fit: BundleFit, stretch_covariance: Array) -> bool:
    """Whether a print is stretched beyond its uncertainty, which means that no camera sees it so."""
    return bool(np.any(np.abs(fit.stretches) > STRETCH_CONFLICT * np.sqrt(np.diag(stretch_covariance))))


def _as_well(fit: BundleFit, planes: tuple[PrintedPlane, ...], share: float) -> bool:
    """Whether each target fits a camera about as well as it fits any plane's picture."""
    for plane, rms in zip(planes, fit.rms_px, strict=True):
        miss = plane.points_px - project(plane.free, plane.points_mm)
        loose = float(np.sqrt((miss**2).sum(1).mean()))
        if rms > share * max(SAME_FIT * loose, loose + SAME_FIT_PX):
            return False
    return True


def _lens_taken_up(
    planes: tuple[PrintedPlane, ...],
    fit: BundleFit,
    size_px: tuple[int, int],
    known: bool,
    optics: Optics | None,
) -> tuple[LensTerm, Array]:
    """What the lens may still do once all residuals are seen, and (M, P) what the fit took up of it."""
    term = lens_term(size_px, known, optics)
    fields = [term.fields(plane.points_px) for plane in planes]
    taken_up = np.sum(
        [f.reshape(len(f), -1) @ gain.T for f, gain in zip(fields, fit.gains, strict=True)], axis=0
    )
    left = [
        fit.plane(k, plane.thickness_mm).left_of(fields[k], taken_up[:, fit.own(k)], plane.points_mm)
        for k, plane in enumerate(planes)
    ]
    term = term.given(np.concatenate(left, axis=1), np.concatenate(fit.residuals_px))
    return term, term.mixed(taken_up)


def _space(
    fit: BundleFit,
    planes: tuple[PrintedPlane, ...],
    maps: tuple[ScaleMap, ScaleMap],
    taken_up: Array,
    print_covariance: Array,
    same_sheet: bool,
) -> PairSpace:
    """Everything that is not certain, and what the fit makes of it (see `CAUSES`)."""
    lens = taken_up
    count = CAUSES["lens and distance"].start + len(lens)
    responses = np.zeros((PARAMETERS, count))
    responses[:, :PARAMETERS] = np.eye(PARAMETERS)
    scale, thickness = CAUSES["print"].start, CAUSES["thickness"].start
    for k, (plane, seen) in enumerate(zip(planes, maps, strict=True)):
        shift = slice(6 * k + 3, 6 * k + 6)
        up = fit.rotations[k][:, 2]
        responses[shift, scale + k] = fit.translations[k] + plane.thickness_mm * up
        responses[shift, thickness + k] = -seen.u_thickness_mm * up
        part = fit.plane(k, plane.thickness_mm)
        field = bow_field(part, plane.points_mm, seen.sighting.layout.length_mm)
        responses[:, thickness + 2 + k] = seen.bow_mm * (fit.gains[k] @ field.ravel())
    responses[:, CAUSES["lens and distance"]] = lens.T
    covariance = np.eye(count)
    covariance[:PARAMETERS, :PARAMETERS] = fit.covariance
    covariance[CAUSES["print"], CAUSES["print"]] = print_covariance
    if same_sheet:
        covariance[thickness, thickness + 1] = covariance[thickness + 1, thickness] = THICKNESS_SHARE**2
    return PairSpace(
        rotations=np.stack(fit.rotations),
        translations_mm=np.stack(fit.translations),
        camera_matrix=fit.camera_matrix,
        responses=responses,
        influence_covariance=covariance,
    )
