"""All that the print tells of a photo's light: tone curve, sharpening, paper white, how even the light is."""

from __future__ import annotations

from dataclasses import replace

from fitup.edges.paper_light import paper_slope
from fitup.edges.response import CameraResponse, estimate_response
from fitup.edges.response_doubt import doubted
from fitup.photo import Photo
from fitup.scale import ScaleMap, edge_profiles

__all__ = ["read_response"]


def read_response(photo: Photo, scale: ScaleMap) -> CameraResponse:
    """Read the camera's response from the print beside the joint."""
    offsets_px, profiles = edge_profiles(photo, scale)
    response = estimate_response(offsets_px, profiles, scale.print_blur_px)
    response = doubted(response, offsets_px, profiles, scale.print_blur_px)
    return replace(response, paper_slope_per_mm=paper_slope(photo, scale.sighting, response))
