"""The gap along the joint as a plot: readings, 95 % band, limit, states by colour and by mark."""

from __future__ import annotations

import io
import logging
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.joint_drawing import runs
from fitup.evidence.palette import BLACK, GREY, SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, VERMILLION
from fitup.evidence.subject import Profiled
from fitup.evidence.words import COVERAGE_FACTOR, gap_and_where

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Beside", "draw_limit", "plot_png"]

Array64 = NDArray[np.float64]

_SIZE_INCH = (11.0, 4.6)
_DOTS_PER_INCH = 150
_MARKS = {"within": ".", "doubtful": "D", "over": "^"}
_TOOTH_MM = 2.0
_STEP_INCH = 1.5
_LINES = ((0, (1, 1)), (0, (4, 1.5)))
_MARK_SIZES = {"within": 3.5, "doubtful": 4.5, "over": 6.0}


@dataclass(frozen=True, kw_only=True, eq=False)
class Beside:
    """What is drawn beside the gap, all (N,) [mm]: lines by their words, and the step between the plates."""

    lines: Mapping[str, Array64] = field(default_factory=dict)
    step_mm: Array64 | None = None
    u_step_mm: Array64 | None = None


def plot_png(
    subject: Profiled,
    caption: str = "",
    photos: Sequence[tuple[str, float, float]] = (),
    between: str = "",
    beside: Beside | None = None,
) -> bytes:
    """The plot as a PNG of 1650 × 690 px, higher with a step; the same inspection gives the same bytes.

    `photos` are names and the stretches [mm] that they show, where there are several; `between` says what the
    gap is, as "between the inner arrises".
    The plotting library is loaded here and not with the module: it is slow to load.
    """
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells of its font cache on stderr
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    beside = beside or Beside()
    width, height = _SIZE_INCH
    size = (width, height if beside.step_mm is None else height + _STEP_INCH)
    figure = Figure(figsize=size, dpi=_DOTS_PER_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    if beside.step_mm is None:
        axes = figure.add_subplot()
    else:
        upper, axes = figure.subplots(2, 1, height_ratios=(_STEP_INCH, height), sharex=True)
    _draw_lines(axes, subject, beside.lines)
    _draw_readings(axes, subject)
    _draw_unseen(axes, subject)
    _draw_short_lands(axes, subject)
    draw_limit(axes, subject.verdict.limit.limit_mm)
    _dress(axes, subject, caption, between)
    if beside.step_mm is not None:  # the title goes over all
        upper.set_title(axes.get_title(loc="left"), loc="left", fontweight="bold", parse_math=False)
        axes.set_title("", loc="left")
        _draw_step(upper, subject, beside)
    _draw_photos(axes, photos)
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()


def _draw_lines(axes: Axes, subject: Profiled, lines: Mapping[str, Array64]) -> None:
    for index, (words, values) in enumerate(lines.items()):
        axes.plot(
            subject.profile.station_mm,
            np.maximum(values, 0.0),
            color=GREY,
            linewidth=1.0,
            linestyle=_LINES[index % len(_LINES)],
            label=words,
        )


def _draw_step(axes: Axes, subject: Profiled, beside: Beside) -> None:
    """The step with its 95 % band, in a plot of its own: it has a sign."""
    at, step, u = subject.profile.station_mm, beside.step_mm, beside.u_step_mm
    if step is None or u is None:
        return
    half_mm = COVERAGE_FACTOR * u
    axes.fill_between(at, step - half_mm, step + half_mm, color=GREY, alpha=0.35, linewidth=0)
    axes.plot(at, step, color=BLACK, linewidth=0.8)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    axes.set_ylabel("step, mm")
    axes.grid(True, color="#cccccc", linewidth=0.5)
    axes.spines[["top", "right"]].set_visible(False)


def _draw_readings(axes: Axes, subject: Profiled) -> None:
    profile = subject.profile
    half_mm = COVERAGE_FACTOR * profile.u_gap_mm
    axes.fill_between(
        profile.station_mm,
        np.maximum(profile.gap_mm - half_mm, 0.0),
        np.maximum(profile.gap_mm + half_mm, 0.0),
        color=GREY,
        alpha=0.35,
        linewidth=0,
        label="95 % interval",
    )
    axes.plot(profile.station_mm, np.maximum(profile.gap_mm, 0.0), color=BLACK, linewidth=0.8)
    states = np.array([str(state) for state in subject.verdict.states])
    for state, mark in _MARKS.items():
        shown = states == state
        if not shown.any():
            continue
        axes.plot(
            profile.station_mm[shown],
            np.maximum(profile.gap_mm[shown], 0.0),
            mark,
            color=STATE_LOOKS[state].colour,
            markersize=_MARK_SIZES[state],
            markeredgecolor="white" if state != "within" else STATE_LOOKS[state].colour,
            markeredgewidth=0.4,
            label=state,
        )


def _draw_unseen(axes: Axes, subject: Profiled) -> None:
    profile = subject.profile
    half_mm = profile.step_mm / 2
    label = "unseen"
    for state, first, end in runs([str(state) for state in subject.verdict.states]):
        if state != "unseen":
            continue
        axes.axvspan(
            profile.station_mm[first] - half_mm,
            profile.station_mm[end - 1] + half_mm,
            facecolor="#e6e6e6",
            edgecolor=GREY,
            hatch="//",
            linewidth=0.5,
            label=label,
            zorder=0,
        )
        label = "_nolegend_"


def _draw_short_lands(axes: Axes, subject: Profiled) -> None:
    """A row of teeth along the foot of the plot."""
    label = SHORT_LAND
    for spot in subject.verdict.spots:
        if str(spot.state) != SHORT_LAND:
            continue
        count = max(1, round((spot.end_mm - spot.start_mm) / _TOOTH_MM))
        places = spot.start_mm + (np.arange(count) + 0.5) * (spot.end_mm - spot.start_mm) / count
        axes.plot(
            places,
            np.full(count, 0.025),
            "v",
            color=SPOT_LOOKS[SHORT_LAND].colour,
            markersize=7.0,
            transform=axes.get_xaxis_transform(),
            label=label,
        )
        label = "_nolegend_"


def draw_limit(axes: Axes, limit_mm: float, words: str = "limit") -> None:
    """Dashed line at the limit [mm], with its words and number at the right end."""
    axes.axhline(limit_mm, color=VERMILLION, linewidth=1.6, linestyle=(0, (6, 2)))
    axes.annotate(
        f"{words} {limit_mm:.2f} mm",
        (1.0, limit_mm),
        xycoords=("axes fraction", "data"),
        xytext=(-4, 4),
        textcoords="offset points",
        ha="right",
        fontsize=10,
        fontweight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
    )


def _draw_photos(axes: Axes, photos: Sequence[tuple[str, float, float]]) -> None:
    """Which photo shows which stretch: bars over the plot, in two rows since neighbours overlap."""
    for index, (name, start_mm, end_mm) in enumerate(photos):
        height = 0.035 * (1 + index % 2)
        axes.axvspan(start_mm, end_mm, 1 - height, 1 - height + 0.03, facecolor=GREY, alpha=0.25, zorder=1)
        name = name if len(name) <= 24 else name[:23] + "…"
        axes.annotate(
            name,
            ((start_mm + end_mm) / 2, 1 - height + 0.015),
            xycoords=("data", "axes fraction"),
            ha="center",
            va="center",
            fontsize=7,
            annotation_clip=True,
            parse_math=False,
        )
    if photos:
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, 0.92), ncols=6, fontsize=9, framealpha=0.9)


