"""One profile of a long joint from the profiles of several photos.

A station belongs to the strip beside it, and is a fixed place of that strip: what a photo reads there is
taken as it was read, so that other photos, their order or their absence change nothing of it. Only a photo
that looks past its own strip is interpolated, where it is compared and combined with the next strip's. The
chain of strips then says where the stations lie along the joint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.profile.overlap import Overlap, compare
from fitup.profile.result import GapProfile, Influence
from fitup.profile.stacking import Stack, stack_parts
from fitup.scale.strip_chain import StripChain

__all__ = ["NO_PHOTO", "PhotoPart", "SeamProfile", "SeamStations", "join_profiles", "seam_stations"]

Array64 = NDArray[np.float64]

NO_PHOTO = "no photo"
U_FOOT_MM = 0.05  # foot of a datum mark on the joint: its direction to a milliradian, 20 to 50 mm away
STEP_MM = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoPart:
    """What one photo shows of the joint beside one strip: a profile counted from that strip's datum mark."""

    photo: int
    strip_number: int
    profile: GapProfile


@dataclass(frozen=True, kw_only=True, eq=False)
class SeamStations:
    """Stations of a long joint: strip (N,), place on it (N,), place along the joint (N,) and its u [mm]."""

    strip_number: NDArray[np.int64]
    on_strip_mm: Array64
    station_mm: Array64
    u_station_mm: Array64

    @property
    def joins(self) -> tuple[int, ...]:
        """Stations that begin a new strip."""
        return tuple(int(index) + 1 for index in np.flatnonzero(np.diff(self.strip_number)))


@dataclass(frozen=True, kw_only=True, eq=False)
class SeamProfile:
    """The joined profile; `profile.near_px` and the like belong to the photo `leading` (N,), -1 for none.

    `stack` keeps what every photo says, `overlaps` how photos compare where two saw.
    """

    profile: GapProfile
    stations: SeamStations
    leading: NDArray[np.int64]
    stack: Stack
    overlaps: tuple[Overlap, ...]

    @property
    def shown(self) -> NDArray[np.bool_]:
        """(F, N) True where a station's gap comes from that photo, alone or among others."""
        return self.stack.seen


def seam_stations(
    chain: StripChain,
    ends_mm: tuple[float, float],
    paper_left_mm: float,
    u_scale: float,
    step_mm: float = STEP_MM,
) -> SeamStations:
    """Stations of a joint between two places along it.

    A strip's stations run from the left end of its paper to that of the next strip, the lowest strip's and
    the highest's to the ends of the joint; u_scale is the relative uncertainty of lengths along the strips.
    """
    first_mm, last_mm = ends_mm
    starts = [first_mm, *(place + paper_left_mm for place in chain.place_mm[1:])]
    strips, on_strip, along, u_chain = [], [], [], []
    for index, (number, place) in enumerate(zip(chain.numbers, chain.place_mm, strict=True)):
        start = max(starts[index], first_mm)
        end = starts[index + 1] - step_mm / 2 if index + 1 < len(starts) else last_mm
        cells = np.arange(
            np.ceil((start - place) / step_mm - 1e-6),
            np.floor((min(end, last_mm) - place) / step_mm + 1e-6) + 1,
        )
        strips.append(np.full(len(cells), number))
        on_strip.append(cells * step_mm)
        along.append(place + cells * step_mm)
        u_chain.append(np.full(len(cells), chain.u_mm[index]))
    station = np.concatenate(along)
    return SeamStations(
        strip_number=np.concatenate(strips).astype(np.int64),
        on_strip_mm=np.concatenate(on_strip),
        station_mm=station,
        u_station_mm=np.sqrt(np.concatenate(u_chain) ** 2 + (u_scale * station) ** 2 + U_FOOT_MM**2),
    )


def join_profiles(
    parts: Sequence[PhotoPart], names: Sequence[str], chain: StripChain, stations: SeamStations
) -> SeamProfile:
    """Join what F photos show into one profile.

    Raises RetakeError where two photos disagree beyond what they state: it names both and the place.
    """
    stack = stack_parts(
        [(part.photo, part.strip_number, part.profile) for part in parts],
        len(names),
        chain,
        stations.strip_number,
        stations.on_strip_mm,
    )
    overlaps = _compared(stack, stations, names)
    seen = stack.seen
    weight = np.where(seen, np.nan_to_num(stack.u_gap_mm, nan=1.0) ** -2.0, 0.0)
    total = weight.sum(axis=0)
    share = weight / np.where(total > 0, total, 1.0)
    leading = np.where(seen.any(axis=0), np.argmax(weight, axis=0), -1)
    rows = _combined_budget(stack, share)
    profile = _profile(stack, stations, leading, share, rows, parts)
    return SeamProfile(
        profile=profile, stations=stations, leading=leading.astype(np.int64), stack=stack, overlaps=overlaps
    )


