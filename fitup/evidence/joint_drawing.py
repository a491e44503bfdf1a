"""The joint as drawn over a photo: state line beside the joint, ticks in mm, datum mark, words at spots.

The line runs beside the joint, on the side away from the target, so that the joint itself stays visible. A
short land is drawn on its own side of the gap. Two targets are outlined both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.canvas import (
    Font,
    Picture,
    draw_label,
    draw_pattern,
    draw_polyline,
    fitted,
    font,
    text_size,
)
from fitup.evidence.naming import spots_to_name
from fitup.evidence.palette import BLACK, SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, WHITE
from fitup.evidence.subject import Subject

if TYPE_CHECKING:
    from fitup.verdict import Spot

__all__ = ["JointLine", "draw_joint", "joint_line", "runs"]

_DRAWN_LAST = ("within", "unseen", "doubtful", "over")
_NAMED_FIRST = ("over", "doubtful", SHORT_LAND, "unseen")
_LAND_TRACK = 10  # room for a row of teeth, in units
_MOST_LABELS = 8
_DATUM = "0 = datum mark"
_DATUM_REACH_MM = 5.0  # the datum mark is drawn when the joint comes as near to it
# Steps of the ticks and of the numbers that a person counts in [mm].
_TICK_STEPS_MM = (1, 5, 10, 50, 100, 500)
_LABEL_STEPS_MM = (5, 10, 20, 50, 100, 200, 500, 1000)

Box = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True, eq=False)
class JointLine:
    """The joint in a picture: places along it and the direction away from the target."""

    station_mm: NDArray[np.float64]
    line_px: NDArray[np.float64]
    """(N, 2) joint line in the picture [px]."""
    outward: NDArray[np.float64]
    """(N, 2) unit vectors away from the target."""
    px_per_mm: float
    factor: float = 1.0
    left_px: float = 0.0
    """How much smaller the photo is in the picture, and how far from its left edge."""

    def in_picture(self, photo_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (..., 2) of the photo in the picture."""
        return np.asarray((photo_px + 0.5) * self.factor - 0.5 + np.array([self.left_px, 0.0]))

    def beside(self, offset_px: float) -> NDArray[np.float64]:
        """(N, 2) the line moved away from the target."""
        return self.line_px + offset_px * self.outward

    def at(self, place_mm: float, offset_px: float = 0.0) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Point and outward direction at one place along the joint."""
        line = self.beside(offset_px)
        point = np.array([np.interp(place_mm, self.station_mm, line[:, axis]) for axis in (0, 1)])
        # Beyond its ends the line goes straight on.
        beyond_mm = place_mm - float(np.clip(place_mm, self.station_mm[0], self.station_mm[-1]))
        if beyond_mm and len(line) > 1:
            end, inner = (0, 1) if beyond_mm < 0 else (-1, -2)
            step_mm = self.station_mm[end] - self.station_mm[inner]
            point = point + (line[end] - line[inner]) * (beyond_mm / step_mm)
        direction = np.array([np.interp(place_mm, self.station_mm, self.outward[:, axis]) for axis in (0, 1)])
        return point, direction / max(float(np.hypot(*direction)), 1e-9)


def joint_line(subject: Subject, factor: float, left_px: float = 0.0) -> JointLine:
    """The joint in the photo shrunk by `factor` and put `left_px` from the left edge of the page."""
    profile, scale = subject.profile, subject.scale
    centre_mm = scale.to_mm(profile.centre_px)
    # One millimetre towards +y is away from the target, whatever way the photo was held.
    outward = scale.to_px(centre_mm + np.array([0.0, 1.0])) - profile.centre_px
    outward = outward / np.maximum(np.hypot(*outward.T), 1e-9)[:, None]
    return JointLine(
        station_mm=profile.station_mm,
        line_px=(profile.centre_px + 0.5) * factor - 0.5 + np.array([left_px, 0.0]),
        outward=outward,
        px_per_mm=float(np.median(scale.px_per_mm(centre_mm))) * factor,
        factor=factor,
        left_px=left_px,
    )


def runs(states: Sequence[str]) -> list[tuple[str, int, int]]:
    """Unbroken stretches of one state as (state, first station, station after the last)."""
    found, start = [], 0
    for state, group in groupby(states):
        end = start + sum(1 for _ in group)
        found.append((state, start, end))
        start = end
    return found


def draw_joint(picture: Picture, subject: Subject, line: JointLine, unit: int) -> None:
    """Draw states, ticks, datum mark and words in place; `unit` is the width of a thin line [px]."""
    tracks = _Tracks.of(subject, line, unit)
    taken = _draw_targets(picture, subject, line, unit)
    _draw_outer_arrises(picture, subject, line)
    _draw_short_lands(picture, subject, line, tracks, unit)
    _draw_ticks(picture, line, tracks.states_px, unit)  # below the states, which they must not hide
    _draw_states(picture, [str(state) for state in subject.verdict.states], line, tracks.states_px, unit)
    datum = _draw_datum(picture, line, tracks.states_px, unit)
    _draw_spot_words(picture, subject, line, tracks, unit, taken + datum)
    for left, top, _, _ in datum:
        draw_label(picture, (left, top), _DATUM, font(8 * unit), ground=WHITE, colour=BLACK)
    _draw_numbers(picture, line, tracks.states_px, unit)  # last: a pointer may run over a number


@dataclass(frozen=True, kw_only=True)
class _Tracks:
    """How far beside the joint things are drawn [px], positive away from the target."""

    states_px: float
    lands_px: dict[str, float]
    """By the word for the land's side."""

    @classmethod
    def of(cls, subject: Subject, line: JointLine, unit: int) -> _Tracks:
        beside = max(7.0 * unit, 1.2 * line.px_per_mm)
        near, far = subject.shape.sides
        far_is_short = any(spot.side == far for spot in subject.verdict.spots)
        states = beside + (_LAND_TRACK * unit if far_is_short else 0)
        return cls(states_px=states, lands_px={near: -beside, far: beside})

    def of_spot(self, spot: Spot) -> float:
        """The track that a spot is drawn on."""
        return self.lands_px.get(spot.side, self.states_px)


