"""The record's part on what was asked: wire, sheets, settings, rules, and the limit that follows."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from fitup.evidence.rules_entry import RulesEntry, WeldEntry

__all__ = [
    "CandidateEntry",
    "DecisionEntry",
    "LandRuleEntry",
    "LimitEntry",
    "NotAppliedEntry",
    "RequestEntry",
    "SeenRuleEntry",
    "SheetEntry",
    "SpotRuleEntry",
    "WireEntry",
]

Point = tuple[float, float]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class WireEntry(_Entry):
    """The wire as the fitter wrote it and as it was read."""

    as_written: str
    reading: str
    diameter_mm: Positive


class SheetEntry(_Entry):
    """The sheet as written; `table` names the gauge table, null when written as a length."""

    as_written: str
    reading: str
    thickness_mm: Positive
    table: str | None


class DecisionEntry(_Entry):
    """The decision rule and the probability that it asks for (JCGM 106)."""

    sentence: str
    conformance_probability: Share
    simple_acceptance: bool


class SpotRuleEntry(_Entry):
    """Lengths by which spots were merged and dropped."""

    merge_mm: NotNegative
    shortest_over_mm: NotNegative
    shortest_doubtful_mm: NotNegative
    shortest_unseen_mm: NotNegative


class SeenRuleEntry(_Entry):
    """How much of the joint had to be seen."""

    least_seen_share: Share
    longest_unseen_mm: NotNegative


class LandRuleEntry(_Entry):
    """From when a land counts as short: share of the sheet's thickness, and lengths along the joint."""

    least_share: Share
    shortest_mm: NotNegative
    merge_mm: NotNegative


class RequestEntry(_Entry):
    """All that was asked for: with the photo it is enough to measure again. Null means the default.

    `wire` is null for a joint that is made without one; `other_sheet` is that of the plate without the
    target, null for the same. `bridge_factor` was given by a person and wins over that of the rules; before
    version 3 it was always there, and there were no other rules.
    """

    wire: WireEntry | None
    sheet: SheetEntry | None
    other_sheet: SheetEntry | None = None
    joint_kind: str
    target_on: str | None = None
    included_angle_deg: Positive = 90.0
    overlap_mm: Positive | None = None
    two_targets: bool = False
    one_sheet: bool = False
    procedure_limit_mm: Positive | None
    procedure_reference: str = ""
    bridge_factor: Positive | None
    target_thickness_mm: NotNegative | None
    arris_radius_mm: NotNegative
    joint_points_px: tuple[Point, ...] | None
    strips: tuple[int, ...] = ()
    joint_start_mm: float | None = None
    joint_length_mm: Positive | None = None
    from_mm: float | None
    to_mm: float | None
    decision: DecisionEntry
    spot_rule: SpotRuleEntry
    seen_rule: SeenRuleEntry
    land_rule: LandRuleEntry | None = None
    weld: WeldEntry | None = None
    rules: RulesEntry | None = None


class CandidateEntry(_Entry):
    """One limit that applies; the smallest counts unless the procedure names one.

    0 is that of a rule that the settings do not meet with a closed joint either; a procedure's limit won.
    """

    code: str
    question: str
    limit_mm: NotNegative
    formula: str
    source: str


class NotAppliedEntry(_Entry):
    """A rule that did not bound the gap of this joint, and why."""

    code: str
    question: str
    reason: str


class LimitEntry(_Entry):
    """The limit and how it comes about."""

    limit_mm: Positive
    rule: str
    sentence: str
    candidates: tuple[CandidateEntry, ...]
    not_applied: tuple[NotAppliedEntry, ...] = ()
