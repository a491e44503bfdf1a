"""A study of recurring spots as one picture for the fitter: map of all parts, shares, gaps, control chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fitup.evidence.archive.profile_reading import POSITION_STEP_MM, UNSEEN_UM
from fitup.evidence.palette import BLACK, BLUE, GREY, VERMILLION
from fitup.evidence.plot import draw_limit
from fitup.study.pictures import as_png, dress, new_figure
from fitup.study.position_map import quarters
from fitup.study.recurring import Recurring
from fitup.study.recurring_shares import clopper_pearson
from fitup.study.recurring_words import change_title, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["recurring_png"]

_SIZE_INCH = (11.0, 12.0)
_HEIGHTS = (4.6, 2.2, 2.0, 2.4)
_MOST_ROWS = 300
_PALE = "#cfcfcf"  # a gap just within the limit; all gaps over it are darker in grey as well
_MOST_WORDS = 110


def recurring_png(study: Recurring, caption: str) -> bytes:
    """The picture as a PNG of 1650 × 1800 px; the same study gives the same bytes."""
    figure = new_figure(*_SIZE_INCH)
    grid = figure.add_gridspec(4, 1, height_ratios=_HEIGHTS)
    top = figure.add_subplot(grid[0])
    shares, gaps = (figure.add_subplot(grid[row], sharex=top) for row in (1, 2))
    _draw_map(figure, top, study)
    _draw_shares(shares, study)
    _draw_gaps(gaps, study)
    _draw_chart(figure.add_subplot(grid[3]), study)
    _title(figure, study, caption)
    return as_png(figure)


def _title(figure: Figure, study: Recurring, caption: str) -> None:
    lines = [title_of(study)]
    if study.change is not None:
        lines.append(change_title(study.change))
    figure.suptitle("\n".join(lines), x=0.01, ha="left", fontweight="bold", fontsize=14, parse_math=False)
    short = caption if len(caption) <= _MOST_WORDS else caption[: _MOST_WORDS - 1] + "…"
    figure.supxlabel(short, x=0.99, ha="right", fontsize=9, color=GREY, parse_math=False)


def _draw_map(figure: Figure, axes: Axes, study: Recurring) -> None:
    """Parts from above in the order of time, many of them together in one row."""
    from matplotlib.colors import LinearSegmentedColormap

    parts, limit = study.parts, study.limit_mm
    together = -(-len(parts) // _MOST_ROWS)
    picture = _rows_of_map(study, together)
    tints = LinearSegmentedColormap.from_list(
        "gap", [(0.0, "#ffffff"), (0.5, _PALE), (0.5, VERMILLION), (1.0, BLACK)]
    )
    half = POSITION_STEP_MM / 2
    x = (float(parts.position_mm[0]) - half, float(parts.position_mm[-1]) + half)
    axes.patch.set(facecolor="white", edgecolor=GREY, hatch="////", linewidth=0)
    shown = axes.imshow(
        np.ma.masked_invalid(picture),
        cmap=tints,
        vmin=0.0,
        vmax=2 * limit,
        aspect="auto",
        interpolation="nearest",
        extent=(*x, len(parts) + 0.5, 0.5),
    )
    bar = figure.colorbar(shown, ax=axes, pad=0.01, fraction=0.03, ticks=[0, limit, 2 * limit])
    bar.ax.set_yticklabels(["closed", f"limit\n{limit:.2f} mm", "twice\nthe limit"], fontsize=8)
    each = "each row a part" if together == 1 else f"each row {together} parts: a quarter of them is wider"
    axes.set_title(f"gap by part and place; {each}; hatched: not seen", loc="left", fontsize=10)
    ticks = np.unique(np.linspace(0, len(parts) - 1, min(8, len(parts))).astype(int))
    axes.set_yticks(ticks + 1, [str(parts.day[tick]) for tick in ticks], fontsize=8)
    axes.set_ylabel("day; later below", fontsize=9)
    if study.change is not None:
        _mark_day(axes, study)
    for spot in study.spots:
        axes.axvspan(spot.start_mm, spot.end_mm, ymin=0.985, ymax=1.0, color=BLACK, linewidth=0)
        axes.axvspan(spot.start_mm, spot.end_mm, ymin=0.0, ymax=0.015, color=BLACK, linewidth=0)
    axes.tick_params(labelbottom=False)


def _rows_of_map(study: Recurring, together: int) -> Any:
    """(rows, P) gaps [mm]: of every part, or the upper quarter of every few parts; NaN where unseen."""
    gap_um = study.parts.gap_um
    if together == 1:
        return np.where(gap_um == UNSEEN_UM, np.nan, gap_um / 1000.0)
    starts = range(0, len(gap_um), together)
    blocks = [gap_um[start : start + together] for start in starts]
    return np.array([quarters(block, (block != UNSEEN_UM).sum(axis=0))[2] for block in blocks])


def _mark_day(axes: Axes, study: Recurring) -> None:
    change = study.change
    if change is None or not change.parts_before or not change.parts_after:
        return
    at = change.parts_before + 0.5
    axes.axhline(at, color="white", linewidth=4.0)
    axes.axhline(at, color=BLUE, linewidth=2.0, linestyle=(0, (6, 2)))
    axes.annotate(
        f"changed {change.day}",
        (1.0, at),
        xycoords=("axes fraction", "data"),
        xytext=(-4, 3),
        textcoords="offset points",
        ha="right",
        fontsize=9,
        color=BLUE,
        fontweight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0},
    )


def _draw_shares(axes: Axes, study: Recurring) -> None:
    """How many parts are open, by place; with a change before and after it."""
    at = study.map.position_mm
    after = np.zeros(len(study.parts), bool)
    if study.change is not None:
        after = study.parts.day >= np.datetime64(study.change.day)
    sides = [(~after, "before", BLUE, (0, (4, 2))), (after, "after", BLACK, "solid")]
    if not after.any() or after.all():
        sides = [(np.ones(len(after), bool), "share of parts open", BLACK, "solid")]
    most = 0.1
    for rows, words, colour, pattern in sides:
        seen, opened = study.state.seen[rows].sum(axis=0), study.state.open[rows].sum(axis=0)
        low, high = clopper_pearson(opened, seen)
        share = np.where(seen > 0, opened / np.maximum(seen, 1), np.nan)
        some = seen > 0
        most = max(most, float(high[some].max(initial=0.0)))
        axes.fill_between(at, 100 * low, 100 * high, where=some, color=colour, alpha=0.18, linewidth=0)
        axes.plot(at, 100 * share, color=colour, linewidth=1.4, linestyle=pattern, label=words)
    for spot in study.spots:
        axes.annotate(
            f"{spot.at_mm:.0f} mm\n{100 * spot.share:.0f} %",
            (spot.at_mm, 100 * spot.high),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            fontsize=9,
            fontweight="bold",
        )
    axes.set_ylim(0.0, 145.0 * most)
    axes.legend(loc="upper left", fontsize=8, ncols=2, title="with 95 % interval", title_fontsize=8)
    dress(axes, "", "", "parts open, %")
    axes.tick_params(labelbottom=False)


def _draw_gaps(axes: Axes, study: Recurring) -> None:
    shown = study.map
    axes.fill_between(
        shown.position_mm,
        shown.low_mm,
        shown.high_mm,
        color=GREY,
        alpha=0.4,
        linewidth=0,
        label="half of the parts",
    )
    axes.plot(shown.position_mm, shown.median_mm, color=BLACK, linewidth=1.2, label="median gap")
    draw_limit(axes, study.limit_mm)
    top = float(np.nanmax(np.append(shown.high_mm, 0.0)))
    axes.set_ylim(0.0, 1.25 * max(top, study.limit_mm))
    axes.legend(loc="upper left", fontsize=8, ncols=2)
    dress(axes, "", "place along the joint from the datum mark, mm", "gap, mm")


def _draw_chart(axes: Axes, study: Recurring) -> None:
    """The largest gap of every part in the order of time."""
    largest = study.largest
    order = np.arange(1, len(study.parts) + 1)
    few = ~largest.counts & np.isfinite(largest.gap_mm)
    size = 3.5 if len(order) <= 1000 else 1.5
    if few.any():
        axes.plot(
            order[few],
            largest.gap_mm[few],
            "o",
            color=GREY,
            fillstyle="none",
            markersize=size + 1,
            label="partly seen",
        )
    for phase in study.phases:
        _draw_phase(axes, study, phase.rows, phase.chart, size, labelled=phase is study.phases[0])
    draw_limit(axes, study.limit_mm)
    axes.set_ylim(0.0, 1.2 * axes.get_ylim()[1])  # room for the legend
    axes.set_xlim(0.5, len(order) + 0.5)
    axes.legend(loc="upper left", fontsize=8, ncols=6, framealpha=0.9)
    limits = "control limits for individuals by the moving range (ISO 7870-2)"
    dress(axes, "", f"part, in the order of time; {limits}", "largest gap, mm")


def _draw_phase(axes: Axes, study: Recurring, rows: Any, chart: Any, size: float, *, labelled: bool) -> None:
    at, gap = rows + 1, study.largest.gap_mm[rows]

    def named(words: str) -> str:
        return words if labelled else "_nolegend_"

    axes.plot(at, gap, ".", color=BLACK, markersize=size, label=named("part"))
    if not np.isfinite(chart.upper_mm):
        return
    ends = (at[0] - 0.5, at[-1] + 0.5)
    axes.hlines(chart.centre_mm, *ends, color=GREY, linewidth=1.0, label=named("median"))
    axes.hlines(
        (chart.lower_mm, chart.upper_mm),
        *ends,
        color=BLUE,
        linewidth=1.2,
        linestyle="dashed",
        label=named("3 sigma"),
    )
    for mask, mark, colour, words in (
        (chart.in_a_row, "D", BLUE, "nine in a row"),
        (chart.beyond, "^", VERMILLION, "beyond"),
    ):
        if mask.any():
            axes.plot(
                at[mask],
                gap[mask],
                mark,
                color=colour,
                markeredgecolor=BLACK,
                markersize=size + 2,
                label=words,
            )
