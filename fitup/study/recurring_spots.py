"""Where a joint opens again and again: more parts open at one place than chance and uncertainty explain.

The rule. A part's openings might lie anywhere along the joint: then it would be open at a given position with
a probability that equals the share of its seen length that is open. And a part whose gap just meets the limit
reads open once in twenty times. At every position the number of open parts is tested against the larger of
both, by the binomial distribution, and a position recurs where that many come by chance with a probability of
at most 5 % over the number of positions (Bonferroni): of joints without any such place at most one in twenty
is given one. Positions near each other make one spot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.archive.profile_reading import POSITION_STEP_MM
from fitup.study.position_map import PROBABILITY, SeenOpen, quarters, row_blocks
from fitup.study.recurring_parts import Parts
from fitup.study.recurring_shares import binomial_tail, clopper_pearson

__all__ = ["FALSE_RATE", "RecurringSpot", "chance_share", "recurring_spots", "stretches"]

FALSE_RATE = 0.05
"""Chance that a joint without any recurring spot is given one, at most."""

_MERGE_MM = 3.0
_ALL = slice(None)


@dataclass(frozen=True, kw_only=True)
class RecurringSpot:
    """A stretch that opens again and again; shares are those at the place where most parts are open."""

    start_mm: float
    end_mm: float
    at_mm: float
    open: int
    seen: int
    low: float
    high: float
    """95 % interval of the share."""
    somewhere: int
    """Parts that are open anywhere in the stretch."""
    median_mm: float
    probability: float
    """Of so many by chance at one position, times the number of positions; at most 1."""

    @property
    def share(self) -> float:
        """Open of seen."""
        return self.open / self.seen


def chance_share(state: SeenOpen) -> NDArray[np.float64]:
    """(P,) the share that would be open at a position by chance, or by uncertainty at the limit."""
    length = np.maximum(state.seen.sum(axis=1), 1)
    by_part = np.maximum(state.open.sum(axis=1) / length, 1.0 - PROBABILITY)
    total = np.zeros(state.seen.shape[1])
    for rows in row_blocks(len(by_part)):
        total += by_part[rows] @ state.seen[rows].astype(np.float64)
    return np.asarray(total / np.maximum(state.seen.sum(axis=0), 1))


def recurring_spots(parts: Parts, everywhere: SeenOpen, rows: slice = _ALL) -> tuple[RecurringSpot, ...]:
    """The spots of a joint that recur, along the joint; of `rows`, parts that follow each other in time."""
    state, position_mm = everywhere.of(rows), parts.position_mm
    seen, opened, chance = state.seen.sum(axis=0), state.open.sum(axis=0), chance_share(state)
    probability = np.minimum(1.0, np.sum(seen > 0) * binomial_tail(opened, seen, chance))
    # Hoeffding's bound holds from one more than expected; no count below that is ever near the threshold.
    found = (probability <= FALSE_RATE) & (opened >= chance * seen + 1.0)
    low, high = clopper_pearson(opened, seen)
    spots = []
    for first, last in stretches(found):
        share = opened[first : last + 1] / np.maximum(seen[first : last + 1], 1)
        most = np.flatnonzero(share == share.max())
        at = first + int(most[len(most) // 2])
        median = quarters(parts.gap_um[rows, at : at + 1], seen[at : at + 1])[1, 0]
        spots.append(
            RecurringSpot(
                start_mm=float(position_mm[first]) - POSITION_STEP_MM / 2,
                end_mm=float(position_mm[last]) + POSITION_STEP_MM / 2,
                at_mm=float(position_mm[at]),
                open=int(opened[at]),
                seen=int(seen[at]),
                low=float(low[at]),
                high=float(high[at]),
                somewhere=int(state.open[:, first : last + 1].any(axis=1).sum()),
                median_mm=float(median),
                probability=float(probability[first : last + 1].min()),
            )
        )
    return tuple(spots)


def stretches(found: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last position of every run that was found; runs near each other are one."""
    places = np.flatnonzero(found)
    if len(places) == 0:
        return []
    cuts = np.flatnonzero(np.diff(places) * POSITION_STEP_MM > _MERGE_MM)
    firsts = places[np.append(0, cuts + 1)]
    lasts = places[np.append(cuts, len(places) - 1)]
    return [(int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]
