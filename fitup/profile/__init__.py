"""Gap at every station with its uncertainty budget."""

from __future__ import annotations

from fitup.profile.arris_shading import ARRIS_RADIUS_MM
from fitup.profile.measure import measure_gap
from fitup.profile.result import GapProfile, Influence

__all__ = ["ARRIS_RADIUS_MM", "GapProfile", "Influence", "measure_gap"]