def _draw_targets(picture: Picture, subject: Subject, line: JointLine, unit: int) -> list[Box]:
    """Outline and number of both targets, where there are two."""
    boxes: list[Box] = []
    for plate in () if subject.pair is None else (subject.pair.first, subject.pair.second):
        layout = plate.sighting.layout
        low, high = layout.saddles_mm.min(axis=0) - layout.pitch_mm, layout.saddles_mm.max(axis=0)
        high = high + layout.pitch_mm
        around = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
        corners = line.in_picture(plate.to_px(around))
        for colour, width in ((WHITE, 3), (BLACK, 1)):
            draw_polyline(picture, np.vstack([corners, corners[:1]]), colour, width)
        face = font(8 * unit)
        text = f"strip {layout.strip_number}"
        width, height = (size + 4 * unit for size in text_size(text, face))
        left = float(np.clip(corners[:, 0].mean() - width / 2, 0, max(0, picture.shape[1] - width)))
        top = float(np.clip(corners[:, 1].mean() - height / 2, 0, max(0, picture.shape[0] - height)))
        boxes.append(draw_label(picture, (left, top), text, face, ground=WHITE, colour=BLACK))
    return boxes


def _draw_outer_arrises(picture: Picture, subject: Subject, line: JointLine) -> None:
    """Where the lands end, as fine lines, broken where that was not seen."""
    for points_px in (subject.shape.near_outer_px, subject.shape.far_outer_px):
        if points_px is None:
            continue
        known = [str(bool(np.isfinite(point).all())) for point in points_px]
        for word, start, end in runs(known):
            if word == "True":
                draw_polyline(picture, line.in_picture(points_px[start:end]), WHITE, 1)


