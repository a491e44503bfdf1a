"""What gets in the way of a photo of a joint, as plain data; hostile_assemble.py makes it.

Places in mm in the world of the joint kinds: x along the joint, y across it (plate A at y < 0), z up.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Blade",
    "Clamp",
    "Cover",
    "Doubler",
    "Drops",
    "Flash",
    "Grit",
    "Lamp",
    "Line",
    "Panel",
    "Patch",
    "PlasticFilm",
    "Rod",
    "Strokes",
    "Tack",
]

Place = tuple[float, float, float]
Colour = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """A square lamp of radiance `colour`."""

    place: Place
    size_mm: float
    colour: Colour
    aim: Place = (30.0, 0.0, 0.0)
    long_mm: float | None = None  # a tube: its length across the view to the aim


@dataclass(frozen=True, kw_only=True)
class Flash:
    """The phone's own lamp, `beside_mm` from the lens in the picture's u and v."""

    radiance: float
    beside_mm: tuple[float, float] = (11.0, 3.0)
    size_mm: float = 5.0


@dataclass(frozen=True, kw_only=True)
class Panel:
    """A light panel under the joint."""

    z: float
    colour: Colour
    half_width_mm: float = 60.0


@dataclass(frozen=True, kw_only=True)
class Drops:
    """Clear drops: (x, y, radius along x, radius along y, height) each."""

    at: tuple[tuple[float, float, float, float, float], ...]
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Patch:
    """A greasy mark on the plates' faces: "finger" (ridges) or "smear"; half axes before the turn."""

    kind: str
    centre: tuple[float, float]
    half: tuple[float, float]
    turn_deg: float = 0.0
    strength: float = 0.8
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class PlasticFilm:
    """Protective film on plate B from its torn edge outwards: (x, y) of the edge."""

    edge: tuple[tuple[float, float], ...]
    colour: Colour = (0.10, 0.32, 0.62)
    cover: float = 0.72
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Line:
    """A layout line through (x, y) places: "ink" or "scribed"."""

    kind: str
    through: tuple[tuple[float, float], ...]
    width_mm: float
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """Bright strokes of a deburring tool along both arrises, over (x0, x1)."""

    reach: tuple[float, float]
    count: int
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Grit:
    """Dust and chips: `count` grains of (smallest, largest) radius over (x0, x1), `spread_mm` about y = 0.

    `curls` wound chips lie among them; `plug` = (x0, x1) over which the gap is packed full.
    """

    reach: tuple[float, float]
    count: int
    radius: tuple[float, float]
    spread_mm: float
    curls: int = 0
    plug: tuple[float, float] | None = None
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Rod:
    """A wire through (x, y, z) places."""

    through: tuple[Place, ...]
    diameter_mm: float
    copper: bool = False


@dataclass(frozen=True, kw_only=True)
class Blade:
    """A feeler blade standing in the gap at x, leaning towards +y and +x."""

    x: float
    width_mm: float = 12.7
    thick_mm: float = 0.3
    tall_mm: float = 26.0
    lean_deg: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Tack:
    """A tack weld on the joint: half axes along, across and its height."""

    x: float
    half: Place = (2.6, 2.2, 0.6)


@dataclass(frozen=True, kw_only=True)
class Clamp:
    """A clamp's foot on plate B with its arm over the joint at x."""

    x: float
    foot_y: float = 20.0


@dataclass(frozen=True, kw_only=True)
class Cover:
    """A flat bar (a steel rule, a magnet strip) lying over something, turned about its middle."""

    centre: Place
    half: Place
    turn_deg: float = 0.0
    colour: Colour | None = None  # None: bare metal
    gloss: float = 0.25


@dataclass(frozen=True, kw_only=True)
class Doubler:
    """A second sheet on plate A: its box from `low` to `high`."""

    low: Place
    high: Place
