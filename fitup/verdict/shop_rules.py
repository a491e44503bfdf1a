"""The shop's rules: all numbers that limits and decisions are made with, and where each comes from.

What a shop does not say stays at its default. `rules_file` reads them from a file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from fitup.errors import UsageError
from fitup.joint import JointKind
from fitup.verdict.decision import DecisionRule
from fitup.verdict.lands import LandRule
from fitup.verdict.seen_rule import SeenRule
from fitup.verdict.spots import SpotRule
from fitup.verdict.wires import Wire

__all__ = [
    "COMMON_PRACTICE",
    "DEFAULT_RULES",
    "LARGEST_BRIDGE_FACTOR",
    "LARGEST_LIMIT_MM",
    "ByKind",
    "Procedure",
    "ShopRules",
    "check_bridge_factor",
    "check_limit",
]

COMMON_PRACTICE = "common practice, no source"
# Far above what any wire of this trade bridges: a larger limit is a slip of the unit or the decimal point.
LARGEST_LIMIT_MM = 10.0
LARGEST_BRIDGE_FACTOR = 3.0
_LARGEST_LAND_MM = 10.0
_LARGEST_REINFORCEMENT_MM2 = 50.0
SAME_WIRE_MM = 0.005  # wires are told apart by their nominal sizes: 0.035 in is not 0.9 mm


@dataclass(frozen=True, kw_only=True)
class ByKind:
    """A number for all kinds of joint, and others for some."""

    usual: float
    by_kind: tuple[tuple[JointKind, float], ...] = ()

    def of(self, kind: JointKind) -> float:
        """The number for this kind."""
        return dict(self.by_kind).get(kind, self.usual)

    @property
    def all(self) -> tuple[float, ...]:
        """Every number in it."""
        return (self.usual, *(value for _, value in self.by_kind))


@dataclass(frozen=True, kw_only=True)
class Procedure:
    """A limit that the shop's welding procedure gives, and for which joints it does.

    Raises
    ------
    UsageError
        When the limit is not above 0 and up to 10 mm, or a range of sheets is upside down.
    """

    limit_mm: float
    reference: str
    """Where the limit is written, such as "WPS 12 rev. C"."""
    joint_kinds: tuple[JointKind, ...] = ()
    """Kinds of joint that it is for; none named: all."""
    sheet_from_mm: float | None = None
    """Thinnest sheet that it is for [mm]; None: no bound."""
    sheet_to_mm: float | None = None
    """Thickest sheet that it is for [mm]; None: no bound."""
    wire_mm: float | None = None
    """Wire that it is for, by diameter [mm]; None: any wire, or none."""

    def __post_init__(self) -> None:
        check_limit(self.limit_mm, "the procedure limit")
        low, high = self.sheet_from_mm, self.sheet_to_mm
        if low is not None and high is not None and low > high:
            raise UsageError(f"sheets from {low:g} to {high:g} mm are none: write the thinner one first.")

    @property
    def conditions(self) -> int:
        """How much it asks of a joint: the more, the more closely it is meant for it."""
        return sum(
            (
                bool(self.joint_kinds),
                self.sheet_from_mm is not None,
                self.sheet_to_mm is not None,
                self.wire_mm is not None,
            )
        )

    def fits(self, kind: JointKind, sheets_mm: tuple[float, ...], wire: Wire | None) -> bool:
        """Whether the procedure is for this joint; a sheet that was not given fits no bound."""
        bounded = self.sheet_from_mm is not None or self.sheet_to_mm is not None
        low, high = self.sheet_from_mm or 0.0, self.sheet_to_mm or math.inf
        return (
            (not self.joint_kinds or kind in self.joint_kinds)
            and (not bounded or bool(sheets_mm))
            and all(low - 1e-9 <= sheet_mm <= high + 1e-9 for sheet_mm in sheets_mm)
            and (
                self.wire_mm is None
                or (wire is not None and abs(wire.diameter_mm - self.wire_mm) < SAME_WIRE_MM)
            )
        )


@dataclass(frozen=True, kw_only=True)
class ShopRules:
    """What a shop has laid down; the defaults where it has said nothing.

    Raises
    ------
    UsageError
        When a number is out of its range.
    """

    bridge_factor: ByKind = ByKind(usual=1.0)
    """Widest gap that a wire bridges, as a multiple of its diameter."""
    bridge_source: str = COMMON_PRACTICE
    reinforcement_mm2: ByKind = ByKind(usual=0.0)
    """Cross-section of the metal above the filled groove, of a fillet the fillet itself [mm²]."""
    fill_source: str = "metal fed = metal needed"
    required_land_mm: float = 0.0
    """How far the beam must reach onto each plate beside the gap [mm]."""
    reach_source: str = "the beam must touch both plates"
    no_wire_share: float = 0.10
    """Widest gap of a joint that is made without wire, as a share of the thinner sheet."""
    no_wire_source: str = "EWI 2015, common practice for laser butt joints without filler"
    procedures: tuple[Procedure, ...] = ()
    decision: DecisionRule = field(default_factory=DecisionRule)
    spot_rule: SpotRule = field(default_factory=SpotRule)
    seen_rule: SeenRule = field(default_factory=SeenRule)
    land_rule: LandRule = field(default_factory=LandRule)
    wires_in_stock: tuple[Wire, ...] = ()
    """Wires to be had in the shop, for the recommended one; none named: the published sizes."""
    gauge_material: str | None = None
    """Material of gauge numbers written without one: "stainless" or "steel"."""
    file_name: str = ""
    """File that the rules were read from; "" for the defaults."""
    sha256: str = ""
    """Of that file's bytes."""

    def __post_init__(self) -> None:
        for factor in self.bridge_factor.all:
            check_bridge_factor(factor)
        _check("reinforcement", self.reinforcement_mm2.all, 0.0, _LARGEST_REINFORCEMENT_MM2, "mm²")
        _check("required land", (self.required_land_mm,), 0.0, _LARGEST_LAND_MM, "mm")
        if not 0 < self.no_wire_share <= 1:  # also false for NaN
            raise UsageError(
                f"the share of the sheet without wire must be above 0 and at most 1, "
                f"not {self.no_wire_share:g}."
            )

    @property
    def words(self) -> str:
        """Whose rules these are."""
        return f"shop rules {self.file_name}" if self.file_name else "default rules"


def check_limit(limit_mm: float, what: str) -> None:
    """Raise UsageError for a limit that is not above 0 and up to 10 mm."""
    if not (math.isfinite(limit_mm) and 0 < limit_mm <= LARGEST_LIMIT_MM):
        raise UsageError(f"{what} must be above 0 and at most {LARGEST_LIMIT_MM:g} mm, not {limit_mm:g} mm.")


def check_bridge_factor(factor: float) -> None:
    """Raise UsageError for a factor that is not above 0 and up to 3."""
    if not 0 < factor <= LARGEST_BRIDGE_FACTOR:  # also false for NaN
        raise UsageError(
            f"the bridge factor must be above 0 and at most {LARGEST_BRIDGE_FACTOR:g}, not {factor:g}."
        )


def _check(what: str, values: tuple[float, ...], low: float, high: float, unit: str) -> None:
    for value in values:
        if not low <= value <= high:  # also false for NaN
            raise UsageError(f"the {what} must be from {low:g} to {high:g} {unit}, not {value:g} {unit}.")


DEFAULT_RULES = ShopRules()
