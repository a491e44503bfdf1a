"""Gauge study, crossed: several parts × persons (or phones) × repeats, by analysis of variance.

Terms of the trade (AIAG MSA reference manual, ISO 22514-7): repeatability is equipment variation EV,
reproducibility appraiser variation AV, both together GRR, the parts' own spread PV, all of it TV. Part and
person count as drawn at random. The tolerance is the limit: a gap lies between 0 and the limit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.study.anova import AnovaRow, TwoWay, two_way
from fitup.study.intervals import Term, generalized_interval, interval_of
from fitup.study.readings import Cross, Readings

__all__ = ["POOLING_ALPHA", "SPREADS", "Component", "CrossedStudy", "crossed_study"]

POOLING_ALPHA = 0.25
"""Interaction is pooled where its p-value is above this; common practice, no source."""
SPREADS = 6.0
"""Standard deviations that stand for the whole of a spread; common practice (AIAG MSA manual)."""
_CATEGORIES = 1.41
_COVERAGE = 2.0  # of the expanded uncertainty in Q, ISO 22514-7

_Coefficients = Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Component:
    """One component of variance with its interval, and its share in all."""

    name: str
    variance_mm2: float
    low_mm: float
    """Lower end of the interval of the standard deviation [mm]."""
    high_mm: float
    share_of_contribution: float
    """Variance by total variance."""
    share_of_study: float
    """Standard deviation by total standard deviation."""
    share_of_tolerance: float
    """Six standard deviations by the limit."""
    set_to_zero: bool = False
    """The estimate was negative, which no variance is."""

    @property
    def sigma_mm(self) -> float:
        """Standard deviation [mm]."""
        return math.sqrt(self.variance_mm2)


@dataclass(frozen=True, kw_only=True, eq=False)
class CrossedStudy:
    """What a crossed gauge study says; lengths in mm, shares as ratios (0.1 is 10 %)."""

    cross: Cross
    limit_mm: float
    alpha: float
    confidence: float
    anova: TwoWay
    f_interaction: float
    p_interaction: float
    pooled: bool
    """Whether interaction was pooled with repeatability."""
    components: tuple[Component, ...]
    """Repeatability, person, interaction, reproducibility, GRR, part, total."""
    ndc_exact: float
    """1.41 PV / GRR; infinite where GRR is zero."""
    ndc_interval: tuple[float, float]
    """Generalized interval of the number before it is cut down to a whole one."""

    def _component(self, name: str) -> Component:
        return next(one for one in self.components if one.name == name)

    @property
    def repeatability(self) -> Component:
        """EV: the same person, the same part."""
        return self._component("repeatability")

    @property
    def person(self) -> Component:
        """Persons (or phones) alone."""
        return self._component("person")

    @property
    def interaction(self) -> Component:
        """Persons who differ from part to part; zero where it was pooled."""
        return self._component("part × person")

    @property
    def reproducibility(self) -> Component:
        """AV: persons, and interaction where it was kept."""
        return self._component("reproducibility")

    @property
    def grr(self) -> Component:
        """Repeatability and reproducibility."""
        return self._component("repeatability and reproducibility")

    @property
    def part(self) -> Component:
        """PV: how the parts themselves differ."""
        return self._component("part")

    @property
    def total(self) -> Component:
        """TV."""
        return self._component("total")

    @property
    def unproven(self) -> bool:
        """Whether every repeat gave the same number: nothing is then known of repeatability, nor of GRR."""
        return self.repeatability.variance_mm2 == 0

    @property
    def error(self) -> AnovaRow:
        """The row that main effects are compared with: pooled error, else the interaction."""
        return self.anova.pooled if self.pooled else self.anova.interaction

    @property
    def ndc(self) -> int:
        """Number of distinct categories, cut down to a whole number, 1 at least."""
        return max(1, math.floor(min(self.ndc_exact, 1e6)))

    @property
    def q_mp(self) -> float:
        """Q of the measuring process by ISO 22514-7, 2 U over the tolerance, of these components alone.

        Calibration and linearity are not in it: see `capability.py`.
        """
        return 2.0 * _COVERAGE * self.grr.sigma_mm / self.limit_mm


def crossed_study(
    readings: Readings, *, limit_mm: float, alpha: float = POOLING_ALPHA, confidence: float = 0.95
) -> CrossedStudy:
    """Analyse a crossed gauge study.

    Parameters
    ----------
    readings : a full cross: every person read every part equally often, twice at least
    limit_mm : the tolerance; gaps lie between 0 and it [mm]
    alpha : the interaction is pooled with repeatability where its p-value is greater
    confidence : of all intervals, two-sided

    Raises
    ------
    UsageError
        For readings that are no full cross, that are all alike, or numbers that cannot be.
    """
    _check(limit_mm, alpha, confidence)
    cross = readings.crossed()
    table = two_way(cross.value_mm)
    if table.total.ss == 0:
        raise UsageError(f"{readings.source}: all readings are the same number: nothing was measured apart.")
    f, p = table.interaction.over(table.repeat)
    pooled = p > alpha
    parts, persons, repeats = cross.value_mm.shape
    wanted = _pooled(parts, persons, repeats) if pooled else _kept(parts, persons, repeats)
    rows = _rows(table, pooled)
    components = _components(wanted, rows, limit_mm, confidence)
    part, grr = components[5], components[4]
    return CrossedStudy(
        cross=cross,
        limit_mm=limit_mm,
        alpha=alpha,
        confidence=confidence,
        anova=table,
        f_interaction=f,
        p_interaction=p,
        pooled=pooled,
        components=tuple(components),
        ndc_exact=_CATEGORIES * part.sigma_mm / grr.sigma_mm if grr.variance_mm2 else math.inf,
        ndc_interval=_ndc_interval(wanted, rows, confidence),
    )


def _check(limit_mm: float, alpha: float, confidence: float) -> None:
    if not (math.isfinite(limit_mm) and limit_mm > 0):
        raise UsageError(f"the limit must be a positive length, not {limit_mm:g}: give it (--limit 0.9mm).")
    if not 0 <= alpha < 1:
        raise UsageError(f"the probability for pooling must lie between 0 and 1, not {alpha:g}.")
    if not 0.5 <= confidence < 1:
        raise UsageError(f"the confidence must lie between 0.5 and 1, not {confidence:g}: give 0.95.")


def _rows(table: TwoWay, pooled: bool) -> dict[str, AnovaRow]:
    rows = {"part": table.part, "person": table.person}
    return rows | ({"error": table.pooled} if pooled else {"both": table.interaction, "error": table.repeat})


def _pooled(p: int, o: int, r: int) -> dict[str, _Coefficients]:
    """Components as sums of mean squares, from their expectations; interaction pooled."""
    return {
        "repeatability": {"error": 1.0},
        "person": {"person": 1 / (p * r), "error": -1 / (p * r)},
        "part × person": {},
        "reproducibility": {"person": 1 / (p * r), "error": -1 / (p * r)},
        "part": {"part": 1 / (o * r), "error": -1 / (o * r)},
    }


def _kept(p: int, o: int, r: int) -> dict[str, _Coefficients]:
    """The same with the interaction kept."""
    return {
        "repeatability": {"error": 1.0},
        "person": {"person": 1 / (p * r), "both": -1 / (p * r)},
        "part × person": {"both": 1 / r, "error": -1 / r},
        "reproducibility": {"person": 1 / (p * r), "both": (p - 1) / (p * r), "error": -1 / r},
        "part": {"part": 1 / (o * r), "both": -1 / (o * r)},
    }


def _sum(*many: _Coefficients) -> dict[str, float]:
    names = [name for one in many for name in one]
    return {name: sum(one.get(name, 0.0) for one in many) for name in dict.fromkeys(names)}


def _components(
    wanted: Mapping[str, _Coefficients], rows: Mapping[str, AnovaRow], limit_mm: float, confidence: float
) -> list[Component]:
    """All components; negative ones are zero, and sums are of what is left of their parts."""
    estimate = {
        name: sum(share * rows[row].ms for row, share in coefficients.items())
        for name, coefficients in wanted.items()
    }
    variance = {name: max(value, 0.0) for name, value in estimate.items()}
    variance["reproducibility"] = variance["person"] + variance["part × person"]
    grr, total = "repeatability and reproducibility", "total"
    variance[grr] = variance["repeatability"] + variance["reproducibility"]
    variance[total] = variance[grr] + variance["part"]
    all_wanted = dict(wanted)
    all_wanted[grr] = _sum(wanted["repeatability"], wanted["reproducibility"])
    all_wanted[total] = _sum(all_wanted[grr], wanted["part"])
    made = []
    for name in ("repeatability", "person", "part × person", "reproducibility", grr, "part", total):
        low, high = _interval(all_wanted[name], rows, variance[name], confidence)
        made.append(
            Component(
                name=name,
                variance_mm2=variance[name],
                low_mm=math.sqrt(low),
                high_mm=math.sqrt(high),
                share_of_contribution=variance[name] / variance[total],
                share_of_study=math.sqrt(variance[name] / variance[total]),
                share_of_tolerance=SPREADS * math.sqrt(variance[name]) / limit_mm,
                set_to_zero=estimate.get(name, 0.0) < 0,
            )
        )
    return made


def _interval(
    coefficients: _Coefficients, rows: Mapping[str, AnovaRow], variance: float, confidence: float
) -> tuple[float, float]:
    """The interval, which holds the estimate also where parts of it were set to zero."""
    terms = [
        Term(coefficient=share, ms=rows[name].ms, df=rows[name].df)
        for name, share in coefficients.items()
        if share
    ]
    low, high = interval_of(terms, confidence) if terms else (0.0, 0.0)
    return min(low, variance), max(high, variance)


def _ndc_interval(
    wanted: Mapping[str, _Coefficients], rows: Mapping[str, AnovaRow], confidence: float
) -> tuple[float, float]:
    names = list(rows)
    parts = ("part", "person", "part × person", "repeatability")
    matrix = np.array([[wanted[part].get(name, 0.0) for name in names] for part in parts])

    def categories(drawn: NDArray[np.float64]) -> NDArray[np.float64]:
        part, person, both, repeat = np.maximum(matrix @ drawn, 0.0)
        grr = np.maximum(person + both + repeat, np.finfo(np.float64).tiny)
        return np.asarray(_CATEGORIES * np.sqrt(part / grr))

    return generalized_interval([(row.ms, row.df) for row in rows.values()], categories, confidence)
