"""From an inspection to what its record and its table say of the joint's shape."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.kind_words import gap_between, kind_in_words
from fitup.evidence.shape_entry import PlaneEntry, SecondTargetEntry, ShapeEntry, Triple
from fitup.evidence.subject import Subject
from fitup.evidence.writing import printable_name

if TYPE_CHECKING:
    from fitup.scale import PlaneFrame, TargetPair

__all__ = ["shape_columns", "shape_entry", "shape_in_words"]

Array64 = NDArray[np.float64]

_IN_PLATE_PLANE = ("butt", "seam")


def shape_entry(subject: Subject) -> ShapeEntry | None:
    """The shape; None for plates in one plane with one target, of which nothing more is known."""
    kind, shape, pair = str(subject.settings.joint_kind), subject.shape, subject.pair
    if kind in _IN_PLATE_PLANE and pair is None:
        return None
    return ShapeEntry(
        joint_kind=kind,
        gap_between=gap_between(kind),
        opening_plane=_plane(subject.scale.frame),
        second_target=_second(pair),
        one_sheet=pair is not None and pair.same_sheet,
        included_angle_deg=shape.included_angle_deg,
        u_included_angle_deg=shape.u_included_angle_deg,
        step_mm=_lengths(shape.hi_lo_mm),
        u_step_mm=_lengths(shape.u_hi_lo_mm),
        near_side=shape.sides[0],
        near_land_mm=_lengths(shape.near_land_mm),
        far_side=shape.sides[1],
        far_land_mm=_lengths(shape.far_land_mm),
        notes=tuple(printable_name(note) for note in shape.notes),
    )


def shape_columns(subject: Subject) -> dict[str, list[str]]:
    """Columns for the table of the profile: step and lands where there are any, one text per station."""
    shape = subject.shape
    columns = {
        "step_mm": shape.hi_lo_mm,
        "u_step_mm": shape.u_hi_lo_mm,
        "near_land_mm": shape.near_land_mm,
        "far_land_mm": shape.far_land_mm,
    }
    return {name: _texts(values) for name, values in columns.items() if values is not None}


def shape_in_words(subject: Subject) -> str:
    """Kind of joint, what its gap is, and the measured angle; "" for one that is nothing but two plates."""
    entry = shape_entry(subject)
    return "" if entry is None else kind_in_words(entry)


def _texts(values: Array64) -> list[str]:
    return [f"{round(float(value), 4) + 0.0:.4f}" if math.isfinite(value) else "" for value in values]


def _plane(frame: PlaneFrame) -> PlaneEntry:
    return PlaneEntry(
        origin_mm=_triple(frame.origin_mm), along=_triple(frame.along), across=_triple(frame.across)
    )


def _second(pair: TargetPair | None) -> SecondTargetEntry | None:
    if pair is None:
        return None
    layout = pair.second.sighting.layout
    return SecondTargetEntry(form=layout.name, strip_number=layout.strip_number)


def _lengths(values: Array64 | None) -> tuple[float | None, ...] | None:
    return None if values is None else tuple(float(v) if math.isfinite(v) else None for v in values)


def _triple(values: Array64) -> Triple:
    first, second, third = (float(value) for value in values)
    return first, second, third
