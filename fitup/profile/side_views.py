"""Two photos of one joint laid over each other, station by station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.profile.joining import U_FOOT_MM
from fitup.profile.result import GapProfile

__all__ = ["PLACE", "BothSides", "Laid", "SideView", "along_from", "laid_over", "lay_sides"]

Array64 = NDArray[np.float64]

PLACE = "place along the joint"


@dataclass(frozen=True, kw_only=True, eq=False)
class SideView:
    """One photo's apparent gaps, and the tangent (N,) of its view across, positive from beyond the joint."""

    name: str
    profile: GapProfile
    tangent: Array64


@dataclass(frozen=True, kw_only=True, eq=False)
class BothSides:
    """Two photos laid over N stations: all (2, N), NaN where a photo does not see.

    `rows` are the budgets by name: common, remedy, (2, N) standard uncertainties of the apparent gap [mm].
    """

    station_mm: Array64
    apparent_mm: Array64
    u_apparent_mm: Array64
    tangent: Array64
    rows: dict[str, tuple[bool, str, Array64]]

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(2, N) True where a photo gives a gap."""
        return np.asarray(np.isfinite(self.apparent_mm))

    @property
    def seen_by_both(self) -> NDArray[np.bool_]:
        """(N,) True where both photos give a gap."""
        return np.asarray(self.seen.all(axis=0))

    def u_of(self, names: Sequence[str]) -> Array64:
        """(2, N) root of squares of the named influences."""
        parts = [self.rows[name][2] for name in names if name in self.rows]
        return np.asarray(np.sqrt(sum((part**2 for part in parts), np.zeros_like(self.apparent_mm))))


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """Which station of a photo lies at each place; `inside` False where it has none."""

    index: NDArray[np.int64]
    inside: NDArray[np.bool_]

    @classmethod
    def at(cls, own: NDArray[np.int64], wanted: NDArray[np.int64]) -> Laid:
        """Match places by their number of steps from the datum mark."""
        index = wanted - own[0]
        inside = (index >= 0) & (index < len(own))
        return cls(index=np.clip(index, 0, len(own) - 1), inside=inside)

    def take(self, values: Array64) -> Array64:
        """Values of the photo's stations at the places, NaN where it has none."""
        taken = np.array(values[self.index], dtype=np.float64)
        taken[~self.inside] = np.nan
        return taken

    def words(self, reasons: tuple[str, ...]) -> list[str]:
        """Words of the photo's stations at the places, "" where it has none."""
        pairs = zip(self.index, self.inside, strict=True)
        return [reasons[k] if inside else "" for k, inside in pairs]


def lay_sides(views: Sequence[SideView], station_mm: Array64 | None = None) -> BothSides:
    """Lay two photos over the stations of either, or over those that are given, matched by their place.

    The foot of the datum mark on the joint is not the same to the last hundredth in both: where the gap
    changes along the joint, that is an influence of its own (`PLACE`).
    """
    step = views[0].profile.step_mm
    if station_mm is None:
        ends = [place for view in views for place in view.profile.station_mm[[0, -1]]]
        station_mm = np.arange(round(min(ends) / step), round(max(ends) / step) + 1) * step
    at = laid_over(views, station_mm)

    def both(values: Sequence[Array64]) -> Array64:
        return np.stack([laid.take(one) for laid, one in zip(at, values, strict=True)])

    gap = both([view.profile.gap_mm for view in views])
    rows: dict[str, tuple[bool, str, Array64]] = {
        row.name: (row.common, row.remedy, np.zeros_like(gap))
        for view in views
        for row in view.profile.budget
    }
    for k, view in enumerate(views):
        for row in view.profile.budget:
            rows[row.name][2][k] = np.where(np.isfinite(gap[k]), at[k].take(row.u_mm), 0.0)
    slopes = both([_slope(view.profile) for view in views])
    u_place = np.where(np.isfinite(gap), np.abs(slopes) * U_FOOT_MM, 0.0)
    rows[PLACE] = (False, "move neither strip nor parts between the photos", u_place)
    return BothSides(
        station_mm=station_mm,
        apparent_mm=gap,
        u_apparent_mm=both([view.profile.u_gap_mm for view in views]),
        tangent=both([view.tangent for view in views]),
        rows=rows,
    )


def laid_over(views: Sequence[SideView], station_mm: Array64) -> list[Laid]:
    """Which station of each photo lies at each place."""
    step = views[0].profile.step_mm
    wanted = np.round(station_mm / step).astype(np.int64)
    return [Laid.at(np.round(view.profile.station_mm / step).astype(np.int64), wanted) for view in views]


def along_from(values: Array64, told: NDArray[np.bool_]) -> Array64:
    """Values of the told stations at all stations, interpolated, and held beyond the first and the last."""
    index = np.arange(len(values))
    return np.asarray(np.interp(index, index[told], values[told]))


def _slope(profile: GapProfile) -> Array64:
    """Change of the gap along the joint (N,), bridged where unseen."""
    if profile.seen.sum() < 2:
        return np.zeros(len(profile.seen))
    return np.asarray(np.gradient(along_from(profile.gap_mm, profile.seen), profile.step_mm))