def _draw_short_lands(
    picture: Picture, subject: Subject, line: JointLine, tracks: _Tracks, unit: int
) -> None:
    look = SPOT_LOOKS[SHORT_LAND]
    for spot in subject.verdict.spots:
        if str(spot.state) != SHORT_LAND:
            continue
        places = np.linspace(spot.start_mm, spot.end_mm, 2 + round(spot.end_mm - spot.start_mm))
        points = np.array([line.at(place, tracks.of_spot(spot))[0] for place in places])
        draw_pattern(picture, _at_least(points, 9.0 * unit), look.colour, look.pattern, unit)


def _draw_states(picture: Picture, states: list[str], line: JointLine, offset_px: float, unit: int) -> None:
    beside = line.beside(offset_px)
    # Stations are the middles of their cells: a run reaches half a cell beyond its first and last.
    corners = np.vstack([beside[:1], (beside[1:] + beside[:-1]) / 2, beside[-1:]])
    stretches = runs(states)
    for drawn in _DRAWN_LAST:
        for state, start, end in stretches:
            if state != drawn:
                continue
            points = np.vstack([corners[start], beside[start:end], corners[end]])
            look = STATE_LOOKS[state]
            draw_pattern(picture, _at_least(points, 5.0 * unit), look.colour, look.pattern, unit)


def _at_least(points: NDArray[np.float64], length_px: float) -> NDArray[np.float64]:
    """A stretch too short to be seen is drawn longer, about its middle."""
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length >= length_px or length == 0:
        return points
    middle, half = (points[-1] + points[0]) / 2, chord / length * length_px / 2
    return np.array([middle - half, middle + half])


def _draw_ticks(picture: Picture, line: JointLine, offset_px: float, unit: int) -> None:
    """A ruler beyond the state line, its strokes longer than those of a thick line."""
    tick_mm, label_mm = _steps(line, unit)
    for place_mm in _multiples(line, tick_mm):
        point, direction = line.at(place_mm, offset_px)
        stroke = np.array([point, point + direction * unit * (12 if place_mm % label_mm == 0 else 8)])
        draw_polyline(picture, stroke, WHITE, 3 * unit)
        draw_polyline(picture, stroke, BLACK, unit)


def _draw_numbers(picture: Picture, line: JointLine, offset_px: float, unit: int) -> None:
    face = font(8 * unit)
    for place_mm in _multiples(line, _steps(line, unit)[1]):
        point, direction = line.at(place_mm, offset_px)
        _centred(picture, point + direction * 20 * unit, f"{place_mm:g}", face)


def _steps(line: JointLine, unit: int) -> tuple[int, int]:
    """Distance of the ruler's strokes and of its numbers [mm]."""
    tick_mm = next((s for s in _TICK_STEPS_MM if s * line.px_per_mm >= 5 * unit), _TICK_STEPS_MM[-1])
    label_mm = next((s for s in _LABEL_STEPS_MM if s * line.px_per_mm >= 45 * unit), _LABEL_STEPS_MM[-1])
    return tick_mm, label_mm


def _multiples(line: JointLine, step_mm: int) -> range:
    first, last = line.station_mm[0], line.station_mm[-1]
    return range(math.ceil(first / step_mm) * step_mm, math.floor(last / step_mm) * step_mm + 1, step_mm)


