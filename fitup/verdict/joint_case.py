"""One joint as the rules see it: its shape, plates, wire and weld settings, and the shop's rules."""

from __future__ import annotations

from dataclasses import dataclass, field

from fitup.joint import JointKind, JointSetup, TargetOn
from fitup.verdict.sheets import Sheet
from fitup.verdict.shop_rules import DEFAULT_RULES, ShopRules
from fitup.verdict.weld_settings import WeldSettings
from fitup.verdict.wires import Wire

__all__ = ["JointCase"]


@dataclass(frozen=True, kw_only=True)
class JointCase:
    """What the rules ask about; None where nothing was said."""

    setup: JointSetup = field(default_factory=JointSetup)
    wire: Wire | None
    """None for a joint that is made without wire."""
    sheet: Sheet | None = None
    """Of the plate that carries the target."""
    other_sheet: Sheet | None = None
    """Of the other plate, where it is another."""
    weld: WeldSettings = field(default_factory=WeldSettings)
    procedure_limit_mm: float | None = None
    """The procedure's limit as a person gave it for this joint; it wins over those of the rules."""
    procedure_reference: str = ""
    """Where that limit is written."""
    bridge_factor: float | None = None
    """The bridge factor as a person gave it; it wins over that of the rules."""
    rules: ShopRules = DEFAULT_RULES

    @property
    def kind(self) -> JointKind:
        """The kind of joint."""
        return self.setup.kind

    @property
    def sheets_mm(self) -> tuple[float, ...]:
        """Thicknesses that were given [mm], that of the plate with the target first."""
        return tuple(sheet.thickness_mm for sheet in (self.sheet, self.other_sheet) if sheet is not None)

    @property
    def both_mm(self) -> tuple[float, float] | None:
        """Thickness of the plate with the target, and of the other one [mm]; one that is given is both."""
        given = self.sheets_mm
        return (given[0], given[-1]) if given else None

    @property
    def thinner_mm(self) -> float | None:
        """Thickness of the thinner plate [mm]."""
        return min(self.sheets_mm, default=None)

    @property
    def standing_mm(self) -> float | None:
        """Thickness of the plate whose end bounds the gap of a T-joint, inside corner or lap [mm]."""
        both = self.both_mm
        if both is None:
            return None
        return both[1] if self.setup.place in (TargetOn.BASE, TargetOn.LOWER) else both[0]
