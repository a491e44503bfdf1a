"""Draw the placement guide anew: `python docs/make_placement.py [FOLDER]` writes docs/placement/*.svg.

Every kind of joint is drawn as a section across the joint, not to scale: plates, gap, strip on its face with
the arrow towards the joint, and where the camera may be. The frame is that of the program: y across the
plate with the strip, towards the joint, z out of its face; plate A's end is at y = 0.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

Point = tuple[float, float]

T, GAP, LONG = 7.0, 4.5, 38.0  # thickness, gap and length of the plates as drawn, mm
PX = 4.0  # pixels for one drawn mm
LETTER_PX = 8.6  # width of a letter, about
REACH = 38.0  # length of the camera's direction as drawn, mm
PANEL_W, LEAST_W, HEAD, FOOT = 350, 660, 62, 52
BLUE, RED, GREY = "#0072b2", "#b84a00", "#555"
FILLS = {"A": "#dfe3e6", "B": "#c9d0d6"}
STYLE = 'font-family="DejaVu Sans, Verdana, sans-serif" font-size="15" fill="#111"'


@dataclass(frozen=True, kw_only=True)
class Face:
    """A face that can carry a strip: its arris at the joint, the way along it from the joint, its normal."""

    arris: Point
    away: Point
    normal: Point


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A joint's section: plates (polygons), the two arrises of the gap, faces, camera directions.

    Directions in degrees from plate A's normal, positive beyond the joint; `turn_deg` turns the drawing.
    """

    name: str
    title: str
    plates: dict[str, list[Point]]
    gap: tuple[Point, Point]
    faces: dict[str, Face]
    panels: tuple[tuple[str, tuple[str, ...]], ...]
    camera_deg: tuple[float, float]
    camera_words: str
    reference_deg: float
    reference_words: str
    angle_words: str
    turn_deg: float = 0.0
    plate_words: dict[str, tuple[str, Point]] = field(default_factory=dict)
    gap_words_at: Point = (10.0, -14.0)
    reference_from: Point | None = None


def direction(degrees: float) -> Point:
    """Unit vector (y, z) at an angle from plate A's normal."""
    return math.sin(math.radians(degrees)), math.cos(math.radians(degrees))


def along(start: Point, way: Point, by: float) -> Point:
    """Give the point `by` mm from a start."""
    return start[0] + by * way[0], start[1] + by * way[1]


def bar(start: Point, way: Point, side: Point, length: float = LONG, thick: float = T) -> list[Point]:
    """Four corners of a plate from an arris along its face, its body towards `side`."""
    far = along(start, way, length)
    return [start, far, along(far, side, thick), along(start, side, thick)]


