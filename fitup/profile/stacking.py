"""What every photo says at every station of a long joint, as arrays that can be compared and combined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.profile.result import GapProfile
from fitup.scale.strip_chain import StripChain

__all__ = ["Stack", "stack_parts"]

Array64 = NDArray[np.float64]

Part = tuple[int, int, GapProfile]
"""Photo, strip number, profile counted from that strip's datum mark."""

_LENGTHS = ("gap_mm", "u_gap_mm", "near_mm", "far_mm")
_POINTS = ("near_px", "far_px", "centre_px")


@dataclass(frozen=True, kw_only=True, eq=False)
class Stack:
    """F photos at N stations: arrays (F, N), pixels (F, N, 2), NaN where a photo does not see.

    influences are by name (common, (F, N) [mm]); reason (N,) is why a photo that covers the place does not
    see it; u_shift_mm is how far photos of neighbouring strips may be shifted along the joint.
    """

    gap_mm: Array64
    u_gap_mm: Array64
    near_mm: Array64
    far_mm: Array64
    near_px: Array64
    far_px: Array64
    centre_px: Array64
    influences: dict[str, tuple[bool, Array64]]
    remedies: dict[str, str]
    reason: tuple[str, ...]
    u_shift_mm: float

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(F, N) True where a photo gives a gap."""
        return np.isfinite(self.gap_mm)


def stack_parts(
    parts: Sequence[Part],
    photos: int,
    chain: StripChain,
    strip_number: NDArray[np.int64],
    on_strip_mm: Array64,
) -> Stack:
    """Lay all parts over the stations, each photo's part beside the station's own strip first."""
    count = len(on_strip_mm)
    values = {name: np.full((photos, count), np.nan) for name in _LENGTHS}
    points = {name: np.full((photos, count, 2), np.nan) for name in _POINTS}
    influences: dict[str, tuple[bool, Array64]] = {}
    remedies: dict[str, str] = {}
    reason = np.full(count, "", dtype=object)
    covered = np.zeros((photos, count), dtype=bool)
    u_shift = 0.0
    for distance in range(len(chain.numbers)):
        for photo, number, profile in parts:
            mine = (np.abs(strip_number - number) == distance) & ~covered[photo]
            for strip in np.unique(strip_number[mine]):
                offset, u_offset = chain.offset_mm(number, int(strip))
                at = np.flatnonzero(mine & (strip_number == strip))
                source = _Source.at(profile, on_strip_mm[at] + offset)
                at, source = at[source.inside], source.only_inside()
                covered[photo, at] = True
                if len(at) and distance:
                    u_shift = max(u_shift, u_offset)
                for name in _LENGTHS:
                    values[name][photo, at] = source.take(getattr(profile, name))
                for name in _POINTS:
                    points[name][photo, at] = source.take(getattr(profile, name))
                _add_influences(influences, remedies, profile, source, (photo, at), (photos, count))
                hidden = np.isnan(values["gap_mm"][photo, at]) & (reason[at] == "")
                words = np.array(profile.unseen_reason, dtype=object)
                reason[at[hidden]] = _first_word(words[source.lower], words[source.upper])[hidden]
    return Stack(
        **values,
        **points,
        influences=influences,
        remedies=remedies,
        reason=tuple(str(word) for word in reason),
        u_shift_mm=u_shift,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Source:
    """Stations of a profile between which places lie: `share` (M,) is how far towards the upper one."""

    lower: NDArray[np.intp]
    upper: NDArray[np.intp]
    share: Array64
    inside: NDArray[np.bool_]

    @classmethod
    def at(cls, profile: GapProfile, place_mm: Array64) -> _Source:
        cell = np.round((place_mm - profile.station_mm[0]) / profile.step_mm, 6)
        last = len(profile.station_mm) - 1
        inside = (cell >= 0) & (cell <= last)
        held = np.clip(cell, 0, last)
        lower = np.floor(held).astype(np.intp)
        return cls(
            lower=lower,
            upper=np.minimum(np.ceil(held).astype(np.intp), last),
            share=held - lower,
            inside=inside,
        )

    def only_inside(self) -> _Source:
        keep = self.inside
        return _Source(
            lower=self.lower[keep], upper=self.upper[keep], share=self.share[keep], inside=keep[keep]
        )

    def take(self, values: Array64) -> Array64:
        """Values at the places, to the last bit where a place is a station; NaN beside what is NaN."""
        share = self.share if values.ndim == 1 else self.share[:, None]
        low, high = values[self.lower], values[self.upper]
        return np.asarray(np.where(share == 0, low, low + share * (high - low)))


def _add_influences(
    influences: dict[str, tuple[bool, Array64]],
    remedies: dict[str, str],
    profile: GapProfile,
    source: _Source,
    where: tuple[int, NDArray[np.intp]],
    shape: tuple[int, int],
) -> None:
    for row in profile.budget:
        if row.name not in influences:
            influences[row.name] = (row.common, np.zeros(shape))
            remedies[row.name] = row.remedy
        influences[row.name][1][where] = source.take(row.u_mm)


def _first_word(low: NDArray[np.object_], high: NDArray[np.object_]) -> NDArray[np.object_]:
    return np.where(low != "", low, high)
