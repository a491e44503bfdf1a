"""Drawing with a white halo: lines in the pattern of their state, ticks, and words, on an RGB picture.

Everything dark is drawn on a wider white ground first, so that it stands out on bright steel, on dark
steel and in sunlight. Patterns are built from arc length, so that a dash is as long on a bend as on a
straight.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

__all__ = [
    "Font",
    "Picture",
    "Polyline",
    "draw_label",
    "draw_pattern",
    "draw_polyline",
    "fitted",
    "font",
    "rgb",
    "text_size",
]

Picture = NDArray[np.uint8]
"""(H, W, 3) RGB."""
Polyline = NDArray[np.float64]
"""(N, 2) points (u, v) [px]."""
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont

_SHIFT = 4  # OpenCV draws on a grid of 1/16 px


def rgb(colour: str) -> tuple[int, int, int]:
    """#rrggbb as numbers."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


@lru_cache(maxsize=32)
def font(size: int, bold: bool = False) -> Font:
    """A font that knows many scripts; it comes with the plotting library, so it is always there."""
    spec = find_spec("matplotlib")
    if spec is not None and spec.origin is not None:
        name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
        path = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name
        if path.is_file():
            return ImageFont.truetype(str(path), size)
    return ImageFont.load_default(size)


def text_size(text: str, face: Font) -> tuple[int, int]:
    """Width and height [px] of the text as drawn by `draw_label`."""
    left, _, right, _ = face.getbbox(text)
    _, _, _, bottom = face.getbbox("Ag")
    return int(np.ceil(right - left)), int(np.ceil(bottom))


def draw_polyline(picture: Picture, line: Polyline, colour: str, width: int) -> None:
    """Draw one line in place."""
    if len(line) < 2:
        return
    points = np.round(np.asarray(line) * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(picture, [points], False, rgb(colour), width, cv2.LINE_AA, _SHIFT)


def draw_pattern(picture: Picture, line: Polyline, colour: str, pattern: str, unit: int) -> None:
    """Draw one line in the pattern of a state, in place.

    Parameters
    ----------
    pattern : str
        solid (thin), dashed, thick (with a tick across every few units), dotted (hollow dots), toothed
        (a row of small triangles without a line).
    unit : int
        Width of a thin line [px]; all else scales with it.
    """
    if len(line) < 2 or _length(line) <= 0:
        return
    if pattern == "dotted":
        _dots(picture, line, colour, unit)
        return
    if pattern == "toothed":
        _teeth(picture, line, colour, unit)
        return
    width = {"solid": unit, "dashed": 2 * unit, "thick": 3 * unit}[pattern]
    draw_polyline(picture, line, "#ffffff", width + 2 * unit)
    if pattern == "dashed":
        for dash in _dashes(line, on_px=7.0 * unit, off_px=4.0 * unit):
            draw_polyline(picture, dash, colour, width)
        return
    draw_polyline(picture, line, colour, width)
    if pattern == "thick":
        _hatch(picture, line, colour, unit)


def draw_label(
    picture: Picture,
    place: tuple[float, float],
    text: str,
    face: Font,
    *,
    colour: str,
    ground: str | None = None,
    halo: bool = True,
) -> tuple[int, int, int, int]:
    """Write text with its upper left corner at `place` (u, v), in place.

    On a box of colour `ground` or, where that is None, straight on the picture; `halo` puts white around
    the box or the letters. Returns the box (left, top, right, bottom) [px].
    """
    width, height = text_size(text, face)
    pad = max(2, height // 5)
    left, top = round(place[0]), round(place[1])
    box = (left, top, left + width + 2 * pad, top + height + 2 * pad)
    image = Image.fromarray(picture)
    pen = ImageDraw.Draw(image)
    if ground is not None:
        pen.rectangle(box, fill=ground, outline="#ffffff" if halo else ground, width=max(1, pad // 3))
    stroke = pad // 2 + 1 if halo and ground is None else 0
    pen.text(
        (left + pad, top + pad), text, font=face, fill=colour, stroke_width=stroke, stroke_fill="#ffffff"
    )
    picture[:] = np.asarray(image)
    return box


def fitted(text: str, face: Font, room: int) -> str:
    """Text on one line, cut to `room` px with an ellipsis."""
    text = " ".join(text.split())[:400]
    if text_size(text, face)[0] <= room:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if text_size(text[:middle] + "…", face)[0] <= room else (low, middle - 1)
    return text[:low].rstrip() + "…"


def _length(line: Polyline) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _arc_px(line: Polyline) -> NDArray[np.float64]:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def _at(line: Polyline, arc_px: NDArray[np.float64]) -> Polyline:
    along = _arc_px(line)
    return np.column_stack([np.interp(arc_px, along, line[:, 0]), np.interp(arc_px, along, line[:, 1])])


def _dashes(line: Polyline, on_px: float, off_px: float) -> list[Polyline]:
    along = _arc_px(line)
    dashes = []
    for start in np.arange(0.0, along[-1], on_px + off_px):
        end = min(start + on_px, along[-1])
        inner = along[(along > start) & (along < end)]
        dashes.append(_at(line, np.concatenate([[start], inner, [end]])))
    return dashes


def _hatch(picture: Picture, line: Polyline, colour: str, unit: int) -> None:
    """Short strokes across the line, so that it differs from the others without colour."""
    along = np.arange(2.0 * unit, _length(line), 6.0 * unit)
    if not along.size:
        along = np.array([_length(line) / 2])
    ahead, behind = _at(line, along + 0.5), _at(line, along - 0.5)
    direction = ahead - behind
    direction /= np.maximum(np.hypot(*direction.T), 1e-9)[:, None]
    across = np.column_stack([-direction[:, 1], direction[:, 0]]) * 4.0 * unit
    for middle, half in zip(_at(line, along), across, strict=True):
        draw_polyline(picture, np.array([middle - half, middle + half]), colour, unit)


def _teeth(picture: Picture, line: Polyline, colour: str, unit: int) -> None:
    """Triangles in a row, each pointing to the right of the line's course."""
    spacing_px = 8.0 * unit
    count = max(1, int(_length(line) // spacing_px))
    along = (np.arange(count) + 0.5) * _length(line) / count
    ahead = _at(line, along + 0.5) - _at(line, along - 0.5)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    right = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    for size, fill in ((4.6, "#ffffff"), (3.2, colour)):
        for middle, along_px, across_px in zip(_at(line, along), ahead * unit, right * unit, strict=True):
            corners = middle + size * np.array([-along_px - across_px, along_px - across_px, across_px])
            points = np.round(corners * (1 << _SHIFT)).astype(np.int32)
            cv2.fillConvexPoly(picture, points, rgb(fill), cv2.LINE_AA, _SHIFT)


def _dots(picture: Picture, line: Polyline, colour: str, unit: int) -> None:
    """Hollow dots: black ring, white inside, grey heart."""
    spacing_px = 7.0 * unit
    count = max(1, int(_length(line) // spacing_px))
    along = (np.arange(count) + 0.5) * _length(line) / count
    for point in np.round(_at(line, along) * (1 << _SHIFT)).astype(int):
        centre = (int(point[0]), int(point[1]))
        for radius, fill in ((3.0, "#000000"), (2.1, "#ffffff"), (1.0, colour)):
            cv2.circle(
                picture, centre, round(radius * unit * (1 << _SHIFT)), rgb(fill), -1, cv2.LINE_AA, _SHIFT
            )
