"""The coverage suite as one picture: error, coverage and share seen for every factor, with what is wanted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from tests.bench.suite_figures import COVERAGE, SEEN_SHARE, WORST_COVERAGE

__all__ = ["draw_suite"]

WIDEST_MM = 0.25  # of the errors' axis
LEAST_SHOWN = 0.7  # of the shares' axes
INK, GOOD, BAD, PALE = "#222222", "#1b6e53", "#b3261e", "#dfe9e4"


def draw_suite(result: dict[str, Any], path: Path) -> None:
    """Write the picture (PNG) of the figures of `suite_figures`."""
    rows = [result["overall"], result["good"], *result["by_factor"]]
    names = [f"{row['factor']}  ({row['photos']})" for row in rows]
    figure, axes = plt.subplots(1, 4, figsize=(13, 1.6 + 0.26 * len(rows)), sharey=True, dpi=110,
                                width_ratios=(3, 3, 3, 1.6))  # fmt: skip
    _errors(axes[0], rows)
    _coverage(axes[1], rows)
    _seen(axes[2], rows)
    _counts(axes[3], rows)
    axes[0].set_yticks(range(len(rows)), names, color=INK, fontsize=9)
    axes[0].set_ylim(len(rows) - 0.4, -0.6)
    for ax in axes:
        ax.axhline(1.5, color=INK, lw=0.6)
        ax.tick_params(axis="y", length=0)
        ax.spines[["top", "right", "left"]].set_visible(False)
    figure.suptitle(
        f"{result['photos']} photos of known truth: {result['scenes']} scenes seen by {result['cameras']} "
        "cameras (photos of each factor in brackets)",
        fontsize=11,
        color=INK,
    )
    figure.tight_layout(rect=(0, 0, 1, 0.995))
    path.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(path, metadata={"Software": None})
    plt.close(figure)


def _errors(ax: Axes, rows: list[dict[str, Any]]) -> None:
    for y, row in enumerate(rows):
        if row["bias_mm"] is None:
            continue
        ax.barh(y, 2 * row["mean_u_mm"], left=-row["mean_u_mm"], height=0.62, color=PALE)
        low, high = row["bias_mm"] - row["rms_mm"], row["bias_mm"] + row["rms_mm"]
        ax.plot([low, high], [y, y], color=INK, lw=1)
        ax.plot(row["bias_mm"], y, "o", color=INK, ms=4)
        if high > WIDEST_MM:
            ax.text(WIDEST_MM, y, f" bias {row['bias_mm']:+.2f} ± {row['rms_mm']:.2f} ▸", ha="right",
                    va="bottom", fontsize=7, color=INK)  # fmt: skip
    ax.set_xlim(-WIDEST_MM, WIDEST_MM)
    ax.axvline(0, color=INK, lw=0.6)
    ax.set_title("gap less truth, mm\npoint: bias, line: ± rms, pale: ± stated u", fontsize=9)


def _coverage(ax: Axes, rows: list[dict[str, Any]]) -> None:
    ax.axvspan(*COVERAGE, color=PALE)
    ax.axvline(WORST_COVERAGE, color=BAD, lw=0.8, ls="--")
    _points(ax, [row["coverage_95"] for row in rows], WORST_COVERAGE)
    ax.set_title("truth inside the 95 % interval\npale: wanted of all, dashed: of each factor", fontsize=9)


def _seen(ax: Axes, rows: list[dict[str, Any]]) -> None:
    _points(ax, [row["seen_share"] for row in rows], 0)
    wanted = rows[1]["seen_share"]
    if wanted is not None and wanted < SEEN_SHARE:
        ax.plot(wanted, 1, "o", color=BAD, ms=6)
    ax.plot([SEEN_SHARE, SEEN_SHARE], [0.6, 1.4], color=BAD, lw=0.8, ls="--")
    ax.set_title("share of stations seen\n(refused photos: none)", fontsize=9)


def _points(ax: Axes, values: list[float | None], least: float) -> None:
    known = [(y, value) for y, value in enumerate(values) if value is not None]
    ax.hlines([y for y, _ in known], [v for _, v in known], 1, color=PALE, lw=1)
    for y, value in known:
        colour = GOOD if value >= least else BAD
        ax.plot(max(value, LEAST_SHOWN), y, "o" if value >= LEAST_SHOWN else "<", color=colour, ms=5,
                clip_on=False)  # fmt: skip
        if value < LEAST_SHOWN:
            ax.text(LEAST_SHOWN + 0.012, y, f"{value:.2f}", va="center", fontsize=8, color=colour)
    ax.set_xlim(LEAST_SHOWN, 1.005)


def _counts(ax: Axes, rows: list[dict[str, Any]]) -> None:
    for y, row in enumerate(rows):
        for x, key in enumerate(("openings", "missed", "within_wrong", "false_over")):
            wrong = key != "openings" and row[key] > 0
            ax.text(x, y, row[key], ha="center", va="center", fontsize=9, color=BAD if wrong else INK,
                    fontweight="bold" if wrong else "normal")  # fmt: skip
    ax.set_xlim(-0.5, 3.5)
    ax.set_xticks(range(4), ["openings", "missed", "joint\nwithin", "false\nover"], rotation=90, fontsize=8)
    ax.set_title("openings ≥ 3 mm\nand false spots", fontsize=9)