def turned(point: Point, degrees: float) -> Point:
    """Turn a point about the origin, anticlockwise."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return point[0] * c - point[1] * s, point[0] * s + point[1] * c


UP, DOWN, LEFT, RIGHT = (0.0, 1.0), (0.0, -1.0), (-1.0, 0.0), (1.0, 0.0)
FACE_A = Face(arris=(0.0, 0.0), away=LEFT, normal=UP)
PLATE_A = bar((0.0, 0.0), LEFT, DOWN)


def butt() -> Kind:
    """Butt joint."""
    return Kind(
        name="butt",
        title="Butt joint, seam on a flat run",
        plates={"A": PLATE_A, "B": bar((GAP, 0.0), RIGHT, DOWN)},
        gap=((0.0, 0.0), (GAP, 0.0)),
        faces={"A": FACE_A, "B": Face(arris=(GAP, 0.0), away=RIGHT, normal=UP)},
        panels=(("one strip", ("A",)), ("two strips: also the step", ("A", "B"))),
        camera_deg=(-10.0, 10.0),
        camera_words="straight down, within 10°",
        angle_words="± 10°",
        reference_deg=0.0,
        reference_words="normal",
        plate_words={"A": ("plate A", (-33.0, -5.0)), "B": ("plate B", (24.0, -5.0))},
        gap_words_at=(GAP / 2 - 4.0, -15.0),
    )


def full_open() -> Kind:
    """Corner, inner arris to inner arris, 90 degrees."""
    half = math.sqrt(0.5)
    inner_a = (0.0, -T)
    inner_b = along(inner_a, (half, -half), GAP)
    out, way = RIGHT, DOWN  # plate B's normal and the way of its body, 90 degrees
    outer_b = along(inner_b, out, T)
    return Kind(
        name="corner-full-open",
        title="Corner from outside, full open",
        plates={"A": PLATE_A, "B": bar(outer_b, way, LEFT)},
        gap=(inner_a, inner_b),
        faces={"A": FACE_A, "B": Face(arris=outer_b, away=way, normal=out)},
        panels=(("one strip", ("A",)), ("two strips: better, also the angle", ("A", "B"))),
        camera_deg=(25.0, 65.0),
        camera_words="along the bisector, within 20°",
        angle_words="± 20°",
        reference_deg=45.0,
        reference_words="bisector",
        turn_deg=45.0,
        plate_words={"A": ("plate A", (-31.1, -8.5)), "B": ("plate B", (-17.3, -22.3))},
        gap_words_at=(-13.0, -20.0),
    )


def half_open() -> Kind:
    """Corner, plate B's end half a thickness deep."""
    low = -T / 2
    end_b = bar((GAP + T, low), DOWN, LEFT)
    return Kind(
        name="corner-half-open",
        title="Corner from outside, half open",
        plates={"A": PLATE_A, "B": end_b},
        gap=((0.0, low), (GAP, low)),
        faces={"A": FACE_A, "B": Face(arris=(GAP + T, low), away=DOWN, normal=RIGHT)},
        panels=(("one strip", ("A",)), ("two strips: better", ("A", "B"))),
        camera_deg=(25.0, 35.0),
        camera_words="25 to 35° from plate A's normal",
        angle_words="25-35°",
        reference_deg=0.0,
        reference_words="normal of A",
        plate_words={"A": ("plate A", (-34.0, -5.0)), "B": ("plate B", (-12.5, -34.0))},
        gap_words_at=(-11.0, -18.0),
    )


def flush() -> Kind:
    """Corner, plate B under plate A, faces flush."""
    top_b = -T - GAP
    return Kind(
        name="corner-flush",
        title="Corner from outside, flush",
        plates={"A": PLATE_A, "B": bar((0.0, top_b), DOWN, LEFT, length=32.0)},
        gap=((0.0, -T), (0.0, top_b)),
        faces={"A": FACE_A, "B": Face(arris=(0.0, top_b), away=DOWN, normal=RIGHT)},
        panels=(("one strip", ("A",)), ("two strips: better", ("A", "B"))),
        camera_deg=(40.0, 50.0),
        camera_words="about 45° from plate A's normal",
        angle_words="45°",
        reference_deg=0.0,
        reference_words="normal of A",
        reference_from=(0.0, 0.0),
        plate_words={"A": ("plate A", (-34.0, -5.0)), "B": ("plate B", (-23.5, -38.0))},
        gap_words_at=(5.0, -11.5),
    )


def standing(name: str, title: str, behind: float) -> Kind:
    """Tee and inside corner: the standing plate is A, its face looks to the right, the base lies below."""
    base = [(GAP, LONG), (GAP + T, LONG), (GAP + T, -behind), (GAP, -behind)]
    return Kind(
        name=name,
        title=title,
        plates={"A": PLATE_A, "B": base},
        gap=((0.0, 0.0), (GAP, 0.0)),
        faces={"A": FACE_A, "B": Face(arris=(GAP, 0.0), away=UP, normal=LEFT)},
        panels=(
            ("on the standing plate", ("A",)),
            ("on the base", ("B",)),
            ("two strips: better", ("A", "B")),
        ),
        camera_deg=(-35.0, -25.0),
        camera_words="25 to 35° above the base, light from above",
        angle_words="25-35°",
        reference_deg=0.0,
        reference_words="",
        turn_deg=-90.0,
        plate_words={"A": ("standing", (-34.0, -26.0)), "B": ("base", (GAP + 5.0, 26.0))},
        gap_words_at=(-4.0, -27.0),
    )


