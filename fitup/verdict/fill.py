"""The deposition balance: metal fed fills groove and reinforcement; given any three it tells the fourth.

    π/4 × wire² × feed = (groove(gap) + reinforcement) × travel

A wire fed at travel speed fills a gap of only π wire² / (4 t) in sheet of thickness t. Metal that melts off
the plates, spatter and shrinkage are left out (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitup.verdict.groove import Groove

__all__ = ["FillBalance", "wire_area_mm2"]


def wire_area_mm2(diameter_mm: float) -> float:
    """Cross-section of a round wire [mm²]."""
    return math.pi / 4 * diameter_mm**2


@dataclass(frozen=True, kw_only=True)
class FillBalance:
    """The balance for one groove; wires by diameter [mm], speeds in mm/s."""

    groove: Groove
    reinforcement_mm2: float = 0.0

    def needed_mm2(self, gap_mm: float) -> float:
        """Cross-section of metal that the joint takes at this gap [mm²]."""
        return self.groove.area_mm2(gap_mm) + self.reinforcement_mm2

    def gap_mm(self, wire_mm: float, feed_mm_s: float, travel_mm_s: float) -> float:
        """Widest gap that is filled [mm]; below 0 where not even a closed joint is."""
        fed_mm2 = wire_area_mm2(wire_mm) * feed_mm_s / travel_mm_s
        return (fed_mm2 - self.needed_mm2(0.0)) / self.groove.per_gap_mm

    def feed_per_travel(self, gap_mm: float, wire_mm: float) -> float:
        """Length of wire that each mm of joint takes."""
        return self.needed_mm2(gap_mm) / wire_area_mm2(wire_mm)

    def feed_mm_s(self, gap_mm: float, wire_mm: float, travel_mm_s: float) -> float:
        """Slowest feed that fills the gap [mm/s]."""
        return self.feed_per_travel(gap_mm, wire_mm) * travel_mm_s

    def travel_mm_s(self, gap_mm: float, wire_mm: float, feed_mm_s: float) -> float:
        """Fastest travel at which the gap is filled [mm/s]; infinite where there is nothing to fill."""
        ratio = self.feed_per_travel(gap_mm, wire_mm)
        return feed_mm_s / ratio if ratio > 0 else math.inf

    def wire_mm(self, gap_mm: float, feed_mm_s: float, travel_mm_s: float) -> float:
        """Diameter of the thinnest wire that fills the gap [mm]."""
        return math.sqrt(self.needed_mm2(gap_mm) * travel_mm_s / feed_mm_s * 4 / math.pi)
