"""The map between the photo and the plane in which the joint's upper arrises lie, with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import RetakeError, UsageError
from fitup.photo import Photo
from fitup.scale.bow import apparent_bow
from fitup.scale.edge_profiles import edge_blur_px, sample_edges
from fitup.scale.finding import TargetSighting
from fitup.scale.focal import camera_prior, lens_prior, open_prior
from fitup.scale.lens import LensProfile, Optics
from fitup.scale.lens_term import LensTerm, lens_term
from fitup.scale.opening import PlaneFrame
from fitup.scale.plane import CameraPrior, PlaneFit, fit_pose, pixel_shifts, plane_matrices
from fitup.scale.print_check import DEFAULT_PRINT_U_RELATIVE, THICKNESS_LIMIT_MM, PrintRecord
from fitup.scale.saddles import jacobian, project

__all__ = ["ScaleMap", "edge_profiles", "scale_map"]

STRETCH_CONFLICT = 3.0
U_PAPER = 5e-4  # relative; order of magnitude, from memory
U_THICKNESS_MM = 0.05  # paper, paste, and lying not quite tight
_STRAIN_STEP_MM = 0.5
SAME_FIT, SAME_FIT_PX = 1.15, 0.03
FOCAL_CONFLICT = 4.0
FITTED_SHARE = 0.5


_Shifts: TypeAlias = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleMap:
    """Image pixels and millimetres of the joint's plane: the target's face lowered by its thickness.

    homography (3, 3) *ideal* px <- mm: what a pinhole camera would see. `to_px` and `to_mm` add what the lens
    does to that where a profile of it is known (`lens`; `optics` is that lens as it was in this photo).
    parameter_covariance (P, P) belongs to `tangents` (P, 3, 3), the derivatives of the homography.
    camera_position_mm (3,) has z from the mapped plane. rotation (3, 3), translation_mm (3,) take the
    target frame, with z from the plate's plane, to the camera, camera_matrix (3, 3) takes that to ideal px.
    `frame` is the mapped plane: the plate's own, or another one (`onto`). bow_mm is the bow that residuals
    would mean if the strip, not the lens, made them. camera_known is False where the picture contradicts
    its EXIF or looks cropped. lens_term, distortion_response (M, P): what the lens may do, what the fit took
    up of it.
    """

    sighting: TargetSighting
    print_record: PrintRecord | None
    homography: NDArray[np.float64]
    parameter_covariance: NDArray[np.float64]
    tangents: NDArray[np.float64]
    lens_term: LensTerm
    distortion_response: NDArray[np.float64]
    bow_response: NDArray[np.float64]
    bow_mm: float
    camera_position_mm: NDArray[np.float64]
    rotation: NDArray[np.float64]
    translation_mm: NDArray[np.float64]
    camera_matrix: NDArray[np.float64]
    frame: PlaneFrame
    focal_px: float
    u_focal_relative: float
    focal_source: str
    residual_rms_px: float
    residual_mm: float
    print_blur_px: float
    tilt_deg: float
    thickness_mm: float
    camera_known: bool
    size_px: tuple[int, int]
    optics: Optics | None = None

    @property
    def lens(self) -> LensProfile | None:
        """The lens profile that was used."""
        return None if self.optics is None or self.optics.guessed else self.sighting.choice.used

    def onto(self, frame: PlaneFrame) -> ScaleMap:
        """Return the map of another plane in the target's space; its x and y run along and across that plane.

        The camera is the same, and so are the parameters: their covariance carries over.
        """
        homography, tangents = plane_matrices(
            self.rotation, self.translation_mm, self.camera_matrix, frame.matrix
        )
        camera = -self.rotation.T @ self.translation_mm
        return replace(
            self,
            homography=homography,
            tangents=np.concatenate([tangents, np.zeros((1, 3, 3))]),
            camera_position_mm=frame.axes.T @ (camera - frame.origin_mm),
            frame=frame,
        )

    def to_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Points of the joint's plane (..., 2) mm to the image (..., 2) px."""
        ideal = project(self.homography, np.asarray(points_mm, dtype=np.float64))
        return ideal if self.optics is None else self.optics.model.distort(ideal)

    def to_mm(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Image points (..., 2) px to the joint's plane (..., 2) mm."""
        return project(self._inverse, self.to_ideal_px(points_px))

    def to_ideal_px(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Image points (..., 2) px to where a pinhole camera would have them."""
        real = np.asarray(points_px, dtype=np.float64)
        return real if self.optics is None else self.optics.model.undistort(real)

    def px_per_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Local sampling (...,), the geometric mean over directions."""
        points = np.asarray(points_mm, dtype=np.float64)
        local = jacobian(self.homography, points)
        if self.optics is not None:
            local = self.optics.model.slope(project(self.homography, points)) @ local
        return np.asarray(np.sqrt(np.abs(np.linalg.det(local))))

    def view_tangents(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """(..., 2) tangent of the view angle from the plate's normal, along x and y."""
        points = np.asarray(points_mm, dtype=np.float64)
        return np.asarray((self.camera_position_mm[:2] - points) / self.camera_position_mm[2])

    def relative_u_saddles(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """(...,) relative standard uncertainty of a short length across (y), from the fit of the plane."""
        strain = self._strain(points_mm, self.tangents)
        u2 = np.einsum("p...,pq,q...->...", strain, self.parameter_covariance, strain)
        return np.asarray(np.sqrt(np.maximum(u2, 0)))

    def relative_u(self, points_mm: ArrayLike) -> dict[str, NDArray[np.float64]]:
        """Relative standard uncertainties of a short length across (y) at each point, by cause."""
        points = np.asarray(points_mm, dtype=np.float64)
        flat = np.ones(points.shape[:-1])
        record = self.print_record
        u_print = DEFAULT_PRINT_U_RELATIVE if record is None else record.u_relative
        u_thickness = self.u_thickness_mm / self.camera_position_mm[2]
        bow = self._strain(points, np.einsum("p,pij->ij", self.bow_response, self.tangents)[None])[0]
        return {
            "saddles": self.relative_u_saddles(points),
            "print": u_print * flat,
            "thickness": np.hypot(u_thickness * flat, bow),
            "lens and distance": self._relative_u_lens(points),
        }

    @property
    def u_thickness_mm(self) -> float:
        """Standard uncertainty of the target's thickness: the print check's where it gave the thickness."""
        record = self.print_record
        if record is not None and record.thickness_mm == self.thickness_mm and record.u_thickness_mm:
            return record.u_thickness_mm
        return max(U_THICKNESS_MM, 0.05 * self.thickness_mm)

    @property
    def model(self) -> str:
        """What the map rests on, in words."""
        lens = "" if self.lens is None else ", lens profile"
        return f"camera pose{lens}" if self.camera_known else "camera pose, camera unknown"

    @cached_property
    def _inverse(self) -> NDArray[np.float64]:
        return np.asarray(np.linalg.inv(self.homography), dtype=np.float64)

    def _strain(self, points_mm: ArrayLike, tangents: NDArray[np.float64]) -> NDArray[np.float64]:
        """(P, ...) relative change of a short length across, for a unit change of each parameter."""
        return self._strain_of(
            points_mm, lambda mm: -pixel_shifts(self.homography, tangents, mm)
        )  # the image stands still, so the millimetres move the other way

    def _relative_u_lens(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Unknown distortion: what it does at the point less what the fit to the saddles took up of it.

        It is small amid the saddles and grows with the distance from them, the more the less of it they show.
        """
        taken_up = np.einsum("kp,pij->kij", self.distortion_response, self.tangents)

        def shifts(mm: NDArray[np.float64]) -> NDArray[np.float64]:
            seen = self.lens_term.fields(project(self.homography, mm))
            return np.asarray(seen - pixel_shifts(self.homography, taken_up, mm))

        strain = self._strain_of(points, shifts)
        return np.asarray(np.sqrt((strain**2).sum(0)))

    def _strain_of(self, points_mm: ArrayLike, shifts: _Shifts) -> NDArray[np.float64]:
        """(P, ...) derivative along y of the y shift in mm that belongs to shifts in the image."""
        points = np.asarray(points_mm, dtype=np.float64)
        flat = points.reshape(-1, 2)
        half = np.array([0.0, _STRAIN_STEP_MM])
        both = np.concatenate((flat + half, flat - half))
        inverse = np.linalg.inv(jacobian(self.homography, both))
        y = np.einsum("nj,pnj->pn", inverse[:, 1, :], shifts(both))
        strain = (y[:, : len(flat)] - y[:, len(flat) :]) / (2 * _STRAIN_STEP_MM)
        return np.asarray(strain.reshape(-1, *points.shape[:-1]))


def scale_map(
    photo: Photo,
    sighting: TargetSighting,
    print_record: PrintRecord | None = None,
    thickness_mm: float | None = None,
) -> ScaleMap:
    """Fit the joint's plane to the saddles of a sighted target.

    Parameters
    ----------
    print_record : factors by which the print is longer than drawn; None counts the print as unchecked
    thickness_mm : target's thickness, from plate to printed face; the print record's by default, and the
        layout's (paper) where that has none

    The lens is that of the sighting's choice; a profile that the picture contradicts is left out.

    Raises UsageError for an impossible thickness, RetakeError where the fit finds no camera in front.
    """
    thickness = target_thickness(sighting, print_record, thickness_mm)
    factors, u_stretch = print_of(print_record)
    mm = sighting.saddles_mm * factors
    optics = optics_of(photo, sighting)
    if optics is not None and not optics.guessed:
        px, free = ideal_saddles(sighting, factors, optics)
        fit, source, known = _fit(lens_prior(optics), photo, mm, px, free, -thickness, u_stretch)
        if known:
            return map_of_fit(photo, sighting, print_record, thickness, fit, source, known, optics)
        sighting = replace(sighting, choice=sighting.choice.contradicted())
        optics = None
    px, free = ideal_saddles(sighting, factors, optics)
    sampling = float(np.sqrt(abs(np.linalg.det(jacobian(free, mm.mean(0))))))
    prior = camera_prior(photo.camera, photo.width_px, photo.height_px, sampling)
    fit, source, known = _fit(prior, photo, mm, px, free, -thickness, u_stretch)
    return map_of_fit(photo, sighting, print_record, thickness, fit, source, known, optics)


def optics_of(photo: Photo, sighting: TargetSighting) -> Optics | None:
    """Return the lens of a photo by its profile, focused at the target's distance, or as guessed."""
    profile = sighting.choice.used
    if profile is None:
        guess = sighting.lens if sighting.lens_guessed else None
        return None if guess is None else Optics.guess(guess)
    orientation = photo.camera.orientation
    sampling = float(np.sqrt(abs(np.linalg.det(sighting.local(sighting.saddles_mm.mean(0))))))
    return profile.optics(orientation, profile.lens.focal_px / sampling)


def ideal_saddles(
    sighting: TargetSighting, factors: NDArray[np.float64], optics: Optics | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Saddles (N, 2) in ideal px, and the homography ideal px <- true mm that fits them best."""
    scale = np.diag([*(1 / factors), 1.0])
    if optics is None and sighting.lens is None:
        return sighting.saddles_px, sighting.homography @ scale
    px = sighting.saddles_px if optics is None else optics.model.undistort(sighting.saddles_px)
    matrix, _ = cv2.findHomography(sighting.saddles_mm, px, 0)
    if matrix is None:
        raise no_pose()
    return px, np.asarray(matrix, dtype=np.float64) @ scale


def print_of(record: PrintRecord | None) -> tuple[NDArray[np.float64], float]:
    """Factors (2,) by which a print is longer than drawn, and the standard uncertainty of their ratio."""
    factors = np.ones(2) if record is None else np.array([record.along_factor, record.across_factor])
    u_print = DEFAULT_PRINT_U_RELATIVE if record is None else record.u_relative
    # Both directions err by themselves; paper moves by some ten-thousandths with the room's damp.
    return factors, float(np.hypot(np.sqrt(2.0) * u_print, U_PAPER))


def map_of_fit(
    photo: Photo,
    sighting: TargetSighting,
    print_record: PrintRecord | None,
    thickness_mm: float,
    fit: PlaneFit,
    source: str,
    known: bool,
    optics: Optics | None = None,
) -> ScaleMap:
    """Put the map together from a fitted plane; raises RetakeError where no camera stands in front of it."""
    size = (photo.width_px, photo.height_px)
    factors, _ = print_of(print_record)
    mm = sighting.saddles_mm * factors
    px, free = ideal_saddles(sighting, factors, optics)
    camera = -fit.rotation.T @ fit.translation + [0, 0, thickness_mm]
    if not (np.all(np.isfinite(fit.homography)) and camera[2] > 0):
        raise no_pose()
    sampling = float(np.median(np.sqrt(np.abs(np.linalg.det(jacobian(free, mm))))))
    term = lens_term(size, known, optics)
    fields = term.fields(px)
    taken_up = fields.reshape(len(fields), -1) @ fit.gain.T
    term = term.given(fit.left_of(fields, taken_up, mm), fit.residual_px)
    guessed = sighting.saddles_px - px if optics is not None and optics.guessed else None
    bow, bow_response = apparent_bow(fit, mm, sighting.layout.length_mm, guessed)
    return ScaleMap(
        sighting=sighting,
        print_record=print_record,
        homography=fit.homography,
        parameter_covariance=fit.covariance,
        tangents=fit.tangents,
        lens_term=term,
        distortion_response=term.mixed(taken_up),
        bow_response=bow * bow_response,
        bow_mm=bow,
        camera_position_mm=camera,
        rotation=fit.rotation,
        translation_mm=fit.translation - thickness_mm * fit.rotation[:, 2],
        camera_matrix=fit.camera_matrix,
        frame=PlaneFrame.plate(),
        focal_px=fit.focal_px,
        u_focal_relative=fit.u_focal,
        focal_source=source,
        residual_rms_px=fit.rms_px,
        residual_mm=fit.rms_px / sampling,
        print_blur_px=edge_blur_px(*sample_edges(photo, sighting, lines=12)),
        tilt_deg=float(np.degrees(np.arccos(np.clip(abs(fit.rotation[2, 2]), 0, 1)))),
        thickness_mm=thickness_mm,
        camera_known=known,
        size_px=size,
        optics=optics,
    )


def target_thickness(sighting: TargetSighting, record: PrintRecord | None, given_mm: float | None) -> float:
    """What a person says now, else what the print check says, else paper [mm]."""
    checked = None if record is None else record.thickness_mm
    thickness = given_mm if given_mm is not None else checked
    if thickness is None:
        return sighting.layout.thickness_mm
    if not 0 <= thickness <= THICKNESS_LIMIT_MM:
        raise UsageError(
            f"A target thickness of {thickness:g} mm is impossible; give 0 to {THICKNESS_LIMIT_MM:g} mm."
        )
    return thickness


def edge_profiles(
    photo: Photo,
    seen: ScaleMap | TargetSighting,
    half_width_px: float = 12.0,
    step_px: float = 0.5,
    max_edges: int = 80,
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Profiles across the print's outer edges for estimating the camera's tone curve and sharpness.

    Returns offsets_px (M,), black to white, and profiles (E, M) display-encoded 0..1. The edges are
    those of the printed face, so that the sighting's own homography places them.
    """
    sighting = seen.sighting if isinstance(seen, ScaleMap) else seen
    return sample_edges(photo, sighting, half_width_px, step_px, max_edges)


def _fit(
    prior: CameraPrior,
    photo: Photo,
    mm: NDArray[np.float64],
    px: NDArray[np.float64],
    free: NDArray[np.float64],
    height_mm: float,
    u_stretch: float,
) -> tuple[PlaneFit, str, bool]:
    """Fit with what is known of the camera, or with almost nothing where the picture contradicts it.

    Returns the fit, the source of its focal length, and whether the camera was known.
    """
    size = (photo.width_px, photo.height_px)
    loose = _rms(px - project(free, mm))
    worst = max(SAME_FIT * loose, loose + SAME_FIT_PX)
    fit = fit_pose(mm, px, free, size, prior, height_mm, u_stretch)
    conflict = abs(np.log(fit.focal_px / prior.focal_px)) > FOCAL_CONFLICT * prior.u_relative
    conflict = conflict or abs(fit.stretch) > STRETCH_CONFLICT * u_stretch
    if not conflict and fit.rms_px <= worst:
        told = prior.source == "assumed" and fit.u_focal < FITTED_SHARE * prior.u_relative
        return fit, "fitted" if told else prior.source, True
    fit = fit_pose(mm, px, free, size, open_prior(prior.focal_px), height_mm, u_stretch)
    if fit.rms_px > 1.5 * worst or abs(fit.stretch) > STRETCH_CONFLICT * u_stretch:
        raise no_pose()
    return fit, "fitted", False


def no_pose() -> RetakeError:
    """Give the refusal of a picture that fits no camera."""
    return RetakeError(
        "no camera pose",
        "The strip's checker corners fit no camera in front of it: an edited photo or no flat strip.",
        "Take the photo again from above the joint and use it as the camera stored it.",
    )


def _rms(residual: NDArray[np.float64]) -> float:
    return float(np.sqrt((residual**2).sum(1).mean()))
