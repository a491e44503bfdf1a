"""The kinds of joint and how their parts meet; what a person says of a joint before its photo is looked at.

Words follow AWS A3.0. Which plane a joint opens in, and which arrises bound its gap, follows from the kind
(`fitup/scale/opening.py`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from fitup.errors import UsageError

__all__ = ["JointKind", "JointSetup", "TargetOn"]


class JointKind(StrEnum):
    """Joint kinds (AWS A3.0); corners by how the plates meet, seen from outside unless inside."""

    BUTT = "butt"
    SEAM = "seam"
    CORNER_FULL_OPEN = "corner-full-open"
    CORNER_HALF_OPEN = "corner-half-open"
    CORNER_FLUSH = "corner-flush"
    CORNER_INSIDE = "corner-inside"
    TEE = "tee"
    LAP = "lap"
    EDGE = "edge"

    @property
    def in_words(self) -> str:
        """The kind as a fitter says it, with its article."""
        return _IN_WORDS.get(self, f"a {self} joint")


class TargetOn(StrEnum):
    """Which plate carries the target, where that matters; the first of a kind's choices is its default."""

    STANDING = "standing"
    BASE = "base"
    UPPER = "upper"
    LOWER = "lower"
    PLATE = "plate"


_CHOICES = {
    JointKind.TEE: (TargetOn.STANDING, TargetOn.BASE),
    JointKind.CORNER_INSIDE: (TargetOn.STANDING, TargetOn.BASE),
    JointKind.LAP: (TargetOn.UPPER, TargetOn.LOWER),
}
_IN_WORDS = {
    JointKind.SEAM: "a seam",
    JointKind.CORNER_FULL_OPEN: "a full-open corner",
    JointKind.CORNER_HALF_OPEN: "a half-open corner",
    JointKind.CORNER_FLUSH: "a flush corner",
    JointKind.CORNER_INSIDE: "an inside corner",
    JointKind.TEE: "a T-joint",
    JointKind.EDGE: "an edge joint",
}
_IN_PLATE_PLANE = (JointKind.BUTT, JointKind.SEAM)
_ANGLES_DEG = (45.0, 135.0)  # of corners that the opening plane is worked out for


@dataclass(frozen=True, kw_only=True)
class JointSetup:
    """What a person says of the joint's shape.

    Raises
    ------
    UsageError
        For a kind, a plate, an angle or an overlap that does not exist or does not go together.
    """

    kind: JointKind = JointKind.BUTT
    target_on: TargetOn | None = None
    """Plate that carries the target; None takes the kind's usual one."""
    included_angle_deg: float = 90.0
    """Angle between the plates on the inside of an open corner."""
    overlap_mm: float | None = None
    """Half-open corner: how deep the other plate's end lies below this one's face; half the sheet if None."""

    @classmethod
    def of(
        cls,
        kind: str,
        target_on: str | None = None,
        included_angle_deg: float = 90.0,
        overlap_mm: float | None = None,
    ) -> JointSetup:
        """Make one of words as a person types them."""
        try:
            known = JointKind(kind)
        except ValueError:
            raise UsageError(f"joint kind {kind!r} is not known: give {_listed(JointKind)}.") from None
        choices = _CHOICES.get(known, (TargetOn.PLATE,))
        if target_on is not None and target_on not in choices:
            raise UsageError(
                f"in a {known} joint the target lies on {_listed(choices)}, not on {target_on!r}."
            )
        place = None if target_on is None else TargetOn(target_on)
        return cls(kind=known, target_on=place, included_angle_deg=included_angle_deg, overlap_mm=overlap_mm)

    def __post_init__(self) -> None:
        low, high = _ANGLES_DEG
        if not low <= self.included_angle_deg <= high:  # also false for NaN
            raise UsageError(
                f"the included angle must be from {low:g} to {high:g} degrees, "
                f"not {self.included_angle_deg:g}."
            )
        if self.included_angle_deg != 90.0 and self.kind is not JointKind.CORNER_FULL_OPEN:
            raise UsageError(f"an included angle other than 90 degrees needs {JointKind.CORNER_FULL_OPEN}.")
        if self.overlap_mm is not None:
            if self.kind is not JointKind.CORNER_HALF_OPEN:
                raise UsageError(f"an overlap belongs to {JointKind.CORNER_HALF_OPEN} only.")
            if not (math.isfinite(self.overlap_mm) and 0 < self.overlap_mm < 20):
                raise UsageError(f"the overlap must be above 0 and below 20 mm, not {self.overlap_mm:g} mm.")

    @property
    def opens_in_plate_plane(self) -> bool:
        """True for joints between plates that lie in one plane: nothing but the plates is needed."""
        return self.kind in _IN_PLATE_PLANE

    @property
    def place(self) -> TargetOn:
        """The plate that carries the target."""
        return self.target_on or _CHOICES.get(self.kind, (TargetOn.PLATE,))[0]


def _listed(words: Iterable[StrEnum]) -> str:
    names = [str(word) for word in words]
    return ", ".join(names[:-1]) + (" or " if len(names) > 1 else "") + names[-1]
