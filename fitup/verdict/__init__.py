"""From a gap profile to a verdict: wire and sheet, fillable gap, decision under uncertainty, spots, advice.

Read in this order: `lengths`, `wires`, `sheets` (what the user writes), `shop_rules`, `rules` and `limits`
(the fillable gap), `decision` (one station), `spots` (stretches), `lands` (short ones), `joint` (verdict),
`advice` (its sentences).
"""

from __future__ import annotations

from fitup.joint import JointKind
from fitup.verdict.decision import DecisionRule, StationState, probability_within
from fitup.verdict.information import ForInformation, information_on
from fitup.verdict.joint import judge
from fitup.verdict.joint_case import JointCase
from fitup.verdict.lands import LandRule, LandState, LandsToJudge, lands_to_judge
from fitup.verdict.lengths import parse_length, parse_length_or_zero, parse_place
from fitup.verdict.limits import Candidate, Limit, NotApplied
from fitup.verdict.result import JointVerdict, Spot, VerdictWord
from fitup.verdict.rules import fillable_gap, limit_for
from fitup.verdict.rules_file import read_rules
from fitup.verdict.seen_rule import SeenRule
from fitup.verdict.sheets import Sheet, parse_sheet
from fitup.verdict.shop_rules import DEFAULT_RULES, ByKind, Procedure, ShopRules
from fitup.verdict.spots import SpotRule
from fitup.verdict.weld_settings import WeldSettings
from fitup.verdict.wires import Wire, parse_wire

__all__ = [
    "DEFAULT_RULES",
    "ByKind",
    "Candidate",
    "DecisionRule",
    "ForInformation",
    "JointCase",
    "JointKind",
    "JointVerdict",
    "LandRule",
    "LandState",
    "LandsToJudge",
    "Limit",
    "NotApplied",
    "Procedure",
    "SeenRule",
    "Sheet",
    "ShopRules",
    "Spot",
    "SpotRule",
    "StationState",
    "VerdictWord",
    "WeldSettings",
    "Wire",
    "fillable_gap",
    "information_on",
    "judge",
    "lands_to_judge",
    "limit_for",
    "parse_length",
    "parse_length_or_zero",
    "parse_place",
    "parse_sheet",
    "parse_wire",
    "probability_within",
    "read_rules",
]
