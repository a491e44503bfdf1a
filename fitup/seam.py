"""A joint longer than one photo: strips laid end to end beside it, several photos, one profile and verdict.

Every photo is measured by itself (`photo_strips`), on all cores. Then the strips are put into one chain
(`scale/strip_chain`), the photos' profiles are compared where two saw the same, and joined
(`profile/joining`). What no photo shows is a hole: unseen, with the words "no photo".
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fitup.errors import FitupError, RetakeError, UsageError
from fitup.inspection import Inspection, InspectionSettings, limit_of, verdict_of
from fitup.parallel import each_photo
from fitup.photo_strips import PhotoStrips, open_strips
from fitup.profile import GapProfile, JointShape
from fitup.profile.joining import (
    NO_PHOTO,
    PhotoPart,
    SeamProfile,
    SeamStations,
    join_profiles,
    seam_stations,
)
from fitup.scale import DEFAULT_PRINT_U_RELATIVE, TargetLayout, target_layout
from fitup.scale.strip_chain import StripChain, chain_strips, paper_pitch_mm
from fitup.verdict import JointVerdict, Limit
from fitup.verdict.spots import runs_of

__all__ = ["Hole", "Seam", "SeamPhoto", "inspect_seam"]

Told = Callable[[int, PhotoStrips], None]
LEAST_END_MM = 5.0


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A stretch that no photo shows [mm along the joint], and the photos that may have been meant to."""

    start_mm: float
    end_mm: float
    meant: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SeamPhoto:
    """One photo's share of the joint, as the evidence shows it: its stretch of the joined profile, judged."""

    path: str
    inspection: Inspection
    strips: tuple[int, ...]
    profile: GapProfile
    verdict: JointVerdict

    @property
    def subject(self) -> Inspection:
        """The photo's inspection with the joint's places and states; lands were told at places of its own."""
        return replace(self.inspection, profile=self.profile, verdict=self.verdict, shape=JointShape())


@dataclass(frozen=True, kw_only=True, eq=False)
class Seam:
    """A long joint: photos in their order along it, those that gave nothing, the joined profile."""

    settings: InspectionSettings
    named_strips: tuple[int, int] | None
    photos: tuple[SeamPhoto, ...]
    faults: tuple[PhotoStrips, ...]
    chain: StripChain
    layout: TargetLayout
    joined: SeamProfile
    limit: Limit
    verdict: JointVerdict
    holes: tuple[Hole, ...]
    notes: tuple[str, ...]

    @property
    def profile(self) -> GapProfile:
        """The joined profile; its pixels belong to the photo that leads at each station."""
        return self.joined.profile

    @property
    def stations(self) -> SeamStations:
        """Where the stations are: on which strip, and along the joint."""
        return self.joined.stations


def inspect_seam(
    paths: Sequence[str | os.PathLike[str]],
    settings: InspectionSettings,
    *,
    strips: tuple[int, int] | None = None,
    workers: int = 1,
    told: Told | None = None,
) -> Seam:
    """Measure a joint from several photos with strips laid end to end beside it, and judge it as one.

    Parameters
    ----------
    paths : photos in any order; the same photo twice counts once
    settings : as for one photo; from_mm and to_mm bound the joint in mm from the lowest strip's datum mark
        (the lowest strip's zero to the end of the highest one's pattern by default)
    strips : first and last strip of the stretch that is judged; the settings' or all that are seen by default
    workers : photos measured at once, in threads. Results are the same bit for bit.
    told : is called with the index of each photo and what it gave, as they are done

    A photo that cannot be measured is kept in `faults`. Raises its error if none can be, RetakeError where
    photos or strips contradict one another, UsageError for settings that cannot be used.
    """
    limit = limit_of(settings)
    if settings.points_px is not None:
        raise UsageError("points on the joint belong to one photo: inspect that photo by itself (--points).")
    if not paths:
        raise UsageError("there is no photo: name the photos of the joint.")
    strips = strips or ((settings.strips[0], settings.strips[-1]) if settings.strips else None)
    given = replace(settings, from_mm=None, to_mm=None, joint_start_mm=None, joint_length_mm=None, strips=())
    results = _measured([os.fspath(path) for path in paths], given, workers, told)
    results, notes = _without_twins(results)
    shown = [result for result in results if result.fault is None]
    faults = [result for result in results if result.fault is not None]
    if not shown:
        raise _nothing(faults)
    layout = _one_form(shown)
    chain = _chain(results, layout, settings, strips)
    stations = _stations(chain, layout, settings)
    ends = stations.station_mm[[0, -1]]
    shown = [_only(one, chain) for one in shown]
    apart = [one for one in shown if not _reaches(one, chain, ends)]
    notes += [f"{one.name} shows nothing of the joint between its ends." for one in apart]
    if len(apart) == len(shown):
        raise UsageError(
            f"no photo shows the joint from {ends[0]:.0f} to {ends[1]:.0f} mm: name another stretch."
        )
    shown = sorted((one for one in shown if one not in apart), key=lambda one: _order(one, chain))
    parts = [
        PhotoPart(photo=k, strip_number=_number(one), profile=_trimmed(one.profile))
        for k, photo in enumerate(shown)
        for one in photo.inspections
    ]
    joined = join_profiles(parts, [photo.name for photo in shown], chain, stations)
    verdict = verdict_of(joined.profile, settings)
    faults = sorted(faults, key=lambda one: (one.strips, one.name, one.path))
    return Seam(
        settings=settings,
        named_strips=strips,
        photos=_shares(shown, joined, settings),
        faults=tuple(faults),
        chain=chain,
        layout=layout,
        joined=joined,
        limit=limit,
        verdict=verdict,
        holes=_holes(joined, faults),
        notes=(
            *notes,
            *chain.notes,
            *_unjudged(shown),
            *(f"{one.name}: {note}" for one in shown for note in one.notes),
        ),
    )


