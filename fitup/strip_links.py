"""How far apart two strips lie along a joint, as one photo shows it.

Both lie on one plate. So the saddles of the other strip, however few the photo shows of it, are laid into
the plane that the better seen strip gives, and the strip's drawing is moved and turned onto them. A plane
fitted to a few columns of the other strip alone would be many times less certain.

Between the strips lie some centimetres near the picture's edge, where the lens may do most. What it may do
(`scale/lens_term`) is solved for together with the move: a lens that stretches there stretches the other
strip's squares too, and so betrays itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fitup.edges import JointLine
from fitup.edges.joint_line import FOOT_STRETCH_MM
from fitup.inspection import Inspection
from fitup.scale import PlaneFrame, ScaleMap, TargetSighting
from fitup.scale.plane import pixel_shifts
from fitup.scale.saddles import jacobian, project
from fitup.scale.strip_chain import StripLink
from fitup.scale.strip_glimpse import SeenSaddles

__all__ = ["StripPlace", "foot_on", "link_strips", "place_strip", "printed_face"]

Array64 = NDArray[np.float64]
Seen: TypeAlias = TargetSighting | SeenSaddles

NEAR_MM = 70.0  # of the other strip, from its nearest saddle on: farther ones hang on the lens
ALIKE = 4.0  # neighbouring saddles that err alike, where lens and paper make the error
FLOOR_MM = 0.02  # a strip is never so flat, nor a print so even
U_FEET_MM = 0.05  # of both datum marks on one joint line


@dataclass(frozen=True, kw_only=True, eq=False)
class StripPlace:
    """Where another strip's datum mark (2,) is on the plate [mm], its turn, and the uncertainty along x."""

    datum_mm: Array64
    turn_deg: float
    u_along_mm: float


def printed_face(scale: ScaleMap) -> ScaleMap:
    """Return the map of the strip's printed face, in which neighbouring strips lie too."""
    return scale.onto(
        PlaneFrame(
            origin_mm=np.array([0.0, 0.0, scale.thickness_mm]),
            along=np.array([1.0, 0.0, 0.0]),
            across=np.array([0.0, 1.0, 0.0]),
        )
    )


def place_strip(base: Inspection, other: Seen) -> StripPlace:
    """Where another strip of the same print lies on the plate, in the frame of the inspected strip."""
    face = printed_face(base.scale)
    record = base.scale.print_record
    drawn = other.saddles_mm * (
        1.0 if record is None else np.array([record.along_factor, record.across_factor])
    )
    seen = face.to_mm(other.saddles_px)
    distance = np.abs(seen[:, 0] - np.clip(seen[:, 0], 0.0, base.scale.sighting.layout.length_mm))
    near = distance <= distance.min() + NEAR_MM
    drawn, seen = drawn[near], seen[near]
    turn, shift = _moved_and_turned(drawn, seen)
    moved = drawn @ turn.T
    miss = seen - moved - shift
    sigma = max(float(np.sqrt((miss**2).sum() / max(2 * len(miss) - 3, 1))), FLOOR_MM) * np.sqrt(ALIKE)
    # Columns: the datum mark's move along x and y, a turn about it; then what map and lens may be wrong by.
    own = np.zeros((3, *miss.shape))
    own[0, :, 0] = own[1, :, 1] = 1.0
    own[2] = np.stack([-moved[:, 1], moved[:, 0]], axis=1)
    design = np.concatenate([own, _possible_errors(face, seen)]).reshape(-1, miss.size).T
    prior = np.concatenate([np.zeros(3), np.ones(design.shape[1] - 3)])
    covariance = np.linalg.inv(design.T @ design / sigma**2 + np.diag(prior))
    step = covariance @ design.T @ miss.ravel() / sigma**2
    return StripPlace(
        datum_mm=shift + step[:2],
        turn_deg=float(np.degrees(np.arctan2(turn[1, 0], turn[0, 0]) + step[2])),
        u_along_mm=float(np.sqrt(covariance[0, 0])),
    )


def link_strips(name: str, measured: Sequence[Inspection], others: Sequence[Seen]) -> tuple[StripLink, ...]:
    """Distances between the zeros of strips that follow one another in the photo `name`.

    `measured` are the inspections beside strips, `others` strips that were only seen.
    """
    inspected = {_number(one.scale.sighting): one for one in measured}
    seen: dict[int, Seen] = {_number(one): one for one in others}
    seen |= {number: one.scale.sighting for number, one in inspected.items()}
    links = []
    for first, second in pairwise(sorted(seen)):
        bases = [number for number in (first, second) if number in inspected]
        if bases:
            base = max(bases, key=lambda number: (len(seen[number].saddles_mm), -number))
            links.append(_link(name, inspected[base], seen[second if base == first else first]))
    return tuple(links)


def foot_on(line: JointLine, point_mm: Array64) -> float:
    """Place along the joint of the foot of a point (2,) of the same plane [mm].

    The direction there is that of a stretch of the line, as for the datum mark's foot: from a point some
    centimetres aside, that of two neighbouring points would swing the foot by tenths of a millimetre.
    """
    nearest = int(np.argmin(np.linalg.norm(line.xy_mm - point_mm, axis=1)))
    near = np.abs(line.s_mm - line.s_mm[nearest]) <= FOOT_STRETCH_MM
    middle = line.xy_mm[near].mean(axis=0)
    along = np.linalg.svd(line.xy_mm[near] - middle)[2][0]
    return float(line.s_mm[near].mean() + (point_mm - middle) @ along * np.sign(along[0]))


def _link(name: str, base: Inspection, other: Seen) -> StripLink:
    place, frame = place_strip(base, other), base.scale.frame
    from_origin = np.array([*place.datum_mm, 0.0]) - frame.origin_mm
    offset = foot_on(base.line, np.array([from_origin @ frame.along, from_origin @ frame.across]))
    here, there = _number(base.scale.sighting), _number(other)
    return StripLink(
        first=min(here, there),
        second=max(here, there),
        offset_mm=offset if here < there else -offset,
        u_mm=float(np.hypot(place.u_along_mm, U_FEET_MM)),
        photo=name,
    )


def _moved_and_turned(drawn: Array64, seen: Array64) -> tuple[Array64, Array64]:
    """Turn (2, 2) and shift (2,) that lay drawn points (N, 2) onto seen ones, least squares (Kabsch 1976)."""
    centre = drawn.mean(axis=0), seen.mean(axis=0)
    left, _, right = np.linalg.svd((seen - centre[1]).T @ (drawn - centre[0]))
    turn = left @ np.diag([1.0, np.sign(np.linalg.det(left @ right))]) @ right
    return turn, centre[1] - turn @ centre[0]


def _possible_errors(scale: ScaleMap, points_mm: Array64) -> Array64:
    """(E, N, 2) shifts [mm] of points that the map may err by, each of unit variance and independent.

    Those of the fitted plane, and what the lens may do less what the fit to the saddles took up of it.
    """
    to_mm = np.linalg.inv(jacobian(scale.homography, points_mm))
    plane = np.einsum("nij,pnj->pni", to_mm, pixel_shifts(scale.homography, scale.tangents, points_mm))
    lens = np.einsum("nij,mnj->mni", to_mm, scale.lens_term.fields(project(scale.homography, points_mm)))
    left = lens - np.einsum("mp,pni->mni", scale.distortion_response, plane)
    values, vectors = np.linalg.eigh(scale.parameter_covariance)
    single = vectors * np.sqrt(np.maximum(values, 0.0))
    return np.concatenate([np.einsum("pe,pni->eni", single, plane), left])


def _number(sighting: Seen) -> int:
    return sighting.layout.strip_number
