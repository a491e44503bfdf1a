"""A joint as it was judged, without the photo: what settling and comparing need of a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.verdict.decision import DecisionRule, StationState
from fitup.verdict.result import SeenRule, Spot, VerdictWord
from fitup.verdict.spots import SpotRule

__all__ = ["JudgedJoint"]

_ROUNDING_MM = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedJoint:
    """Gaps, states and spots of one joint at N stations, and the rules that they were found by."""

    station_mm: NDArray[np.float64]
    """(N,) stations from the foot of the datum mark [mm], rising."""
    gap_mm: NDArray[np.float64]
    """(N,) [mm]; NaN where unseen."""
    u_gap_mm: NDArray[np.float64]
    """(N,) standard uncertainty (k = 1) [mm]; NaN where unseen."""
    states: tuple[StationState, ...]
    """(N,) state of every station."""
    unseen_reason: tuple[str, ...]
    """(N,) "" where seen."""
    step_mm: float
    """A station stands for the cell of this length around it [mm]."""
    limit_mm: float
    word: VerdictWord
    sentence: str
    spots: tuple[Spot, ...]
    decision: DecisionRule
    spot_rule: SpotRule
    seen_rule: SeenRule
    part_only: bool = False
    """Whether only a part of the joint was asked for."""

    @property
    def cell_start_mm(self) -> NDArray[np.float64]:
        """(N,) where the cells begin [mm]."""
        return self.station_mm - self.step_mm / 2

    @property
    def cell_end_mm(self) -> NDArray[np.float64]:
        """(N,) where the cells end [mm]."""
        return self.station_mm + self.step_mm / 2

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(N,) True where a gap was measured."""
        return np.isfinite(self.gap_mm)

    def are(self, *states: StationState) -> NDArray[np.bool_]:
        """(N,) True at stations of one of these states."""
        return np.array([state in states for state in self.states], dtype=bool)

    def inside(self, start_mm: float, end_mm: float) -> NDArray[np.bool_]:
        """(N,) True at stations whose cells lie wholly in the stretch."""
        return (self.cell_start_mm >= start_mm - _ROUNDING_MM) & (self.cell_end_mm <= end_mm + _ROUNDING_MM)

    def touched(self, start_mm: float, end_mm: float) -> NDArray[np.bool_]:
        """(N,) True at stations of whose cells the stretch holds a part, or that hold one of length 0."""
        if end_mm - start_mm <= 2 * _ROUNDING_MM:
            return (self.cell_start_mm <= start_mm + _ROUNDING_MM) & (
                self.cell_end_mm >= end_mm - _ROUNDING_MM
            )
        return (self.cell_end_mm > start_mm + _ROUNDING_MM) & (self.cell_start_mm < end_mm - _ROUNDING_MM)
