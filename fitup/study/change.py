"""What became of a joint after a day: places that open less or more often, and the parts' largest gap.

Every position is tested, before against after, by Fisher's exact test, and the largest gap by ranks. A change
is told where its probability by chance, times the number of positions for a place, is at most half of the
false rate: of joints that did not change at most one in twenty is told to have changed. Which part was
measured when is all that is known: a change has that day, not its cause.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.archive.profile_reading import POSITION_STEP_MM, UNSEEN_UM
from fitup.study.change_ranks import SmallerShare, smaller_share, strongest_cut
from fitup.study.position_map import SeenOpen, row_blocks
from fitup.study.recurring_parts import Parts
from fitup.study.recurring_shares import clopper_pearson, fisher_exact
from fitup.study.recurring_spots import FALSE_RATE, RecurringSpot, stretches

__all__ = [
    "LEAST_PARTS",
    "Change",
    "ChangedPlace",
    "FoundChange",
    "LargestGaps",
    "change_after",
    "find_changes",
    "largest_gaps",
    "sides_of",
]

LEAST_PARTS = 5
"""Before and after, below which nothing is tested."""
SEEN_ENOUGH = 0.9
"""Share of a stretch that must be seen of a part for its largest gap to count as that of the stretch."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LargestGaps:
    """(N,) the largest gap that was seen of every part, where, and of how much."""

    gap_mm: NDArray[np.float64]
    """NaN where nothing was seen."""
    at_mm: NDArray[np.float64]
    seen_share: NDArray[np.float64]

    @property
    def counts(self) -> NDArray[np.bool_]:
        """Parts of which enough was seen: of the others the largest gap may lie where nothing was seen."""
        return self.seen_share >= SEEN_ENOUGH


@dataclass(frozen=True, kw_only=True)
class ChangedPlace:
    """A stretch that opens less or more often; counts are those at the position of the clearest change."""

    start_mm: float
    end_mm: float
    at_mm: float
    open_before: int
    seen_before: int
    before: tuple[float, float]
    open_after: int
    seen_after: int
    after: tuple[float, float]
    """95 % intervals of the shares."""
    probability: float

    @property
    def better(self) -> bool:
        """Whether fewer parts open after."""
        return self.open_after * self.seen_before < self.open_before * self.seen_after


@dataclass(frozen=True, kw_only=True)
class Change:
    """Before and after a day."""

    day: str
    parts_before: int
    parts_after: int
    tested: bool
    """False where there are too few parts on either side."""
    places: tuple[ChangedPlace, ...] = ()
    largest: SmallerShare | None = None
    median_before_mm: float = float("nan")
    median_after_mm: float = float("nan")

    @property
    def largest_changed(self) -> bool:
        """Whether the largest gap of the parts changed."""
        return self.largest is not None and self.largest.probability <= FALSE_RATE / 2

    @property
    def word(self) -> str:
        """helped, worse, both, not shown, or too few parts."""
        if not self.tested:
            return "too few parts"
        better = any(place.better for place in self.places)
        worse = any(not place.better for place in self.places)
        if self.largest_changed and self.largest is not None:
            better, worse = better or self.largest.share > 0.5, worse or self.largest.share < 0.5
        if better and worse:
            return "both"
        return "helped" if better else "worse" if worse else "not shown"


@dataclass(frozen=True, kw_only=True)
class FoundChange:
    """A change that was found without a day to look at; of the whole joint, or of a spot."""

    where: str
    """Empty for the whole joint, else the stretch."""
    day: str
    number: int
    """Entry of the first part after it."""
    parts_before: int
    parts_after: int
    median_before_mm: float
    median_after_mm: float
    probability: float


def largest_gaps(parts: Parts, first: int = 0, end: int | None = None) -> LargestGaps:
    """The largest gap seen of every part, over the positions from `first` and before `end`.

    How much was seen is the share of the positions that were seen of half of the parts: where a few records
    go further than the others, these do not lack that.
    """
    gap_um = parts.gap_um[:, first:end]
    at, seen = np.zeros(len(parts), dtype=np.intp), np.zeros(gap_um.shape[1], dtype=np.int64)
    for rows in row_blocks(len(parts)):
        # One more than the largest number is zero: what was not seen comes before all gaps.
        at[rows] = np.argmax(gap_um[rows] + np.uint16(1), axis=1)
        seen += (gap_um[rows] != UNSEEN_UM).sum(axis=0)
    usual = 2 * seen >= len(parts)
    share = np.empty(len(parts))
    for rows in row_blocks(len(parts)):
        share[rows] = ((gap_um[rows] != UNSEEN_UM) & usual).sum(axis=1) / max(1, int(usual.sum()))
    largest = gap_um[np.arange(len(parts)), at]
    nothing = largest == UNSEEN_UM
    return LargestGaps(
        gap_mm=np.where(nothing, np.nan, largest / 1000.0),
        at_mm=np.where(nothing, np.nan, parts.position_mm[first + at]),
        seen_share=share,
    )