def lap() -> Kind:
    """Lap joint; A is the upper sheet."""
    top = -T - GAP
    lower = [(-26.0, top), (LONG, top), (LONG, top - T), (-26.0, top - T)]
    return Kind(
        name="lap",
        title="Lap joint",
        plates={"A": PLATE_A, "B": lower},
        gap=((0.0, -T), (0.0, top)),
        faces={"A": FACE_A, "B": Face(arris=(0.0, top), away=RIGHT, normal=UP)},
        panels=(
            ("on the upper sheet", ("A",)),
            ("on the lower sheet", ("B",)),
            ("two strips: better", ("A", "B")),
        ),
        camera_deg=(45.0, 55.0),
        camera_words="45 to 55° from the sheets' normal",
        angle_words="45-55°",
        reference_deg=0.0,
        reference_words="normal",
        plate_words={"A": ("upper sheet", (-34.0, -5.0)), "B": ("lower sheet", (14.0, top - 5.0))},
        gap_words_at=(-8.0, -27.0),
    )


def edge() -> Kind:
    """Edge joint."""
    top = -T - GAP
    return Kind(
        name="edge",
        title="Edge joint",
        plates={"A": PLATE_A, "B": bar((0.0, top), LEFT, DOWN)},
        gap=((0.0, -T), (0.0, top)),
        faces={"A": FACE_A},
        panels=(("one strip; the other face looks away", ("A",)),),
        camera_deg=(40.0, 50.0),
        camera_words="about 45° from plate A's normal",
        angle_words="45°",
        reference_deg=0.0,
        reference_words="normal of A",
        plate_words={"A": ("plate A", (-34.0, -5.0)), "B": ("plate B", (-34.0, top - 5.0))},
        gap_words_at=(6.0, -14.0),
    )


KINDS = (
    butt(),
    full_open(),
    half_open(),
    flush(),
    standing("tee", "T joint", behind=26.0),
    standing("corner-inside", "Corner from inside", behind=T),
    lap(),
    edge(),
)


