"""Every strip in one photo, each with the joint beside it: the parts that long joints are put together from.

A single photo is inspected over its strip's pattern. On a long joint the stretch between two patterns must be
seen too, so that the joint is followed past the pattern's ends, as far as the photo shows it and a bit into
the next strip's stretch, where the next photo is compared with it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges import JointLine, find_joint
from fitup.errors import FitupError, RetakeError
from fitup.inspection import Inspection, InspectionSettings, inspect_target, target_scale
from fitup.photo import Photo, open_photo
from fitup.scale import ScaleMap, TargetSighting, find_targets
from fitup.scale.in_view import in_view, stretch_in_view
from fitup.scale.strip_chain import StripLink
from fitup.scale.strip_glimpse import SeenSaddles, glimpse_neighbours
from fitup.strip_links import foot_on, link_strips, place_strip, printed_face

__all__ = ["PhotoStrips", "measure_strips", "open_strips"]

Array64 = NDArray[np.float64]

REACH_MM = 40.0  # past the pattern's ends: the next paper begins at 22 mm
LEAST_STRETCH_MM = 30.0  # of a pattern: less of it makes the joint's course a guess
BAND_MM = 5.0  # to either side of the joint that must be in the photo
SAME_JOINT_MM = 2.0
SAME_ROW_MM, SAME_ROW_DEG = 10.0, 8.0  # how far strips laid end to end may stand out of their row
GUIDE_STEP_MM = 8.0
TOO_LITTLE = "outside photo"


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoStrips:
    """What one photo gave: inspections beside its strips, the most seen strip first, or the fault.

    `strips` are the numbers of all strips found, `links` the distances between those that were measured.
    """

    path: str
    name: str
    inspections: tuple[Inspection, ...] = ()
    strips: tuple[int, ...] = ()
    form: str = ""
    links: tuple[StripLink, ...] = ()
    notes: tuple[str, ...] = ()
    fault: FitupError | None = None

    @property
    def photo(self) -> Photo:
        """The opened photo."""
        return self.inspections[0].photo


def open_strips(path: str | os.PathLike[str], settings: InspectionSettings) -> PhotoStrips:
    """Measure beside every strip in the photo at `path`; what hinders it is its `fault` and not raised."""
    where, name = os.fspath(path), os.path.basename(os.fspath(path))  # noqa: PTH119 (bytes in a name stay)
    sightings: tuple[TargetSighting, ...] = ()
    try:
        photo = open_photo(path, settings.photo_limits)
        name = photo.name
        sightings = find_targets(photo, choice=settings.lens_of(photo))
        return measure_strips(where, photo, sightings, settings)
    except FitupError as fault:
        numbers = tuple(sorted(seen.layout.strip_number for seen in sightings))
        form = sightings[0].layout.name if sightings else ""
        return PhotoStrips(path=where, name=name, strips=numbers, form=form, fault=fault)


def measure_strips(
    path: str, photo: Photo, sightings: Sequence[TargetSighting], settings: InspectionSettings
) -> PhotoStrips:
    """Measure the joint beside the best seen strip and, where it runs on there, beside the others.

    Raises what `inspect_target` raises for the best seen strip; trouble with the others is a note.
    """
    best = sightings[0]
    first = _inspect_along(photo, best, settings, sightings)
    inspections, notes = [first], []
    others: list[TargetSighting | SeenSaddles] = []
    for sighting in sightings[1:]:
        number = sighting.layout.strip_number
        if not _same_way(best, sighting):
            continue
        if not _in_row(first, sighting):
            notes.append(_another_joint(number))
            continue
        try:
            beside = _inspect_along(photo, sighting, settings, sightings)
        except RetakeError as trouble:
            others.append(sighting)
            if trouble.reason != TOO_LITTLE:
                notes.append(f"Nothing was measured beside strip {number}: {trouble.message}")
            continue
        if _apart(first, beside) > SAME_JOINT_MM:
            notes.append(_another_joint(number))
            continue
        inspections.append(beside)
    found = frozenset(one.layout.strip_number for one in sightings)
    others += glimpse_neighbours(photo, printed_face(first.scale), found)
    seen = (*others, *(one.scale.sighting for one in inspections))
    return PhotoStrips(
        path=path,
        name=photo.name,
        inspections=tuple(inspections),
        strips=tuple(sorted(one.layout.strip_number for one in seen)),
        form=best.layout.name,
        links=link_strips(photo.name, inspections, others),
        notes=tuple(notes),
    )


def _inspect_along(
    photo: Photo, sighting: TargetSighting, settings: InspectionSettings, sightings: Sequence[TargetSighting]
) -> Inspection:
    """Inspect beside one strip as far past its pattern as the photo shows; s counts from its datum mark."""
    scale = target_scale(photo, sighting, settings)
    elsewhere = tuple(other for other in sightings if other is not sighting)
    start, end = stretch_in_view(scale, 0.0, sighting.layout.length_mm)
    if end - start < LEAST_STRETCH_MM:
        raise RetakeError(
            TOO_LITTLE,
            f"The photo shows the joint beside only {max(end - start, 0):.0f} mm of strip "
            f"{sighting.layout.strip_number}.",
            "Take the photo so that strip and joint lie near the middle of the frame.",
        )
    course = find_joint(
        photo,
        scale,
        settings.setup,
        from_mm=start,
        to_mm=end,
        sheet_mm=settings.opening_sheet.thickness_mm if settings.opening_sheet else None,
        others=elsewhere,
    )
    s = _shown(scale, course, -REACH_MM, sighting.layout.length_mm + REACH_MM)
    guide = course.at(s)[0]
    found = inspect_target(
        photo,
        sighting,
        replace(
            settings,
            points_px=scale.to_px(guide),
            from_mm=float(guide[0, 0]),
            to_mm=float(guide[-1, 0]),
        ),
        elsewhere=elsewhere,
    )
    # The points are the program's own: nobody gave them.
    line = replace(found.line, evidence=course.evidence, rival=course.rival, given_by_person=False)
    return replace(found, settings=settings, line=line)


def _shown(scale: ScaleMap, course: JointLine, low_mm: float, high_mm: float) -> Array64:
    """Places along the joint, past its found course, at which the photo shows it with room to either side."""
    s = np.arange(np.floor(low_mm / GUIDE_STEP_MM), np.ceil(high_mm / GUIDE_STEP_MM) + 1) * GUIDE_STEP_MM
    xy, normal = course.at(s)
    both = np.stack([xy - BAND_MM * normal, xy, xy + BAND_MM * normal], axis=1)
    middle = int(np.argmin(np.abs(s - (course.s_mm[0] + course.s_mm[-1]) / 2)))
    inside = np.asarray(in_view(scale, both).all(axis=1))
    first = last = middle
    while first > 0 and inside[first - 1]:
        first -= 1
    while last < len(s) - 1 and inside[last + 1]:
        last += 1
    return np.asarray(s[first : last + 1])


def _same_way(best: TargetSighting, other: TargetSighting) -> bool:
    """Whether a strip is of the same form and points the same way; one across the joint does not."""
    if best.layout.name != other.layout.name:
        return False
    along = [_direction(seen) for seen in (best, other)]
    return float(along[0] @ along[1]) > 0.8


def _direction(sighting: TargetSighting) -> Array64:
    ends = np.array([[0.0, 0.0, 1.0], [sighting.layout.length_mm, 0.0, 1.0]]) @ sighting.homography.T
    chord = ends[1, :2] / ends[1, 2] - ends[0, :2] / ends[0, 2]
    return np.asarray(chord / np.linalg.norm(chord))


def _in_row(first: Inspection, other: TargetSighting) -> bool:
    """Whether another strip lies end to end with the first, near enough."""
    place = place_strip(first, other)
    return abs(place.datum_mm[1]) <= SAME_ROW_MM and abs(place.turn_deg) <= SAME_ROW_DEG


def _another_joint(number: int) -> str:
    return f"Strip {number} does not lie end to end with the others: it belongs to another joint."


def _apart(first: Inspection, other: Inspection) -> float:
    """Distance of the other's joint from the first's where they meet, in the first's plane [mm]."""
    towards = _number(other) > _number(first)
    end = 0 if towards else -1
    point = first.scale.to_mm(other.scale.to_px(other.line.xy_mm[end]))
    on_line = first.line.at(np.array([foot_on(first.line, point)]))[0][0]
    return float(np.linalg.norm(point - on_line))


def _number(inspection: Inspection) -> int:
    return inspection.scale.sighting.layout.strip_number
