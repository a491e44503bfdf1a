"""Groove area: the cross-section of the joint that metal must fill, as a straight line over the gap.

Of every kind of joint the groove is a polygon, closed by the straight line between the two edges that the
metal is to reach; what stands above that line is reinforcement, and so is the whole fillet of a T-joint. With
gap g, plates of thickness t (with the target) and t' (the other), angle a between them on the inside:

====================  =========================================  =========================================
kind                  groove                                     counted
====================  =========================================  =========================================
butt, seam            g × thinner of t and t'                    between the plates' ends, over the thinner
corner-full-open      t × t' × sin(a) / 2                        the V between the two cut faces, up to the
                      + g × (t + t') / 2 × sin(a / 2)            line between the outer arrises
corner-half-open      d × t' / 2 + g × (t - d / 2)               d: how deep the other plate's end lies
                                                                 below this one's face
corner-flush          g × t'                                     between the covering plate's inner face
                                                                 and the other plate's end
tee, corner-inside    g × standing plate                         under the standing plate's whole end
lap                   g × upper sheet                            as deep under the upper sheet as it is thick
edge                  g × thinner of t and t'                    as deep between the plates as the thinner
====================  =========================================  =========================================

A full-open corner of 90° and one sheet has t²/2 + g t/√2. The corners' areas are geometry. That the metal
runs under the whole end of a standing plate, and how deep into a lap or between the plates of an edge joint,
is taken on the safe side (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitup.joint import JointKind
from fitup.verdict.joint_case import JointCase
from fitup.verdict.lengths import format_mm, format_number

__all__ = ["Groove", "groove_of"]


@dataclass(frozen=True, kw_only=True)
class Groove:
    """Area to be filled: `closed_mm2` + gap × `per_gap_mm`."""

    closed_mm2: float
    """Area where the gap is closed [mm²]."""
    per_gap_mm: float
    """What each mm of gap adds [mm² per mm]."""
    words: str
    """The area's formula with the numbers put in."""

    def area_mm2(self, gap_mm: float) -> float:
        """Area at this gap [mm²]."""
        return self.closed_mm2 + self.per_gap_mm * gap_mm


def groove_of(case: JointCase) -> Groove | None:
    """Groove of a joint; None where no thickness is known."""
    both = case.both_mm
    if both is None:
        return None
    if case.kind is JointKind.CORNER_FULL_OPEN:
        return _full_open(*both, case.setup.included_angle_deg)
    if case.kind is JointKind.CORNER_HALF_OPEN:
        overlap = both[0] / 2 if case.setup.overlap_mm is None else min(case.setup.overlap_mm, both[0])
        return _half_open(*both, overlap)
    depth_mm, of = _depth(case, both)
    return Groove(closed_mm2=0.0, per_gap_mm=depth_mm, words=f"gap × {of} {format_mm(depth_mm, 4)}")


def _depth(case: JointCase, both: tuple[float, float]) -> tuple[float, str]:
    """How deep the groove is [mm], and what is that deep."""
    if case.kind is JointKind.CORNER_FLUSH:
        return both[1], "covered plate"
    standing = case.standing_mm
    if case.kind in (JointKind.TEE, JointKind.CORNER_INSIDE) and standing is not None:
        return standing, "standing plate"
    if case.kind is JointKind.LAP and standing is not None:
        return standing, "upper sheet"
    return min(both), "sheet" if both[0] == both[1] else "thinner sheet"


def _full_open(near_mm: float, far_mm: float, angle_deg: float) -> Groove:
    angle = math.radians(angle_deg)
    closed = near_mm * far_mm * math.sin(angle) / 2
    per_gap = (near_mm + far_mm) / 2 * math.sin(angle / 2)
    near, far = format_number(near_mm, 4), format_number(far_mm, 4)
    return Groove(
        closed_mm2=closed,
        per_gap_mm=per_gap,
        words=(
            f"{near} × {far} × sin {angle_deg:g}° / 2 + gap × ({near} + {far}) / 2 "
            f"× sin {angle_deg / 2:g}° = {format_number(closed, 4)} mm² + gap × {format_mm(per_gap, 4)}"
        ),
    )


def _half_open(near_mm: float, far_mm: float, overlap_mm: float) -> Groove:
    closed = overlap_mm * far_mm / 2
    per_gap = near_mm - overlap_mm / 2
    near, far, deep = (format_number(value, 4) for value in (near_mm, far_mm, overlap_mm))
    return Groove(
        closed_mm2=closed,
        per_gap_mm=per_gap,
        words=(
            f"{deep} × {far} / 2 + gap × ({near} − {deep} / 2) = "
            f"{format_number(closed, 4)} mm² + gap × {format_mm(per_gap, 4)}"
        ),
    )
