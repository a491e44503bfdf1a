"""Spots: unbroken stretches of the joint that need a person, merged and dropped by stated lengths only.

A station stands for the cell of one step around it, so a spot runs from half a step before its first station
to half a step behind its last one.

1. Stretches over the limit that are less than `merge_mm` apart are one spot (one clamp closes them).
   What lies between them may be within or doubtful, never unseen.
2. A spot over the limit shorter than `shortest_over_mm` counts as doubtful. The default 0 keeps every one.
3. Doubtful stretches less than `merge_mm` apart, with only stations within between them, are one spot.
4. A doubtful stretch shorter than `merge_mm` that touches a spot over the limit is the edge of that spot.
5. Doubtful and unseen stretches shorter than their stated lengths are dropped. The defaults of 0 keep all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.verdict.decision import StationState

__all__ = ["SpotRule", "Stretch", "find_stretches", "runs_of", "with_breaks_closed", "without_short"]

_ROUNDING_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class SpotRule:
    """Lengths by which spots are merged and dropped, all in mm along the joint.

    Raises
    ------
    UsageError
        When a length is negative or no number.
    """

    merge_mm: float = 1.0
    """Stretches of one kind closer than this are one spot (1 mm: the shortest opening that must be found)."""
    shortest_over_mm: float = 0.0
    """Stretches over the limit shorter than this count as doubtful."""
    shortest_doubtful_mm: float = 0.0
    """Doubtful stretches shorter than this are dropped."""
    shortest_unseen_mm: float = 0.0
    """Unseen stretches shorter than this are dropped; by default no unseen station is passed over."""

    def __post_init__(self) -> None:
        for field in fields(self):
            length_mm = getattr(self, field.name)
            if not (math.isfinite(length_mm) and length_mm >= 0):
                raise UsageError(f"{field.name} must be a length of 0 mm or more, not {length_mm:g}.")


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Stations `first` to `last` (both included) that make one spot of `state`."""

    state: StationState
    first: int
    last: int

    @property
    def cells(self) -> slice:
        """The stations as a slice."""
        return slice(self.first, self.last + 1)


def find_stretches(
    states: tuple[StationState, ...], step_mm: float, rule: SpotRule | None = None
) -> tuple[Stretch, ...]:
    """Group stations into spots, in order along the joint; no two of them overlap.

    With all lengths of the rule at 0 the spots hold exactly the stations that are not within.

    Parameters
    ----------
    states : tuple of N StationState
    step_mm : float
        Distance between stations [mm].
    rule : SpotRule, optional
        Lengths for merging and dropping.
    """
    rule = rule or SpotRule()
    named = np.array(states, dtype=object)
    unseen = named == StationState.UNSEEN
    exceeding = named == StationState.OVER
    suspect = exceeding | (named == StationState.DOUBTFUL)

    over = without_short(
        with_breaks_closed(exceeding, ~unseen, rule.merge_mm, step_mm), rule.shortest_over_mm, step_mm
    )
    doubtful = with_breaks_closed(suspect & ~over, ~unseen & ~over, rule.merge_mm, step_mm)
    fringe = _fringe(doubtful, over, rule.merge_mm, step_mm)
    kept = (
        (StationState.OVER, over | fringe),
        (StationState.DOUBTFUL, without_short(doubtful & ~fringe, rule.shortest_doubtful_mm, step_mm)),
        (StationState.UNSEEN, without_short(unseen, rule.shortest_unseen_mm, step_mm)),
    )
    stretches = [
        Stretch(state=state, first=first, last=last) for state, mask in kept for first, last in runs_of(mask)
    ]
    return tuple(sorted(stretches, key=lambda stretch: stretch.first))


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of every unbroken run of True in a (N,) mask."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(first), int(end) - 1) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def with_breaks_closed(
    mask: NDArray[np.bool_], bridgeable: NDArray[np.bool_], merge_mm: float, step_mm: float
) -> NDArray[np.bool_]:
    """The (N,) mask with its inner breaks filled where they are shorter than merge_mm and all bridgeable."""
    closed = mask.copy()
    for first, last in runs_of(~mask):
        inner = first > 0 and last < len(mask) - 1
        if inner and _shorter(first, last, merge_mm, step_mm) and bridgeable[first : last + 1].all():
            closed[first : last + 1] = True
    return closed


def without_short(mask: NDArray[np.bool_], shortest_mm: float, step_mm: float) -> NDArray[np.bool_]:
    """The (N,) mask without its runs shorter than shortest_mm."""
    kept = mask.copy()
    for first, last in runs_of(mask):
        if _shorter(first, last, shortest_mm, step_mm):
            kept[first : last + 1] = False
    return kept


def _fringe(
    doubtful: NDArray[np.bool_], over: NDArray[np.bool_], merge_mm: float, step_mm: float
) -> NDArray[np.bool_]:
    """Doubtful runs shorter than merge_mm that touch a run over the limit."""
    touched = np.concatenate((over[1:], [False])) | np.concatenate(([False], over[:-1]))
    fringe = np.zeros_like(doubtful)
    for first, last in runs_of(doubtful):
        if _shorter(first, last, merge_mm, step_mm) and touched[first : last + 1].any():
            fringe[first : last + 1] = True
    return fringe


def _shorter(first: int, last: int, length_mm: float, step_mm: float) -> bool:
    return (last - first + 1) * step_mm < length_mm - _ROUNDING_MM
