"""First step: any phone photo becomes upright grey pixels with linear light, EXIF and a digest."""

from __future__ import annotations

from fitup.photo.camera import CameraInfo
from fitup.photo.picture import PhotoLimits
from fitup.photo.reading import Photo, open_photo
from fitup.photo.tone import linear_to_srgb, srgb_to_linear

__all__ = ["CameraInfo", "Photo", "PhotoLimits", "linear_to_srgb", "open_photo", "srgb_to_linear"]
