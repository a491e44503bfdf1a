"""Bias and linearity of the instrument, from readings of references to a correction that may be proposed.

Where the references' own uncertainties are told, the line goes through the means of their readings with
errors on both axes (York), since one reference is wrong by the same at every repeat; else by least squares.
A correction is proposed and never applied: `accepted` makes it part of a print's record, by name and day.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, field, replace
from datetime import date
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.scale import GapCorrection, PrintRecord
from fitup.scale.gap_correction import LARGEST_INTERCEPT_MM, LARGEST_SLOPE_ERROR
from fitup.study.linearity import Straight, StraightFit, fit_line
from fitup.study.quantiles import chi2_tail
from fitup.study.readings import PART_HEADS, VALUE_HEADS
from fitup.study.table_file import TableFile, read_table
from fitup.study.york import YorkFit, york_line
from fitup.verdict.lengths import parse_length

__all__ = ["BiasReadings", "BiasStudy", "accepted", "bias_study", "read_bias"]

REFERENCE_HEADS = ("reference_mm", "reference", "blade_mm", "blade", "block_mm")
U_REFERENCE_HEADS = ("u_reference_mm", "u_reference", "u_blade_mm")
U_READING_HEADS = ("u_gap_mm", "u_reading_mm", "u_reading")
_ALPHA = 0.05
_LEAST_REFERENCES, _LEAST_READINGS = 3, 10  # common practice, no source


@dataclass(frozen=True, kw_only=True, eq=False)
class BiasReadings:
    """One reading of a reference a row, lengths in mm."""

    reference_mm: NDArray[np.float64]
    """(N,) what the gap is."""
    value_mm: NDArray[np.float64]
    """(N,) what was read."""
    u_reference_mm: NDArray[np.float64] | None = None
    """(N,) standard uncertainty of the references; None where not told."""
    u_value_mm: NDArray[np.float64] | None = None
    """(N,) standard uncertainty of the readings; used where references were read once only."""
    phones: tuple[str, ...] = ()
    """Phones that took the readings, each once."""
    corrected: bool = False
    """Whether a reading was corrected already."""
    source: str = "the readings"
    days: tuple[str, ...] = ()
    content: bytes = field(default=b"", repr=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class BiasStudy:
    """What the readings say of bias and linearity."""

    readings: BiasReadings
    fit: StraightFit
    york: YorkFit | None
    line: Straight
    """The line that a correction would rest on: that with errors on both axes where there is one."""
    p_none: float
    """Probability of at least such a line where there is no bias at all."""
    p_holds: float
    """Probability of at least such a misfit where the line is straight; NaN where that cannot be told."""
    proposed: bool
    reason: str
    """Why a correction is proposed, or why not."""

    @property
    def method(self) -> str:
        """How the line was fitted."""
        return "least squares" if self.york is None else "errors on both axes (York 2004)"


def read_bias(path: str | os.PathLike[str]) -> BiasReadings:
    """Read a CSV with a reference and a reading on every line, and uncertainties where they are known.

    Without a column of references the parts' names are read as lengths ("0.30mm").

    Raises
    ------
    UsageError
        With file and line for what cannot be used.
    """
    table = read_table(path)
    phones = table.find(("camera", "phone")) or ()
    dates = table.find(("date", "day", "taken", "taken_at")) or ()
    days = sorted({text[:10].replace(":", "-") for text in dates if text})
    return BiasReadings(
        reference_mm=_references(table),
        value_mm=np.array(table.numbers(VALUE_HEADS)),
        u_reference_mm=_uncertainties(table, U_REFERENCE_HEADS),
        u_value_mm=_uncertainties(table, U_READING_HEADS),
        phones=tuple(sorted({name for name in phones if name})),
        corrected=any(word.lower() == "yes" for word in table.find(("corrected",)) or ()),
        source=table.name,
        days=(days[0], days[-1]) if days else (),
        content=table.content,
    )


def bias_study(readings: BiasReadings) -> BiasStudy:
    """Fit the line and say whether a correction is called for.

    Raises
    ------
    UsageError
        For too few readings or references, and for uncertainties that cannot be used.
    """
    fit = fit_line(readings.reference_mm, readings.value_mm)
    york = _york(readings, fit)
    line = fit.line if york is None else york.widened
    p_none = fit.p_none if york is None else _p_none(line)
    p_holds = fit.p_lack if york is None else york.p
    proposed, reason = _proposal(fit, line, p_none, p_holds)
    return BiasStudy(
        readings=readings,
        fit=fit,
        york=york,
        line=line,
        p_none=p_none,
        p_holds=p_holds,
        proposed=proposed,
        reason=reason,
    )


def accepted(
    study: BiasStudy, record: PrintRecord, *, who: str, references: str = "", phone: str = "", day: str = ""
) -> PrintRecord:
    """The print's record with the proposed correction in it, accepted by a person.

    Parameters
    ----------
    who : the person who accepts it
    references : what the references were, by inventory number
    phone : make and model that it is for; that of the readings if they name one, "" for all
    day : YYYY-MM-DD; today if not given

    Raises
    ------
    UsageError
        Where nothing was proposed, nobody accepts it, the record has a correction already, the readings were
        corrected, or came from several phones of which none is named.
    """
    if not who.strip():
        raise UsageError("a correction is accepted by a person: give the name (--who).")
    if not study.proposed:
        raise UsageError(f"no correction is proposed, so none can be accepted: {study.reason}")
    if record.correction is not None or study.readings.corrected:
        raise UsageError(
            "these readings or this print record have a correction already: make the study anew with the "
            "record as it was before it."
        )
    phones = study.readings.phones
    if not phone and len(phones) > 1:
        raise UsageError(
            f"the readings are of {len(phones)} phones, which may be off differently: make the study with "
            "one phone, or name the phone that the correction is for (--phone)."
        )
    line = study.line
    return replace(
        record,
        correction=GapCorrection(
            intercept_mm=line.intercept,
            slope=line.slope,
            u_intercept_mm=line.u_intercept,
            u_slope=line.u_slope,
            covariance_mm=line.covariance[0][1],
            low_mm=line.low,
            high_mm=line.high,
            accepted_by=who.strip(),
            accepted_on=day or date.today().isoformat(),
            method=study.method,
            references=references,
            readings_sha256=sha256(study.readings.content).hexdigest(),
            phone=phone or (phones[0] if phones else ""),
        ),
    )


def _references(table: TableFile) -> NDArray[np.float64]:
    if table.find(REFERENCE_HEADS) is not None:
        return np.array(table.numbers(REFERENCE_HEADS))
    names = table.find(PART_HEADS)
    if names is None:
        table.column(REFERENCE_HEADS)
    return np.array([parse_length(name, "the reference") for name in names or ()])


def _uncertainties(table: TableFile, heads: tuple[str, ...]) -> NDArray[np.float64] | None:
    if table.find(heads) is None:
        return None
    u = np.array(table.numbers(heads))
    if np.any(u < 0):
        raise UsageError(
            f"{table.name} has a standard uncertainty below zero under {heads[0]!r}: correct it."
        )
    return u if np.any(u > 0) else None


def _york(readings: BiasReadings, fit: StraightFit) -> YorkFit | None:
    """The line through the means, with the references' uncertainty and that of the means."""
    if readings.u_reference_mm is None:
        return None
    x = np.array([one.reference for one in fit.biases])
    y = np.array([one.reference + one.bias for one in fit.biases])
    same = [readings.reference_mm == at for at in x]
    u_x = np.array([readings.u_reference_mm[rows].mean() for rows in same])
    count = np.array([rows.sum() for rows in same])
    if fit.pure_error is not None and fit.pure_error.ms > 0:
        u_y = math.sqrt(fit.pure_error.ms) / np.sqrt(count)
    elif readings.u_value_mm is not None:
        u_y = np.array([readings.u_value_mm[rows].mean() for rows in same]) / np.sqrt(count)
    else:
        raise UsageError(
            f"{readings.source} tells nothing of how certain the readings are: read every reference several "
            "times, or give a column u_gap_mm."
        )
    if np.any(u_x <= 0) or np.any(u_y <= 0):
        raise UsageError(
            f"{readings.source} gives some references or readings no uncertainty: give it to all, or none."
        )
    return york_line(x, y, u_x, u_y)


