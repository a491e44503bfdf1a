"""Magnified, straightened views of the places that matter, from the very pixels that were measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.evidence.canvas import Picture, draw_label, draw_polyline, fitted, font, rgb
from fitup.evidence.naming import NamedSpot, spots_to_name
from fitup.evidence.palette import BLACK, SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, WHITE
from fitup.evidence.subject import Subject
from fitup.evidence.words import from_to, millimetres
from fitup.photo import srgb_to_linear

__all__ = ["Place", "places_to_show", "zoom_panel"]

_SEVERITY = ("over", "doubtful", SHORT_LAND, "unseen", "within")
_LEAST_LENGTH_MM = 12.0
_MOST_LENGTH_MM = 40.0
_ROOM_MM = 4.0
_APART_MM = 6.0
_MOST_PX_PER_MM = 44.0


@dataclass(frozen=True, kw_only=True)
class Place:
    """A stretch of the joint to show, and its state."""

    state: str
    middle_mm: float
    length_mm: float
    title: str


def places_to_show(subject: Subject, most: int) -> list[Place]:
    """The worst spots in the photo, in order; without spots the largest gap; without any gap nothing."""
    verdict = subject.verdict
    shown: list[NamedSpot] = []
    for named in sorted(spots_to_name(verdict), key=_severity):
        # What lies close to a spot that is shown already is in view there.
        apart = [abs(named.spot.at_mm - other.spot.at_mm) for other in shown]
        near = min(apart, default=math.inf) <= _APART_MM
        if len(shown) < most and not near and _in_photo(subject, named.spot.at_mm):
            shown.append(named)
    if not shown and math.isfinite(verdict.largest_gap_at_mm):
        reading = _reading(verdict.largest_gap_mm, verdict.largest_gap_u_mm)
        at_mm = verdict.largest_gap_at_mm
        return [Place(state="within", middle_mm=at_mm, length_mm=0.0, title=f"largest gap{reading}")]
    return [
        Place(
            state=str(named.spot.state),
            middle_mm=named.spot.at_mm,
            length_mm=named.spot.end_mm - named.spot.start_mm,
            title=_title(named),
        )
        for named in shown
    ]


def _in_photo(subject: Subject, at_mm: float) -> bool:
    """Whether the photo shows that place at all; of what lies past its edge there is nothing to magnify."""
    profile, photo = subject.profile, subject.photo
    u, v = (float(np.interp(at_mm, profile.station_mm, profile.centre_px[:, k])) for k in (0, 1))
    return 0 <= u < photo.width_px and 0 <= v < photo.height_px


def _title(named: NamedSpot) -> str:
    spot = named.spot
    place = from_to(spot.start_mm, spot.end_mm)
    if str(spot.state) == SHORT_LAND:
        return f"{spot.state} {spot.side} {place}: {max(spot.land_mm, 0.0):.1f} mm"
    if not math.isfinite(spot.largest_gap_mm):
        return named.label
    return f"{spot.state} {place}" + _reading(spot.largest_gap_mm, spot.u_mm)


def _severity(named: NamedSpot) -> tuple[int, float, float]:
    """Sorts by state, then the widest first, then along the joint."""
    spot = named.spot
    gap_mm = spot.largest_gap_mm if math.isfinite(spot.largest_gap_mm) else 0.0
    return _SEVERITY.index(str(spot.state)), -gap_mm, spot.start_mm


def _reading(gap_mm: float, u_mm: float) -> str:
    return f": {millimetres(gap_mm, u_mm)}" if math.isfinite(gap_mm) else ""


def zoom_panel(subject: Subject, place: Place, width: int, height: int, unit: int) -> Picture:
    """One panel (height, width, 3): title, straightened crop with both arrises, and a mm scale."""
    title_height = 20 * unit
    least_mm = max(_LEAST_LENGTH_MM, width / _MOST_PX_PER_MM)
    length_mm = max(least_mm, min(place.length_mm + 2 * _ROOM_MM, _MOST_LENGTH_MM))
    view = _View.about(subject, place.middle_mm, width / length_mm, (width, height - title_height))
    crop = view.crop(subject)
    _draw_arrises(crop, subject, view, unit)
    _draw_scale(crop, view, unit)
    panel = np.full((height, width, 3), 255, np.uint8)
    panel[title_height:] = crop
    look = SPOT_LOOKS[place.state]
    panel[:title_height] = rgb(look.colour)
    face = font(10 * unit, bold=True)
    title = fitted(place.title, face, width - 8 * unit)
    draw_label(panel, (2 * unit, 0), title, face, colour=look.text_colour, halo=False)
    panel[title_height:, [0, -1]] = 0
    panel[-1:] = 0
    return panel


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
    """A straight frame on the joint plane: s to the right, away from the target upwards."""

    middle_s_mm: float
    origin_mm: NDArray[np.float64]
    along: NDArray[np.float64]
    across: NDArray[np.float64]
    px_per_mm: float
    size: tuple[int, int]

    @classmethod
    def about(cls, subject: Subject, middle_mm: float, px_per_mm: float, size: tuple[int, int]) -> _View:
        profile = subject.profile
        centre_mm = subject.scale.to_mm(profile.centre_px)
        ends = [
            np.array([np.interp(middle_mm + side, profile.station_mm, centre_mm[:, axis]) for axis in (0, 1)])
            for side in (-_ROOM_MM, _ROOM_MM, 0.0)
        ]
        along = ends[1] - ends[0]
        length = float(np.hypot(*along))
        along = along / length if length > 0 else np.array([1.0, 0.0])
        return cls(
            middle_s_mm=middle_mm,
            origin_mm=ends[2],
            along=along,
            across=np.array([-along[1], along[0]]),
            px_per_mm=px_per_mm,
            size=size,
        )

    def crop(self, subject: Subject) -> Picture:
        width, height = self.size
        right_mm = (np.arange(width) - (width - 1) / 2) / self.px_per_mm
        up_mm = ((height - 1) / 2 - np.arange(height)) / self.px_per_mm
        points_mm = self.origin_mm + right_mm[None, :, None] * self.along + up_mm[:, None, None] * self.across
        where = subject.scale.to_px(points_mm).astype(np.float32)
        grey = cv2.remap(
            subject.photo.grey8,
            where[..., 0],
            where[..., 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=255,
        )
        return np.ascontiguousarray(np.repeat(_stretched(grey.astype(np.uint8))[..., None], 3, axis=2))

    def place(self, points_px: NDArray[np.float64], subject: Subject) -> NDArray[np.float64]:
        """(N, 2) image points -> panel points."""
        offset_mm = subject.scale.to_mm(points_px) - self.origin_mm
        right, up = offset_mm @ self.along, offset_mm @ self.across
        width, height = self.size
        return np.column_stack(
            [right * self.px_per_mm + (width - 1) / 2, (height - 1) / 2 - up * self.px_per_mm]
        )


def _stretched(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Linear light spread over the grey scale: an arris lies where the eye sees the middle of the slope.

    Shown display-encoded, a gap looks narrower than it is. Nothing is measured in this picture.
    """
    light = srgb_to_linear(grey.astype(np.float32) / 255.0)
    low, high = np.percentile(light, (0.5, 99.5))
    spread = (light - low) * (255.0 / max(float(high - low), 1e-3))
    return np.asarray(np.clip(spread, 0, 255), dtype=np.uint8)


