"""Where the joint runs: the long line beside the target that behaves like a gap over its whole length."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.line_path import (
    PlaneView,
    bar_contrasts,
    best_evidence,
    evidence_of,
    follow,
    long_line,
)
from fitup.errors import RetakeError, UsageError
from fitup.joint import JointSetup
from fitup.photo import Photo
from fitup.scale import ScaleMap, TargetSighting, rectified

__all__ = ["JointLine", "find_joint", "line_along"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

LEAST_PX_PER_MM = 5.0  # below, a hairline is a tenth of a pixel and grain looks like gaps
SEARCH_FROM_MM = 3.0  # beyond the paper's edge: its shadow is a line too
SEARCH_TO_MM = 50.0  # the joint lies within this distance of the target
COLUMN_MM = 1.2  # averaged along the joint before the search
CORRIDOR_MM = 2.0  # around points given by a person
CLEAR_MM = 5.0  # a broad rival keeps this far from the line, whose own evidence reaches as far
SLIM_CLEAR_MM = 1.5  # a slim one (pen stroke, scratch) this far: half a gap that fills the clear zone
OWN_SHEETS = 3.0  # a land seen from aside in the plate's plane, and the face behind it, in sheets
SMOOTH_MM = 4.0  # along the joint
FOOT_STRETCH_MM = 20.0  # of the line, whose direction decides where the datum mark's foot is
LEAST_EVIDENCE = 0.35  # mean share of full evidence below which no joint is believed
LEAST_EVIDENCE_GIVEN = 0.28  # grain along points beside the joints of the demo photos reaches 0.25
RIVAL_SHARE = 0.8  # a second line this good makes the choice a person's


@dataclass(frozen=True, kw_only=True, eq=False)
class JointLine:
    """The joint's course in the joint plane.

    `xy_mm` (P, 2) are points in the target frame with increasing x, `s_mm` (P,) their positions along the
    joint from the foot of the datum mark. `evidence` is the mean share of full evidence along the line, and
    `rival` that of the best other line.
    """

    xy_mm: Array64
    s_mm: Array64
    evidence: float
    rival: float
    given_by_person: bool

    def at(self, s_mm: Array64) -> tuple[Array64, Array64]:
        """Points (N, 2) and unit normals (N, 2), pointing away from the target, at positions `s_mm` (N,)."""
        xy = self._beyond(s_mm)
        reach = 1.0  # mm; the direction is that of a chord, so that nodes of the line leave no kinks
        ahead, behind = self._beyond(s_mm + reach), self._beyond(s_mm - reach)
        along = ahead - behind
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        return xy, np.stack([-along[:, 1], along[:, 0]], axis=1)

    def _beyond(self, s_mm: Array64) -> Array64:
        """Points on the line, continued straight past its ends."""
        inside = np.clip(s_mm, self.s_mm[0], self.s_mm[-1])
        xy = np.stack([np.interp(inside, self.s_mm, self.xy_mm[:, k]) for k in (0, 1)], axis=1)
        for end, neighbour in ((0, 3), (-1, -4)):
            chord = self.xy_mm[end] - self.xy_mm[neighbour]
            chord = chord / np.linalg.norm(chord) * (1 if end == -1 else -1)
            past = (s_mm - inside) * (np.sign(s_mm - inside) == (1 if end == -1 else -1))
            xy = xy + past[:, None] * chord
        return xy


def find_joint(
    photo: Photo,
    scale: ScaleMap,
    setup: JointSetup | None = None,
    *,
    points_px: Array64 | None = None,
    from_mm: float | None = None,
    to_mm: float | None = None,
    sheet_mm: float | None = None,
    others: tuple[TargetSighting, ...] = (),
) -> JointLine:
    """Find the joint beside the target.

    Parameters
    ----------
    setup, sheet_mm : kind of joint and sheet; lands and faces beside a gap are lines too, but no rivals of it
    others : targets that lie elsewhere in the photo, where no joint is looked for
    points_px : (K, 2) two or more image points on the joint, given by a person; None searches by itself
    from_mm, to_mm : stretch along the target to look at [mm from the datum mark]; the whole target by default

    Raises RetakeError when no line, or more than one, behaves like a gap; UsageError for impossible points.
    """
    length = scale.sighting.layout.length_mm
    start, end = from_mm if from_mm is not None else 0.0, to_mm if to_mm is not None else length
    guide = None
    if points_px is not None:
        guide = _guide(photo, scale, points_px)
        start = guide[0, 0] if from_mm is None else from_mm
        end = guide[-1, 0] if to_mm is None else to_mm
    if not start + 5 <= end:
        raise UsageError(f"The stretch from {start:.1f} to {end:.1f} mm is too short: give at least 5 mm.")
    view = _rectified(photo, scale, start, end, guide)
    own_mm, lit = _own_width(setup, sheet_mm)
    contrast, slim = bar_contrasts(view, lit=lit)
    evidence, contrast, slim = (
        _uncovered(found, view, scale, others)
        for found in (evidence_of(contrast), contrast, evidence_of(slim))
    )
    rival = 0.0
    if guide is None:
        course = long_line(evidence, view)
        rival = best_evidence(_away_from(evidence, course, view, CLEAR_MM + own_mm), view)
    else:
        evidence, contrast = _corridor(view, evidence, guide), _corridor(view, contrast, guide)
        course = (np.interp(view.x_mm, guide[:, 0], guide[:, 1]) - view.y_mm[0]) / view.row_mm
    rows, score = follow(evidence, contrast, view, course)
    if guide is not None:
        _believe_points(score)
    else:
        slim = _away_from(slim, rows, view, SLIM_CLEAR_MM + own_mm)
        rival = max(rival, best_evidence(slim, view))
        _believe(score, rival)
    return _line(view, evidence, rows, score, rival, guide is not None)


def line_along(xy_mm: Array64, *, evidence: float = 1.0, rival: float = 0.0, given: bool = True) -> JointLine:
    """Joint line through points (P, 2) in the target frame; `s` counts from the foot of the datum mark."""
    steps = np.hypot(*np.diff(xy_mm, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    return JointLine(
        xy_mm=xy_mm,
        s_mm=length - _foot_of_origin(xy_mm, length),
        evidence=evidence,
        rival=rival,
        given_by_person=given,
    )


def _own_width(setup: JointSetup | None, sheet_mm: float | None) -> tuple[float, bool]:
    """How far a joint's own lands and faces reach beside its gap [mm], and whether the gap may be bright.

    Lands shine beside the dark gap between them, so that only between plates a bright bar can be one.
    """
    if setup is None or setup.opens_in_plate_plane or sheet_mm is None:
        return 0.0, True
    return OWN_SHEETS * sheet_mm, False


def _guide(photo: Photo, scale: ScaleMap, points_px: Array64) -> Array64:
    points = np.asarray(points_px, np.float64).reshape(-1, 2)
    inside = (points >= 0).all(axis=1) & (points <= [photo.width_px - 1, photo.height_px - 1]).all(axis=1)
    if len(points) < 2 or not np.isfinite(points).all() or not inside.all():
        raise UsageError("Give two or more points on the joint, inside the photo, as 'u,v u,v' in pixels.")
    mm = scale.to_mm(points)
    mm = mm[np.argsort(mm[:, 0])]
    if mm[-1, 0] - mm[0, 0] < 5 or (np.diff(mm[:, 0]) <= 0).any():
        raise UsageError(
            "The points must follow one another along the target, at least 5 mm from end to end."
        )
    return mm


def _rectified(photo: Photo, scale: ScaleMap, start: float, end: float, guide: Array64 | None) -> PlaneView:
    layout = scale.sighting.layout
    low, high = layout.paper_box_mm[3] + SEARCH_FROM_MM, SEARCH_TO_MM
    if guide is not None:
        low, high = guide[:, 1].min() - 2 * CORRIDOR_MM, guide[:, 1].max() + 2 * CORRIDOR_MM
    high = min(high, _highest_in_photo(photo, scale, start, end, low, high))
    if high <= low:
        raise RetakeError(
            "outside photo",
            f"The photo does not show the whole stretch from {start:.0f} to {end:.0f} mm of the joint.",
            "Take the photo so that all of it is in the frame, or ask for the part that is (--from, --to).",
        )
    if high - low < 4:
        raise RetakeError(
            "outside photo",
            "The photo ends right beside the target, on the side of the joint.",
            "Take the photo so that the joint lies near the middle of the frame.",
        )
    middle = np.array([(start + end) / 2, min((low + high) / 2, low + 20)])
    row_mm = 1.0 / float(scale.px_per_mm(middle))
    if row_mm * LEAST_PX_PER_MM > 1:
        raise RetakeError(
            "too coarse",
            f"The photo has only {1 / row_mm:.1f} px/mm at the joint; {LEAST_PX_PER_MM:g} are the least.",
            "Come closer, so that the target fills most of the frame, and send the photo at its full size.",
        )
    columns = max(round((end - start) / COLUMN_MM), 8)
    fold = max(round((end - start) / columns / row_mm), 1)
    rows = int((high - low) / row_mm)
    column_mm = (end - start) / (columns * fold)
    to_plane = np.array([[column_mm, 0, start + column_mm / 2], [0, row_mm, low], [0, 0, 1]])
    full = rectified(photo.grey8, scale, to_plane, (columns * fold, rows))
    grey = cv2.resize(full, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)
    x = np.asarray(start + (np.arange(columns) + 0.5) * column_mm * fold, np.float64)
    y = np.asarray(low + np.arange(rows) * row_mm, np.float64)
    return PlaneView(grey=grey, x_mm=x, y_mm=y, row_mm=row_mm)


def _highest_in_photo(
    photo: Photo, scale: ScaleMap, start: float, end: float, low: float, high: float
) -> float:
    """Return the largest y up to which the whole stretch lies in the photo."""
    y = np.linspace(low, high, 60)
    uv = scale.to_px(np.stack(np.meshgrid([start, (start + end) / 2, end], y, indexing="ij"), axis=-1))
    size = np.array([photo.width_px, photo.height_px])
    inside = ((uv >= 2) & (uv <= size - 3)).all(axis=(0, 2))
    return float(y[inside].max()) if inside.any() else low


def _corridor(view: PlaneView, evidence: Array, guide: Array64) -> Array:
    """Forget evidence away from the line that a person gave."""
    y = np.interp(view.x_mm, guide[:, 0], guide[:, 1])
    near = np.abs(view.y_mm[:, None] - y) <= CORRIDOR_MM
    return np.asarray(np.where(near, evidence, 0), np.float32)


def _uncovered(
    evidence: Array, view: PlaneView, scale: ScaleMap, others: tuple[TargetSighting, ...]
) -> Array:
    """Forget evidence on other targets and close around them."""
    column_mm = view.x_mm[1] - view.x_mm[0]
    for other in others:
        outline = other.layout.paper_outline_mm
        middle = outline.mean(axis=0)
        wider = outline + SEARCH_FROM_MM * np.sign(outline - middle)
        mm = scale.to_mm(other.to_px(wider))
        cells = (mm - [view.x_mm[0], view.y_mm[0]]) / [column_mm, view.row_mm]
        mask = np.zeros(evidence.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(np.clip(cells, -1e4, 1e4)).astype(np.int32)], 1)
        evidence = np.where(mask > 0, np.float32(0), evidence)
    return evidence


def _away_from(
    evidence: Array, course: Array64 | NDArray[np.intp], view: PlaneView, clear_mm: float
) -> Array:
    """Evidence that keeps clear of a course."""
    clear = np.abs(np.arange(len(evidence))[:, None] - course) * view.row_mm > clear_mm
    return np.asarray(np.where(clear, evidence, 0), np.float32)


def _believe(score: float, rival: float) -> None:
    if score < LEAST_EVIDENCE:
        raise RetakeError(
            "no joint",
            "No line beside the target looks like a gap over its whole length.",
            "Lay the target 5 to 40 mm beside the joint with the joint arrow towards it, light the joint "
            "evenly, and photograph again, or give two points on the joint (--points).",
        )
    if rival > RIVAL_SHARE * score:
        raise RetakeError(
            "more than one line",
            "More than one line beside the target looks like a gap.",
            "Give two points on the joint that is meant (--points), or cover the other line.",
        )


def _believe_points(score: float) -> None:
    """A person sees a joint that the search does not believe in, but not one that leaves no trace."""
    if score < LEAST_EVIDENCE_GIVEN:
        raise RetakeError(
            "no joint",
            f"Nothing like a gap runs within {CORRIDOR_MM:g} mm of the points that were given.",
            "Give points on the joint itself (--points), or leave them out to have it searched for.",
        )


def _line(
    view: PlaneView, evidence: Array, rows: NDArray[np.intp], score: float, rival: float, given: bool
) -> JointLine:
    """Smooth the path along the joint, weighted by its evidence."""
    weight = evidence[rows, np.arange(len(rows))].astype(np.float64) + 1e-3
    y = view.y_mm[rows]
    y = _smooth(view.x_mm, y, weight)
    return line_along(np.stack([view.x_mm, y], axis=1), evidence=score, rival=rival, given=given)


def _smooth(x: Array64, y: Array64, weight: Array64) -> Array64:
    """Local straight-line regression, Gaussian window of SMOOTH_MM, twice with outliers held down."""
    kernel = np.exp(-0.5 * ((x[:, None] - x) / (SMOOTH_MM / 2)) ** 2)
    smooth = y
    robust = np.ones_like(y)
    for _ in range(2):
        w = kernel * (weight * robust)
        s0, s1, s2 = w.sum(1), w @ x, w @ (x * x)
        t0, t1 = w @ y, w @ (x * y)
        determinant = s0 * s2 - s1 * s1
        slope = (s0 * t1 - s1 * t0) / determinant
        smooth = (t0 - slope * s1) / s0 + slope * x
        off = np.abs(y - smooth)
        robust = 1 / (1 + (off / max(3 * float(np.median(off)), 0.02)) ** 2)
    return smooth


def _foot_of_origin(xy: Array64, length: Array64) -> float:
    """Position along the line of the foot of the perpendicular from the datum mark (the origin).

    The line's direction there is that of a stretch of it, not of two neighbouring points, whose scatter would
    swing the foot by its distance from the joint.
    """
    nearest = int(np.argmin(np.linalg.norm(xy, axis=1)))
    near = np.abs(length - length[nearest]) <= FOOT_STRETCH_MM
    middle, middle_length = xy[near].mean(axis=0), float(length[near].mean())
    along = np.linalg.svd(xy[near] - middle)[2][0]
    along = along * np.sign(along[0])
    return middle_length - float(middle @ along)
