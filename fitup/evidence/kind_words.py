"""What a joint's gap is between, and how its plates lie to each other, in words (AWS A3.0)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fitup.evidence.words import COVERAGE_FACTOR
from fitup.joint import JointKind

if TYPE_CHECKING:
    from fitup.evidence.shape_entry import ShapeEntry

__all__ = ["gap_between", "kind_in_words", "lands_in_words", "step_in_words", "steps_in_words"]

_FLAT = ("butt", "seam", "lap", "edge")
_STANDING = "from the standing plate's lower arris to the base"
_GAPS = {
    "corner-full-open": "between the inner arrises",
    "corner-half-open": "from the inner arris to the other plate's cut face",
    "corner-flush": "from the inner arris to the other plate's outer arris",
    "corner-inside": _STANDING,
    "tee": _STANDING,
    "lap": "from the upper sheet's lower arris to the lower sheet",
    "edge": "between the inner arrises",
}


def gap_between(kind: str) -> str:
    """Between what the gap of this kind of joint is measured."""
    return _GAPS.get(kind, "between the upper arrises")


def kind_in_words(shape: ShapeEntry) -> str:
    """Kind, what its gap is, and the angle where it was measured and is not flat by the joint's kind."""
    words = f"{_name(shape.joint_kind)}, gap {shape.gap_between}"
    flat = shape.joint_kind in _FLAT
    if flat or shape.included_angle_deg is None or shape.u_included_angle_deg is None:
        return words
    spread = COVERAGE_FACTOR * shape.u_included_angle_deg
    return f"{words}; {shape.included_angle_deg:.1f} ± {spread:.1f}° between the plates"


def step_in_words(shape: ShapeEntry) -> str:
    """Usual and largest step between the plates with uncertainty; "" where it was not measured."""
    return steps_in_words(shape.step_mm or (), shape.u_step_mm or ())


def steps_in_words(step_mm: Sequence[float | None], u_step_mm: Sequence[float | None]) -> str:
    """The same for steps at the stations."""
    steps = [
        (value, u) for value, u in zip(step_mm, u_step_mm, strict=True) if value is not None and u is not None
    ]
    if not steps:
        return ""
    middle = sorted(steps)[len(steps) // 2]
    largest = max(steps, key=lambda step: abs(step[0]))
    usual, most = _signed(*middle), _signed(*largest)
    return f"step {usual}" if usual == most else f"step {usual} (median), {most} (largest)"


def lands_in_words(shape: ShapeEntry) -> str:
    """Each land's usual length and its shortest; "" where the joint has none."""
    sides = ((shape.near_side, shape.near_land_mm), (shape.far_side, shape.far_land_mm))
    said = [f"{side} {_land(lengths)}" for side, lengths in sides if lengths is not None]
    return f"lands: {', '.join(said)}" if said else ""


def _name(kind: str) -> str:
    """The kind without its article; a word that this version does not know stands for itself."""
    known = kind in list(JointKind)
    return JointKind(kind).in_words.split(" ", 1)[1] if known else kind


def _land(lengths: tuple[float | None, ...]) -> str:
    seen = sorted(length for length in lengths if length is not None)
    if not seen:
        return "not seen"
    share = math.floor(100 * len(seen) / len(lengths))
    only = "" if share == 100 else f", {share} % seen"
    return f"{seen[len(seen) // 2]:.1f} mm (shortest {max(seen[0], 0.0):.1f} mm{only})"


def _signed(value: float, u: float) -> str:
    return f"{value:+.2f} ± {COVERAGE_FACTOR * u:.2f} mm"
