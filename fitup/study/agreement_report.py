"""An agreement of two instruments in words, as numbers, and on a page with a plot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from fitup import __version__
from fitup.evidence.palette import BLACK, BLUE, GREY, VERMILLION
from fitup.evidence.report.model import Report
from fitup.study.agreement import Agreement
from fitup.study.gauge_report import StudyFiling
from fitup.study.pictures import dress, new_figure
from fitup.study.study_page import PAGE_INCH, filed, finite, study_page
from fitup.study.york import YorkFit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["agreement_figure", "agreement_report", "agreement_sentences", "agreement_values"]

# Below so many the limits themselves are loose (common practice, no source).
_FEW_PAIRS = 20


def agreement_sentences(found: Agreement, names: tuple[str, str], york: YorkFit | None) -> tuple[str, ...]:
    """What an agreement says, one sentence each; the first is the headline."""
    low, high = found.limits
    interval = found.bias_interval
    said = [
        f"{names[0]} less {names[1]}: {found.bias:+.4f} mm on average; 95 % of differences lie between "
        f"{low:+.4f} and {high:+.4f} mm.",
        f"{found.count} pairs, standard deviation {found.sd:.4f} mm; 95 % interval of the mean difference "
        f"{interval[0]:+.4f} to {interval[1]:+.4f} mm, of the lower limit {_span(found.lower_interval)}, of "
        f"the upper {_span(found.upper_interval)}.",
    ]
    if found.count < _FEW_PAIRS:
        said.append(f"Fewer than {_FEW_PAIRS} pairs: go by the intervals of the limits, not by the limits.")
    apart = interval[0] > 0 or interval[1] < 0
    said.append(
        "The mean difference is no chance: one of them is off." if apart
        else "The mean difference could be chance."
    )  # fmt: skip
    if not math.isnan(found.trend_p):
        trend = "changes" if found.trend_p < 0.05 else "does not visibly change"
        said.append(
            f"The difference {trend} with the size of the gap (slope {found.trend_slope:+.4f}, p "
            f"{found.trend_p:.3f})"
            + ("; the limits hold in the middle only." if found.trend_p < 0.05 else ".")
        )
    if york is not None:
        line = york.widened
        said.append(
            f"With errors on both axes: {names[0]} = {line.intercept:+.4f} mm (u {line.u_intercept:.4f}) + "
            f"{line.slope:.5f} (u {line.u_slope:.5f}) x {names[1]}, chi-square {york.chi2:.2f} for {york.df}."
        )
    return tuple(said)


def agreement_values(found: Agreement, names: tuple[str, str], york: YorkFit | None) -> dict[str, Any]:
    """All numbers of an agreement, for machines."""
    values: dict[str, Any] = {
        "kind": "agreement",
        "fitup_version": __version__,
        "first": names[0],
        "second": names[1],
        "pairs": found.count,
        "mean_difference_mm": found.bias,
        "sd_mm": found.sd,
        "limits_mm": list(found.limits),
        "mean_interval_mm": list(found.bias_interval),
        "lower_interval_mm": list(found.lower_interval),
        "upper_interval_mm": list(found.upper_interval),
        "trend_slope": finite(found.trend_slope),
        "trend_p": finite(found.trend_p),
    }
    if york is not None:
        line = york.widened
        values["line"] = {"intercept_mm": line.intercept, "slope": line.slope,
                          "chi2": york.chi2, "df": york.df,
                          "u_intercept_mm": line.u_intercept, "u_slope": line.u_slope}  # fmt: skip
    return values


def agreement_report(
    found: Agreement, names: tuple[str, str], york: YorkFit | None, content: bytes, filing: StudyFiling
) -> Report:
    """The page of an agreement."""
    head, *rest = agreement_sentences(found, names, york)
    rows = [
        (
            "method",
            "differences by their means (Bland and Altman 1986); limits at 1.96 standard deviations.",
        ),
        *filed(filing),
    ]
    return study_page(
        filing.title or "Agreement of two instruments", head, rest, None, rows,
        agreement_figure(found, names),
        agreement_values(found, names, york), content, filing,
    )  # fmt: skip


def agreement_figure(found: Agreement, names: tuple[str, str]) -> Figure:
    """Differences by their means, with the limits of agreement and their intervals."""
    figure = new_figure(*PAGE_INCH)
    axes = figure.subplots()
    axes.plot(found.mean, found.difference, "o", color=BLACK, markersize=4, markerfacecolor="none")
    for level, interval, words in (
        (found.bias, found.bias_interval, "mean"),
        (found.limits[0], found.lower_interval, "lower limit"),
        (found.limits[1], found.upper_interval, "upper limit"),
    ):
        axes.axhspan(*interval, color=GREY, alpha=0.2, linewidth=0)
        dash = "-" if words == "mean" else (0, (6, 2))
        axes.axhline(level, color=BLUE if words == "mean" else VERMILLION, linewidth=1.4, linestyle=dash)
        axes.annotate(f"{words} {level:+.4f} mm", (1.0, level), xycoords=("axes fraction", "data"),
                      xytext=(-4, 3), textcoords="offset points", ha="right", fontsize=8)  # fmt: skip
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    dress(axes, f"{names[0]} less {names[1]}; grey: 95 % intervals", "mean of both, mm", "difference, mm")
    return figure


def _span(interval: tuple[float, float]) -> str:
    return f"{interval[0]:+.4f} to {interval[1]:+.4f} mm"
