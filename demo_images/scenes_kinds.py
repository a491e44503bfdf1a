"""Photos 17 to 35: corners, tees, laps, an edge joint, a long seam, phones, a lens board, both sides."""

from __future__ import annotations

from dataclasses import replace

from kinds_scene import KindScene
from scenes_corners import CORNERS
from scenes_phones import BOARD, PHONES
from scenes_plates import PLATES
from scenes_seam import SEAM
from scenes_sides import SIDES

__all__ = ["KIND_SCENES"]


def _time(k: int) -> str:
    """A working day's photos, seven minutes apart."""
    minutes = 8 * 60 + 7 * k
    return f"2026:05:18 {minutes // 60:02d}:{minutes % 60:02d}:{k * 23 % 60:02d}"


KIND_SCENES: tuple[KindScene, ...] = (
    *(
        replace(scene, taken_at=_time(k))
        for k, scene in enumerate((*CORNERS, *PLATES, *SEAM, *PHONES, *BOARD))
    ),
    *SIDES,
)