def _draw_arrises(crop: Picture, subject: Subject, view: _View, unit: int) -> None:
    """Both arrises as lines in the colour of their state, outer arrises fine; broken where not seen."""
    profile, states = subject.profile, [str(state) for state in subject.verdict.states]
    half_mm = view.size[0] / view.px_per_mm / 2 + 1.0
    shown = np.flatnonzero(np.abs(profile.station_mm - view.middle_s_mm) <= half_mm)
    pairs = [
        (
            view.place(points_px[[first, second]], subject),
            min(states[first], states[second], key=_SEVERITY.index),
        )
        for points_px in (profile.near_px, profile.far_px)
        for first, second in pairwise(shown)
        if np.isfinite(points_px[[first, second]]).all()
    ]
    for line, _ in pairs:
        draw_polyline(crop, line, WHITE, 3 * unit)
    for outer_px in (subject.shape.near_outer_px, subject.shape.far_outer_px):
        _draw_fine(
            crop, [] if outer_px is None else [outer_px[[a, b]] for a, b in pairwise(shown)], subject, view
        )
    for line, state in pairs:
        draw_polyline(crop, line, STATE_LOOKS[state].colour, unit)


def _draw_fine(crop: Picture, pieces: list[NDArray[np.float64]], subject: Subject, view: _View) -> None:
    lines = [view.place(piece, subject) for piece in pieces if np.isfinite(piece).all()]
    for colour, width in ((WHITE, 3), (BLACK, 1)):
        for line in lines:
            draw_polyline(crop, line, colour, width)


def _draw_scale(crop: Picture, view: _View, unit: int) -> None:
    """Millimetres along the joint at the lower edge, numbered every 5 mm, or 10 where these would touch."""
    width, height = view.size
    half_mm = width / view.px_per_mm / 2
    face = font(8 * unit)
    step = 5 if 5 * view.px_per_mm > 42 * unit else 10
    for number in range(math.ceil(view.middle_s_mm - half_mm), math.floor(view.middle_s_mm + half_mm) + 1):
        u = (number - view.middle_s_mm) * view.px_per_mm + (width - 1) / 2
        length = unit * (9 if number % step == 0 else 5)
        stroke = np.array([[u, height - 1.0], [u, height - 1.0 - length]])
        draw_polyline(crop, stroke, WHITE, 3 * unit)
        draw_polyline(crop, stroke, BLACK, unit)
        if number % step == 0 and 20 * unit < u < width - 30 * unit:
            draw_label(crop, (u + 2 * unit, height - 18 * unit), f"{number} mm", face, colour=BLACK)