def sides_of(parts: Parts, day: str) -> tuple[slice, slice]:
    """The parts before a day, and those of that day and later."""
    cut = int(np.searchsorted(parts.day, np.datetime64(day)))
    return slice(0, cut), slice(cut, None)


def change_after(parts: Parts, state: SeenOpen, largest: LargestGaps, day: str) -> Change:
    """Parts before a day against those of that day and later."""
    sides = sides_of(parts, day)
    before, after = (len(parts.day[side]) for side in sides)
    few = Change(day=day, parts_before=before, parts_after=after, tested=False)
    if min(few.parts_before, few.parts_after) < LEAST_PARTS:
        return few
    gaps = [largest.gap_mm[side][largest.counts[side]] for side in sides]
    enough = min(map(len, gaps)) >= LEAST_PARTS
    return replace(
        few,
        tested=True,
        places=_changed_places(parts, state, sides),
        largest=smaller_share(*gaps) if enough else None,
        median_before_mm=float(np.median(gaps[0])) if enough else float("nan"),
        median_after_mm=float(np.median(gaps[1])) if enough else float("nan"),
    )


def find_changes(
    parts: Parts, largest: LargestGaps, spots: tuple[RecurringSpot, ...]
) -> tuple[FoundChange, ...]:
    """When the largest gap of the joint, or at one of its spots, changed for good, where it did.

    The spots are those of all parts whatever their order in time. The probability counts how many series were
    looked at; a slow drift is told as a change at its middle.
    """
    series = [("", largest)]
    for spot in spots:
        first, end = np.searchsorted(parts.position_mm, (spot.start_mm, spot.end_mm))
        where = f"{spot.start_mm:g} to {spot.end_mm:g} mm"
        series.append((where, largest_gaps(parts, int(first), int(end))))
    found = (_found(parts, where, gaps, len(series)) for where, gaps in series)
    return tuple(one for one in found if one is not None)


def _found(parts: Parts, where: str, gaps: LargestGaps, tests: int) -> FoundChange | None:
    rows = np.flatnonzero(gaps.counts)
    if len(rows) < 2 * LEAST_PARTS:
        return None
    values = gaps.gap_mm[rows]
    cut = strongest_cut(values)
    probability = min(1.0, tests * cut.probability)
    if probability > FALSE_RATE:
        return None
    first_after = rows[cut.index]
    return FoundChange(
        where=where,
        day=str(parts.day[first_after]),
        number=int(parts.number[first_after]),
        parts_before=cut.index,
        parts_after=len(rows) - cut.index,
        median_before_mm=float(np.median(values[: cut.index])),
        median_after_mm=float(np.median(values[cut.index :])),
        probability=probability,
    )


def _changed_places(parts: Parts, state: SeenOpen, sides: tuple[slice, slice]) -> tuple[ChangedPlace, ...]:
    seen = [state.seen[side].sum(axis=0) for side in sides]
    opened = [state.open[side].sum(axis=0) for side in sides]
    tested = int(np.sum((seen[0] > 0) & (seen[1] > 0)))
    probability = np.minimum(1.0, tested * fisher_exact(opened[0], seen[0], opened[1], seen[1]))
    better = opened[1] * seen[0] < opened[0] * seen[1]
    found = probability <= FALSE_RATE / 2
    low_high = [clopper_pearson(opened[side], seen[side]) for side in (0, 1)]
    places = []
    for way in (True, False):
        for first, last in stretches(found & (better == way)):
            at = first + int(np.argmin(probability[first : last + 1]))
            before, later = ((float(low[at]), float(high[at])) for low, high in low_high)
            places.append(
                ChangedPlace(
                    start_mm=float(parts.position_mm[first]) - POSITION_STEP_MM / 2,
                    end_mm=float(parts.position_mm[last]) + POSITION_STEP_MM / 2,
                    at_mm=float(parts.position_mm[at]),
                    open_before=int(opened[0][at]),
                    seen_before=int(seen[0][at]),
                    before=before,
                    open_after=int(opened[1][at]),
                    seen_after=int(seen[1][at]),
                    after=later,
                    probability=float(probability[at]),
                )
            )
    return tuple(sorted(places, key=lambda place: place.start_mm))
