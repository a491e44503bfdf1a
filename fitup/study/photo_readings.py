"""Photos to readings: each photo of a plan inspected, one number taken from its profile."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from fitup.errors import FitupError, UsageError
from fitup.inspection import InspectionSettings, inspect
from fitup.profile import GapProfile
from fitup.profile.correcting import CORRECTION
from fitup.study.readings import PART_HEADS, PERSON_HEADS, REPEAT_HEADS
from fitup.study.table_file import read_table
from fitup.verdict import VerdictWord

__all__ = [
    "READING_HEADS",
    "PhotoReading",
    "PlannedPhoto",
    "Taken",
    "read_photos",
    "read_plan",
    "readings_csv",
    "take_reading",
]

READING_HEADS = (
    *("part", "person", "repeat", "gap_mm", "u_gap_mm", "place_mm"),
    *("photo", "sha256", "taken", "camera", "corrected"),
)
LEAST_SEEN = 0.9
"""Share of the stations that must be seen for a mean; common practice, no source."""

Taken = Literal["largest", "mean"]


@dataclass(frozen=True, kw_only=True)
class PlannedPhoto:
    """One line of a filled plan."""

    part: str
    person: str
    repeat: str
    photo: str
    line: int


@dataclass(frozen=True, kw_only=True)
class PhotoReading:
    """What one photo gave: a gap, or the error that says why not."""

    planned: PlannedPhoto
    gap_mm: float = np.nan
    u_mm: float = np.nan
    """Standard uncertainty as the budget states it [mm]."""
    place_mm: float = np.nan
    """Where the largest gap is, or the middle of the stretch [mm from the datum mark]."""
    sha256: str = ""
    taken_at: str = ""
    camera: str = ""
    """Make and model."""
    corrected: bool = False
    """Whether the print record's correction is in the gap."""
    fault: FitupError | None = None


def read_plan(path: str | os.PathLike[str]) -> tuple[PlannedPhoto, ...]:
    """Read a plan in which the photos' names were filled in; lines without a photo are left out.

    Raises
    ------
    UsageError
        For a file that is no plan, one without any photo, or a photo that stands at two lines.
    """
    table = read_table(path)
    columns = [table.column(heads) for heads in (PART_HEADS, PERSON_HEADS, REPEAT_HEADS, ("photo", "file"))]
    planned = [
        PlannedPhoto(part=part, person=person, repeat=repeat, photo=photo, line=line)
        for part, person, repeat, photo, line in zip(*columns, table.lines, strict=True)
        if photo
    ]
    if not planned:
        raise UsageError(f"{table.name} names no photo: fill in the photos' file names under 'photo'.")
    first: dict[str, int] = {}
    for one in planned:
        earlier = first.setdefault(one.photo.casefold(), one.line)
        if earlier != one.line:
            raise UsageError(
                f"{table.name}, line {one.line}: photo {one.photo!r} stands in line {earlier} already: every "
                "reading needs a photo of its own."
            )
    return tuple(planned)


def read_photos(
    planned: Iterable[PlannedPhoto],
    folder: Path,
    settings_of: Callable[[PlannedPhoto], InspectionSettings],
    taken: Taken,
) -> Iterator[PhotoReading]:
    """Inspect photo after photo; one that cannot be used is told of and stops nothing."""
    names = {entry.name.casefold(): entry for entry in folder.iterdir()} if folder.is_dir() else {}
    stems: dict[str, list[Path]] = {}
    for entry in names.values():
        stems.setdefault(entry.stem.casefold(), []).append(entry)
    for one in planned:
        try:
            path = _photo_path(one, names, stems)
            yield _read(one, path, settings_of(one), taken)
        except FitupError as fault:
            yield PhotoReading(planned=one, fault=fault)


def take_reading(profile: GapProfile, taken: Taken) -> tuple[float, float, float]:
    """One number from a profile: gap, its standard uncertainty and its place, all mm.

    The largest is that of the stations seen. The mean is over all stations, of which nine in ten must be
    seen; in its uncertainty, influences that are common stay, and the others shrink with the stations.

    Raises
    ------
    UsageError
        Where too little was seen.
    """
    seen = profile.seen
    if not seen.any() or (taken == "mean" and seen.mean() < LEAST_SEEN):
        raise UsageError(
            f"only {100 * seen.mean():.0f} % of the stretch was seen: take the photo again, or choose the "
            "stretch with --from and --to."
        )
    if taken == "largest":
        k = int(np.nanargmax(profile.gap_mm))
        return float(profile.gap_mm[k]), float(profile.u_gap_mm[k]), float(profile.station_mm[k])
    u2 = 0.0
    for row in profile.budget:
        u = row.u_mm[seen]
        u2 += float(u.mean() ** 2 if row.common else (u**2).sum() / len(u) ** 2)
    middle = float((profile.station_mm[0] + profile.station_mm[-1]) / 2)
    return float(profile.gap_mm[seen].mean()), float(np.sqrt(u2)), middle


def readings_csv(readings: Iterable[PhotoReading]) -> bytes:
    """The readings that were taken, for `fitup study gauge`; a photo without one has no line."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(READING_HEADS)
    for one in readings:
        if one.fault is None:
            plan = one.planned
            numbers = (f"{one.gap_mm:.5f}", f"{one.u_mm:.5f}", f"{one.place_mm:.2f}")
            row = (plan.part, plan.person, plan.repeat, *numbers)
            writer.writerow(
                (*row, plan.photo, one.sha256, one.taken_at, one.camera, "yes" if one.corrected else "no")
            )
    return text.getvalue().encode("utf-8")


def _photo_path(one: PlannedPhoto, names: dict[str, Path], stems: dict[str, list[Path]]) -> Path:
    """A photo may be named without its ending, as a phone shows it."""
    key = Path(one.photo).name.casefold()
    if key in names:
        return names[key]
    alike = stems.get(key, [])
    if len(alike) == 1:
        return alike[0]
    what = "is in the folder with several endings: write the ending" if alike else "is not in the folder"
    raise UsageError(f"line {one.line} of the plan: photo {one.photo!r} {what}: correct the plan.")


def _read(one: PlannedPhoto, path: Path, settings: InspectionSettings, taken: Taken) -> PhotoReading:
    found = inspect(path, settings)
    if taken == "largest" and found.verdict.word is VerdictWord.RETAKE:
        raise UsageError(  # the widest place may be among what was not seen
            f"only {100 * found.verdict.seen_share:.0f} % of the stretch was seen: take the photo again, or "
            "choose the stretch with --from and --to."
        )
    gap_mm, u_mm, place_mm = take_reading(found.profile, taken)
    camera = found.photo.camera
    return PhotoReading(
        planned=one,
        gap_mm=gap_mm,
        u_mm=u_mm,
        place_mm=place_mm,
        sha256=found.photo.sha256,
        taken_at=camera.taken_at or "",
        camera=camera.phone,
        corrected=any(row.name == CORRECTION for row in found.profile.budget),
    )
