"""The chance of a sound weld against the gap as a picture: curve, band, the welds themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitup.evidence.palette import BLACK, BLUE, GREY, VERMILLION
from fitup.study.outcome import SOUND_SHARE, OutcomeStudy
from fitup.study.outcome_model import OutcomeModel, chance_interval
from fitup.study.outcome_words import answer_words, counted_words, subject_words
from fitup.study.pictures import as_png, dress, new_figure
from fitup.study.recurring_shares import clopper_pearson

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["outcome_png"]

_SIZE_INCH = (9.0, 6.0)
_PLACES = 61
_WELDS_PER_BIN = 25
_MOST_BINS = 12
# Marks differ in shape and height, not only in colour.
_MARKS = {"sound": ("|", BLACK, 106.0), "repaired": ("D", BLUE, -5.0), "scrapped": ("X", VERMILLION, -9.0)}


def outcome_png(study: OutcomeStudy) -> bytes:
    """The picture as a PNG of 1350 × 900 px; the same study gives the same bytes."""
    figure = new_figure(*_SIZE_INCH)
    axes = figure.add_subplot()
    gap_mm = np.array([weld.gap_mm for weld in study.welds])
    sound = np.array([weld.sound for weld in study.welds], dtype=bool)
    end = 1.08 * max(float(gap_mm.max()), 0.1)
    if study.model is not None:
        _draw_line(axes, study.model, float(gap_mm.min()), float(gap_mm.max()))
    _draw_shares(axes, gap_mm, sound)
    _draw_welds(axes, study)
    if study.interval is not None and not study.reason:
        _draw_answer(axes, study)
    axes.set_xlim(0.0, end)
    axes.set_ylim(-13.0, 111.0)
    axes.set_yticks([0, 20, 40, 60, 80, 95, 100])
    title = f"{subject_words(study)}: {answer_words(study)}"
    dress(axes, title, f"largest gap before welding, mm; {counted_words(study)}", "sound welds, %")
    axes.title.set_wrap(True)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 0.13), fontsize=8)
    figure.supxlabel("changes no rule: the procedure decides", x=0.99, ha="right", fontsize=8, color=GREY)
    return as_png(figure)


def _draw_line(axes: Axes, model: OutcomeModel, first_mm: float, last_mm: float) -> None:
    """The curve with its band, only over gaps that were welded."""
    at = np.linspace(first_mm, last_mm, _PLACES)
    band = np.array([chance_interval(model, float(gap)) for gap in at])
    axes.fill_between(at, 100 * band[:, 0], 100 * band[:, 1], color=GREY, alpha=0.3, linewidth=0)
    axes.plot(at, 100 * model.chance(at), color=BLACK, linewidth=1.6, label="chance, with 95 % band")


def _draw_shares(axes: Axes, gap_mm: np.ndarray, sound: np.ndarray) -> None:
    """Shares counted in neighbouring gaps, with their own intervals: what the curve must agree with."""
    bins = int(np.clip(len(gap_mm) // _WELDS_PER_BIN, 1, _MOST_BINS))
    groups = np.array_split(np.argsort(gap_mm, kind="stable"), bins)
    at = np.array([gap_mm[one].mean() for one in groups])
    count, of = np.array([sound[one].sum() for one in groups]), np.array([len(one) for one in groups])
    low, high = clopper_pearson(count, of)
    share = count / of
    axes.errorbar(
        at,
        100 * share,
        yerr=(100 * (share - low), 100 * (high - share)),
        fmt="o",
        color=BLACK,
        markerfacecolor="white",
        markersize=5,
        linewidth=0.8,
        capsize=2,
        label="counted share of neighbouring gaps",
    )


def _draw_welds(axes: Axes, study: OutcomeStudy) -> None:
    for word, (mark, colour, height) in _MARKS.items():
        gaps = [weld.gap_mm for weld in study.welds if weld.word == word]
        if gaps:
            label = f"{word}: {len(gaps)}"
            axes.plot(gaps, np.full(len(gaps), height), mark, color=colour, markersize=5, label=label)


def _draw_answer(axes: Axes, study: OutcomeStudy) -> None:
    if study.interval is None:
        return
    axes.axhline(100 * SOUND_SHARE, color=GREY, linewidth=0.8, linestyle="dotted")
    axes.axvspan(
        max(0.0, study.interval.low_mm),
        study.interval.high_mm,
        facecolor="none",
        edgecolor=BLUE,
        hatch="///",
        alpha=0.35,
        linewidth=0,
        label="95 % sound: 95 % interval of the gap",
    )
    axes.axvline(study.gap_mm, color=BLUE, linewidth=1.8, linestyle=(0, (6, 2)))
    axes.annotate(
        f"{study.gap_mm:.2f} mm",
        (study.gap_mm, 45.0),
        xytext=(5, 0),
        textcoords="offset points",
        fontsize=11,
        fontweight="bold",
        color=BLUE,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0},
    )
