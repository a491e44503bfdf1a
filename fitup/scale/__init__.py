"""From a photo to millimetres: the printed target, finding it, and the map of the joint's plane."""

from __future__ import annotations

from fitup.scale.finding import TargetSighting, find_target, find_targets
from fitup.scale.layout import TargetLayout, target_layout
from fitup.scale.opening import PlaneFrame, PlateLine, opening_frame
from fitup.scale.print_check import (
    DEFAULT_PRINT_U_RELATIVE,
    PrintRecord,
    load_print_record,
    save_print_record,
)
from fitup.scale.raster import TargetRaster, target_raster
from fitup.scale.scale_map import ScaleMap, edge_profiles, scale_map

__all__ = [
    "DEFAULT_PRINT_U_RELATIVE",
    "PlaneFrame",
    "PlateLine",
    "PrintRecord",
    "ScaleMap",
    "TargetLayout",
    "TargetRaster",
    "TargetSighting",
    "edge_profiles",
    "find_target",
    "find_targets",
    "load_print_record",
    "opening_frame",
    "save_print_record",
    "scale_map",
    "target_layout",
    "target_raster",
]