def _measured(
    paths: list[str], settings: InspectionSettings, workers: int, told: Told | None
) -> list[PhotoStrips]:
    results: dict[int, PhotoStrips] = {}
    for index, result in each_photo(partial(open_strips, settings=settings), paths, workers):
        if isinstance(result, Exception):
            raise result
        results[index] = result
        if told is not None:
            told(index, result)
    return [results[index] for index in sorted(results)]


def _without_twins(results: Sequence[PhotoStrips]) -> tuple[list[PhotoStrips], list[str]]:
    """Each photo once, by its bytes: twice it would count as two witnesses."""
    kept: dict[str, PhotoStrips] = {}
    notes = []
    for result in sorted(results, key=lambda one: (one.name, one.path)):
        key = result.path if result.fault is not None else result.photo.sha256
        if key in kept:
            notes.append(f"{result.name} is the same photo as {kept[key].name}: it counts once.")
        kept.setdefault(key, result)
    return list(kept.values()), notes


def _nothing(faults: Sequence[PhotoStrips]) -> Exception:
    """Why no photo gives anything: the error of the first one, by name, with the others counted."""
    first = faults[0]
    if len(faults) == 1 or not isinstance(first.fault, RetakeError):
        return first.fault or RetakeError("no joint", "Nothing was measured.", "Photograph the joint again.")
    return RetakeError(
        first.fault.reason,
        f"None of the {len(faults)} photos can be measured; {first.name}: {first.fault.message}",
        first.fault.remedy,
    )


def _one_form(shown: Sequence[PhotoStrips]) -> TargetLayout:
    forms = sorted({photo.form for photo in shown})
    if len(forms) > 1:
        of_form = [next(photo.name for photo in shown if photo.form == form) for form in forms[:2]]
        raise RetakeError(
            "mixed strips",
            f"{of_form[0]} shows strips of form {forms[0]} and {of_form[1]} of form {forms[1]}.",
            "Lay strips of one form along a joint and photograph it again.",
        )
    return target_layout(min(number for photo in shown for number in photo.strips), forms[0])


def _chain(
    results: Sequence[PhotoStrips],
    layout: TargetLayout,
    settings: InspectionSettings,
    strips: tuple[int, int] | None,
) -> StripChain:
    numbers = {number for one in results if one.form == layout.name for number in one.strips}
    if strips is not None:
        numbers = set(range(strips[0], strips[1] + 1))
    factor = 1.0 if settings.print_record is None else settings.print_record.along_factor
    links = [link for one in results for link in one.links if {link.first, link.second} <= numbers]
    return chain_strips(sorted(numbers), paper_pitch_mm(layout, factor), links)


def _only(photo: PhotoStrips, chain: StripChain) -> PhotoStrips:
    """The photo with what it shows beside strips of the chain."""
    return replace(
        photo, inspections=tuple(one for one in photo.inspections if _number(one) in chain.numbers)
    )


