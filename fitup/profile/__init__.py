"""Gap at every station with its uncertainty budget."""

from __future__ import annotations

from fitup.profile.arris_shading import ARRIS_RADIUS_MM
from fitup.profile.correcting import with_correction
from fitup.profile.land_shape import with_lands
from fitup.profile.measure import measure_gap
from fitup.profile.quality import PhotoQuality, photo_quality
from fitup.profile.result import GapProfile, Influence
from fitup.profile.second_target import SIDES, JointShape, with_second_target

__all__ = [
    "ARRIS_RADIUS_MM",
    "SIDES",
    "GapProfile",
    "Influence",
    "JointShape",
    "PhotoQuality",
    "measure_gap",
    "photo_quality",
    "with_correction",
    "with_lands",
    "with_second_target",
]
