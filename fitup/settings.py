"""What a person says of a joint and how to measure and judge it; with the photo, enough to repeat it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.joint import JointSetup, TargetOn
from fitup.photo import Photo, PhotoLimits
from fitup.profile import ARRIS_RADIUS_MM
from fitup.scale import GapCorrection, LensChoice, LensProfile, PrintRecord, choose_lens
from fitup.verdict import DEFAULT_RULES, DecisionRule, JointCase, Sheet, ShopRules, WeldSettings, Wire

__all__ = ["InspectionSettings"]


@dataclass(frozen=True, kw_only=True, eq=False)
class InspectionSettings:
    """All that a person says about a joint; with the photo, enough to measure again.

    `points_px` (K, 2) are two or more image points on the joint; `from_mm` and `to_mm` bound the stretch that
    is looked at, in mm from the datum mark (the target's length by default). With `two_targets` a second one
    must lie on the other plate; where one is seen there it is used anyhow, but for butt joints and seams.
    `one_sheet` says that both were cut from one print. The lower strip number is the first target.
    `lens` is the lens profile to be used; without it one of `lens_profiles` is, where the photo's EXIF fits.

    `strips` are the numbers of the strips beside the joint, () where any may lie there. The joint itself
    begins `joint_start_mm` from the datum mark (0 by default) and is `joint_length_mm` long; all of that must
    be seen.

    `wire` is None for a joint that is made without one. `sheet` is that of the plate with the target,
    `other_sheet` that of the other plate where it is another. `rules` are the shop's; `decision` and
    `bridge_factor` win over what they say of these, and so does `procedure_limit_mm`, which is written where
    `procedure_reference` says. `weld` is what the welder sets, as far as it is known.

    Raises UsageError where the joint's shape is described wrongly, or lacks the sheet's thickness.
    """

    wire: Wire | None
    sheet: Sheet | None = None
    other_sheet: Sheet | None = None
    rules: ShopRules = DEFAULT_RULES
    weld: WeldSettings = field(default_factory=WeldSettings)
    arris_radius_mm: float = ARRIS_RADIUS_MM
    joint_kind: str = "butt"
    target_on: str | None = None
    included_angle_deg: float = 90.0
    overlap_mm: float | None = None
    procedure_limit_mm: float | None = None
    procedure_reference: str = ""
    bridge_factor: float | None = None
    decision: DecisionRule | None = None
    print_record: PrintRecord | None = None
    target_thickness_mm: float | None = None
    two_targets: bool = False
    one_sheet: bool = False
    lens: LensProfile | None = None
    lens_profiles: tuple[LensProfile, ...] = ()
    points_px: NDArray[np.float64] | None = None
    strips: tuple[int, ...] = ()
    joint_start_mm: float | None = None
    joint_length_mm: float | None = None
    from_mm: float | None = None
    to_mm: float | None = None
    photo_limits: PhotoLimits = field(default_factory=PhotoLimits)

    def __post_init__(self) -> None:
        setup = self.setup
        if self.sheet is None and not setup.opens_in_plate_plane:
            raise UsageError(f"a {setup.kind} joint needs the sheet's thickness: give it (--sheet 1.5mm).")

    def lens_of(self, photo: Photo) -> LensChoice:
        """Return the lens profile for a photo; UsageError where the one to be used is for another size."""
        return choose_lens(photo, self.lens_profiles, self.lens)

    @property
    def correction(self) -> GapCorrection | None:
        """The correction of the gap that comes with the print's record, if one was accepted."""
        return None if self.print_record is None else self.print_record.correction

    @property
    def part_only(self) -> bool:
        """Whether only a part of the joint was asked for."""
        return self.points_px is not None or self.from_mm is not None or self.to_mm is not None

    @property
    def case(self) -> JointCase:
        """The joint as the rules of the limit see it."""
        return JointCase(
            setup=self.setup,
            wire=self.wire,
            sheet=self.sheet,
            other_sheet=self.other_sheet,
            weld=self.weld,
            procedure_limit_mm=self.procedure_limit_mm,
            procedure_reference=self.procedure_reference,
            bridge_factor=self.bridge_factor,
            rules=self.rules,
        )

    @property
    def deciding(self) -> DecisionRule:
        """How sure a statement must be: as asked for, else as the shop's rules have it."""
        return self.decision or self.rules.decision

    @property
    def ends_mm(self) -> tuple[float | None, float | None]:
        """Where the joint itself begins and ends, as far as that was said [mm from the datum mark]."""
        start, length = self.joint_start_mm, self.joint_length_mm
        return start, None if length is None else (start or 0.0) + length

    @property
    def stretch_mm(self) -> tuple[float | None, float | None]:
        """The stretch looked at: what was asked for, else the joint's own ends, else None."""
        start, end = self.ends_mm
        return (
            start if self.from_mm is None else self.from_mm,
            end if self.to_mm is None else self.to_mm,
        )

    @property
    def opening_sheet(self) -> Sheet | None:
        """The sheet whose end bounds the gap: where a base or a lower sheet has the target, the other one."""
        on_other = self.setup.place in (TargetOn.BASE, TargetOn.LOWER)
        return self.other_sheet if on_other and self.other_sheet else self.sheet

    @property
    def setup(self) -> JointSetup:
        """The joint's shape; UsageError where its words do not go together."""
        return JointSetup.of(self.joint_kind, self.target_on, self.included_angle_deg, self.overlap_mm)
