"""Which printed strips a photo shows: the markers that were read, sorted by the strip that owns them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.scale.layout import TargetLayout
from fitup.scale.markers import Markers, find_outlines, read_markers

__all__ = ["LEAST_MARKERS", "PLACE", "all_strips", "best_strip"]

LEAST_MARKERS = 4  # false single numbers occur on most photos, four of one strip in place never did
_HINT_MARKERS = 2  # of one strip: a finer picture may show more of it

PLACE = "Lay the whole strip flat beside the joint, in focus and evenly lit, and take the photo again."


def best_strip(
    grey: NDArray[np.uint8], layouts: tuple[TargetLayout, ...], reduction: int
) -> tuple[TargetLayout, Markers, tuple[str, ...]]:
    """Pick the layout with the most markers of the first dictionary that shows enough of one.

    Returns it, its markers and notes on the others; raises RetakeError where no strip shows enough.
    """
    most, mirrored = 0, 0
    for reading in _readings(grey, layouts, reduction):
        mirrored = max(mirrored, reading.mirrored)
        best = int(np.argmax(reading.seen))
        most = max(most, int(reading.seen[best]))
        if reading.seen[best] >= LEAST_MARKERS:
            others = [k for k in np.flatnonzero(reading.seen >= LEAST_MARKERS) if k != best]
            notes = tuple(
                f"Strip {layouts[k].strip_number} is in the photo too; "
                f"strip {layouts[best].strip_number} was used."
                for k in others
            )
            return layouts[best], reading.of(best), notes
    raise _nothing(most, mirrored)


def all_strips(
    grey: NDArray[np.uint8], layouts: tuple[TargetLayout, ...], reduction: int
) -> tuple[list[tuple[TargetLayout, Markers]], list[TargetLayout]]:
    """All layouts with enough markers, and those of which there is at least a hint.

    Raises RetakeError where no strip shows enough.
    """
    readings = list(_readings(grey, layouts, reduction))
    strips = [
        (layouts[k], reading.of(int(k)))
        for reading in readings
        for k in np.flatnonzero(reading.seen >= LEAST_MARKERS)
    ]
    if not strips:
        most = max(int(reading.seen.max()) for reading in readings)
        raise _nothing(most, max(reading.mirrored for reading in readings))
    seen = np.max([reading.seen for reading in readings], axis=0)
    return strips, [layouts[k] for k in np.flatnonzero(seen >= _HINT_MARKERS)]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Reading:
    """Markers of one dictionary; owner (N,) index of the layout of each, seen (L,) markers by layout."""

    markers: Markers
    owner: NDArray[np.int64]
    seen: NDArray[np.int64]
    mirrored: int

    def of(self, index: int) -> Markers:
        mine = self.owner == index
        return Markers(ids=self.markers.ids[mine], corners_px=self.markers.corners_px[mine])


def _readings(
    grey: NDArray[np.uint8], layouts: tuple[TargetLayout, ...], reduction: int
) -> Iterator[_Reading]:
    """Read the dictionaries in turn, most used first."""
    outlines = find_outlines(grey, reduction)
    for name in dict.fromkeys(layout.dictionary for layout in layouts):
        markers, mirrored = read_markers(grey, outlines, name)
        owner = _owners(layouts, name)[markers.ids]
        seen = np.array([len(np.unique(markers.ids[owner == k])) for k in range(len(layouts))])
        yield _Reading(markers=markers, owner=owner, seen=seen, mirrored=mirrored)


def _nothing(most: int, mirrored: int) -> RetakeError:
    if mirrored >= LEAST_MARKERS and mirrored > most:
        return RetakeError(
            "mirrored target",
            "The target in this photo is mirrored.",
            "Turn off the camera's mirror setting (front cameras mirror) and take the photo again.",
        )
    if most == 0:
        return RetakeError("no target", "No scale target was found in the photo.", PLACE)
    return RetakeError(
        "too few markers",
        f"Only {most} marker{'s' if most > 1 else ''} of one strip could be read; "
        f"{LEAST_MARKERS} are needed to be sure.",
        PLACE,
    )


@cache
def _owners(layouts: tuple[TargetLayout, ...], name: str) -> NDArray[np.int64]:
    """Index of the layout that owns each marker number of a dictionary, -1 where none does."""
    owner = np.full(4096, -1, dtype=np.int64)
    for k, layout in enumerate(layouts):
        if layout.dictionary == name:
            owner[layout.marker_ids] = k
    return owner
