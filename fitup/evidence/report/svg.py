"""A chart as SVG inside the page."""

from __future__ import annotations

from html import escape

from fitup.evidence.report.model import Area, Chart, Stroke, Words
from fitup.evidence.report.swatches import swatch

__all__ = ["chart_svg", "swatch_svg"]

_ANCHORS = {"left": "start", "centre": "middle", "right": "end"}


def chart_svg(chart: Chart) -> str:
    """The drawing, as wide as there is room."""
    marks = "".join(_mark(mark) for mark in chart.marks)
    return (
        f'<svg class="chart" role="img" aria-label="{escape(chart.caption)}" '
        f'viewBox="0 0 {chart.width_mm:g} {chart.height_mm:g}">{marks}</svg>'
    )


def swatch_svg(pattern: str) -> str:
    """The pattern that stands for something; the word beside it says what."""
    marks = "".join(_mark(mark) for mark in swatch(pattern))
    return f'<svg class="swatch" aria-hidden="true" viewBox="0 0 8 3.2">{marks}</svg>'


def _mark(mark: Stroke | Area | Words) -> str:
    if isinstance(mark, Words):
        weight = ' font-weight="bold"' if mark.bold else ""
        return (
            f'<text x="{mark.x:.2f}" y="{mark.y:.2f}" font-size="{mark.size_mm:g}" fill="{mark.colour}" '
            f'text-anchor="{_ANCHORS[mark.anchor]}"{weight}>{escape(mark.text)}</text>'
        )
    places = " ".join(f"{x:.2f},{y:.2f}" for x, y in mark.places)
    if isinstance(mark, Area):
        return f'<polygon points="{places}" fill="{mark.colour}"/>'
    dash = f' stroke-dasharray="{" ".join(f"{part:g}" for part in mark.dash)}"' if mark.dash else ""
    return (
        f'<polyline points="{places}" fill="none" stroke="{mark.colour}" '
        f'stroke-width="{mark.width_mm:g}"{dash}/>'
    )
