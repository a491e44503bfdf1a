"""Photos 17 to 32: corners, tees, laps, an edge joint, a long seam, three phones and a lens board."""

from __future__ import annotations

from kinds_scene import KindScene
from scenes_corners import CORNERS
from scenes_plates import PLATES

__all__ = ["KIND_SCENES"]

KIND_SCENES: tuple[KindScene, ...] = CORNERS + PLATES