def _p_none(line: Straight) -> float:
    """Chi-square of intercept and slope against 0 and 1."""
    off = np.array([line.intercept, line.slope - 1.0])
    return chi2_tail(float(off @ np.linalg.solve(np.array(line.covariance), off)), 2)


def _proposal(fit: StraightFit, line: Straight, p_none: float, p_holds: float) -> tuple[bool, str]:
    references, count = len(fit.biases), len(fit.reading)
    if references < _LEAST_REFERENCES or count < _LEAST_READINGS:
        return False, (
            f"{count} readings of {references} references are too few for a correction, which needs "
            f"{_LEAST_READINGS} of {_LEAST_REFERENCES} at least."
        )
    if math.isnan(p_holds):
        return False, "Every reference was read once, so that nothing tells whether the line is straight."
    if p_holds < _ALPHA:
        return False, (
            f"The bias follows no straight line (p {p_holds:.3f}): one reference may be off, or have more "
            "uncertainty than was told; look at the plot before anything is corrected."
        )
    if p_none >= _ALPHA:
        return False, f"No bias shows that could not be chance (p {p_none:.3f}): nothing is to be corrected."
    if abs(line.intercept) > LARGEST_INTERCEPT_MM or abs(line.slope - 1.0) > LARGEST_SLOPE_ERROR:
        return (
            False,
            "The bias is larger than any of a sound instrument: check units, references and the print.",
        )
    if line.low < 0:
        return False, "A reference is below zero, which no gap is: give the gaps themselves."
    return True, (
        f"The bias is no chance (p {'< 0.001' if p_none < 0.001 else f'{p_none:.3f}'}) and follows a "
        "straight line: a correction is proposed, and applied only when a person accepts it (--accept)."
    )