class Panel:
    """One section drawn into a box of the page; first the extent, then the drawing in its middle."""

    def __init__(self, kind: Kind, carried: tuple[str, ...]) -> None:
        self.kind, self.carried = kind, carried
        self.lines: list[str] = []
        self.shift = (0.0, 0.0)
        points = [self.at(point) for corners in kind.plates.values() for point in corners]
        points += [self.at(point) for point in self._phone()]
        points += [self.at(self._tail(kind.faces[name])) for name in carried]
        for text, (u, v) in self._notes():
            points += [(u, v - 12), (u + LETTER_PX * len(text), v + 4)]
        self.low = (min(u for u, _ in points), min(v for _, v in points))
        self.high = (max(u for u, _ in points), max(v for _, v in points))

    def _notes(self) -> list[tuple[str, Point]]:
        """Words of the drawing with the place of their first letter, for the extent."""
        words = [(text, self.at(place)) for text, place in self.kind.plate_words.values()]
        words.append(("gap", self.at(self.kind.gap_words_at)))
        for name in self.carried:
            u, v, anchor = self._name_at(self.kind.faces[name])
            words.append(("strip 1", (u - (LETTER_PX * 7 if anchor == "end" else 0), v)))
        if self._angle_right():
            u, v = max(map(self.at, self._rim()[:: len(self._rim()) - 1]))
            words.append((self.kind.angle_words, (u + 8, v)))
        return words

    @property
    def height(self) -> float:
        """Height of the drawing in pixels."""
        return self.high[1] - self.low[1]

    def at(self, point: Point) -> Point:
        """Give the place of a point on the page, in pixels."""
        y, z = turned(point, self.kind.turn_deg)
        return round(PX * y + self.shift[0], 1), round(self.shift[1] - PX * z, 1)

    def draw(self, left: float, wide: float) -> list[str]:
        """Lines of the drawing, in the middle of the box that begins at `left`."""
        free = wide - (self.high[0] - self.low[0])
        self.shift = (left + free / 2 - self.low[0], HEAD + 22 - self.low[1])
        for name, corners in self.kind.plates.items():
            self.polygon(corners, f'fill="{FILLS[name]}" stroke="#333" stroke-width="1.5"')
        self._camera()
        for text, place in self.kind.plate_words.values():
            u, v = self.at(place)
            self.lines.append(text_at(text, u, v, f'font-size="13" fill="{GREY}"'))
        for number, name in enumerate(self.carried, 1):
            self._strip(self.kind.faces[name], number if len(self.carried) > 1 else 0)
        self._gap()
        return self.lines

    def polygon(self, corners: list[Point], look: str) -> None:
        """Draw a polygon."""
        points = " ".join(f"{u:g},{v:g}" for u, v in map(self.at, corners))
        self.lines.append(f'<polygon points="{points}" {look}/>')

    def line(self, start: Point, end: Point, look: str) -> None:
        """Draw a line."""
        (a, b), (c, d) = self.at(start), self.at(end)
        self.lines.append(f'<path d="M{a:g} {b:g}L{c:g} {d:g}" {look}/>')

    def _tail(self, face: Face) -> Point:
        """Where a strip's arrow begins."""
        return along(along(face.arris, face.normal, 6.0), face.away, 21.0)

    def _strip(self, face: Face, number: int) -> None:
        """The strip in section, a bar of black and white, and its arrow above it with the strip's name."""
        near, cells, cell, thick = 6.0, 6, 4.0, 2.2
        for k in range(cells):
            start = along(face.arris, face.away, near + k * cell)
            fill = "#111" if k % 2 == 0 else "#fff"
            self.polygon(bar(start, face.away, face.normal, cell, thick), f'fill="{fill}" stroke="#111"')
        tail, back = self._tail(face), (-face.away[0], -face.away[1])
        tip = along(tail, back, 12.0)
        self.line(tail, along(tip, face.away, 3.0), 'stroke="#111" stroke-width="3"')
        head = [tip, *(along(along(tip, face.away, 4.0), face.normal, side) for side in (1.7, -1.7))]
        self.polygon(head, 'fill="#111"')
        u, v, anchor = self._name_at(face)
        name = f"strip {number}" if number else "strip"
        self.lines.append(text_at(name, u, v, 'font-weight="bold"', anchor))

    def _name_at(self, face: Face) -> tuple[float, float, str]:
        """Place and anchor of a strip's name: where the arrow begins, clear of the strip."""
        (u0, v0), (u, v) = self.at(self._tail(face)), self.at(along(self._tail(face), face.away, 1.8))
        if abs(u - u0) >= 1:
            return u, v + 5, "start" if u > u0 else "end"
        edge, _ = self.at(along(face.arris, face.normal, 3.4))
        return edge, v + (14 if v > v0 else -14), "start" if edge < u else "end"

    def _gap(self) -> None:
        first, second = self.kind.gap
        look = f'stroke="{RED}"'
        self.line(first, second, f'{look} stroke-width="3.5"')
        for point in (first, second):
            u, v = self.at(point)
            self.lines.append(f'<circle cx="{u:g}" cy="{v:g}" r="3.6" fill="{RED}"/>')
        u, v = self.at(self.kind.gap_words_at)
        a, b = self.at(self._foot())
        beside = abs(u - a) > 40
        end = (u + (34 if u < a else -3), v - 5) if beside else (u + 16, v - 14)
        self.lines.append(f'<path d="M{a:g} {b:g}L{end[0]:g} {end[1]:g}" {look}/>')
        self.lines.append(text_at("gap", u, v, f'fill="{RED}" font-weight="bold"'))

    def _foot(self) -> Point:
        (y1, z1), (y2, z2) = self.kind.gap
        return (y1 + y2) / 2, (z1 + z2) / 2

    def _phone(self) -> list[Point]:
        """Corners of the phone, in the middle of the directions that are good."""
        way = direction(sum(self.kind.camera_deg) / 2)
        side = (way[1], -way[0])
        body = along(self._foot(), way, REACH + 4.5)
        return [along(along(body, side, a), way, b) for a, b in ((-9, 0), (9, 0), (9, 3.4), (-9, 3.4))]

    def _camera(self) -> None:
        kind, foot = self.kind, self._foot()
        self.polygon(
            [foot, *self._rim()], f'fill="{BLUE}" fill-opacity="0.13" stroke="{BLUE}" stroke-opacity="0.5"'
        )
        if kind.reference_words:
            start = kind.reference_from or foot
            end = along(start, direction(kind.reference_deg), REACH + foot[1] - start[1])
            self.line(start, end, f'stroke="{GREY}" stroke-width="1.3" stroke-dasharray="6 5"')
            self._reference(end)
        way = direction(sum(kind.camera_deg) / 2)
        self.line(foot, along(foot, way, REACH), f'stroke="{BLUE}" stroke-width="2"')
        self.polygon(self._phone(), 'fill="#333"')
        side, body = (way[1], -way[0]), along(foot, way, REACH + 4.5)
        lens = [along(along(body, side, a), way, b) for a, b in ((-2, 0), (2, 0), (2, -1.6), (-2, -1.6))]
        self.polygon(lens, f'fill="{BLUE}"')
        self._angle()

    def _rim(self) -> list[Point]:
        """The arc of the directions that are good."""
        low, high = self.kind.camera_deg
        return [along(self._foot(), direction(low + (high - low) * k / 12), REACH) for k in range(13)]

    def _angle_right(self) -> bool:
        """Whether the right side of the directions is free for words."""
        return abs(sum(self.kind.camera_deg) / 2 - self.kind.turn_deg) < 40

    def _angle(self) -> None:
        """The tolerated angle beside the arc, on the side that is free."""
        ends = [self.at(point) for point in (self._rim()[0], self._rim()[-1])]
        look = f'fill="{BLUE}" font-weight="bold"'
        if self._angle_right():
            u, v = max(ends)
            self.lines.append(text_at(self.kind.angle_words, u + 8, v + 14, look))
        else:
            u, v = min(ends)
            self.lines.append(text_at(self.kind.angle_words, u - 2, v - 4, look, "end"))

    def _reference(self, end: Point) -> None:
        """Name the direction that angles are counted from: above its end, or beside where the camera is."""
        u, v = self.at(end)
        low, high = self.kind.camera_deg
        look = f'font-size="13" fill="{GREY}"'
        if low <= self.kind.reference_deg <= high:
            rim = min(map(self.at, (along(self._foot(), direction(a), REACH) for a in (low, high))))
            self.lines.append(text_at(self.kind.reference_words, rim[0] - 8, rim[1] + 14, look, "end"))
        else:
            self.lines.append(text_at(self.kind.reference_words, u, v - 5, look, "middle"))


