"""The gap along the joint as a drawing: band, limit, and states by pattern, not by colour alone.

The same marks become paths of the PDF and of the HTML page, so that both stay sharp at any size.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.palette import BLACK, GREY, SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, VERMILLION, WHITE
from fitup.evidence.report.model import Area, Chart, Stroke, Words
from fitup.evidence.words import COVERAGE_FACTOR
from fitup.verdict.judged import JudgedJoint

__all__ = ["profile_chart"]

Array64 = NDArray[np.float64]
Mark = Stroke | Area | Words

_WIDTH_MM, _HEIGHT_MM = 182.0, 62.0
_LEFT_MM, _RIGHT_MM, _TOP_MM, _FOOT_MM = 11.0, 1.0, 7.0, 10.0
_BAND = "#d9d9d9"
_GRID = "#e4e4e4"
_TEXT = "#404040"
_LETTERS_MM = 2.5
_MARK_APART_MM = 2.4
_NUMBER_APART_MM = 3.6
_HATCH_APART_MM = 1.8
_TOOTH_MM = 1.8


@dataclass(frozen=True, kw_only=True, eq=False)
class _Frame:
    """From places along the joint and gaps [mm] to places in the drawing."""

    start_mm: float
    end_mm: float
    top_mm: float

    def x(self, place_mm: float) -> float:
        share = (place_mm - self.start_mm) / (self.end_mm - self.start_mm)
        return _LEFT_MM + share * (_WIDTH_MM - _LEFT_MM - _RIGHT_MM)

    def y(self, gap_mm: float) -> float:
        share = min(max(gap_mm, 0.0) / self.top_mm, 1.0)
        return _HEIGHT_MM - _FOOT_MM - share * (_HEIGHT_MM - _FOOT_MM - _TOP_MM)

    def places(self, at_mm: Array64, gap_mm: Array64) -> tuple[tuple[float, float], ...]:
        return tuple((self.x(float(at)), self.y(float(gap))) for at, gap in zip(at_mm, gap_mm, strict=True))

    @property
    def foot(self) -> float:
        return _HEIGHT_MM - _FOOT_MM


def profile_chart(joint: JudgedJoint, caption: str, earlier: tuple[Array64, Array64] | None = None) -> Chart:
    """Gap with its 95 % band, limit, states, numbers of the spots; and `earlier` places and gaps."""
    frame = _frame(joint, earlier)
    states = [str(state) for state in joint.states]
    marks: list[Mark] = [*_unseen(joint, states, frame), *_grid(frame), *_band(joint, frame)]
    if earlier is not None:
        marks += _traces(*earlier, frame, width_mm=0.35, colour=GREY, dash=(0.4, 0.8))
    marks += [*_limit(joint, frame), *_traces(joint.station_mm, joint.gap_mm, frame)]
    for state in ("doubtful", "over"):
        marks += _state(joint, states, state, frame)
    marks += [*_short_lands(joint, frame), *_numbers(joint, frame), *_axes(frame)]
    occurs = {*states, *(SHORT_LAND for spot in joint.spots if str(spot.state) == SHORT_LAND)}
    legend = [
        ("band", "95 % interval"),
        ("limit", "limit"),
        *((one, one) for one in SPOT_LOOKS if one in occurs),
    ]
    if earlier is not None:
        legend.append(("earlier", "before"))
    return Chart(
        width_mm=_WIDTH_MM,
        height_mm=_HEIGHT_MM,
        marks=tuple(marks),
        caption=caption,
        legend=tuple(legend),
    )


def _frame(joint: JudgedJoint, earlier: tuple[Array64, Array64] | None) -> _Frame:
    tops = [1.1 * joint.limit_mm]
    ends = [joint.gap_mm + COVERAGE_FACTOR * joint.u_gap_mm, *([] if earlier is None else [earlier[1]])]
    tops += [float(np.nanmax(end)) for end in ends if np.isfinite(end).any()]
    return _Frame(
        start_mm=float(joint.cell_start_mm[0]), end_mm=float(joint.cell_end_mm[-1]), top_mm=1.12 * max(tops)
    )


def _runs(chosen: Sequence[bool] | NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last index of every unbroken row of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], np.asarray(chosen, bool), [False]]).astype(int)))
    for first, end in edges.reshape(-1, 2):
        yield int(first), int(end) - 1


def _band(joint: JudgedJoint, frame: _Frame) -> Iterator[Mark]:
    half = COVERAGE_FACTOR * joint.u_gap_mm
    for first, last in _runs(np.isfinite(joint.gap_mm) & np.isfinite(half)):
        part = slice(first, last + 1)
        at, gap = joint.station_mm[part], joint.gap_mm[part]
        above = frame.places(at, gap + half[part])
        below = frame.places(at, gap - half[part])
        yield Area(places=(*above, *reversed(below)), colour=_BAND)


def _traces(
    at_mm: Array64,
    gap_mm: Array64,
    frame: _Frame,
    *,
    width_mm: float = 0.25,
    colour: str = BLACK,
    dash: tuple[float, ...] = (),
) -> Iterator[Mark]:
    inside = (at_mm >= frame.start_mm) & (at_mm <= frame.end_mm)
    for first, last in _runs(np.isfinite(gap_mm) & inside):
        part = slice(first, last + 1)
        places = frame.places(at_mm[part], gap_mm[part])
        if len(places) > 1:
            yield Stroke(places=places, width_mm=width_mm, colour=colour, dash=dash)


def _state(joint: JudgedJoint, states: list[str], state: str, frame: _Frame) -> Iterator[Mark]:
    """Marks on the trace, apart on paper: filled triangles over the limit, open diamonds in doubt."""
    look = STATE_LOOKS[state]
    for first, last in _runs([one == state for one in states]):
        part = slice(first, last + 1)
        places = frame.places(joint.station_mm[part], joint.gap_mm[part])
        if state == "over" and len(places) > 1:
            yield Stroke(places=places, width_mm=0.9, colour=look.colour)
        reached = -math.inf
        for x, y in places:
            if x - reached >= _MARK_APART_MM:
                reached = x
                yield from _symbol(state, x, y)


def _symbol(state: str, x: float, y: float) -> Iterator[Mark]:
    colour, r = STATE_LOOKS[state].colour, 0.85
    outline: tuple[tuple[float, float], ...]
    if state == "over":
        outline = ((x - r, y + 0.7 * r), (x + r, y + 0.7 * r), (x, y - r))
        yield Area(places=outline, colour=colour)
    else:
        outline = ((x - r, y), (x, y + r), (x + r, y), (x, y - r))
        yield Area(places=outline, colour=WHITE)
    yield Stroke(places=(*outline, outline[0]), width_mm=0.3, colour=colour if state != "over" else BLACK)


def _unseen(joint: JudgedJoint, states: list[str], frame: _Frame) -> Iterator[Mark]:
    """Hatched over the whole height."""
    height = frame.foot - _TOP_MM
    for first, last in _runs([one == "unseen" for one in states]):
        left, right = frame.x(float(joint.cell_start_mm[first])), frame.x(float(joint.cell_end_mm[last]))
        box = ((left, _TOP_MM), (right, _TOP_MM), (right, frame.foot), (left, frame.foot))
        yield Area(places=box, colour="#f2f2f2")
        for offset in np.arange(left - height, right, _HATCH_APART_MM):
            start = (max(float(offset), left), frame.foot - max(left - float(offset), 0.0))
            end = (min(float(offset) + height, right), _TOP_MM + max(float(offset) + height - right, 0.0))
            yield Stroke(places=(start, end), width_mm=0.15, colour=GREY)
        yield Stroke(places=(*box, box[0]), width_mm=0.2, colour=GREY)


def _limit(joint: JudgedJoint, frame: _Frame) -> Iterator[Mark]:
    y, right = frame.y(joint.limit_mm), _WIDTH_MM - _RIGHT_MM
    yield Stroke(places=((_LEFT_MM, y), (right, y)), width_mm=0.5, colour=VERMILLION, dash=(2.4, 1.0))
    text = f"limit {joint.limit_mm:.2f} mm"
    width = 0.62 * _LETTERS_MM * len(text)
    box = ((right - width, y - 3.6), (right, y - 3.6), (right, y - 0.5), (right - width, y - 0.5))
    yield Area(places=box, colour=WHITE)
    yield Words(
        x=right - 0.5, y=y - 1.1, text=text, size_mm=_LETTERS_MM, colour=BLACK, anchor="right", bold=True
    )


def _short_lands(joint: JudgedJoint, frame: _Frame) -> Iterator[Mark]:
    """A row of teeth along the foot."""
    colour = SPOT_LOOKS[SHORT_LAND].colour
    for spot in joint.spots:
        if str(spot.state) != SHORT_LAND:
            continue
        left, right = frame.x(spot.start_mm), frame.x(spot.end_mm)
        count = max(1, round((right - left) / _TOOTH_MM))
        width = (right - left) / count
        for k in range(count):
            a, b = left + k * width, left + (k + 1) * width
            tooth = ((a, frame.foot), (b, frame.foot), ((a + b) / 2, frame.foot - _TOOTH_MM))
            yield Area(places=tooth, colour=colour)


def _numbers(joint: JudgedJoint, frame: _Frame) -> Iterator[Mark]:
    """The spots' numbers along the top, as far as there is room; the table has all of them."""
    reached = -math.inf
    for number, spot in enumerate(joint.spots, start=1):
        x = frame.x((spot.start_mm + spot.end_mm) / 2)
        if not _LEFT_MM <= x <= _WIDTH_MM or x - reached < _NUMBER_APART_MM:
            continue
        reached = x
        yield Stroke(places=((x, _TOP_MM - 2.2), (x, _TOP_MM)), width_mm=0.2, colour=_TEXT)
        yield Words(
            x=x,
            y=_TOP_MM - 2.8,
            text=str(number),
            size_mm=_LETTERS_MM,
            colour=BLACK,
            anchor="centre",
            bold=True,
        )


