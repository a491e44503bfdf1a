"""The hostile photos h01 to h32: what a shop does to a photo, one factor each (see README.md)."""

from __future__ import annotations

from hostile_scene import HostileScene
from hostile_scenes_dirt import DIRT
from hostile_scenes_light import LIGHT
from hostile_scenes_targets import TARGETS

__all__ = ["HOSTILE", "linear_scenes"]

HOSTILE: tuple[HostileScene, ...] = (*LIGHT, *DIRT, *TARGETS)


def linear_scenes() -> tuple[HostileScene, ...]:
    """Those with a linear render of their own."""
    return tuple(s for s in HOSTILE if s.linear_of is None)