def text_at(text: str, u: float, v: float, look: str = "", anchor: str = "start") -> str:
    """Write a line of text."""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{u:g}" y="{v:g}"{where} {look}>{escape(text)}</text>'


def page(width: float, height: float, title: str, told: str, body: list[str]) -> str:
    """Wrap the lines of a drawing as an SVG page."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" {STYLE}>'
    )
    ground = f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>'
    lines = [head, f"<title>{escape(title)}</title>", f"<desc>{escape(told)}</desc>", ground, *body, "</svg>"]
    return "\n".join(lines) + "\n"


def section(kind: Kind) -> str:
    """All panels of a kind side by side."""
    panels = [(words, Panel(kind, carried)) for words, carried in kind.panels]
    wide = max(PANEL_W, LEAST_W / len(panels))
    foot = math.ceil(HEAD + 22 + max(panel.height for _, panel in panels) + 24)
    body = [text_at(kind.title, 16, 28, 'font-size="18" font-weight="bold"')]
    for k, (words, panel) in enumerate(panels):
        left = wide * k
        if k:
            body.append(f'<path d="M{left:g} {HEAD - 14}V{foot - 6}" stroke="#ccc"/>')
        body.append(text_at(words, left + 16, HEAD - 8))
        body += panel.draw(left, wide)
    words = f"Camera: {kind.camera_words}."
    body.append(text_at(words, 16, foot + 14, f'fill="{BLUE}" font-weight="bold"'))
    body.append(
        text_at(
            "Each strip flat on its face, 5 to 40 mm beside the joint, its arrow towards the joint.",
            16,
            foot + 38,
            f'font-size="13" fill="{GREY}"',
        )
    )
    told = f"{kind.title}, section across the joint, not to scale; camera: {kind.camera_words}."
    return page(wide * len(panels), foot + FOOT, kind.title, told, body)


def seam() -> str:
    """A long joint from above: strips end to end, and the photos that overlap."""
    width, height, left, strip_w, strip_h = 1000, 352, 40, 230, 62
    top, joint = 178, 146
    title = "Long joint: strips end to end, several photos"
    outline = 'stroke="#333"'
    body = [
        text_at(title, 16, 28, 'font-size="18" font-weight="bold"'),
        f'<rect x="16" y="56" width="968" height="{joint - 59}" fill="{FILLS["B"]}" {outline}/>',
        f'<rect x="16" y="{joint + 3}" width="968" height="160" fill="{FILLS["A"]}" {outline}/>',
        f'<rect x="16" y="{joint - 3}" width="968" height="6" fill="#111"/>',
        text_at("plate B", 28, 76, f'font-size="13" fill="{GREY}"'),
        text_at("plate A", 924, joint + 154, f'font-size="13" fill="{GREY}"'),
        text_at("joint", 32, joint - 10, f'fill="{RED}" font-weight="bold"'),
    ]
    for k in range(4):
        body += seam_strip(left + k * strip_w, top, strip_w, strip_h, k + 1)
    red = f'fill="{RED}" font-weight="bold"'
    for k in range(3):
        u = left + (k + 1) * strip_w
        body.append(f'<path d="M{u} {top + strip_h + 2}v18" stroke="{RED}" stroke-width="2.5"/>')
        body.append(text_at("touching", u, top + strip_h + 35, red, "middle"))
    frames = ((22, 360, 111), (200, 590, 395), (430, 820, 625), (660, 978, 900))
    for k, (start, end, middle) in enumerate(frames):
        v = 88 + 10 * (k % 2)
        body.append(
            f'<rect x="{start}" y="{v}" width="{end - start}" height="204" rx="10" fill="none" '
            f'stroke="{BLUE}" stroke-width="2" stroke-dasharray="8 5"/>'
        )
        body.append(text_at(f"photo {k + 1}", middle, v + 22, f'fill="{BLUE}"', "middle"))
    words = "Numbers rise from left to right when the arrows point up. Paper edges touch. The photos overlap."
    body.append(text_at(words, 16, height - 14, 'font-size="14"'))
    told = (
        "A long joint from above: four strips end to end along it, numbers rising from left to right, paper "
        "edges touching, four photos that overlap."
    )
    return page(width, height, title, told, body)


def seam_strip(u: float, v: float, width: float, height: float, number: int) -> list[str]:
    """A strip from above: paper, pattern, arrow, number."""
    cell, first, columns = 10, u + 34, 18
    body = [f'<rect x="{u}" y="{v}" width="{width}" height="{height}" fill="#fff" stroke="#333"/>']
    squares = [(c, r) for r in range(3) for c in range(columns) if (c + r) % 2 == 0]
    path = "".join(f"M{first + c * cell} {v + 8 + r * cell}h{cell}v{cell}h-{cell}z" for c, r in squares)
    body.append(f'<path d="{path}" fill="#111"/>')
    body.append(f'<path d="M{u + 17} {v + 46}V{v + 20}" stroke="#111" stroke-width="3"/>')
    body.append(f'<path d="M{u + 17} {v + 8}l6 13h-12z"/>')
    body.append(text_at(f"No. {number}", u + 34, v + 55, 'font-size="14" font-weight="bold"'))
    return body


def draw_all(folder: Path) -> list[Path]:
    """Write every drawing into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    drawings = {kind.name: section(kind) for kind in KINDS} | {"long-joint": seam()}
    paths = []
    for name, text in drawings.items():
        paths.append(folder / f"{name}.svg")
        paths[-1].write_text(text, encoding="utf-8")
    return paths


if __name__ == "__main__":
    for path in draw_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "placement"):
        print(path.name)
