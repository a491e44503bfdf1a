"""Gap and step between two arrises in space, and what cannot be told of them from the photos at hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.scale.opening import PlaneFrame
from fitup.scale.space import CAUSES, PairSpace, SpacePoints

__all__ = [
    "GapAndStep",
    "NotMeasurable",
    "SpaceLength",
    "gap_and_step",
    "gap_to_plate",
    "step_from_two_views",
]

Array = NDArray[np.float64]

# A step is of use where it is told better than this; clamped sheets keep about ± 0.1 mm anyhow (common
# practice, no source), and to repeat a guess is no measurement.
U_STEP_LIMIT_MM = 0.15
_REMEDIES = {
    "noise": "come closer and hold the phone still",
    "saddles": "come closer, or use longer strips",
    "print": "use two strips from one sheet, and check the print with a caliper",
    "thickness": "tape the strips flat, and give their thickness",
    "sheet": "give the sheet's measured thickness",
    "lens and distance": "keep strips and joint in the picture's middle, or fit a lens profile",
    "tilt": "take the photos from about 15 degrees to either side",
    "common": "check the print with a caliper",
    "step between plates": "clamp the plates level",
}
_LEAST_TANGENT_SPREAD = 0.1  # between two views: the step then enters their difference by a tenth


@dataclass(frozen=True, kw_only=True)
class NotMeasurable:
    """What the geometry of the photo cannot give: the reason, and what would."""

    reason: str
    remedy: str

    @property
    def sentence(self) -> str:
        """One line for a person."""
        return f"Not measurable in this photo: {self.reason}; {self.remedy}."


@dataclass(frozen=True, kw_only=True, eq=False)
class SpaceLength:
    """A length at N stations: value_mm, u_mm (N,) and the parts of u_mm by cause (N,), all [mm].

    "noise" is each station's own, all other causes are common to the stations.
    """

    value_mm: Array
    u_mm: Array
    parts_mm: dict[str, Array]

    @property
    def u_common_mm(self) -> Array:
        """(N,) what a mean over stations does not lessen."""
        return np.sqrt(np.maximum(self.u_mm**2 - self.parts_mm["noise"] ** 2, 0))


@dataclass(frozen=True, kw_only=True, eq=False)
class GapAndStep:
    """Gap across the opening plane and step square to it, far arris less near arris.

    The step is positive where the far plate stands out towards the camera.
    """

    gap: SpaceLength
    step: SpaceLength | NotMeasurable


def gap_and_step(
    near: SpacePoints,
    far: SpacePoints,
    frame: PlaneFrame,
    u_step_limit_mm: float = U_STEP_LIMIT_MM,
    u_step_expected_mm: float | None = None,
) -> GapAndStep:
    """Gap and step between two arrises that were seen at N stations each.

    Off the bisector an error of the plates' heights goes into gap and step together. Where plates are known
    to lie level within `u_step_expected_mm`, that is better known than two thin strips tell it, and the gap
    is steadied by it; the step stays as measured.

    Parameters
    ----------
    near, far : points of the bounding arrises, from `TargetPair.on_first` and `on_second`
    frame : the opening plane; only its directions count. What is uncertain in them turns gap into step and
        back by the product of a small angle and a small length, and is left out.
    u_step_limit_mm : above it the step is not measurable
    u_step_expected_mm : standard uncertainty of a step expected at zero, None for any step
    """
    across, square = frame.axes.T[1:]
    shape = near.points_mm.shape
    step = _apart(near, far, np.broadcast_to(square, shape))
    gap = _apart(near, far, np.broadcast_to(across, shape))
    if u_step_expected_mm is not None:
        both = (_total(near, far) @ square) @ np.stack([across, square], axis=1)  # covariance with the step
        share = both[:, 0] / (both[:, 1] + u_step_expected_mm**2)
        gap = _apart(near, far, across - share[:, None] * square, np.abs(share) * u_step_expected_mm)
    return GapAndStep(gap=gap, step=_or_reason(step, u_step_limit_mm))


def gap_to_plate(
    space: PairSpace,
    arris: SpacePoints,
    plate: int,
    less_mm: float = 0.0,
    u_less_mm: float = 0.0,
    u_limit_mm: float = U_STEP_LIMIT_MM,
) -> SpaceLength | NotMeasurable:
    """Distance of an arris from the other plate's face, for joints without a second arris.

    T and inside corner: `arris` is the lower arris of the standing plate. Lap: the upper arris of the upper
    sheet, `less_mm` its thickness. It is the distance from the plane in which the other plate's target lies:
    a sheet that is dished at the joint shows there only, not here. The two prints' errors of scale, each
    times the camera's distance, are in it; where they are not from one sheet and not checked, it is seldom
    measurable.

    Parameters
    ----------
    plate : 0 the first, 1 the second: the plate that the distance is from
    less_mm, u_less_mm : taken off, and its standard uncertainty
    """
    height, tangents, noise = space.height_over(plate, arris)
    length = _length(height - less_mm, tangents, noise, arris.influence_covariance)
    u = np.hypot(length.u_mm, u_less_mm)
    sheet = np.hypot(length.parts_mm["sheet"], u_less_mm)
    length = SpaceLength(value_mm=length.value_mm, u_mm=u, parts_mm=length.parts_mm | {"sheet": sheet})
    return _or_reason(length, u_limit_mm)


def step_from_two_views(
    apparent_mm: ArrayLike,
    u_mm: ArrayLike,
    view_tangents: ArrayLike,
    u_tangent: float = 0.0,
    u_common_mm: ArrayLike = 0.0,
    u_step_limit_mm: float = U_STEP_LIMIT_MM,
) -> GapAndStep | NotMeasurable:
    """Tell gap and step apart that two or more photos of one joint, from both sides, show mixed.

    Seen at a slant, a far arris that stands out by the step h appears nearer: apparent gap = gap - h · tan,
    tan > 0 where the camera stands beyond the joint (`ScaleMap.view_tangents`). Weighted least squares at
    each station.

    Parameters
    ----------
    apparent_mm, u_mm, view_tangents : (M, N) of M photos at N stations; NaN where one has not seen it
    u_tangent : standard uncertainty of the tangents, from the tilt of the plane
    u_common_mm : (N,) standard uncertainty of lengths that all photos share (the print's scale)
    """
    g, u, t = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (apparent_mm, u_mm, view_tangents))
    )
    seen = np.isfinite(g) & np.isfinite(u) & np.isfinite(t)
    usable = _spread_of_views(t, seen) >= _LEAST_TANGENT_SPREAD
    if not np.any(usable):
        return NotMeasurable(
            reason="the photos look across the joint from nearly the same side",
            remedy="take two from about 15 degrees to either side of it",
        )
    for_gap, for_step = _gains(
        np.where(seen, -t, 0.0), np.where(seen, 1 / np.where(seen, u, 1.0) ** 2, 0.0), usable
    )
    gap, step = ((gain * np.where(seen, g, 0.0)).sum(0) for gain in (for_gap, for_step))
    own, tilt = np.where(seen, u, 0.0), u_tangent * np.abs(step)
    common = np.broadcast_to(np.asarray(u_common_mm, dtype=np.float64), gap.shape)
    return GapAndStep(
        gap=_combined(gap, for_gap, own, {"tilt": tilt, "common": common}),
        step=_or_reason(_combined(step, for_step, own, {"tilt": tilt}), u_step_limit_mm),
    )


def _apart(near: SpacePoints, far: SpacePoints, axes: Array, u_step: Array | None = None) -> SpaceLength:
    """Length from near to far along an axis (N, 3) at each station."""
    length = _length(
        np.einsum("ni,ni->n", far.points_mm - near.points_mm, axes),
        np.einsum("ni,niq->nq", axes, far.tangents - near.tangents),
        np.einsum("ni,nij,nj->n", axes, far.noise + near.noise, axes),
        near.influence_covariance,
    )
    if u_step is None:
        return length
    return SpaceLength(
        value_mm=length.value_mm,
        u_mm=np.hypot(length.u_mm, u_step),
        parts_mm=length.parts_mm | {"step between plates": u_step},
    )


def _total(near: SpacePoints, far: SpacePoints) -> Array:
    """(N, 3, 3) covariance of what lies between the points."""
    tangents = far.tangents - near.tangents
    common = np.einsum("niq,qr,njr->nij", tangents, near.influence_covariance, tangents)
    return np.asarray(common + far.noise + near.noise)


def _spread_of_views(tangents: Array, seen: NDArray[np.bool_]) -> Array:
    """(N,) largest difference between the tangents of the photos that saw a station."""
    high = np.where(seen, tangents, -np.inf).max(0)
    low = np.where(seen, tangents, np.inf).min(0)
    return np.where(seen.any(0), high - low, 0.0)


def _gains(x: Array, weight: Array, usable: NDArray[np.bool_]) -> tuple[Array, Array]:
    """(M, N) shares of each photo in ordinate and slope of a weighted straight line; NaN where not usable."""
    w, wx, wxx = weight.sum(0), (weight * x).sum(0), (weight * x * x).sum(0)
    determinant = np.where(usable, w * wxx - wx**2, np.nan)
    return weight * (wxx - x * wx) / determinant, weight * (x * w - wx) / determinant


def _combined(value: Array, gain: Array, own: Array, shared: dict[str, Array]) -> SpaceLength:
    """A length from several photos: each one's own noise and tilt, and what all have in common."""
    parts = {"noise": np.sqrt(((gain * own) ** 2).sum(0))}
    for name, u in shared.items():
        parts[name] = u * np.sqrt((gain**2).sum(0)) if name == "tilt" else np.array(u)
    return SpaceLength(value_mm=value, u_mm=np.sqrt(sum(part**2 for part in parts.values())), parts_mm=parts)


def _length(value: Array, tangents: Array, noise: Array, covariance: Array) -> SpaceLength:
    """A length (N,) with what each cause and the points' own noise (N,) contribute to it."""
    variance = {
        name: np.einsum("nq,qr,nr->n", tangents[:, part], covariance[part, part], tangents[:, part])
        for name, part in CAUSES.items()
    }
    parts = {"noise": np.sqrt(np.maximum(noise, 0))}
    parts |= {name: np.sqrt(np.maximum(part, 0)) for name, part in variance.items()}
    u = np.sqrt(np.maximum(sum(variance.values()) + noise, 0))
    return SpaceLength(value_mm=value, u_mm=np.asarray(u), parts_mm=parts)


def _or_reason(length: SpaceLength, u_limit_mm: float) -> SpaceLength | NotMeasurable:
    """Return the length, or why it is none: an uncertainty at most stations that leaves nothing to tell."""
    u = length.u_mm[np.isfinite(length.u_mm)]
    typical = float(np.median(u)) if len(u) else np.inf
    if typical <= u_limit_mm:
        return length
    worst = max(length.parts_mm, key=lambda name: float(np.nanmedian(length.parts_mm[name])))
    return NotMeasurable(
        reason=f"it would be known to ± {2 * typical:.2f} mm only, mostly because of: {worst}",
        remedy=_REMEDIES[worst],
    )
