"""The gap profile: what was measured along one joint, station by station, with its uncertainty budget."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["GapProfile", "Influence"]

# Stations lie on an even grid; this share of a step is forgiven to rounding and to the arc of a bent joint.
_STEP_TOLERANCE = 0.01
# Where a joint goes on beside the next strip, whose stations count from its own zero, one step may differ.
_JOIN_TOLERANCE = 0.51


@dataclass(frozen=True, kw_only=True, eq=False)
class Influence:
    """One named line of the uncertainty budget of a gap profile (JCGM 100).

    Raises
    ------
    ValueError
        When `u_mm` is not one row of numbers, or one of them is negative.
    """

    name: str
    """What makes the gap uncertain, in a fitter's words, such as "print scale"."""
    u_mm: NDArray[np.float64]
    """(N,) standard uncertainty (k = 1) of the gap from this influence alone [mm]; NaN where unseen."""
    common: bool
    """True when the error is the same at all stations, so that a mean over stations does not shrink it."""
    remedy: str
    """What would make it smaller, such as "check the print with a caliper"."""

    def __post_init__(self) -> None:
        if np.ndim(self.u_mm) != 1:
            raise ValueError(f"influence {self.name!r}: u_mm must have shape (N,), not {np.shape(self.u_mm)}")
        if np.any(self.u_mm < 0):
            raise ValueError(f"influence {self.name!r}: a standard uncertainty is negative")


@dataclass(frozen=True, kw_only=True, eq=False)
class GapProfile:
    """The gap along one joint at N evenly spaced stations (N >= 1).

    A place that could not be measured is still a station: its gap is NaN and `unseen_reason` says why.
    Leaving stations out is refused, since a hole in the list would be neither seen nor unseen.

    Raises
    ------
    ValueError
        When shapes disagree, stations do not rise by `step_mm`, a seen station has no finite,
        non-negative uncertainty, or an unseen station has no reason (or a seen one has).
    """

    station_mm: NDArray[np.float64]
    """(N,) centres of the stations, s along the joint from the foot of the datum mark [mm], rising."""
    gap_mm: NDArray[np.float64]
    """(N,) gap square to the joint [mm]; NaN where unseen. May be slightly negative by noise."""
    u_gap_mm: NDArray[np.float64]
    """(N,) combined standard uncertainty (k = 1) of the gap [mm]; NaN where unseen."""
    near_mm: NDArray[np.float64]
    """(N,) n of the arris nearer to the target [mm]."""
    far_mm: NDArray[np.float64]
    """(N,) n of the arris farther from the target [mm]."""
    near_px: NDArray[np.float64]
    """(N, 2) the nearer arris in the image (u, v) [px]; NaN where unseen."""
    far_px: NDArray[np.float64]
    """(N, 2) the farther arris in the image (u, v) [px]; NaN where unseen."""
    centre_px: NDArray[np.float64]
    """(N, 2) the joint line in the image (u, v) [px], given for unseen stations too."""
    unseen_reason: tuple[str, ...]
    """(N,) "" where seen, else one of: covered, glare, land not seen, lit from behind, low contrast,
    poor photo, second line, shadow, poor fit, outside photo, steep view; of several photos also: no photo."""
    budget: tuple[Influence, ...]
    """Named influences; their squares sum to the square of `u_gap_mm`."""
    notes: tuple[str, ...]
    """Remarks on the whole profile, one sentence each."""
    step_mm: float
    """Distance between stations [mm]; a station stands for the cell of this length around it."""
    joins: tuple[int, ...] = ()
    """Stations that begin a new strip: the step before each is step_mm to within half of it."""

    def __post_init__(self) -> None:
        self._check_shapes()
        self._check_grid()
        self._check_states()

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(N,) True where a gap was measured."""
        return np.isfinite(self.gap_mm)

    def part(self, cells: slice) -> GapProfile:
        """Return a part of the profile, by its stations."""
        arrays = ("station_mm", "gap_mm", "u_gap_mm", "near_mm", "far_mm", "near_px", "far_px", "centre_px")
        return replace(
            self,
            **{name: getattr(self, name)[cells] for name in arrays},
            unseen_reason=self.unseen_reason[cells],
            budget=tuple(replace(row, u_mm=row.u_mm[cells]) for row in self.budget),
            joins=tuple(j - cells.start for j in self.joins if cells.start < j < cells.stop),
        )

    def _check_shapes(self) -> None:
        if np.ndim(self.station_mm) != 1 or np.size(self.station_mm) == 0:
            raise ValueError(f"station_mm must have shape (N,) with N >= 1, not {np.shape(self.station_mm)}")
        count = len(self.station_mm)
        expected: dict[str, tuple[int, ...]] = {
            **dict.fromkeys(("gap_mm", "u_gap_mm", "near_mm", "far_mm"), (count,)),
            **dict.fromkeys(("near_px", "far_px", "centre_px"), (count, 2)),
        }
        for name, shape in expected.items():
            if np.shape(getattr(self, name)) != shape:
                raise ValueError(f"{name} must have shape {shape}, not {np.shape(getattr(self, name))}")
        if len(self.unseen_reason) != count:
            raise ValueError(f"unseen_reason has {len(self.unseen_reason)} entries for {count} stations")
        for influence in self.budget:
            if influence.u_mm.shape != (count,):
                raise ValueError(f"influence {influence.name!r} must have shape {(count,)}")

    def _check_grid(self) -> None:
        if not (np.isfinite(self.step_mm) and self.step_mm > 0):
            raise ValueError(f"step_mm must be a positive number, not {self.step_mm}")
        if not np.all(np.isfinite(self.station_mm)):
            raise ValueError("station_mm holds a value that is no number")
        allowed = np.full(len(self.station_mm) - 1, _STEP_TOLERANCE * self.step_mm)
        allowed[[index - 1 for index in self.joins]] = _JOIN_TOLERANCE * self.step_mm
        if np.any(np.abs(np.diff(self.station_mm) - self.step_mm) > allowed):
            raise ValueError("station_mm must rise by step_mm from station to station, without holes")

    def _check_states(self) -> None:
        seen = self.seen
        if np.any(np.isinf(self.gap_mm)):
            raise ValueError("gap_mm is infinite at a station")
        u_seen = self.u_gap_mm[seen]
        if not np.all(np.isfinite(u_seen) & (u_seen >= 0)):
            raise ValueError("u_gap_mm must be finite and not negative at every seen station")
        if np.any(~np.isnan(self.u_gap_mm[~seen])):
            raise ValueError("u_gap_mm must be NaN at every unseen station")
        has_reason = np.array([reason != "" for reason in self.unseen_reason])
        if np.any(has_reason == seen):
            raise ValueError("unseen_reason must be empty exactly where a gap was seen")