def _profile(
    stack: Stack,
    stations: SeamStations,
    leading: NDArray[np.intp],
    share: Array64,
    rows: tuple[Influence, ...],
    parts: Sequence[PhotoPart],
) -> GapProfile:
    blank = np.where(leading < 0, np.nan, 0.0)
    gap = _mean(stack.gap_mm, share) + blank
    at = (np.maximum(leading, 0), np.arange(len(leading)))
    middle = (stack.near_mm[at] + stack.far_mm[at]) / 2
    return GapProfile(
        station_mm=stations.station_mm,
        gap_mm=gap,
        u_gap_mm=_root_of_squares(rows) + blank,
        near_mm=middle - gap / 2,
        far_mm=middle + gap / 2,
        near_px=stack.near_px[at] + blank[:, None],
        far_px=stack.far_px[at] + blank[:, None],
        centre_px=stack.centre_px[at],
        unseen_reason=tuple(
            "" if lead >= 0 else reason or NO_PHOTO
            for lead, reason in zip(leading, stack.reason, strict=True)
        ),
        budget=_largest_first(rows, leading >= 0),
        notes=tuple(dict.fromkeys(note for part in parts for note in part.profile.notes)),
        step_mm=STEP_MM,
        joins=stations.joins,
    )


def _root_of_squares(rows: Sequence[Influence]) -> Array64:
    """Combined uncertainty, added up one by one: a sum over an array may go in another order."""
    total = np.zeros_like(rows[0].u_mm)
    for row in rows:
        total = total + row.u_mm**2
    return np.asarray(np.sqrt(total))


def _mean(values: Array64, share: Array64) -> Array64:
    """Weighted mean over photos; one that alone saw a station is taken as it is, to the last bit."""
    return np.asarray(np.where(share > 0, np.where(share == 1, values, values * share), 0.0).sum(axis=0))


def _combined_budget(stack: Stack, share: Array64) -> tuple[Influence, ...]:
    """Influences of the weighted mean: what is common to photos of one phone does not average."""
    rows = []
    # By name, so that the sum over them is the same to the last bit whatever photos are there.
    for name, (common, u) in sorted(stack.influences.items()):
        part = np.where(share > 0, np.nan_to_num(u) * share, 0.0)
        u_mean = part.sum(axis=0) if common else np.sqrt((part**2).sum(axis=0))
        rows.append(Influence(name=name, u_mm=u_mean, common=common, remedy=stack.remedies[name]))
    return tuple(rows)


def _largest_first(rows: tuple[Influence, ...], seen: NDArray[np.bool_]) -> tuple[Influence, ...]:
    def size(row: Influence) -> float:
        return float(row.u_mm[seen].mean()) if seen.any() else 0.0

    return tuple(sorted(rows, key=lambda row: (-size(row), row.name)))


def _compared(stack: Stack, stations: SeamStations, names: Sequence[str]) -> tuple[Overlap, ...]:
    overlaps = []
    for pair in combinations(range(len(names)), 2):
        both = list(pair)
        overlap = compare(
            pair,
            stations.station_mm,
            stack.gap_mm[both],
            {name: (common, np.nan_to_num(u[both])) for name, (common, u) in stack.influences.items()},
            stack.u_shift_mm,
        )
        if overlap is None:
            continue
        overlaps.append(overlap)
    for overlap in sorted(overlaps, key=lambda one: -one.worst_sigmas):
        if not overlap.agrees:
            raise _disagreement(overlap, names)
    return tuple(overlaps)


def _disagreement(overlap: Overlap, names: Sequence[str]) -> RetakeError:
    return RetakeError(
        "photos disagree",
        f"{names[overlap.first]} and {names[overlap.second]} disagree from {overlap.worst_start_mm:.0f} to "
        f"{overlap.worst_end_mm:.0f} mm along the joint, a gap of {overlap.worst_first_mm:.2f} mm in the one "
        f"and {overlap.worst_second_mm:.2f} mm in the other.",
        "Do not move parts or strips between photos, use every strip number once, and photograph that "
        "stretch again.",
    )
