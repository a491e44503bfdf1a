"""One joint in two photos, one from either side of it: gap and step between the plates told apart.

Both photos are measured by themselves (`inspection`), then put together (`profile/both_sides`). Where they
cannot tell the two apart, that is said, and the more careful photo is judged as if it were alone.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from fitup.errors import RetakeError, UsageError
from fitup.inspection import Inspection, InspectionSettings, inspect, limit_of, verdict_of
from fitup.parallel import each_photo
from fitup.profile import GapProfile
from fitup.profile.both_sides import Separated, separate
from fitup.profile.side_views import BothSides, SideView, lay_sides
from fitup.scale import NotMeasurable
from fitup.verdict import JointVerdict, Limit, VerdictWord

__all__ = ["SidePhoto", "Sides", "inspect_sides"]

_CAREFUL = (VerdictWord.WITHIN, VerdictWord.GAUGE, VerdictWord.RETAKE, VerdictWord.RE_FIXTURE)
STEP_REMARK_MM = 0.3  # three times what clamped plates usually keep (common practice, no source)


@dataclass(frozen=True, kw_only=True, eq=False)
class SidePhoto:
    """One photo: measured `alone`, and with the joint's gaps and states at its stations."""

    path: str
    alone: Inspection
    profile: GapProfile
    verdict: JointVerdict

    @property
    def subject(self) -> Inspection:
        """The photo's inspection with the joint's gaps and states."""
        return replace(self.alone, profile=self.profile, verdict=self.verdict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sides:
    """A joint from both sides: photos by the side that the camera stood on, the target's side first.

    `profile` and `verdict` are those of the gap without the step, or of the photo `judged` where the two
    could not be told apart, as `not_separated` says. `apparent` is what each photo shows at the profile's
    stations.
    """

    settings: InspectionSettings
    photos: tuple[SidePhoto, ...]
    apparent: BothSides
    separated: Separated | None
    not_separated: NotMeasurable | None
    judged: int | None
    profile: GapProfile
    limit: Limit
    verdict: JointVerdict
    notes: tuple[str, ...]


def inspect_sides(
    paths: Sequence[str | os.PathLike[str]], settings: InspectionSettings, *, workers: int = 1
) -> Sides:
    """Measure gap and step of one joint from two photos, one from either side of it, and judge the gap.

    The strip and the parts lie still between the photos. Butt joints and seams.

    Parameters
    ----------
    paths : two photos, in any order
    workers : photos measured at once, in threads. Results are the same bit for bit.

    Raises UsageError for settings that cannot be used and photos that do not belong together, RetakeError
    where one cannot be measured or something moved between them, PhotoError for a file that is no photo.
    """
    limit = limit_of(settings)
    _check(paths, settings)
    shown = sorted(_measured([os.fspath(path) for path in paths], settings, workers), key=_order)
    _check_pair([inspection for _, inspection in shown])
    views = [_view(inspection) for _, inspection in shown]
    result = separate(views, max(_u_tangent(inspection) for _, inspection in shown))
    if isinstance(result, NotMeasurable):
        return _not_separated(shown, views, result, settings)
    verdict = verdict_of(result.profile, settings)
    return Sides(
        settings=settings,
        photos=tuple(_share(path, one, result.profile, settings) for path, one in shown),
        apparent=lay_sides(views, result.profile.station_mm),
        separated=result,
        not_separated=None,
        judged=None,
        profile=result.profile,
        limit=limit,
        verdict=verdict,
        notes=_remarks(result),
    )


def _check(paths: Sequence[str | os.PathLike[str]], settings: InspectionSettings) -> None:
    if len(paths) != 2:
        raise UsageError(f"two photos are needed, one from either side of the joint, not {len(paths)}.")
    if settings.points_px is not None:
        raise UsageError("points on the joint belong to one photo: inspect that photo by itself (--points).")
    if not settings.setup.opens_in_plate_plane:
        raise UsageError(
            f"gap and step are told apart from both sides for butt and seam joints, "
            f"not for {settings.setup.kind.in_words}: inspect it with a target on each plate."
        )
    if settings.two_targets:
        raise UsageError("with a target on each plate one photo tells the step: inspect it by itself.")


def _measured(paths: list[str], settings: InspectionSettings, workers: int) -> list[tuple[str, Inspection]]:
    results = dict(each_photo(partial(inspect, settings=settings), paths, workers))
    shown = []
    for index, path in enumerate(paths):
        result = results[index]
        if isinstance(result, RetakeError):
            raise RetakeError(result.reason, f"{Path(path).name}: {result.message}", result.remedy)
        if isinstance(result, Exception):
            raise result
        shown.append((path, result))
    return shown


def _order(shown: tuple[str, Inspection]) -> tuple[float, str]:
    """The camera on the target's side first; never the order in which photos were given."""
    return float(np.median(shown[1].arrises.tangent)), shown[1].photo.sha256


def _check_pair(pair: Sequence[Inspection]) -> None:
    """Both photos show one strip, and are not one photo."""
    names = [one.photo.name for one in pair]
    if pair[0].photo.sha256 == pair[1].photo.sha256:
        raise UsageError(
            f"{names[0]} and {names[1]} are the same photo: give one from either side of the joint."
        )
    strips = [(one.scale.sighting.layout.name, one.scale.sighting.layout.strip_number) for one in pair]
    if strips[0] != strips[1]:
        said = [f"strip {number} ({form})" for form, number in strips]
        raise UsageError(
            f"{names[0]} shows {said[0]} and {names[1]} shows {said[1]}: "
            f"give two photos of one joint with the same strip beside it."
        )


def _view(inspection: Inspection) -> SideView:
    return SideView(
        name=inspection.photo.name, profile=inspection.profile, tangent=inspection.arrises.tangent
    )


def _u_tangent(inspection: Inspection) -> float:
    """How well the slant is known: its tangent is the print's convergence times the focal length."""
    return float(inspection.scale.u_focal_relative * np.abs(inspection.arrises.tangent).max())


def _share(path: str, one: Inspection, joined: GapProfile, settings: InspectionSettings) -> SidePhoto:
    """One photo with the joined gaps at its own stations, where it shows them."""
    own = one.profile
    start = round(float(own.station_mm[0] - joined.station_mm[0]) / joined.step_mm)
    part = joined.part(slice(start, start + len(own.station_mm)))
    profile = replace(part, near_px=own.near_px, far_px=own.far_px, centre_px=own.centre_px)
    return SidePhoto(
        path=path,
        alone=one,
        profile=profile,
        verdict=verdict_of(profile, settings),
    )


def _not_separated(
    shown: Sequence[tuple[str, Inspection]],
    views: Sequence[SideView],
    reason: NotMeasurable,
    settings: InspectionSettings,
) -> Sides:
    """Judge the more careful photo as if it were alone."""
    judged = max(range(len(shown)), key=lambda index: _care(shown[index][1]))
    one = shown[judged][1]
    photos = tuple(_share(path, photo, photo.profile, settings) for path, photo in shown)
    return Sides(
        settings=settings,
        photos=photos,
        apparent=lay_sides(views, one.profile.station_mm),
        separated=None,
        not_separated=reason,
        judged=judged,
        profile=one.profile,
        limit=one.limit,
        verdict=one.verdict,
        notes=(
            f"The step between the plates is not measurable in these photos: {reason.reason}; "
            f"{reason.remedy}; judged is {one.photo.name}, the more careful of the two, as if it were alone.",
        ),
    )


def _care(one: Inspection) -> tuple[int, float]:
    """How careful a photo's result is: the worse verdict, then the largest gap that it leaves possible."""
    largest = one.profile.gap_mm + 2 * one.profile.u_gap_mm
    return _CAREFUL.index(one.verdict.word), float(np.nanmax(largest)) if one.profile.seen.any() else 0.0


def _remarks(result: Separated) -> tuple[str, ...]:
    step, u = float(np.nanmedian(result.step_mm)), float(np.nanmedian(result.u_step_mm))
    if abs(step) - 2 * u <= STEP_REMARK_MM:
        return ()
    return (
        f"A step of {step:+.2f} mm is more than clamped plates usually have: make sure that nothing moved "
        f"between the photos.",
    )
