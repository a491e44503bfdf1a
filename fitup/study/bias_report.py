"""A bias study in words, as numbers, and on a page with a plot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fitup import __version__
from fitup.evidence.palette import BLACK, BLUE, GREY, VERMILLION
from fitup.evidence.report.model import Report, Table
from fitup.study.bias_study import BiasStudy
from fitup.study.calibration_control import CalibrationControl
from fitup.study.capability import Capability, capability
from fitup.study.gauge_report import StudyFiling
from fitup.study.gauge_words import percent
from fitup.study.pictures import dress, new_figure, plain_legend
from fitup.study.quantiles import t_quantile
from fitup.study.study_page import PAGE_INCH, filed, finite, study_page

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "bias_report",
    "bias_sentences",
    "bias_values",
    "capability_of",
]

_MOST_ROWS = 15


def capability_of(study: BiasStudy, limit_mm: float) -> Capability:
    """The measuring system against a limit: references, linearity and repeatability on references."""
    u_cal = study.readings.u_reference_mm
    fit = study.fit
    u_lin = 0.0 if math.isnan(fit.u_linearity) else fit.u_linearity
    return capability(
        tolerance=limit_mm,
        u_cal=0.0 if u_cal is None else float(u_cal.max()),
        u_lin=u_lin,
        u_evr=fit.s if math.isnan(fit.u_repeat) else fit.u_repeat,
    )


def bias_sentences(study: BiasStudy, control: CalibrationControl | None = None) -> tuple[str, ...]:
    """What the study says, one sentence each; the first is the headline."""
    line, fit = study.line, study.fit
    ends = [float(line.bias(at)) for at in (line.low, line.high)]
    head = "A correction is proposed" if study.proposed else "No correction is proposed"
    said = [
        f"{head}: bias {ends[0]:+.4f} mm at {line.low:g} mm and {ends[1]:+.4f} mm at {line.high:g} mm.",
        study.reason,
        f"reading = {line.intercept:+.4f} mm (u {line.u_intercept:.4f}) + {line.slope:.5f} "
        f"(u {line.u_slope:.5f}) x reference, by {study.method}; mean bias {fit.mean_bias:+.4f} mm, residual "
        f"standard deviation {fit.s:.4f} mm.",
        _straightness(study),
    ]
    if study.proposed:
        said.append(
            f"Proposed: gap = (reading {-line.intercept:+.4f} mm) / {line.slope:.5f}, for gaps from "
            f"{line.low:g} to {line.high:g} mm."
        )
    if study.york is None:
        said.append("References count as exact: give a column u_reference_mm where they are not.")
    if control is not None:
        said.append(_control(control))
    return tuple(said)


def bias_values(study: BiasStudy, limit_mm: float | None = None) -> dict[str, Any]:
    """All numbers of a bias study, for machines."""
    line, fit = study.line, study.fit
    values: dict[str, Any] = {
        "kind": "bias study",
        "fitup_version": __version__,
        "readings": len(fit.reading),
        "method": study.method,
        "intercept_mm": line.intercept,
        "slope": line.slope,
        "u_intercept_mm": line.u_intercept,
        "u_slope": line.u_slope,
        "covariance_mm": line.covariance[0][1],
        "low_mm": line.low,
        "high_mm": line.high,
        "mean_bias_mm": fit.mean_bias,
        "residual_sd_mm": fit.s,
        "u_linearity_mm": finite(fit.u_linearity),
        "u_repeat_mm": finite(fit.u_repeat),
        "p_no_bias": study.p_none,
        "p_straight": finite(study.p_holds),
        "proposed": study.proposed,
        "reason": study.reason,
        "biases": [
            {"reference_mm": one.reference, "count": one.count, "bias_mm": one.bias,
             "low_mm": finite(one.low), "high_mm": finite(one.high)}
            for one in fit.biases
        ],
    }  # fmt: skip
    if limit_mm is not None:
        made = capability_of(study, limit_mm)
        values |= {"limit_mm": limit_mm, "u_ms_mm": made.u_ms, "q_ms": made.q_ms, "c_ms": made.c_ms}
    return values


def bias_report(
    study: BiasStudy, filing: StudyFiling, *, limit_mm: float | None, control: CalibrationControl | None
) -> Report:
    """The page of a bias study."""
    head, *rest = bias_sentences(study, control)
    rows = [
        (
            "readings",
            f"{len(study.fit.reading)} of {len(study.fit.biases)} references, {study.readings.source}",
        ),
        ("days", " to ".join(dict.fromkeys(study.readings.days)) or "not told in the readings"),
        ("phones", ", ".join(study.readings.phones) or "not told in the readings"),
        ("method", _method(study)),
        *filed(filing),
    ]
    if limit_mm is not None:
        rows.insert(0, ("of the limit", _capability(study, limit_mm)))
    table = Table(
        heads=("reference, mm", "readings", "bias, mm", "95 % interval, mm", "std dev., mm"),
        rows=tuple(
            (
                f"{one.reference:g}",
                f"{one.count}",
                f"{one.bias:+.4f}",
                "" if math.isnan(one.low) else f"{one.low:+.4f} – {one.high:+.4f}",
                "" if math.isnan(one.sd) else f"{one.sd:.4f}",
            )
            for one in study.fit.biases[:_MOST_ROWS]
        ),
        widths=(0.2, 0.15, 0.2, 0.25, 0.2),
        right=frozenset({0, 1, 2, 3, 4}),
    )
    values = bias_values(study, limit_mm)
    return study_page(
        filing.title or "Bias and linearity", head, rest, table, rows, bias_figure(study), values,
        study.readings.content, filing,
    )  # fmt: skip


def bias_figure(study: BiasStudy) -> Figure:
    """Bias by reference: every reading, means with their intervals, the line with its band."""
    figure = new_figure(*PAGE_INCH)
    axes = figure.subplots()
    fit, line = study.fit, study.line
    axes.plot(fit.reference, fit.reading - fit.reference, ".", color=GREY, markersize=4, label="readings")
    at = np.array([one.reference for one in fit.biases])
    mean = np.array([one.bias for one in fit.biases])
    half = np.nan_to_num([one.high - one.bias for one in fit.biases])
    axes.errorbar(at, mean, half, fmt="D", color=BLACK, markersize=5, capsize=4, linewidth=1.0,
                  label="mean, 95 % interval")  # fmt: skip
    grid = np.linspace(line.low, line.high, 100)
    band = _factor(study) * line.u_line(grid)
    axes.fill_between(
        grid, line.bias(grid) - band, line.bias(grid) + band, color=BLUE, alpha=0.2, linewidth=0
    )
    axes.plot(grid, line.bias(grid), color=BLUE, linewidth=1.6, label="line, 95 % band")
    axes.axhline(0.0, color=VERMILLION, linewidth=1.2, linestyle=(0, (6, 2)), label="no bias")
    dress(axes, "Bias: reading less reference", "reference, mm", "bias, mm")
    plain_legend(axes, ncols=4)
    return figure


def _method(study: BiasStudy) -> str:
    if study.york is None:
        return "straight line after ISO 11095 and ISO 22514-7 (A.1), lack of fit against pure error."
    return f"straight line through the means by {study.method}, chi-square of the means about it."


def _straightness(study: BiasStudy) -> str:
    fit, york = study.fit, study.york
    if york is not None:
        return (
            f"Chi-square of the means about the line {york.chi2:.2f} for {york.df} degrees of freedom "
            f"(p {york.p:.3f}); by least squares the slope is {fit.line.slope:.5f}."
        )
    if math.isnan(fit.f_lack):
        return "Whether the line is straight cannot be told: that needs three references, read repeatedly."
    return (
        f"Lack of fit F {fit.f_lack:.4f}, critical {fit.f_lack_critical:.4f} (p {fit.p_lack:.3f}); u_LIN "
        f"{fit.u_linearity:.4f} mm, u_EVR {fit.u_repeat:.4f} mm (ISO 22514-7)."
    )


def _control(control: CalibrationControl) -> str:
    out = int(control.out.sum())
    what = f"check readings lie within {control.limit:.4f} mm of their references"
    if not out:
        return f"Calibration in control: all {len(control.deviation)} {what}."
    worst = float(control.deviation[np.argmax(np.abs(control.deviation))])
    return (
        f"Calibration out of control: only {len(control.deviation) - out} of {len(control.deviation)} "
        f"{what}, the worst is {worst:+.4f} mm off; find out why, and make the bias study anew."
    )


def _capability(study: BiasStudy, limit_mm: float) -> str:
    made = capability_of(study, limit_mm)
    return (
        f"u of the measuring system {made.u_ms:.4f} mm: Q {percent(made.q_ms)} of {limit_mm:.3g} mm, C "
        f"{made.c_ms:.2f} (ISO 22514-7)"
    )


def _factor(study: BiasStudy) -> float:
    return 1.96 if study.york is not None else t_quantile(0.975, study.fit.residual.df)