def _centred(picture: Picture, middle: NDArray[np.float64], text: str, face: Font) -> None:
    width, height = text_size(text, face)
    pad = max(2, height // 5)
    place = (middle[0] - width / 2 - pad, middle[1] - height / 2 - pad)
    draw_label(picture, place, text, face, colour=BLACK)


def _draw_datum(picture: Picture, line: JointLine, offset_px: float, unit: int) -> list[Box]:
    """A stroke across the joint at s = 0 when the joint passes there; gives the box for its name."""
    if not line.station_mm[0] - _DATUM_REACH_MM <= 0.0 <= line.station_mm[-1] + _DATUM_REACH_MM:
        return []
    point, direction = line.at(0.0)
    stroke = np.array([point - direction * offset_px, point + direction * (offset_px + 12 * unit)])
    draw_polyline(picture, stroke, WHITE, 5 * unit)
    draw_polyline(picture, stroke, BLACK, 2 * unit)
    width, height = (size + 6 * unit for size in text_size(_DATUM, font(8 * unit)))
    away_px = offset_px + 29 * unit + _half_extent(direction, width, height)
    middle = point + direction * away_px
    left = float(np.clip(middle[0] - width / 2, 0, max(0, picture.shape[1] - width)))
    top = float(np.clip(middle[1] - height / 2, 0, max(0, picture.shape[0] - height)))
    return [(round(left), round(top), round(left + width), round(top + height))]


def _half_extent(direction: NDArray[np.float64], width: float, height: float) -> float:
    """How far a box reaches from its middle along a direction [px]."""
    return float(abs(direction[0]) * width + abs(direction[1]) * height) / 2


def _draw_spot_words(
    picture: Picture, subject: Subject, line: JointLine, tracks: _Tracks, unit: int, taken: list[Box]
) -> None:
    face = font(10 * unit, bold=True)
    spots = sorted(spots_to_name(subject.verdict), key=lambda one: _NAMED_FIRST.index(str(one.spot.state)))
    written = []
    for named in spots[:_MOST_LABELS]:
        spot = named.spot
        anchor, direction = line.at(spot.at_mm, tracks.of_spot(spot))
        direction = direction if tracks.of_spot(spot) > 0 else -direction
        text = fitted(named.label, face, picture.shape[1])
        box = _free_box(picture, anchor, direction, text_size(text, face), unit, taken)
        if box is not None:
            taken.append(box)
            written.append((SPOT_LOOKS[str(spot.state)], anchor, box, text))
    # Pointers before boxes, so that no pointer runs over words.
    for look, anchor, box, _ in written:
        pointer = np.array([anchor, _nearest_on(box, anchor)])
        draw_polyline(picture, pointer, WHITE, 3 * unit)
        draw_polyline(picture, pointer, look.colour, unit)
    for look, _, box, text in written:
        draw_label(picture, (box[0], box[1]), text, face, ground=look.colour, colour=look.text_colour)


def _free_box(
    picture: Picture,
    anchor: NDArray[np.float64],
    direction: NDArray[np.float64],
    size: tuple[int, int],
    unit: int,
    taken: list[Box],
) -> Box | None:
    """A place for the words, away from the target if there is room, clear of those already written."""
    height, width = picture.shape[:2]
    box_width, box_height = size[0] + 6 * unit, size[1] + 6 * unit
    half = _half_extent(direction, box_width, box_height)
    along = np.array([-direction[1], direction[0]])
    aside = 2 * _half_extent(along, box_width, box_height) + 4 * unit
    outward = [(distance, shift) for shift in (0, 1, -1, 2, -2) for distance in range(40, 210, 22)]
    inward = [(distance, 0) for distance in range(-50, -250, -22)]
    for distance, shift in outward + inward:
        away = direction * (distance * unit + math.copysign(half, distance))
        middle = anchor + away + along * shift * aside
        left = int(np.clip(middle[0] - box_width / 2, 2, max(2, width - box_width - 2)))
        top = int(middle[1] - box_height / 2)
        box = (left, top, left + box_width, top + box_height)
        if top >= 2 and box[3] <= height - 2 and not any(_overlap(box, other) for other in taken):
            return box
    return None


def _overlap(first: Box, second: Box) -> bool:
    return first[0] < second[2] and second[0] < first[2] and first[1] < second[3] and second[1] < first[3]


def _nearest_on(box: Box, point: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([np.clip(point[0], box[0], box[2]), np.clip(point[1], box[1], box[3])])
