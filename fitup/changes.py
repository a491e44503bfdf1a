"""What became otherwise between a record and the same photos measured again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.evidence.judged_record import AnyRecord, judged_joint
from fitup.evidence.record import SpotEntry
from fitup.evidence.words import COVERAGE_FACTOR, from_to
from fitup.repeating import differing
from fitup.verdict.judged import JudgedJoint

__all__ = ["Change", "change_between"]


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is not the same now.

    `differing` names the parts of the record that are not the same to the last bit. Stations are compared
    where the gap was seen both times: at `beyond` of `compared` it moved by more than the uncertainty that
    was stated then (k = 2). `lost` are stations seen then only, `gained` those seen now only. Spots are named
    by state and stretch; one that overlaps one of the same state is the same spot.
    """

    differing: tuple[str, ...]
    verdict_then: str
    verdict_now: str
    limit_then_mm: float
    limit_now_mm: float
    compared: int
    beyond: int
    largest_change_mm: float | None
    largest_at_mm: float | None
    lost: int
    gained: int
    spots_gone: tuple[str, ...]
    spots_new: tuple[str, ...]

    @property
    def what(self) -> tuple[str, ...]:
        """What of it matters: verdict, limit, spots, gap; empty where every number may be taken as it was."""
        changes = {
            "verdict": self.verdict_then != self.verdict_now,
            "limit": self.limit_then_mm != self.limit_now_mm,
            "spots": bool(self.spots_gone or self.spots_new),
            "gap": self.beyond > 0,
        }
        return tuple(name for name, changed in changes.items() if changed)


def change_between(stored: AnyRecord, again: AnyRecord) -> Change:
    """Compare a record with what was measured again of its photos."""
    then, now = judged_joint(stored), judged_joint(again)
    gap_now = _gap_at(then.station_mm, now)
    was, is_now = np.isfinite(then.gap_mm), np.isfinite(gap_now)
    both = was & is_now
    moved = np.abs(gap_now - then.gap_mm)[both]
    beyond = moved > COVERAGE_FACTOR * then.u_gap_mm[both]
    largest = int(np.argmax(moved)) if moved.size else None
    return Change(
        differing=tuple(differing(stored, again)),
        verdict_then=stored.verdict.word,
        verdict_now=again.verdict.word,
        limit_then_mm=stored.limit.limit_mm,
        limit_now_mm=again.limit.limit_mm,
        compared=int(both.sum()),
        beyond=int(beyond.sum()),
        largest_change_mm=None if largest is None else float(moved[largest]),
        largest_at_mm=None if largest is None else float(then.station_mm[both][largest]),
        lost=int((was & ~is_now).sum()),
        gained=int((~was & is_now).sum()),
        spots_gone=_without_partner(stored.verdict.spots, again.verdict.spots),
        spots_new=_without_partner(again.verdict.spots, stored.verdict.spots),
    )


def _gap_at(station_mm: np.ndarray, joint: JudgedJoint) -> np.ndarray:
    """The gap at other stations, between two that were seen; NaN elsewhere."""
    if not joint.station_mm.size:
        return np.full(station_mm.shape, np.nan)
    return np.asarray(np.interp(station_mm, joint.station_mm, joint.gap_mm, left=np.nan, right=np.nan))


def _without_partner(spots: Sequence[SpotEntry], others: Sequence[SpotEntry]) -> tuple[str, ...]:
    return tuple(
        f"{one.state} {from_to(one.start_mm, one.end_mm)}"
        for one in spots
        if not any(_same_spot(one, other) for other in others)
    )


def _same_spot(one: SpotEntry, other: SpotEntry) -> bool:
    alike = (one.state, one.side) == (other.state, other.side)
    return alike and one.start_mm <= other.end_mm and other.start_mm <= one.end_mm