def _grid(frame: _Frame) -> Iterator[Mark]:
    for gap in _ticks(0.0, frame.top_mm, 6):
        y = frame.y(gap)
        yield Stroke(places=((_LEFT_MM, y), (_WIDTH_MM - _RIGHT_MM, y)), width_mm=0.15, colour=_GRID)


def _axes(frame: _Frame) -> Iterator[Mark]:
    right = _WIDTH_MM - _RIGHT_MM
    axes = ((_LEFT_MM, _TOP_MM), (_LEFT_MM, frame.foot), (right, frame.foot))
    yield Stroke(places=axes, width_mm=0.25, colour=_TEXT)
    gaps = _ticks(0.0, frame.top_mm, 6)
    for gap in gaps:
        text = f"{gap:.{_digits(gaps)}f}"
        yield Words(
            x=_LEFT_MM - 1.2,
            y=frame.y(gap) + 0.9,
            text=text,
            size_mm=_LETTERS_MM,
            colour=_TEXT,
            anchor="right",
        )
    places = _ticks(frame.start_mm, frame.end_mm, 12)
    for place in places:
        x = frame.x(place)
        yield Stroke(places=((x, frame.foot), (x, frame.foot + 1.0)), width_mm=0.25, colour=_TEXT)
        text = f"{place:.{_digits(places)}f}"
        yield Words(x=x, y=frame.foot + 3.8, text=text, size_mm=_LETTERS_MM, colour=_TEXT, anchor="centre")
    yield Words(x=0.0, y=2.2, text="gap, mm", size_mm=_LETTERS_MM, colour=_TEXT)
    yield Words(
        x=_LEFT_MM,
        y=_HEIGHT_MM - 1.2,
        text="place along the joint from the datum mark, mm",
        size_mm=_LETTERS_MM,
        colour=_TEXT,
    )


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers in the stretch, at most `most` and one."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [k * step + 0.0 for k in range(first, last + 1)]


def _digits(ticks: Sequence[float]) -> int:
    return next(d for d in range(7) if d == 6 or all(abs(tick - round(tick, d)) < 1e-9 for tick in ticks))
