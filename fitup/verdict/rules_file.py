"""The shop-rules file: TOML in, `ShopRules` out; whatever is wrong is said with file, line and remedy.

Lengths are written with their unit ("0.2mm", "0.008in"), sheets and wires as everywhere ("18ga stainless",
"035"). Keys that are left out stay at their defaults; the README lists them all.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial

from fitup.errors import UsageError
from fitup.joint import JointKind
from fitup.toml_lines import nearest, read_toml
from fitup.verdict.decision import DecisionRule
from fitup.verdict.lands import LandRule
from fitup.verdict.lengths import parse_length, parse_length_or_zero, show_text
from fitup.verdict.rules_table import RulesTable
from fitup.verdict.seen_rule import SeenRule
from fitup.verdict.sheets import GAUGE_MATERIALS, Sheet, parse_sheet
from fitup.verdict.shop_rules import DEFAULT_RULES, ByKind, Procedure, ShopRules, check_bridge_factor
from fitup.verdict.spots import SpotRule
from fitup.verdict.wires import parse_wire

__all__ = ["RULES_KEYS", "read_rules"]

RULES_KEYS = {
    "shop": ("wires", "gauge_material"),
    "bridge": ("factor", "by_kind", "source"),
    "fill": ("reinforcement_mm2", "by_kind", "source"),
    "reach": ("required_land", "source"),
    "no_wire": ("share", "source"),
    "decision": ("probability", "simple_acceptance"),
    "spots": ("merge", "shortest_over", "shortest_doubtful", "shortest_unseen"),
    "seen": ("least_share", "longest_unseen"),
    "lands": ("least_share", "shortest", "merge"),
    "procedure": ("limit", "reference", "joint_kinds", "sheet", "sheet_from", "sheet_to", "wire"),
}
"""Sections of the file and the keys of each."""

_SAME_SHEET_MM = 1e-6


def read_rules(path: str | os.PathLike[str]) -> ShopRules:
    """Read a shop's rules.

    Raises
    ------
    UsageError
        When the file cannot be read or anything in it cannot be used: one sentence with file, line, remedy.
    """
    file = read_toml(path, "shop-rules file")
    top = RulesTable(file=file, place=(), values=file.values, known=tuple(RULES_KEYS))
    section = {name: top.inner(name, keys) for name, keys in RULES_KEYS.items() if name != "procedure"}
    shop, bridge, fill = section["shop"], section["bridge"], section["fill"]
    reach, no_wire = section["reach"], section["no_wire"]
    material = shop.parsed("gauge_material", _material, "stainless")
    default = DEFAULT_RULES
    return ShopRules(
        bridge_factor=_by_kind(bridge, "factor", default.bridge_factor.usual, check_bridge_factor),
        bridge_source=bridge.text("source", default.bridge_source),
        reinforcement_mm2=_by_kind(
            fill, "reinforcement_mm2", default.reinforcement_mm2.usual, _check_reinforcement
        ),
        fill_source=fill.text("source", default.fill_source),
        required_land_mm=reach.parsed("required_land", _checked_land, "0.2mm") or 0.0,
        reach_source=reach.text("source", default.reach_source),
        no_wire_share=no_wire.number("share", default.no_wire_share, _check_share),
        no_wire_source=no_wire.text("source", default.no_wire_source),
        procedures=tuple(
            _procedure(table, material) for table in top.several("procedure", RULES_KEYS["procedure"])
        ),
        decision=_decision(section["decision"]),
        spot_rule=_spots(section["spots"]),
        seen_rule=_seen(section["seen"]),
        land_rule=_lands(section["lands"]),
        wires_in_stock=shop.each("wires", parse_wire, "0.9mm"),
        gauge_material=material,
        file_name=file.path.name,
        sha256=file.sha256,
    )


def _by_kind(table: RulesTable, key: str, usual: float, check: Callable[[float], object]) -> ByKind:
    """A number for all kinds under `key`, and for some under "by_kind"."""
    own = table.inner("by_kind", tuple(JointKind))
    return ByKind(
        usual=table.number(key, usual, check),
        by_kind=tuple((JointKind(kind), own.number(kind, usual, check)) for kind in own.values),
    )


def _decision(table: RulesTable) -> DecisionRule:
    usual = DecisionRule().conformance_probability
    return DecisionRule(
        conformance_probability=table.number(
            "probability", usual, lambda value: DecisionRule(conformance_probability=value)
        ),
        simple_acceptance=table.flag("simple_acceptance", False),
    )


def _spots(table: RulesTable) -> SpotRule:
    usual = SpotRule()
    return SpotRule(
        merge_mm=_length(table, "merge", usual.merge_mm),
        shortest_over_mm=_length(table, "shortest_over", usual.shortest_over_mm),
        shortest_doubtful_mm=_length(table, "shortest_doubtful", usual.shortest_doubtful_mm),
        shortest_unseen_mm=_length(table, "shortest_unseen", usual.shortest_unseen_mm),
    )


def _seen(table: RulesTable) -> SeenRule:
    usual = SeenRule()
    return SeenRule(
        least_seen_share=table.number(
            "least_share", usual.least_seen_share, lambda value: SeenRule(least_seen_share=value)
        ),
        longest_unseen_mm=_length(table, "longest_unseen", usual.longest_unseen_mm),
    )


def _lands(table: RulesTable) -> LandRule:
    usual = LandRule()
    return LandRule(
        least_share=table.number("least_share", usual.least_share, lambda value: LandRule(least_share=value)),
        shortest_mm=_length(table, "shortest", usual.shortest_mm),
        merge_mm=_length(table, "merge", usual.merge_mm),
    )


def _procedure(table: RulesTable, material: str | None) -> Procedure:
    limit_mm = table.parsed("limit", partial(parse_length, what="the limit"), "0.7mm")
    if limit_mm is None:
        raise table.fault("limit", 'a procedure needs its limit: write limit = "0.7mm".')
    if "reference" not in table.values:
        raise table.fault("reference", 'a procedure needs its reference: write reference = "WPS 12 rev. C".')
    sheet = partial(parse_sheet, material=material)
    exact, low, high = (table.parsed(key, sheet, "1.5mm") for key in ("sheet", "sheet_from", "sheet_to"))
    if exact is not None and (low is not None or high is not None):
        raise table.fault("sheet", "give either sheet, or sheet_from and sheet_to.")
    wire = table.parsed("wire", parse_wire, "0.9mm")
    reference, kinds = table.text("reference", ""), table.each("joint_kinds", _kind, "butt")
    return table.read(
        "limit",
        lambda: Procedure(
            limit_mm=limit_mm,
            reference=reference,
            joint_kinds=kinds,
            sheet_from_mm=_bound(exact or low, -_SAME_SHEET_MM if exact else 0.0),
            sheet_to_mm=_bound(exact or high, _SAME_SHEET_MM if exact else 0.0),
            wire_mm=None if wire is None else wire.diameter_mm,
        ),
    )


def _bound(sheet: Sheet | None, more_mm: float) -> float | None:
    return None if sheet is None else sheet.thickness_mm + more_mm


def _length(table: RulesTable, key: str, usual_mm: float) -> float:
    length_mm = table.parsed(key, partial(parse_length_or_zero, what=f"the length {key}"), f"{usual_mm:g}mm")
    return usual_mm if length_mm is None else length_mm


def _checked_land(text: str) -> float:
    land_mm = parse_length_or_zero(text, "the required land")
    return ShopRules(required_land_mm=land_mm).required_land_mm


def _check_reinforcement(area_mm2: float) -> ShopRules:
    return ShopRules(reinforcement_mm2=ByKind(usual=area_mm2))


def _check_share(share: float) -> ShopRules:
    return ShopRules(no_wire_share=share)


def _material(text: str) -> str:
    if text not in GAUGE_MATERIALS:
        raise UsageError(
            f"gauge_material {show_text(text)} is not known: write {' or '.join(GAUGE_MATERIALS)}."
        )
    return text


def _kind(text: str) -> JointKind:
    known = [str(kind) for kind in JointKind]
    if text not in known:
        like = nearest(text, known)
        instead = f"did you mean {like}" if like else f"known are {', '.join(known)}"
        raise UsageError(f"joint kind {show_text(text)} is not known: {instead}.")
    return JointKind(text)
