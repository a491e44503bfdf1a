"""Limits learnt from outcomes: start here. Welds in; by wire and joint kind the gap that welds, or why not.

What is found changes no rule of the shop: the procedure decides, and who answers for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fitup.study.outcome_model import (
    GapInterval,
    OutcomeModel,
    chance_interval,
    fit_outcomes,
    gap_interval,
)
from fitup.study.outcome_pairs import Weld

__all__ = ["LEAST_EACH", "LEAST_WELDS", "SOUND_SHARE", "LimitChance", "OutcomeStudy", "study_outcomes"]

SOUND_SHARE = 0.95
"""The chance of a sound weld that a gap is looked for."""
LEAST_WELDS = 40
LEAST_EACH = 5
"""Welds in all, and sound and not sound ones, below which nothing is said."""


@dataclass(frozen=True, kw_only=True)
class LimitChance:
    """The chance of a sound weld at the limit that most of the records had, with its 95 % interval."""

    limit_mm: float
    chance: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, eq=False)
class OutcomeStudy:
    """Welds of one wire and joint kind; `reason` says why no gap can be told, and is empty where it can."""

    wire_um: int
    joint_kind: str
    welds: tuple[Weld, ...]
    reason: str
    model: OutcomeModel | None = None
    gap_mm: float = float("nan")
    """The gap at which `SOUND_SHARE` of welds are sound."""
    interval: GapInterval | None = None
    at_limit: LimitChance | None = None

    @property
    def sound(self) -> int:
        """How many welds were sound."""
        return sum(weld.sound for weld in self.welds)


def study_outcomes(welds: Iterable[Weld]) -> tuple[OutcomeStudy, ...]:
    """One study for every wire and joint kind, that of the most welds first."""
    groups: dict[tuple[int, str], list[Weld]] = defaultdict(list)
    for weld in welds:
        groups[(weld.wire_um, weld.joint_kind)].append(weld)
    order = sorted(groups, key=lambda one: (-len(groups[one]), one))
    return tuple(_study(wire_um, kind, tuple(groups[(wire_um, kind)])) for wire_um, kind in order)


def _study(wire_um: int, kind: str, welds: tuple[Weld, ...]) -> OutcomeStudy:
    sound = np.array([weld.sound for weld in welds], dtype=bool)
    gap_mm = np.array([weld.gap_mm for weld in welds])
    few = _too_few(sound, gap_mm)
    if few:
        return OutcomeStudy(wire_um=wire_um, joint_kind=kind, welds=welds, reason=few)
    model = fit_outcomes(gap_mm, sound)
    interval, at = gap_interval(model, SOUND_SHARE), model.gap_at(SOUND_SHARE)
    reason = _no_answer(model, interval, at)
    limits, counts = np.unique([weld.limit_mm for weld in welds], return_counts=True)
    usual = float(limits[np.argmax(counts)])
    low, high = chance_interval(model, usual)
    return OutcomeStudy(
        wire_um=wire_um,
        joint_kind=kind,
        welds=welds,
        reason=reason,
        model=model,
        gap_mm=float("nan") if reason else at,
        interval=None if reason else interval,
        at_limit=LimitChance(limit_mm=usual, chance=float(model.chance(usual)), low=low, high=high),
    )


def _too_few(sound: np.ndarray, gap_mm: np.ndarray) -> str:
    """What is missing before a line is fitted at all; empty where nothing is."""
    good, bad = int(sound.sum()), int((~sound).sum())
    if len(sound) < LEAST_WELDS or min(good, bad) < LEAST_EACH:
        return (
            f"too little data: {good} sound welds and {bad} others, where {LEAST_WELDS} welds are needed, "
            f"with {LEAST_EACH} of either kind at least"
        )
    if np.ptp(gap_mm) == 0.0:
        return "too little data: all welds had the same gap"
    return ""


def _no_answer(model: OutcomeModel, interval: GapInterval, at_mm: float) -> str:
    """Why the line gives no gap; empty where it does."""
    if model.slope_per_mm >= 0.0:
        return "welds of wider gaps were not sound less often: these data set no limit"
    if not interval.bounded:
        return "too little data: the outcomes agree with a chance that does not depend on the gap"
    if at_mm < float(model.gap_mm.min()):
        return "at the smallest gaps that were welded fewer than 95 % are sound: the gap is not what decides"
    if at_mm > float(model.gap_mm.max()):
        return "at the widest gaps that were welded more than 95 % are sound: no limit within what was welded"
    return ""
