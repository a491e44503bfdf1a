"""Gap at every station with its uncertainty budget."""

from __future__ import annotations

from fitup.profile.arris_shading import ARRIS_RADIUS_MM
from fitup.profile.measure import measure_gap
from fitup.profile.result import GapProfile, Influence
from fitup.profile.second_target import JointShape, with_second_target

__all__ = ["ARRIS_RADIUS_MM", "GapProfile", "Influence", "JointShape", "measure_gap", "with_second_target"]
