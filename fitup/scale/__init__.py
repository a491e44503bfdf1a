"""From a photo to millimetres: the printed target, finding it, and the map of the joint's plane."""

from __future__ import annotations

from fitup.scale.bundle import TargetPair, bundle
from fitup.scale.finding import TargetSighting, find_target, find_targets
from fitup.scale.gap_correction import GapCorrection
from fitup.scale.layout import TargetLayout, target_layout
from fitup.scale.lens import LensProfile, Optics
from fitup.scale.lens_choice import LensChoice, choose_lens
from fitup.scale.lens_file import load_lens_profile, save_lens_profile
from fitup.scale.opening import PlaneFrame, PlateLine, opening_frame
from fitup.scale.print_check import (
    DEFAULT_PRINT_U_RELATIVE,
    PrintRecord,
    load_print_record,
    save_print_record,
)
from fitup.scale.raster import TargetRaster, target_raster
from fitup.scale.rectify import rectified
from fitup.scale.scale_map import ScaleMap, edge_profiles, scale_map
from fitup.scale.space import PairSpace, SpacePlane, SpacePoints
from fitup.scale.space_gap import (
    GapAndStep,
    NotMeasurable,
    SpaceLength,
    gap_and_step,
    gap_to_plate,
    step_from_two_views,
)
from fitup.scale.view_slant import u_view_tangents

__all__ = [
    "DEFAULT_PRINT_U_RELATIVE",
    "GapAndStep",
    "GapCorrection",
    "LensChoice",
    "LensProfile",
    "NotMeasurable",
    "Optics",
    "PairSpace",
    "PlaneFrame",
    "PlateLine",
    "PrintRecord",
    "ScaleMap",
    "SpaceLength",
    "SpacePlane",
    "SpacePoints",
    "TargetLayout",
    "TargetPair",
    "TargetRaster",
    "TargetSighting",
    "bundle",
    "choose_lens",
    "edge_profiles",
    "find_target",
    "find_targets",
    "gap_and_step",
    "gap_to_plate",
    "load_lens_profile",
    "load_print_record",
    "opening_frame",
    "rectified",
    "save_lens_profile",
    "save_print_record",
    "scale_map",
    "step_from_two_views",
    "target_layout",
    "target_raster",
    "u_view_tangents",
]
