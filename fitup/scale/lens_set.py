"""From photos of the lens board to a lens profile, or the reason why they do not suffice.

A weak set gives a lens that looks well fitted and is wrong where no photo looked. So a set is refused when it
is small, when the board was never tilted one way, or when a corner of the frame was never covered.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError, UsageError
from fitup.scale.focal import far_focal_px
from fitup.scale.lens import LensProfile
from fitup.scale.lens_board import LensPhoto
from fitup.scale.lens_fit import LensFit, fit_lens

__all__ = ["LEAST_PHOTOS", "MOST_PHOTOS", "fit_profile"]

LEAST_PHOTOS, MOST_PHOTOS = 8, 60
_LEAST_TILT = 0.12  # root mean square sine of the tilt in the direction with less of it: 7 degrees
_LEAST_IN_CORNER = 4  # saddles over the whole set
_CORNER_SHARE = 0.25  # of width and height
_MOST_LEFT_SHARE = 0.001  # of the half diagonal, that the lens does not explain

_CORNERS = (("upper left", 0, 0), ("upper right", 1, 0), ("lower left", 0, 1), ("lower right", 1, 1))


def fit_profile(
    photos: Sequence[LensPhoto], kind: Literal["auto", "opencv", "fisheye"] = "auto", day: str = ""
) -> tuple[LensProfile, LensFit]:
    """Fit the lens of some photos of the lens board and keep what is known of the phone beside it.

    kind "auto" takes OpenCV's usual model, and its fisheye model where that one fails.

    Raises UsageError where photos of different cameras are mixed, RetakeError for a set that is too weak.
    """
    usable = tuple(photo for photo in photos if not photo.trouble)
    if len(usable) > MOST_PHOTOS:
        raise UsageError(f"{len(usable)} lens photos are more than are of use: give 8 to 20.")
    _refuse_few(photos, usable)
    _refuse_mixture(usable)
    _refuse_open_corner(usable)
    fit = _best(usable, kind)
    if fit is None:
        raise RetakeError(
            "no lens model",
            "No lens model explains these photos: the board bent or moved in itself, or photos were edited.",
            "Glue the lens board onto something flat and photograph it anew.",
        )
    _refuse_flat(fit)
    camera = usable[0].camera
    profile = LensProfile(
        make=camera.make,
        model=camera.model,
        software=camera.software,
        focal_length_mm=camera.focal_length_mm,
        focal_length_35mm=camera.focal_length_35mm,
        lens=fit.lens,
        focus=fit.focus,
        distance_mm=fit.distance_mm,
        covariance=tuple(tuple(float(c) for c in row) for row in fit.covariance),
        rms_px=fit.rms_px,
        left_px=fit.left_px,
        photo_count=len(fit.views),
        point_count=fit.point_count,
        date=day or date.today().isoformat(),
    )
    return profile, fit


def _best(photos: tuple[LensPhoto, ...], kind: str) -> LensFit | None:
    views, size = tuple(photo.view for photo in photos), photos[0].size_px
    camera = photos[0].camera
    guess = far_focal_px(camera, *size)
    most = _MOST_LEFT_SHARE * float(np.hypot(*size)) / 2
    usual = None
    if kind != "fisheye":
        usual = fit_lens(views, size, "opencv", camera.focal_length_mm, guess)
        if kind == "opencv" or (usual is not None and usual.left_px < most):
            return usual if usual is not None and usual.left_px < most else None
    fisheye = fit_lens(views, size, "fisheye", camera.focal_length_mm, guess)
    return fisheye if fisheye is not None and fisheye.left_px < most else None


def _refuse_few(photos: Sequence[LensPhoto], usable: Sequence[LensPhoto]) -> None:
    if len(usable) >= LEAST_PHOTOS:
        return
    troubles = "; ".join(f"{photo.name} {photo.trouble}" for photo in photos if photo.trouble)
    raise RetakeError(
        "too few lens photos",
        f"{len(usable)} of {len(photos)} photos show the lens board well enough and {LEAST_PHOTOS} are needed"
        + (f" ({_short(troubles)})." if troubles else "."),
        "Take 8 to 20 sharp photos of the whole board with the same camera, from all sides.",
    )


def _short(text: str, most: int = 300) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def _refuse_mixture(photos: tuple[LensPhoto, ...]) -> None:
    """One module of one phone at one size, without digital zoom."""
    first = photos[0]
    for photo in photos:
        zoom = photo.camera.digital_zoom_ratio
        if zoom is not None and zoom > 1.01:
            raise UsageError(f"{photo.name} was taken with digital zoom: take all lens photos without zoom.")
        for word, value, other in zip(
            ("phone", "picture size", "lens"), _identity(first), _identity(photo), strict=True
        ):
            if value != other:
                raise UsageError(
                    f"{photo.name} is of another {word} ({other}) than {first.name} ({value}): "
                    "give photos of one phone, one lens and one size."
                )


def _identity(photo: LensPhoto) -> tuple[str, str, str]:
    camera = photo.camera
    phone = " ".join(part for part in (camera.make, camera.model) if part) or "not named"
    focal, equivalent = camera.focal_length_mm, camera.focal_length_35mm
    lens = (
        "not named" if focal is None and equivalent is None else f"{focal or 0:.3g} mm/{equivalent or 0:g} mm"
    )
    return phone, f"{photo.size_px[0]} × {photo.size_px[1]}", lens


def _refuse_open_corner(photos: tuple[LensPhoto, ...]) -> None:
    places = np.concatenate([photo.view.points_px for photo in photos])
    size = np.array(photos[0].size_px)
    for name, right, below in _CORNERS:
        corner = np.array([right, below]) * (size - 1)
        near = np.all(np.abs(places - corner) < _CORNER_SHARE * size, axis=1)
        if np.count_nonzero(near) < _LEAST_IN_CORNER:
            raise RetakeError(
                "corner not covered",
                f"No photo has the lens board in the {name} corner of the frame (camera held level).",
                "Add photos with the board in each corner of the frame.",
            )


def _refuse_flat(fit: LensFit) -> None:
    if _least_tilt(fit.tilts) < _LEAST_TILT:
        raise RetakeError(
            "too few tilts",
            "The lens board was photographed almost square on, or tilted about one direction only.",
            "Add photos from 20 to 30 degrees aside, from the left, the right, above and below.",
        )


def _least_tilt(tilts: NDArray[np.float64]) -> float:
    return float(np.linalg.svd(tilts, compute_uv=False)[-1] / np.sqrt(len(tilts)))
