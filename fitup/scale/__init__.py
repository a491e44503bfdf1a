"""From a photo to millimetres: the printed target, finding it, and the map of the joint's plane."""

from __future__ import annotations

from fitup.scale.finding import TargetSighting, find_target
from fitup.scale.layout import TargetLayout, target_layout
from fitup.scale.raster import TargetRaster, target_raster

__all__ = [
    "TargetLayout",
    "TargetRaster",
    "TargetSighting",
    "find_target",
    "target_layout",
    "target_raster",
]
