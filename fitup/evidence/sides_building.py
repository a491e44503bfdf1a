"""From a joint in two photos, one from either side, to its record."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.building import (
    cautions_of,
    filing_entry,
    joint_entry,
    limit_entry,
    photo_entry,
    profile_entry,
    program_entry,
    request_entry,
    response_entry,
    scale_entry,
    verdict_entry,
)
from fitup.evidence.several import values_of
from fitup.evidence.sides_record import (
    Both,
    SidesPhotoEntry,
    SidesProfileEntry,
    SidesRecord,
    SidesStationEntry,
    StepEntry,
)
from fitup.evidence.sides_subject import SidesSubject
from fitup.evidence.subject import Filing
from fitup.evidence.writing import printable_name

__all__ = ["build_sides_record"]

Array64 = NDArray[np.float64]


def build_sides_record(sides: SidesSubject, filing: Filing) -> SidesRecord:
    """Everything that was measured, asked and decided, as one frozen record."""
    first, second = (_photo(sides, index) for index in range(2))
    reason = sides.not_separated
    return SidesRecord(
        schema_version=2,
        kind="sides",
        program=program_entry(),
        filing=filing_entry(filing),
        request=request_entry(sides.settings, sides.verdict),
        limit=limit_entry(sides.verdict.limit),
        print_check=first.scale.print_check,
        print_check_sentence=first.scale.print_check_sentence,
        photos=(first, second),
        step=_step(sides),
        not_measurable=None if reason is None else f"{reason.reason}; {reason.remedy}",
        judged=sides.judged,
        profile=_profile(sides),
        verdict=verdict_entry(sides.verdict),
        notes=tuple(printable_name(note) for note in sides.notes),
        cautions=cautions_of(sides.settings),
    )


def _photo(sides: SidesSubject, index: int) -> SidesPhotoEntry:
    subject = sides.photos[index].subject
    tangent = float(np.nanmedian(sides.apparent.tangent[index]))
    alone = sides.photos[index].alone
    return SidesPhotoEntry(
        photo=photo_entry(subject.photo, subject.scale.sighting.choice.notes),
        camera_side="beyond the joint" if tangent > 0 else "the strip's side",
        view_deg=math.degrees(math.atan(tangent)),
        scale=scale_entry(subject.scale, subject.profile),
        joint=joint_entry(subject),
        camera_response=response_entry(subject.response),
        budget=profile_entry(alone.profile, alone.verdict).budget,
    )


def _step(sides: SidesSubject) -> StepEntry | None:
    if sides.separated is None:
        return None
    step, u = sides.separated.step_mm, sides.separated.u_step_mm
    largest = int(np.nanargmax(np.abs(step)))
    return StepEntry(
        median_mm=float(np.nanmedian(step)),
        u_median_mm=float(np.nanmedian(u)),
        largest_mm=float(step[largest]),
        u_largest_mm=float(u[largest]),
        largest_at_mm=float(sides.profile.station_mm[largest]),
    )


def _profile(sides: SidesSubject) -> SidesProfileEntry:
    plain = profile_entry(sides.profile, sides.verdict)
    told, apparent = sides.separated, sides.apparent
    return SidesProfileEntry(
        step_mm=plain.step_mm,
        stations=tuple(
            SidesStationEntry(
                **values_of(station),
                apparent_gap_mm=_both(apparent.apparent_mm, index),
                u_apparent_gap_mm=_both(apparent.u_apparent_mm, index),
                view_tangent=_both(apparent.tangent, index),
                step_mm=None if told is None else _number(told.step_mm[index]),
                u_step_mm=None if told is None else _number(told.u_step_mm[index]),
            )
            for index, station in enumerate(plain.stations)
        ),
        budget=plain.budget,
        notes=plain.notes,
    )


def _both(values: Array64, index: int) -> Both:
    first, second = (_number(value) for value in values[:, index])
    return first, second


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
