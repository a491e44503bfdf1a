"""The shop's rules and the weld settings in a record, whole: a record needs no rules file to be repeated."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field

from fitup.evidence.writing import printable_name

if TYPE_CHECKING:
    from fitup.verdict import Procedure, ShopRules, WeldSettings, Wire

__all__ = ["ProcedureEntry", "RulesEntry", "StockWireEntry", "WeldEntry", "rules_entry", "weld_entry"]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class WeldEntry(_Entry):
    """What the welder sets, as far as it was given."""

    feed_mm_s: Positive | None
    travel_mm_s: Positive | None
    oscillation_mm: NotNegative | None
    oscillation_hz: Positive | None
    spot_mm: Positive | None
    power_w: Positive | None


class StockWireEntry(_Entry):
    """A wire to be had in the shop."""

    as_written: str
    reading: str
    diameter_mm: Positive


class ProcedureEntry(_Entry):
    """A limit of the shop's procedure and what it is for; null and an empty list bound nothing."""

    limit_mm: Positive
    reference: str
    joint_kinds: tuple[str, ...]
    sheet_from_mm: Positive | None
    sheet_to_mm: Positive | None
    wire_mm: Positive | None


class RulesEntry(_Entry):
    """The rules in force, but for those of decision, spots and lands, which stand beside them.

    `file_name` and `sha256` are those of the rules file, "" where there was none. Factors and reinforcement
    are given for all kinds of joint, and for some kinds by name.
    """

    file_name: str
    sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")]
    bridge_factor: Positive
    bridge_factor_by_kind: dict[str, Positive]
    bridge_source: str
    reinforcement_mm2: NotNegative
    reinforcement_by_kind_mm2: dict[str, NotNegative]
    fill_source: str
    required_land_mm: NotNegative
    reach_source: str
    no_wire_share: Positive
    no_wire_source: str
    procedures: tuple[ProcedureEntry, ...]
    wires_in_stock: tuple[StockWireEntry, ...]
    gauge_material: str | None


def weld_entry(weld: WeldSettings) -> WeldEntry:
    """The settings of the welding machine."""
    return WeldEntry(**asdict(weld))


def rules_entry(rules: ShopRules) -> RulesEntry:
    """The rules by which the limit was found."""
    return RulesEntry(
        file_name=printable_name(rules.file_name),
        sha256=rules.sha256,
        bridge_factor=rules.bridge_factor.usual,
        bridge_factor_by_kind={str(kind): factor for kind, factor in rules.bridge_factor.by_kind},
        bridge_source=printable_name(rules.bridge_source),
        reinforcement_mm2=rules.reinforcement_mm2.usual,
        reinforcement_by_kind_mm2={str(kind): area for kind, area in rules.reinforcement_mm2.by_kind},
        fill_source=printable_name(rules.fill_source),
        required_land_mm=rules.required_land_mm,
        reach_source=printable_name(rules.reach_source),
        no_wire_share=rules.no_wire_share,
        no_wire_source=printable_name(rules.no_wire_source),
        procedures=tuple(_procedure(one) for one in rules.procedures),
        wires_in_stock=tuple(_wire(one) for one in rules.wires_in_stock),
        gauge_material=rules.gauge_material,
    )


def _procedure(procedure: Procedure) -> ProcedureEntry:
    values = asdict(procedure)
    kinds = tuple(str(kind) for kind in procedure.joint_kinds)
    return ProcedureEntry(
        **{**values, "reference": printable_name(procedure.reference), "joint_kinds": kinds}
    )


def _wire(wire: Wire) -> StockWireEntry:
    return StockWireEntry(
        as_written=printable_name(wire.as_written), reading=wire.reading, diameter_mm=wire.diameter_mm
    )