def _dress(axes: Axes, subject: Profiled, caption: str, between: str) -> None:
    from matplotlib.ticker import MaxNLocator

    profile, verdict = subject.profile, subject.verdict
    half_mm = profile.step_mm / 2
    axes.set_xlim(profile.station_mm[0] - half_mm, profile.station_mm[-1] + half_mm)
    top_mm = np.nanmax(np.append(profile.gap_mm + COVERAGE_FACTOR * profile.u_gap_mm, 0.0))
    axes.set_ylim(0.0, 1.15 * max(float(top_mm), 1.1 * verdict.limit.limit_mm))
    axes.set_xlabel("place along the joint from the datum mark, mm", loc="left")
    words = f"gap {between}".strip()
    axes.set_ylabel(f"{words}, mm", fontsize=10 if len(words) < 40 else 8)
    axes.grid(True, color="#cccccc", linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    # parse_math off: a dollar sign in a photo's name is a dollar sign.
    title = f"{str(verdict.word).upper()}: largest gap {gap_and_where(verdict)}"
    axes.set_title(title, loc="left", fontweight="bold", parse_math=False)
    name = caption if len(caption) <= 150 else caption[:149] + "…"
    axes.text(
        1.0,
        -0.13,
        name,
        transform=axes.transAxes,
        ha="right",
        va="top",
        fontsize=8,
        color=GREY,
        parse_math=False,
    )
    axes.xaxis.set_major_locator(MaxNLocator(nbins=12, steps=[1, 2, 5, 10]))
    axes.legend(loc="upper left", ncols=6, fontsize=9, framealpha=0.9)