def _reaches(photo: PhotoStrips, chain: StripChain, ends_mm: NDArray[np.float64]) -> bool:
    """Whether a photo shows some of the joint between two places."""
    return any(
        chain.place_of(_number(one)) + one.profile.station_mm[0] <= ends_mm[1]
        and chain.place_of(_number(one)) + one.profile.station_mm[-1] >= ends_mm[0]
        for one in photo.inspections
    )


def _order(photo: PhotoStrips, chain: StripChain) -> tuple[float, str]:
    """Photos go by the first place that they show, then by their bytes: never by the order they came in."""
    starts = [chain.place_of(_number(one)) + one.profile.station_mm[0] for one in photo.inspections]
    return float(min(starts)), photo.photo.sha256


def _trimmed(profile: GapProfile) -> GapProfile:
    """The profile without its ends that lie outside the photo: another photo, or none, shows them."""
    inside = np.flatnonzero([word != "outside photo" for word in profile.unseen_reason])
    if len(inside) in (0, len(profile.station_mm)):
        return profile
    return profile.part(slice(int(inside[0]), int(inside[-1]) + 1))


def _stations(chain: StripChain, layout: TargetLayout, settings: InspectionSettings) -> SeamStations:
    record = settings.print_record
    factor, u_print = (
        (1.0, DEFAULT_PRINT_U_RELATIVE) if record is None else (record.along_factor, record.u_relative)
    )
    start, end = settings.stretch_mm
    start = 0.0 if start is None else start
    end = chain.place_mm[-1] + layout.length_mm * factor if end is None else end
    if not start + LEAST_END_MM <= end:
        raise UsageError(f"the stretch from {start:.1f} to {end:.1f} mm is too short: give at least 5 mm.")
    return seam_stations(chain, (start, float(end)), layout.paper_box_mm[0], u_print)


def _shares(
    shown: Sequence[PhotoStrips], joined: SeamProfile, settings: InspectionSettings
) -> tuple[SeamPhoto, ...]:
    """Every photo's stretch of the joint, from the first to the last station that it shows, in its pixels."""
    shares = []
    stack = joined.stack
    whole = replace(settings, from_mm=None, to_mm=None)
    for index, photo in enumerate(shown):
        there = np.flatnonzero(np.isfinite(stack.centre_px[index]).all(axis=1))
        cells = slice(int(there[0]), int(there[-1]) + 1)
        profile = replace(
            joined.profile.part(cells),
            near_px=stack.near_px[index, cells],
            far_px=stack.far_px[index, cells],
            centre_px=_bridged(stack.centre_px[index, cells]),
        )
        shares.append(
            SeamPhoto(
                path=photo.path,
                inspection=photo.inspections[0],
                strips=photo.strips,
                profile=profile,
                verdict=verdict_of(profile, whole),
            )
        )
    return tuple(shares)


def _bridged(points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (N, 2) of a line with holes bridged straight."""
    known = np.isfinite(points_px).all(axis=1)
    index = np.arange(len(points_px))
    return np.stack([np.interp(index, index[known], points_px[known, axis]) for axis in (0, 1)], axis=1)


def _unjudged(shown: Sequence[PhotoStrips]) -> list[str]:
    """What single photos are judged by and a joint of several is not."""
    with_lands = any(
        length is not None and np.isfinite(length).any()
        for photo in shown
        for one in photo.inspections
        for length in (one.shape.near_land_mm, one.shape.far_land_mm)
    )
    return ["Lands are not judged over several photos: inspect the photos one by one."] if with_lands else []


def _holes(joined: SeamProfile, faults: Sequence[PhotoStrips]) -> tuple[Hole, ...]:
    """Stretches without a photo, with the photos that were meant to show them where that is known."""
    profile, stations = joined.profile, joined.stations
    missing = np.array([word == NO_PHOTO for word in profile.unseen_reason])
    half = profile.step_mm / 2
    holes = []
    for first, last in runs_of(missing):
        strips = {int(number) for number in np.unique(stations.strip_number[first : last + 1])}
        meant = [
            f"{one.name}: {_why(one.fault)}" for one in faults if not one.strips or strips & set(one.strips)
        ]
        start, end = profile.station_mm[first] - half, profile.station_mm[last] + half
        holes.append(Hole(start_mm=float(start), end_mm=float(end), meant=tuple(meant)))
    return tuple(holes)


def _why(fault: FitupError | None) -> str:
    return str(getattr(fault, "message", fault)).rstrip(".")


def _number(inspection: Inspection) -> int:
    return inspection.scale.sighting.layout.strip_number
