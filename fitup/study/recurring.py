"""Recurring spots of one joint of one part: start here. Records in, what they say of the fixture out.

Which records count is said in `recurring_parts.py`, what recurs in `recurring_spots.py`, what changed in
`change.py`, the chart's rules in `control_chart.py`. All parts are judged by one limit, whatever that of
their records was: else a new limit would look like a new fixture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.evidence.archive.joint_profiles import JointProfiles
from fitup.study.change import (
    Change,
    FoundChange,
    LargestGaps,
    change_after,
    find_changes,
    largest_gaps,
    sides_of,
)
from fitup.study.control_chart import ControlChart, control_chart
from fitup.study.position_map import PositionMap, SeenOpen, position_map, seen_and_open
from fitup.study.recurring_parts import Parts, counted_parts
from fitup.study.recurring_spots import RecurringSpot, recurring_spots

__all__ = ["ChartPhase", "Recurring", "study_recurring"]


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartPhase:
    """A phase of the control chart: which parts it is of (rows of `Recurring.parts`), and the chart."""

    rows: NDArray[np.intp]
    chart: ControlChart


@dataclass(frozen=True, kw_only=True, eq=False)
class Recurring:
    """All that was found; where a change was given, `spots` are those since and `former` those before."""

    parts: Parts
    limit_mm: float
    other_limits_mm: tuple[float, ...]
    """Limits of records that were not the one used here."""
    state: SeenOpen
    map: PositionMap
    spots: tuple[RecurringSpot, ...]
    former: tuple[RecurringSpot, ...]
    all_time: tuple[RecurringSpot, ...]
    """Spots of all parts together."""
    open_share: float
    """Share of the seen length that is open, over all parts."""
    largest: LargestGaps
    phases: tuple[ChartPhase, ...]
    change: Change | None
    found: tuple[FoundChange, ...]
    """Changes found where no day was given."""


def study_recurring(
    profiles: JointProfiles,
    *,
    limit_mm: float | None = None,
    changed: str | None = None,
    job: str | None = None,
    from_day: str | None = None,
    to_day: str | None = None,
) -> Recurring:
    """Where a joint opens again and again, what changed, and which parts stand out.

    Parameters
    ----------
    limit_mm : the limit that all parts are judged by; that of the newest record if None
    changed : the day of a change, YYYY-MM-DD; parts of that day count as after it

    Raises
    ------
    UsageError
        When no record counts.
    """
    parts = counted_parts(profiles, job=job, from_day=from_day, to_day=to_day)
    if not len(parts):
        raise UsageError(
            "no record counts: `fitup archive search` with --part and --joint shows which there are."
        )
    limit_um = float(parts.limit_um[-1]) if limit_mm is None else 1000.0 * limit_mm
    state = seen_and_open(parts, limit_um)
    shown = position_map(parts, state, limit_um)
    all_time, largest = recurring_spots(parts, state), largest_gaps(parts)
    # Parts are in the order of time: both sides of a day are slices, which are not copied.
    sides = (slice(0), slice(None)) if changed is None else sides_of(parts, changed)
    former, spots = (all_time if changed is None else recurring_spots(parts, state, rows) for rows in sides)
    return Recurring(
        parts=parts,
        limit_mm=limit_um / 1000.0,
        other_limits_mm=tuple(float(one) / 1000.0 for one in np.unique(parts.limit_um) if one != limit_um),
        state=state,
        map=shown,
        spots=spots,
        former=() if changed is None else former,
        all_time=all_time,
        open_share=float(shown.open.sum() / max(1, int(shown.seen.sum()))),
        largest=largest,
        phases=_phases(largest, sides),
        change=None if changed is None else change_after(parts, state, largest, changed),
        found=find_changes(parts, largest, all_time) if changed is None else (),
    )


def _phases(largest: LargestGaps, sides: tuple[slice, slice]) -> tuple[ChartPhase, ...]:
    order = np.arange(len(largest.gap_mm))
    rows = (order[side][largest.counts[side]] for side in sides)
    return tuple(ChartPhase(rows=one, chart=control_chart(largest.gap_mm[one])) for one in rows if len(one))
