"""What stands for what in a chart: a few marks for each pattern, 8 mm wide and 3 mm high."""

from __future__ import annotations

from fitup.evidence.palette import BLACK, GREY, SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, VERMILLION, WHITE
from fitup.evidence.report.model import Area, Stroke

__all__ = ["swatch"]

_MIDDLE = 1.6
_ACROSS = ((0.0, _MIDDLE), (8.0, _MIDDLE))
_BOX = ((0.0, 0.3), (8.0, 0.3), (8.0, 2.9), (0.0, 2.9))


def swatch(pattern: str) -> tuple[Stroke | Area, ...]:
    """The marks of a pattern as `Chart.legend` names it."""
    return _SWATCHES[pattern]


def _diamond(x: float) -> tuple[Area, Stroke]:
    r = 0.85
    outline = ((x - r, _MIDDLE), (x, _MIDDLE + r), (x + r, _MIDDLE), (x, _MIDDLE - r))
    colour = STATE_LOOKS["doubtful"].colour
    return (
        Area(places=outline, colour=WHITE),
        Stroke(places=(*outline, outline[0]), width_mm=0.3, colour=colour),
    )


def _triangle(x: float) -> tuple[Area, Stroke]:
    r = 0.85
    outline = ((x - r, _MIDDLE + 0.7 * r), (x + r, _MIDDLE + 0.7 * r), (x, _MIDDLE - r))
    colour = STATE_LOOKS["over"].colour
    return (
        Area(places=outline, colour=colour),
        Stroke(places=(*outline, outline[0]), width_mm=0.3, colour=BLACK),
    )


def _tooth(x: float) -> Area:
    places = ((x, 2.5), (x + 1.8, 2.5), (x + 0.9, 0.7))
    return Area(places=places, colour=SPOT_LOOKS[SHORT_LAND].colour)


_TRACE = Stroke(places=_ACROSS, width_mm=0.25, colour=BLACK)
_SWATCHES: dict[str, tuple[Stroke | Area, ...]] = {
    "band": (Area(places=_BOX, colour="#d9d9d9"),),
    "limit": (Stroke(places=_ACROSS, width_mm=0.5, colour=VERMILLION, dash=(2.4, 1.0)),),
    "earlier": (Stroke(places=_ACROSS, width_mm=0.35, colour=GREY, dash=(0.4, 0.8)),),
    "within": (_TRACE,),
    "doubtful": (_TRACE, *_diamond(2.2), *_diamond(5.8)),
    "over": (
        Stroke(places=_ACROSS, width_mm=0.9, colour=STATE_LOOKS["over"].colour),
        *_triangle(2.2),
        *_triangle(5.8),
    ),
    "unseen": (
        Area(places=_BOX, colour="#f2f2f2"),
        *(
            Stroke(places=((x, 2.9), (x + 2.6, 0.3)), width_mm=0.15, colour=GREY)
            for x in (0.0, 1.8, 3.6, 5.4)
        ),
        Stroke(places=(*_BOX, _BOX[0]), width_mm=0.2, colour=GREY),
    ),
    SHORT_LAND: (_tooth(1.0), _tooth(3.2), _tooth(5.4)),
}
