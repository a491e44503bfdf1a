"""The plots of a gauge study: components, readings by part, by person, and persons over the parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fitup.evidence.palette import BLACK, GREY, VERMILLION
from fitup.study.crossed import CrossedStudy
from fitup.study.gauge_words import GOOD_SHARE, USABLE_SHARE
from fitup.study.pictures import MARKS, SIDE_COLOURS, dress, new_figure, plain_legend, short

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["gauge_figure"]

_SIZE_INCH = (10.0, 5.0)
_MOST_NAMED = 24
_BARS = (
    ("of contribution", "share_of_contribution", "", BLACK),
    ("of study variation", "share_of_study", "//", "#bbbbbb"),
    ("of the limit", "share_of_tolerance", "", "#0072b2"),
)


def gauge_figure(study: CrossedStudy) -> Figure:
    """Four plots; persons differ by mark and line as well as by colour."""
    figure = new_figure(*_SIZE_INCH)
    (bars, by_part), (by_person, crossing) = figure.subplots(2, 2)
    _components(bars, study)
    _by_part(by_part, study)
    _by_person(by_person, study)
    _crossing(crossing, study)
    return figure


def _components(axes: Axes, study: CrossedStudy) -> None:
    shown = (
        ("GRR", study.grr),
        ("repeat-\nability EV", study.repeatability),
        ("reproduc-\nibility AV", study.reproducibility),
        ("parts PV", study.part),
    )
    width = 0.27
    for k, (words, field, hatch, colour) in enumerate(_BARS):
        shares = [100 * getattr(one, field) for _, one in shown]
        axes.bar(
            np.arange(len(shown)) + (k - 1) * width,
            [min(share, 100.0) for share in shares],
            width * 0.92,
            color=colour,
            hatch=hatch,
            edgecolor="black",
            linewidth=0.4,
            label=words,
        )
        for place, share in zip(np.arange(len(shown)) + (k - 1) * width, shares, strict=True):
            axes.annotate(
                f"{share:.0f}" if share >= 9.95 else f"{share:.1f}",
                (place, min(share, 100.0)),
                xytext=(0, 1),
                textcoords="offset points",
                ha="center",
                fontsize=7,
            )
    axes.set_ylim(0, 112)
    for level in (GOOD_SHARE, USABLE_SHARE):
        axes.axhline(100 * level, color=VERMILLION, linewidth=1.0, linestyle=(0, (6, 2)))
    axes.set_xticks(range(len(shown)), [name for name, _ in shown])
    dress(axes, "Shares of every component", "dashed: 10 % and 30 % of the limit; bars end at 100 %", "%")
    plain_legend(axes)


def _by_part(axes: Axes, study: CrossedStudy) -> None:
    value = study.cross.value_mm
    for j in range(value.shape[1]):
        places = np.repeat(np.arange(len(value)), value.shape[2]) + _aside(j, value.shape[1])
        axes.plot(
            places, value[:, j].ravel(), linestyle="none", **_look(j), label=short(study.cross.persons[j])
        )
    axes.plot(np.arange(len(value)), value.mean(axis=(1, 2)), color=GREY, linewidth=1.2, zorder=1)
    _name_ticks(axes, study.cross.parts)
    dress(axes, "Readings by part", "part; grey: mean", "reading, mm")
    plain_legend(axes, ncols=2)


def _by_person(axes: Axes, study: CrossedStudy) -> None:
    """Deviations from the part's mean: else the parts' own spread hides the persons."""
    value = study.cross.value_mm - study.cross.value_mm.mean(axis=(1, 2))[:, None, None]
    count = value.shape[1]
    spread = np.linspace(-0.28, 0.28, value.shape[0] * value.shape[2])
    for j in range(count):
        axes.plot(j + spread, value[:, j].ravel(), linestyle="none", **_look(j))
        axes.plot([j - 0.35, j + 0.35], [value[:, j].mean()] * 2, color=BLACK, linewidth=2.0)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    _name_ticks(axes, study.cross.persons)
    axes.set_xlim(-0.6, count - 0.4)
    dress(
        axes,
        "Readings by person, less the part's mean",
        "person or phone; bar: mean",
        "deviation, mm",
    )


def _crossing(axes: Axes, study: CrossedStudy) -> None:
    """Lines that run alike: no interaction."""
    value = study.cross.value_mm
    cell = value.mean(axis=2) - value.mean(axis=(1, 2))[:, None]
    for j in range(cell.shape[1]):
        look = _look(j)
        axes.plot(
            np.arange(len(cell)),
            cell[:, j],
            linewidth=1.0,
            linestyle=("-", "--", ":", "-.")[j % 4],
            **look,
            label=short(study.cross.persons[j]),
        )
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    _name_ticks(axes, study.cross.parts)
    dress(axes, "Part × person, less the part's mean", "part", "deviation of means, mm")


def _look(index: int) -> dict[str, Any]:
    return {
        "marker": MARKS[index % len(MARKS)],
        "color": SIDE_COLOURS[index % len(SIDE_COLOURS)],
        "markersize": 4.0,
        "markerfacecolor": "none",
    }


def _aside(index: int, count: int) -> float:
    return 0.5 * ((index + 0.5) / count - 0.5)


def _name_ticks(axes: Axes, names: tuple[str, ...]) -> None:
    """Names while they fit, else every so many."""
    step = -(-len(names) // _MOST_NAMED)
    shown = range(0, len(names), step)
    long = max(len(names[k]) for k in shown) * len(shown) > 60
    axes.set_xticks(list(shown), [short(names[k]) for k in shown], parse_math=False)
    if long:
        axes.tick_params(axis="x", labelrotation=60)
