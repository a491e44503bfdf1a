"""What is known of the camera before the fit: EXIF's focal length at the target's distance, in pixels."""

from __future__ import annotations

import numpy as np

from fitup.photo import CameraInfo
from fitup.scale.lens import Optics
from fitup.scale.plane import CameraPrior

__all__ = ["camera_prior", "far_focal_px", "lens_prior", "open_prior"]

# Diagonal of the 36 mm × 24 mm frame to which the equivalent focal length refers (CIPA DCG-001).
_FULL_FRAME_DIAGONAL_MM = float(np.hypot(36, 24))
_USUAL_EQUIVALENT_MM = 26.0  # main cameras of phones: 23 to 28 mm
_USUAL_FOCAL_MM = 5.5  # real focal length of such cameras: 4 to 7 mm
_U_EXIF, _U_EXIF_FOCUS_UNKNOWN, _U_CROPPED = 0.015, 0.02, 0.05
_U_UNKNOWN = 0.15
# Stabilised lenses and mounting put the principal point off the middle by some tenths of a percent of
# the diagonal (order of magnitude from published phone calibrations), in other cameras by up to three
# percent; cropping by many percent.
_U_CENTRE, _U_CENTRE_UNKNOWN, _U_CENTRE_CROPPED = 0.004, 0.015, 0.08
_USUAL_ASPECTS = (4 / 3, 3 / 2)
_PLAUSIBLE_EQUIVALENT_MM = (8.0, 400.0)


def camera_prior(camera: CameraInfo, width_px: int, height_px: int, px_per_mm: float) -> CameraPrior:
    """Focal length from the 35 mm equivalent over the diagonal, stretched for close focus.

    A lens focused at Z sits at f·Z/(Z − f) from the sensor, not at f: 2-3 % at the distances used
    here. `px_per_mm` is the sampling of the target, from which Z follows.
    """
    diagonal = float(np.hypot(width_px, height_px))
    equivalent = camera.focal_length_35mm
    low, high = _PLAUSIBLE_EQUIVALENT_MM
    if equivalent is None or not low <= equivalent <= high:
        far = _USUAL_EQUIVALENT_MM / _FULL_FRAME_DIAGONAL_MM * diagonal
        near = _stretch(far, _USUAL_FOCAL_MM, px_per_mm)
        return CameraPrior(
            focal_px=near, u_relative=_U_UNKNOWN, u_centre_share=_U_CENTRE_UNKNOWN, source="assumed"
        )
    far = equivalent / _FULL_FRAME_DIAGONAL_MM * diagonal
    real = camera.focal_length_mm
    known = real is not None and 1.0 <= real <= 60.0
    near = _stretch(far, real if known and real is not None else _USUAL_FOCAL_MM, px_per_mm)
    u = _U_EXIF if known else _U_EXIF_FOCUS_UNKNOWN
    source = "exif 35 mm, close focus" if known else "exif 35 mm"
    aspect = max(width_px, height_px) / min(width_px, height_px)
    if min(abs(aspect - usual) for usual in _USUAL_ASPECTS) > 0.02:
        u = _U_CROPPED  # the diagonal of a cropped picture is not the sensor's
    if (camera.digital_zoom_ratio or 1.0) > 1.01:
        u = _U_UNKNOWN  # some phones count digital zoom in the equivalent, some do not
    return CameraPrior(focal_px=near, u_relative=u, u_centre_share=_U_CENTRE, source=source)


def far_focal_px(camera: CameraInfo, width_px: int, height_px: int) -> float:
    """Focal length at infinity by EXIF's 35 mm equivalent, else a phone's usual one."""
    equivalent, (low, high) = camera.focal_length_35mm, _PLAUSIBLE_EQUIVALENT_MM
    told = equivalent if equivalent is not None and low <= equivalent <= high else _USUAL_EQUIVALENT_MM
    return told / _FULL_FRAME_DIAGONAL_MM * float(np.hypot(width_px, height_px))


def lens_prior(optics: Optics) -> CameraPrior:
    """Focal length and principal point from the photo's lens by its profile."""
    u_centre = np.sqrt(np.mean(np.diag(optics.covariance)[1:3]))
    return CameraPrior(
        focal_px=optics.model.focal_px,
        u_relative=float(np.sqrt(optics.covariance[0, 0])),
        u_centre_share=float(u_centre / np.hypot(*optics.model.size_px)),
        source="lens profile",
        centre_px=optics.model.centre_px,
    )


def open_prior(focal_px: float) -> CameraPrior:
    """Almost no knowledge, for a picture that contradicts its EXIF: cropped, edited, or of another lens."""
    return CameraPrior(
        focal_px=focal_px, u_relative=2 * _U_UNKNOWN, u_centre_share=_U_CENTRE_CROPPED, source="fitted"
    )


def _stretch(far_px: float, focal_mm: float, px_per_mm: float) -> float:
    near = far_px
    for _ in range(4):
        distance = near / px_per_mm
        near = far_px * distance / max(distance - focal_mm, 0.5 * distance)
    return near
