"""What a second target on the other plate adds: the step between the plates, their angle, and a base's place.

With one target the far arris is taken to lie in the opening plane, and a base where the light says so. With
two, both plates are known in space: the far arris is placed on its own plate, and the distance of an arris
from a base is measured whatever the base looks like.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises
from fitup.joint import JointKind
from fitup.profile.budget import BASE, NOISE, STEP, U_STEP_MM, arris_noise, combined
from fitup.profile.result import GapProfile, Influence
from fitup.profile.two_readings import weighed
from fitup.profile.upper_arris import on_upper_sheet
from fitup.scale import (
    NotMeasurable,
    PlaneFrame,
    SpaceLength,
    SpacePoints,
    TargetPair,
    gap_and_step,
    gap_to_plate,
)

__all__ = ["SIDES", "JointShape", "with_second_target"]

Array64 = NDArray[np.float64]

# Cold-rolled stainless sheet of this range is within some ± 0.05 mm of its nominal thickness (from memory).
U_SHEET_MM = 0.03
BEND_MM = 0.02  # how far a plate leaves its plane from strip to joint, usually (common practice, no source)
LAP_BEND_MM = 0.12  # the same where two sheets lie on each other: both are bent when they are clamped
LIGHT_EXCESS = 0.25  # of where the base lies: what finishes and lamps make of it beyond the budget, usually
STEP_STRETCH = 10  # stations to either side: plates step and tilt slowly, and a ray's depth is noisy
_REMEDIES = {
    "saddles": "come closer, or use longer strips",
    "print": "use two strips from one sheet, and check the print with a caliper (fitup target check)",
    "thickness": "tape the strips flat and give their thickness (--thickness)",
    "sheet": "give the sheet's measured thickness (--sheet)",
    "lens and distance": "keep strips and joint near the middle of the frame, or make a lens profile",
}
_ARRIS_ROWS = ("arris radius", "tone curve")
SIDES = ("on the strip's side", "across the gap")


@dataclass(frozen=True, kw_only=True, eq=False)
class JointShape:
    """How the plates lie to each other, with standard uncertainties; None where it was not measured.

    `hi_lo_mm`, `u_hi_lo_mm` (N,) are the step square to the opening plane, positive where the far plate
    stands out towards the camera. `near_land_mm`, `far_land_mm` (N,) are the lengths of the lands beside the
    gap, NaN where the outer arris was not seen, None where the joint has none there; `near_outer_px`,
    `far_outer_px` (N, 2) are those outer arrises in the image. `sides` are the words for the near and the far
    side. `notes` say what could not be measured in this photo, and what would help.
    """

    included_angle_deg: float | None = None
    u_included_angle_deg: float | None = None
    hi_lo_mm: Array64 | None = None
    u_hi_lo_mm: Array64 | None = None
    near_land_mm: Array64 | None = None
    far_land_mm: Array64 | None = None
    near_outer_px: Array64 | None = None
    far_outer_px: Array64 | None = None
    sides: tuple[str, str] = SIDES
    notes: tuple[str, ...] = ()


def with_second_target(
    profile: GapProfile, arrises: Arrises, pair: TargetPair, frame: PlaneFrame, sheet_mm: float
) -> tuple[GapProfile, JointShape]:
    """Measure again what one target could only assume; the profile as it is where two cannot tell either."""
    section = arrises.section
    near, far = (f"beside strip {plate.sighting.layout.strip_number}" for plate in (pair.first, pair.second))
    shape = JointShape(
        included_angle_deg=pair.included_angle_deg,
        u_included_angle_deg=pair.u_included_angle_deg,
        sides=(near, far),
    )
    if not profile.seen.any():
        return profile, shape
    if section.far_is_base or section.near_is_base:
        length = _over_base(profile, arrises, pair, frame, sheet_mm)
        if isinstance(length, NotMeasurable):
            return profile, replace(shape, notes=(_note("Gap from both targets", length),))
        bend_mm = LAP_BEND_MM if section.kind is JointKind.LAP else BEND_MM
        return _from_base(profile, length, section.near_is_base, arris_noise(arrises), bend_mm), shape
    step = gap_and_step(*_bounding_points(profile, section.kind, pair, sheet_mm), frame).step
    if isinstance(step, NotMeasurable):
        return profile, replace(shape, notes=(_note("Step between the plates", step),))
    hi_lo, u_hi_lo = _along(step.value_mm, profile.seen, smooth=True), _along(step.u_mm, profile.seen)
    stepped = _with_step(profile, arrises, *_with_usual(hi_lo, u_hi_lo, -section.far_depth_mm))
    return stepped, replace(shape, hi_lo_mm=hi_lo, u_hi_lo_mm=u_hi_lo)


def _note(what: str, reason: NotMeasurable) -> str:
    return f"{what}: {reason.sentence[:1].lower()}{reason.sentence[1:]}"


def _bounding_points(
    profile: GapProfile, kind: JointKind, pair: TargetPair, sheet_mm: float
) -> tuple[SpacePoints, SpacePoints]:
    """Both arrises in space: each on its own plate's face, or a sheet's thickness below it."""
    inner_near = kind in (JointKind.CORNER_FULL_OPEN, JointKind.CORNER_FLUSH, JointKind.EDGE)
    inner_far = kind in (JointKind.CORNER_FULL_OPEN, JointKind.CORNER_HALF_OPEN)
    near = pair.on_first(profile.near_px[profile.seen], *((sheet_mm, U_SHEET_MM) if inner_near else ()))
    far = pair.on_second(profile.far_px[profile.seen], *((sheet_mm, U_SHEET_MM) if inner_far else ()))
    return near, far


def _over_base(
    profile: GapProfile, arrises: Arrises, pair: TargetPair, frame: PlaneFrame, sheet_mm: float
) -> SpaceLength | NotMeasurable:
    """Distance of the lower arris from the other plate's face, at the seen stations.

    A standing plate's arris lies in its face; a lap's lower arris on its end face, however that is bent.
    """
    seen, section = profile.seen, arrises.section
    upper, base = (1, 0) if section.near_is_base else (0, 1)
    px = (profile.far_px if section.near_is_base else profile.near_px)[seen]
    if section.kind is JointKind.LAP:
        return gap_to_plate(pair.space, on_upper_sheet(pair, upper, px, sheet_mm, U_SHEET_MM), base)
    if section.near_is_base:
        return gap_to_plate(pair.space, pair.on_second(px), base)
    height = _height(arrises, frame, profile.near_mm)[seen]
    return gap_to_plate(pair.space, pair.on_first(px, -height), base)


def _height(arrises: Arrises, frame: PlaneFrame, n_mm: Array64) -> Array64:
    """Height (N,) over the first plate's face of points at n (N,) across the opening plane [mm]."""
    return frame.to_space(arrises.band.points_mm(n_mm))[:, 2]


