"""What a verdict says: its word, its spots, and the rules it was reached by."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from fitup.verdict.decision import DecisionRule, StationState
from fitup.verdict.information import ForInformation
from fitup.verdict.lands import LandRule, LandState
from fitup.verdict.limits import Limit
from fitup.verdict.seen_rule import SeenRule
from fitup.verdict.spots import SpotRule

__all__ = ["JointVerdict", "SeenRule", "Spot", "VerdictWord"]


class VerdictWord(StrEnum):
    """The verdict on a joint, from good to bad."""

    WITHIN = "within"
    GAUGE = "gauge"
    RETAKE = "retake"
    RE_FIXTURE = "re-fixture"

    @property
    def severity(self) -> int:
        """0 for within, rising; the worst of several verdicts is the one of the largest severity."""
        return list(VerdictWord).index(self)


@dataclass(frozen=True, kw_only=True)
class Spot:
    """An unbroken stretch of one kind that needs a person."""

    state: StationState | LandState
    """over, doubtful or unseen; or short land, which may lie beside any of these."""
    start_mm: float
    """Where it begins, from the foot of the datum mark [mm]: half a step before its first station."""
    end_mm: float
    """Where it ends [mm]: half a step behind its last station."""
    largest_gap_mm: float
    """Largest gap among its stations of the spot's own state [mm]; NaN when unseen, and for a short land."""
    u_mm: float
    """Standard uncertainty (k = 1) of that gap [mm]; NaN where that is NaN."""
    at_mm: float
    """Where that gap is [mm]; the middle of the spot where there is none."""
    advice: str
    """What to do there, one sentence for a fitter."""
    side: str = ""
    """Of a short land, on which side of the gap it is, in words."""
    land_mm: float = math.nan
    """Median length of a short land [mm]; NaN of other spots."""

    @property
    def length_mm(self) -> float:
        """Length along the joint [mm]."""
        return self.end_mm - self.start_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class JointVerdict:
    """The verdict on one joint with everything it rests on."""

    word: VerdictWord
    """within, re-fixture, gauge or retake."""
    limit: Limit
    """The limit that the gap was judged against."""
    states: tuple[StationState, ...]
    """(N,) state of every station, before any merging."""
    spots: tuple[Spot, ...]
    """Where a person is needed, in order along the joint."""
    largest_gap_mm: float
    """Largest gap measured at any station [mm]; NaN when nothing was seen."""
    largest_gap_u_mm: float
    """Its standard uncertainty (k = 1) [mm]."""
    largest_gap_at_mm: float
    """Its station, from the foot of the datum mark [mm]."""
    seen_share: float
    """Share of the stations at which a gap was measured, 0 to 1."""
    sentence: str
    """The verdict in one line."""
    advice: str
    """What to do next, one line."""
    decision: DecisionRule = field(default_factory=DecisionRule)
    """How sure a state had to be."""
    spot_rule: SpotRule = field(default_factory=SpotRule)
    """Lengths by which spots were merged and dropped."""
    seen_rule: SeenRule = field(default_factory=SeenRule)
    """How much had to be seen."""
    land_rule: LandRule | None = None
    """From when a land was short; None where the joint has no lands."""
    information: ForInformation | None = None
    """What may help to choose wire and settings; decides nothing."""
