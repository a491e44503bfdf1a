"""The map between the photo and the plane in which the joint's upper arrises lie, with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import RetakeError, UsageError
from fitup.photo import Photo
from fitup.scale.edge_profiles import edge_blur_px, sample_edges
from fitup.scale.finding import TargetSighting
from fitup.scale.focal import camera_prior, open_prior
from fitup.scale.opening import PlaneFrame
from fitup.scale.plane import PlaneFit, fit_pose, pixel_shifts, plane_matrices
from fitup.scale.print_check import DEFAULT_PRINT_U_RELATIVE, THICKNESS_LIMIT_MM, PrintRecord
from fitup.scale.saddles import jacobian, project

__all__ = ["ScaleMap", "edge_profiles", "scale_map"]

# Displacement at the picture's corner that a phone leaves after its own correction, as a share of
# the radius: up to 1 %, either sign, taken as rectangular; shared by a cubic and a quintic term so
# that no place looks perfect only because one of them happens to vanish there.
CORNER_DISTORTION = 0.01 / np.sqrt(3.0)
STRETCH_CONFLICT = 3.0
U_PAPER = 5e-4  # relative; order of magnitude, from memory
_U_THICKNESS_MM = 0.05  # paper, paste, and lying not quite tight
# How far a strip that passes the bent alarm may bow over 210 mm; steadies what short strips cannot tell.
_USUAL_BOW_MM = 0.5
_STRAIN_STEP_MM = 0.5
SAME_FIT, SAME_FIT_PX = 1.15, 0.03
FOCAL_CONFLICT = 4.0
FITTED_SHARE = 0.5


_Shifts: TypeAlias = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleMap:
    """Image pixels and millimetres of the joint's plane: the target's face lowered by its thickness.

    homography (3, 3) px <- mm. parameter_covariance (P, P) belongs to `tangents` (P, 3, 3), the
    derivatives of the homography. camera_position_mm (3,) has z from the mapped plane. rotation (3, 3),
    translation_mm (3,) take the target frame, with z from the plate's plane, to the camera, camera_matrix
    (3, 3) takes that to px. `frame` is the mapped plane: the plate's own, or another one (`onto`).
    bow_mm is the bow that the residuals would mean if the strip, not the lens, made them.
    camera_known is False where the picture contradicts its EXIF or looks cropped.
    """

    sighting: TargetSighting
    print_record: PrintRecord | None
    homography: NDArray[np.float64]
    parameter_covariance: NDArray[np.float64]
    tangents: NDArray[np.float64]
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
        return project(self.homography, np.asarray(points_mm, dtype=np.float64))

    def to_mm(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Image points (..., 2) px to the joint's plane (..., 2) mm."""
        return project(self._inverse, np.asarray(points_px, dtype=np.float64))

    def px_per_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Local sampling (...,), the geometric mean over directions."""
        local = jacobian(self.homography, np.asarray(points_mm, dtype=np.float64))
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
        return max(_U_THICKNESS_MM, 0.05 * self.thickness_mm)

    @property
    def model(self) -> str:
        """What the map rests on, in words."""
        return "camera pose" if self.camera_known else "camera pose, camera unknown"

    @cached_property
    def _inverse(self) -> NDArray[np.float64]:
        return np.asarray(np.linalg.inv(self.homography), dtype=np.float64)

    def _strain(self, points_mm: ArrayLike, tangents: NDArray[np.float64]) -> NDArray[np.float64]:
        """(P, ...) relative change of a short length across, for a unit change of each parameter."""
        return self._strain_of(
            points_mm, lambda mm: -pixel_shifts(self.homography, tangents, mm)
        )  # the image stands still, so the millimetres move the other way

    def _relative_u_lens(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Unmodelled distortion: what it does at the point less what the fit to the saddles took up of it.

        It is small amid the saddles and grows with the distance from them.
        """
        taken_up = np.einsum("kp,pij->kij", self.distortion_response, self.tangents)

        def shifts(mm: NDArray[np.float64]) -> NDArray[np.float64]:
            seen = distortion_fields(project(self.homography, mm), self.size_px)
            return np.asarray(seen - pixel_shifts(self.homography, taken_up, mm))

        strain = self._strain_of(points, shifts)
        bound = CORNER_DISTORTION * (1.0 if self.camera_known else 2.0)
        return np.asarray(bound * np.sqrt((strain**2).mean(0)))

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

    Raises UsageError for an impossible thickness, RetakeError where the fit finds no camera in front.
    """
    thickness = target_thickness(sighting, print_record, thickness_mm)
    factors, u_stretch = print_of(print_record)
    mm = sighting.saddles_mm * factors
    free = sighting.homography @ np.diag([*(1 / factors), 1.0])
    fit, source, known = _fit(photo, mm, sighting.saddles_px, free, -thickness, u_stretch)
    return map_of_fit(photo, sighting, print_record, thickness, fit, source, known)


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
) -> ScaleMap:
    """Put the map together from a fitted plane; raises RetakeError where no camera stands in front of it."""
    size = (photo.width_px, photo.height_px)
    factors, _ = print_of(print_record)
    mm = sighting.saddles_mm * factors
    free = sighting.homography @ np.diag([*(1 / factors), 1.0])
    camera = -fit.rotation.T @ fit.translation + [0, 0, thickness_mm]
    if not (np.all(np.isfinite(fit.homography)) and camera[2] > 0):
        raise no_pose()
    sampling = float(np.median(np.sqrt(np.abs(np.linalg.det(jacobian(free, mm))))))
    response = distortion_fields(sighting.saddles_px, size).reshape(2, -1) @ fit.gain.T
    bow, bow_response = _apparent_bow(fit, mm, sighting.layout.length_mm)
    return ScaleMap(
        sighting=sighting,
        print_record=print_record,
        homography=fit.homography,
        parameter_covariance=fit.covariance,
        tangents=fit.tangents,
        distortion_response=response,
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
    sampling = float(np.sqrt(abs(np.linalg.det(jacobian(free, mm.mean(0))))))
    loose = _rms(px - project(free, mm))
    worst = max(SAME_FIT * loose, loose + SAME_FIT_PX)
    prior = camera_prior(photo.camera, *size, sampling)
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


def _apparent_bow(
    fit: PlaneFit, mm: NDArray[np.float64], length_mm: float
) -> tuple[float, NDArray[np.float64]]:
    """How much the residuals look like a bowed strip, mm, and the fit's response to a bow of 1 mm.

    A bow lifts the strip's middle off the plate, and the scale of the plate is then wrong although
    the saddles fit almost as well as before.
    """
    field = bow_field(fit, mm, length_mm)
    response = fit.gain @ field.ravel()
    taken_up = np.einsum("p,pij->ij", response, fit.tangents)[None]
    left = field - pixel_shifts(fit.homography, taken_up, mm)[0]
    prior_mm = _USUAL_BOW_MM * length_mm / 210.0
    steady = (fit.residual_px**2).mean() / prior_mm**2
    return float((left * fit.residual_px).sum() / ((left**2).sum() + steady)), response


def bow_field(fit: PlaneFit, mm: NDArray[np.float64], length_mm: float) -> NDArray[np.float64]:
    """(N, 2) shift in px of saddles where the strip's middle is lifted by 1 mm over its ends."""
    height = 1 - (2 * (mm[:, 0] - mm[:, 0].mean()) / length_mm) ** 2
    return np.asarray(pixel_shifts(fit.homography, fit.lift_tangent[None], mm)[0] * height[:, None])


def no_pose() -> RetakeError:
    """Give the refusal of a picture that fits no camera."""
    return RetakeError(
        "no camera pose",
        "The strip's checker corners fit no camera in front of it: an edited photo or no flat strip.",
        "Take the photo again from above the joint and use it as the camera stored it.",
    )


def _rms(residual: NDArray[np.float64]) -> float:
    return float(np.sqrt((residual**2).sum(1).mean()))


def distortion_fields(px: NDArray[np.float64], size_px: tuple[int, int]) -> NDArray[np.float64]:
    """(2, N, 2) shift in px of image points for a corner displacement of 1: cubic and quintic term."""
    middle = np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2])
    r2 = ((px - middle) ** 2).sum(-1, keepdims=True) / (np.hypot(*size_px) / 2) ** 2
    return np.stack((r2 * (px - middle), r2**2 * (px - middle)))
