"""What a decision needs: how certain the gap must be where it matters, and what that asks of each influence.

A station is decided where limit and reading lie z standard uncertainties apart, z being the quantile of the
probability that is asked for (ISO 14253-1:2017, 1.645 for 95 %). The decisive station is the one with the
largest doubtful gap, or, where nothing is in doubt or a gap is over the limit anyhow, the largest gap.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np

from fitup.profile.result import GapProfile

__all__ = ["Need", "need_of"]


@dataclass(frozen=True, kw_only=True)
class Need:
    """The decisive station: its gap, `parts_mm`, the standard uncertainties by name, and `allowed_mm`.

    `allowed_mm` is how large the combined standard uncertainty may be there for a decision, infinite where
    readings alone decide.
    """

    station_mm: float
    gap_mm: float
    allowed_mm: float
    parts_mm: dict[str, float]

    @cached_property
    def u_mm(self) -> float:
        """Combined standard uncertainty now."""
        return self.u_without(())

    @property
    def decided(self) -> bool:
        """Whether the decision is reached."""
        return self.u_mm <= self.allowed_mm

    def u_without(self, names: Iterable[str], left: float = 0.0) -> float:
        """Combined standard uncertainty with the named influences at `left` of what they are."""
        less = frozenset(names)
        return float(np.sqrt(sum((u * (left if n in less else 1.0)) ** 2 for n, u in self.parts_mm.items())))

    def share_allowed(self, names: Iterable[str]) -> float:
        """To what share of itself a group of influences must fall, the others left as they are.

        Above 1 it may even grow; 0 where the others alone forbid a decision; infinite where it is nothing.
        """
        rest = self.u_without(names)
        own = self.u_mm**2 - rest**2
        if not np.isfinite(self.allowed_mm) or own <= 0:
            return float("inf")
        return float(np.sqrt(max(self.allowed_mm**2 - rest**2, 0.0) / own))


def need_of(profile: GapProfile, limit_mm: float, probability: float | None) -> Need | None:
    """Find the decisive station; None where nothing was seen.

    `probability` is that of the decision rule, None where readings alone decide.
    """
    seen = profile.seen
    if not seen.any():
        return None
    z = 0.0 if probability is None else NormalDist().inv_cdf(probability)
    room = np.where(seen, limit_mm - profile.gap_mm, np.inf)
    reach = np.where(seen, z * np.where(seen, profile.u_gap_mm, 0.0), 0.0)
    doubtful = np.abs(room) < reach
    # An opening that is told stays one, whatever a better photo says of its rims.
    asked = doubtful if doubtful.any() and not (room < -reach).any() else seen
    index = int(np.argmax(np.where(asked, profile.gap_mm, -np.inf)))
    return Need(
        station_mm=float(profile.station_mm[index]),
        gap_mm=float(profile.gap_mm[index]),
        allowed_mm=float(abs(room[index]) / z) if z else float("inf"),
        parts_mm={row.name: float(row.u_mm[index]) for row in profile.budget},
    )