def _from_base(
    profile: GapProfile, length: SpaceLength, near_is_base: bool, u_arris_mm: Array64, bend_mm: float
) -> GapProfile:
    """Weigh the gap that the light tells with the distance of arris and plate in space.

    The arris' own noise is in both readings; the light's is that of the base's place besides. Sheets bend
    slowly along the joint, so that readings are compared over some stations.
    """
    seen = profile.seen
    light = np.where(seen, profile.gap_mm, 0.0)
    u_light = np.where(seen, profile.u_gap_mm, 1.0)
    space, u_space = _along(length.value_mm, seen), _along(length.u_mm, seen)
    apart = _along((space - light)[seen], seen, smooth=True)
    doubt = LIGHT_EXCESS * _row(profile, BASE)
    share, conflict = weighed(apart, (u_light, u_space), (doubt, bend_mm))
    rows = [_shared(row, 1 - share, u_arris_mm) for row in profile.budget]
    for cause, part in length.parts_mm.items():
        if cause != "noise":
            name = f"scale of both targets: {cause}"
            row = Influence(name=name, u_mm=_along(part, seen), common=True, remedy=_REMEDIES[cause])
            rows.append(replace(row, u_mm=row.u_mm * share))
    rows.append(
        Influence(
            name="targets against light",
            u_mm=conflict,
            common=False,
            remedy="look whether a plate is bent or something lies at the joint",
        )
    )
    return _remade(profile, light + share * (space - light), rows, near_is_base)


def _row(profile: GapProfile, name: str) -> Array64:
    """One influence of the budget (N,), zero where it has none of that name."""
    none = np.zeros(len(profile.gap_mm))
    return next((row.u_mm for row in profile.budget if row.name == name), none)


def _shared(row: Influence, share: Array64, u_arris_mm: Array64) -> Influence:
    """The light's influence on the weighed mean; the arris' own counts in full, for both readings have it."""
    if row.name == NOISE:
        return replace(row, u_mm=np.maximum(row.u_mm * share, np.minimum(u_arris_mm, row.u_mm)))
    return row if row.name in _ARRIS_ROWS else replace(row, u_mm=row.u_mm * share)


def _with_usual(hi_lo: Array64, u_hi_lo: Array64, usual_mm: float) -> tuple[Array64, Array64]:
    """Weigh a measured step with what clamped plates usually keep: a coarse measurement tells little more."""
    share = U_STEP_MM**2 / (U_STEP_MM**2 + u_hi_lo**2)
    return usual_mm + share * (hi_lo - usual_mm), np.sqrt(share) * u_hi_lo


def _with_step(profile: GapProfile, arrises: Arrises, hi_lo: Array64, u_hi_lo: Array64) -> GapProfile:
    """Place the far arris where its plate is instead of in the opening plane."""
    assumed = arrises.section.far_depth_mm
    gap = profile.gap_mm + (assumed + hi_lo) * arrises.tangent
    u_mm = u_hi_lo * np.abs(arrises.tangent)
    rows = [replace(row, u_mm=u_mm) if row.name == STEP else row for row in profile.budget]
    return _remade(profile, gap, rows, False)


def _remade(profile: GapProfile, gap: Array64, rows: list[Influence], near_moves: bool) -> GapProfile:
    budget = tuple(sorted(rows, key=lambda row: -float(np.nanmean(row.u_mm))))
    blank = np.where(profile.seen, 0.0, np.nan)
    return replace(
        profile,
        gap_mm=gap + blank,
        u_gap_mm=combined(budget) + blank,
        near_mm=profile.far_mm - gap if near_moves else profile.near_mm,
        far_mm=profile.far_mm if near_moves else profile.near_mm + gap,
        budget=budget,
    )


def _along(values: Array64, seen: NDArray[np.bool_], *, smooth: bool = False) -> Array64:
    """Values of the seen stations at all stations, interpolated; smoothed by a running median if wanted."""
    if smooth:
        padded = np.pad(values, STEP_STRETCH, mode="reflect" if len(values) > STEP_STRETCH else "edge")
        windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * STEP_STRETCH + 1)
        values = np.median(windows, axis=1)
    return np.asarray(np.interp(np.arange(len(seen)), np.flatnonzero(seen), values))
