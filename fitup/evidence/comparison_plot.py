"""The gap along one joint before and after, over each other, and the change below, as a plot.

Before and after differ by colour, by line pattern and by hatching, and are named; fates of spots are words.
"""

from __future__ import annotations

import io
import logging
import warnings
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.comparison_record import FateEntry
from fitup.evidence.palette import BLACK, BLUE, GREY, VERMILLION, WHITE
from fitup.evidence.plot import draw_limit
from fitup.evidence.words import COVERAGE_FACTOR

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fitup.evidence.comparison_building import Compared
    from fitup.verdict.judged import JudgedJoint

__all__ = ["comparison_png"]

Array64 = NDArray[np.float64]

_SIZE_INCH = (11.0, 6.6)
_DOTS_PER_INCH = 150
_DASHED = (0, (5, 2))
_LOOKS = {
    "closed": (WHITE, BLACK, "-"),
    "remains": (VERMILLION, BLACK, "-"),
    "not seen again": ("#e6e6e6", BLACK, ":"),
    "new": (BLUE, WHITE, "--"),
}
_LETTER_MM_SHARE = 0.011  # width of a letter as share of the plot's width


def comparison_png(compared: Compared, caption: str = "") -> bytes:
    """The plot as a PNG of 1650 × 990 px; the same comparison gives the same bytes."""
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells of its font cache on stderr
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE_INCH, dpi=_DOTS_PER_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    fates, gaps, change = figure.subplots(3, 1, height_ratios=(0.9, 4.0, 1.9), sharex=True)
    _draw_fates(fates, compared)
    _draw_gaps(gaps, compared)
    _draw_change(change, compared, caption)
    word = str(compared.after.verdict.word).upper()
    closed = sum(spot.fate == "closed" for spot in compared.record.spots)
    before = sum(spot.fate != "new" for spot in compared.record.spots)
    title = f"before and after: {word} now, {closed} of {before} spots closed"
    fates.set_title(title, loc="left", fontweight="bold", parse_math=False)
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()


def _draw_fates(axes: Axes, compared: Compared) -> None:
    """A bar over every spot with what became of it, in as many rows as keep the words apart."""
    first, last = _reach(compared)
    rows: list[float] = []  # where the words of each row end
    for spot in sorted(compared.record.spots, key=lambda one: one.start_mm):
        needed = _LETTER_MM_SHARE * (last - first) * len(spot.fate)
        middle = (spot.start_mm + spot.end_mm) / 2
        left = min(max(middle - needed / 2, first), last - needed)
        row = next((index for index, end in enumerate(rows) if left > end), len(rows))
        rows[row : row + 1] = [left + needed]
        _draw_fate(axes, spot, row, left + needed / 2)
    axes.set_ylim(max(2, len(rows)), 0)
    axes.set_axis_off()


def _draw_fate(axes: Axes, spot: FateEntry, row: int, middle: float) -> None:
    ground, ink, style = _LOOKS[spot.fate]
    axes.plot([spot.start_mm, spot.end_mm], [row + 0.92] * 2, color=BLACK, linewidth=3, solid_capstyle="butt")
    axes.text(
        middle,
        row + 0.45,
        spot.fate,
        ha="center",
        va="center",
        fontsize=8,
        color=ink,
        bbox={"facecolor": ground, "edgecolor": BLACK, "linewidth": 0.8, "linestyle": style, "pad": 1.5},
    )


def _draw_gaps(axes: Axes, compared: Compared) -> None:
    shift = compared.record.shift_mm
    before, after = compared.before.judged.joint, compared.after.judged.joint
    _draw_one(axes, before, 0.0, "before", BLUE, _DASHED, "////")
    _draw_one(axes, after, shift, "after", BLACK, "-", "")
    _draw_limits(axes, before.limit_mm, after.limit_mm)
    first, last = _reach(compared)
    axes.set_xlim(first, last)
    tops = [np.nanmax(np.append(one.gap_mm + COVERAGE_FACTOR * one.u_gap_mm, 0.0)) for one in (before, after)]
    axes.set_ylim(0.0, 1.2 * max(*tops, before.limit_mm, after.limit_mm))
    axes.set_ylabel("gap, mm")
    _plain(axes)
    axes.legend(loc="upper left", ncols=5, fontsize=9, framealpha=0.9)


def _draw_one(
    axes: Axes, joint: JudgedJoint, shift_mm: float, name: str, colour: str, style: object, hatch: str
) -> None:
    places = joint.station_mm + shift_mm
    half_mm = COVERAGE_FACTOR * joint.u_gap_mm
    axes.fill_between(
        places,
        np.maximum(joint.gap_mm - half_mm, 0.0),
        np.maximum(joint.gap_mm + half_mm, 0.0),
        facecolor="none" if hatch else GREY,
        edgecolor=colour if hatch else "none",
        hatch=hatch or None,
        alpha=0.35,
        linewidth=0.5 if hatch else 0,
    )
    axes.plot(
        places,
        np.maximum(joint.gap_mm, 0.0),
        color=colour,
        linestyle=style,
        linewidth=1.5,
        label=f"{name}, with 95 % interval",
    )
    unseen = ~joint.seen
    if unseen.any():
        # A row of its own at the foot for each, so that holes before and after are told apart.
        foot = np.full(int(unseen.sum()), 0.045 if name == "before" else 0.02)
        axes.plot(
            places[unseen],
            foot,
            "x" if name == "before" else "|",
            color=colour,
            markersize=4,
            transform=axes.get_xaxis_transform(),
            label=f"unseen {name}",
        )


def _draw_limits(axes: Axes, before_mm: float, after_mm: float) -> None:
    limits = {after_mm: "limit"} if before_mm == after_mm else {before_mm: "limit before", after_mm: "limit"}
    for limit_mm, words in limits.items():
        draw_limit(axes, limit_mm, words)


def _draw_change(axes: Axes, compared: Compared, caption: str) -> None:
    """After less before, with its 95 % band and the zero line."""
    from matplotlib.ticker import MaxNLocator

    change = compared.comparison.change
    half_mm = COVERAGE_FACTOR * change.u_change_mm
    axes.fill_between(
        change.place_mm,
        change.change_mm - half_mm,
        change.change_mm + half_mm,
        color=GREY,
        alpha=0.35,
        linewidth=0,
    )
    axes.plot(change.place_mm, change.change_mm, color=BLACK, linewidth=1.0)
    axes.axhline(0.0, color=GREY, linewidth=1.0)
    axes.set_ylabel("after − before, mm")
    axes.set_xlabel("place along the joint from the datum mark of the photo before, mm", loc="left")
    axes.xaxis.set_major_locator(MaxNLocator(nbins=12, steps=[1, 2, 5, 10]))
    _plain(axes)
    axes.text(
        1.0,
        -0.32,
        caption if len(caption) <= 110 else caption[:109] + "…",
        transform=axes.transAxes,
        ha="right",
        va="top",
        fontsize=8,
        color=GREY,
        parse_math=False,
    )


def _plain(axes: Axes) -> None:
    axes.grid(True, color="#cccccc", linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _reach(compared: Compared) -> tuple[float, float]:
    """From where to where both reach, by places as before [mm]."""
    shift = compared.record.shift_mm
    before, after = compared.before.judged.joint, compared.after.judged.joint
    first = min(float(before.cell_start_mm[0]), float(after.cell_start_mm[0]) + shift)
    last = max(float(before.cell_end_mm[-1]), float(after.cell_end_mm[-1]) + shift)
    return first, last
