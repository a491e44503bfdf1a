"""The photos: an invented job, one entry each. Brackwater Tanks and its rinse tank RT-40 do not exist."""

from __future__ import annotations

from scene import Scene
from scenes_shapes import SHAPES
from scenes_trials import TRIALS

__all__ = ["SCENES"]

SCENES: tuple[Scene, ...] = SHAPES + TRIALS
