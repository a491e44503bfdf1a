"""One joint before and after: the change of the gap along it, and what became of every spot.

Places of both count from their own datum mark. `shift_mm` is added to the places of the joint as it was
after, and all places here are those of the joint before.

Uncertainty of the change (JCGM 100, 5.2.2): u² = u_before² + u_after² - 2 r² g_before g_after. r is the
relative standard uncertainty of what both measurements share as one factor on every length, the print; its
part then acts on the change alone. Everything else counts as if it erred independently in both. Where it errs
alike, as a rounded arris in the same light does, that states too much and not too little.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.verdict.decision import StationState
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot
from fitup.verdict.settled import SettledSpot

__all__ = ["Comparison", "Fate", "GapChange", "SpotFate", "compare"]

Array64 = NDArray[np.float64]
AnySpot = Spot | SettledSpot

_EXACT_MM = 1e-9
_TOUCHING_MM = 1e-6
_WORST_FIRST = (StationState.OVER, StationState.DOUBTFUL, StationState.UNSEEN)


class Fate(StrEnum):
    """What became of a spot."""

    CLOSED = "closed"
    REMAINS = "remains"
    NOT_SEEN = "not seen again"
    NEW = "new"


@dataclass(frozen=True, kw_only=True, eq=False)
class GapChange:
    """Gaps before and after at the M places that both reach [mm]; NaN where one of them was not seen."""

    place_mm: Array64
    before_mm: Array64
    u_before_mm: Array64
    after_mm: Array64
    u_after_mm: Array64
    change_mm: Array64
    """After less before: negative where the gap was closed."""
    u_change_mm: Array64
    """Standard uncertainty (k = 1)."""


@dataclass(frozen=True, kw_only=True)
class SpotFate:
    """One spot, before or new, and what is there now."""

    fate: Fate
    state: StationState | LandState
    """What the spot is, or was."""
    now: StationState | LandState
    """The worst that is there after."""
    start_mm: float
    end_mm: float
    before_mm: float
    """Widest gap in the stretch before [mm]; NaN where nothing was seen."""
    after_mm: float
    change_mm: float
    """Change of the widest gap."""
    u_change_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """The joint before and after."""

    change: GapChange
    spots: tuple[SpotFate, ...]
    """Those before in their order, then the new ones."""

    def of(self, fate: Fate) -> tuple[SpotFate, ...]:
        """Spots of one fate."""
        return tuple(spot for spot in self.spots if spot.fate == fate)


def compare(
    before: JudgedJoint,
    after: JudgedJoint,
    *,
    spots_before: tuple[AnySpot, ...],
    spots_after: tuple[AnySpot, ...],
    shift_mm: float = 0.0,
    shared_relative: float = 0.0,
) -> Comparison:
    """Compare two judged profiles of one joint.

    Parameters
    ----------
    spots_before, spots_after
        Spots of both, with what was settled.
    shift_mm : float
        What is added to places after, so that they count as before [mm].
    shared_relative : float
        Relative standard uncertainty of the print, where both used the same; 0 otherwise.

    Raises
    ------
    UsageError
        When both have no place in common.
    """
    both = _Both(before=before, after=after, shift_mm=shift_mm, shared=shared_relative)
    was = [_Place.of(spot, 0.0) for spot in spots_before]
    found = [_Place.of(spot, shift_mm) for spot in spots_after]
    new = [spot for spot in found if not any(spot.meets(other) for other in was)]
    return Comparison(
        change=_change(both),
        spots=(
            *(_fate(both, spot, found) for spot in was),
            *(_told(both, Fate.NEW, spot, spot.state) for spot in new),
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Both:
    before: JudgedJoint
    after: JudgedJoint
    shift_mm: float
    shared: float

    def touched_after(self, spot: _Place) -> NDArray[np.bool_]:
        return self.after.touched(spot.start_mm - self.shift_mm, spot.end_mm - self.shift_mm)


@dataclass(frozen=True, kw_only=True)
class _Place:
    """A spot with its place as before."""

    state: StationState | LandState
    start_mm: float
    end_mm: float

    @classmethod
    def of(cls, spot: AnySpot, shift_mm: float) -> _Place:
        return cls(state=spot.state, start_mm=spot.start_mm + shift_mm, end_mm=spot.end_mm + shift_mm)

    def meets(self, other: _Place) -> bool:
        alike = (self.state == LandState.SHORT) == (other.state == LandState.SHORT)
        common_mm = min(self.end_mm, other.end_mm) - max(self.start_mm, other.start_mm)
        return alike and common_mm > _TOUCHING_MM


def _change(both: _Both) -> GapChange:
    before, after = both.before, both.after
    places = after.station_mm + both.shift_mm
    reached = (places >= before.cell_start_mm[0]) & (places <= before.cell_end_mm[-1])
    if not reached.any():
        raise UsageError(
            "the two records have no place of the joint in common: check both, and the shift between them."
        )
    places = places[reached]
    gap, u = (_at(places, before.station_mm, values) for values in (before.gap_mm, before.u_gap_mm))
    after_mm, u_after = after.gap_mm[reached], after.u_gap_mm[reached]
    return GapChange(
        place_mm=places,
        before_mm=gap,
        u_before_mm=u,
        after_mm=after_mm,
        u_after_mm=u_after,
        change_mm=after_mm - gap,
        u_change_mm=_u_change(gap, u, after_mm, u_after, both.shared),
    )


def _u_change(
    before_mm: Array64, u_before_mm: Array64, after_mm: Array64, u_after_mm: Array64, shared: float
) -> Array64:
    common = shared**2 * np.maximum(before_mm, 0.0) * np.maximum(after_mm, 0.0)
    # Of what both state no more can be shared (the correlation is at most 1).
    common = np.minimum(common, u_before_mm * u_after_mm)
    variance: Array64 = u_before_mm**2 + u_after_mm**2 - 2 * common
    return np.sqrt(np.maximum(variance, 0.0))


def _at(places: Array64, station_mm: Array64, values: Array64) -> Array64:
    """Values between stations by both neighbours, NaN where one that counts is NaN; the ends go on level."""
    if len(station_mm) == 1:
        return np.full(len(places), values[0])
    left = np.clip(np.searchsorted(station_mm, places) - 1, 0, len(station_mm) - 2)
    step = station_mm[left + 1] - station_mm[left]
    share = (places - station_mm[left]) / step  # below 0 and above 1 past the ends
    between = values[left] * (1 - share) + values[left + 1] * share
    between = np.where(share <= _EXACT_MM, values[left], between)
    return np.where(share >= 1 - _EXACT_MM, values[left + 1], between)


def _fate(both: _Both, spot: _Place, found: list[_Place]) -> SpotFate:
    if spot.state == LandState.SHORT:
        # Lands that were not seen make no spot, so that silence proves nothing.
        again = any(spot.meets(other) for other in found)
        return _told(both, Fate.REMAINS if again else Fate.NOT_SEEN, spot, LandState.SHORT)
    now = _worst_now(both, spot)
    if now == StationState.WITHIN:
        return _told(both, Fate.CLOSED, spot, now)
    still_hidden = spot.state == now == StationState.UNSEEN and both.touched_after(spot).any()
    hidden = now == StationState.UNSEEN and not still_hidden
    return _told(both, Fate.NOT_SEEN if hidden else Fate.REMAINS, spot, now)


def _told(both: _Both, fate: Fate, spot: _Place, now: StationState | LandState) -> SpotFate:
    was, u_was = _widest(both.before, both.before.touched(spot.start_mm, spot.end_mm))
    found, u_found = _widest(both.after, both.touched_after(spot))
    alone = (np.array([was]), np.array([u_was]), np.array([found]), np.array([u_found]))
    return SpotFate(
        fate=fate,
        state=spot.state,
        now=now,
        start_mm=spot.start_mm,
        end_mm=spot.end_mm,
        before_mm=was,
        after_mm=found,
        change_mm=found - was,
        u_change_mm=float(_u_change(*alone, both.shared)[0]),
    )


def _worst_now(both: _Both, spot: _Place) -> StationState:
    """The worst state in a stretch; what the joint as it was after does not reach is unseen."""
    after, touched = both.after, both.touched_after(spot)
    states = {state for state, here in zip(after.states, touched, strict=True) if here}
    # The stations of two photos do not meet: up to a step is no hole.
    first_mm = float(after.cell_start_mm[0]) + both.shift_mm - after.step_mm
    last_mm = float(after.cell_end_mm[-1]) + both.shift_mm + after.step_mm
    if not (states and first_mm <= spot.start_mm and spot.end_mm <= last_mm):
        states.add(StationState.UNSEEN)
    return next((state for state in _WORST_FIRST if state in states), StationState.WITHIN)


def _widest(joint: JudgedJoint, stations: NDArray[np.bool_]) -> tuple[float, float]:
    """Widest gap and its standard uncertainty [mm]; both NaN where nothing was seen."""
    here = stations & joint.seen
    if not here.any():
        return float("nan"), float("nan")
    index = int(np.argmax(np.where(here, joint.gap_mm, -np.inf)))
    return float(joint.gap_mm[index]), float(joint.u_gap_mm[index])
