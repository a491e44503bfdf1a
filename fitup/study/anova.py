"""Analysis of variance: groups one way, and a full cross two ways. Sums are of deviations from means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.study.quantiles import f_tail

__all__ = ["AnovaRow", "OneWay", "TwoWay", "f_ratio", "one_way", "two_way"]

_ROUNDING = 64 * np.finfo(np.float64).eps


@dataclass(frozen=True, kw_only=True)
class AnovaRow:
    """One line of the table."""

    source: str
    ss: float
    """Sum of squares [unit²]."""
    df: int

    @property
    def ms(self) -> float:
        """Mean square [unit²]."""
        return self.ss / self.df

    def over(self, below: AnovaRow) -> tuple[float, float]:
        """F of this row over another, and the probability of at least that."""
        ratio = f_ratio(self.ms, below.ms)
        return ratio, f_tail(ratio, self.df, below.df)


@dataclass(frozen=True, kw_only=True)
class OneWay:
    """Groups of readings: between them, within them."""

    between: AnovaRow
    within: AnovaRow

    @property
    def f(self) -> float:
        """Mean square between over mean square within."""
        return f_ratio(self.between.ms, self.within.ms)

    @property
    def p(self) -> float:
        """Probability of at least that F where all groups have one mean."""
        return f_tail(self.f, self.between.df, self.within.df)

    @property
    def r2(self) -> float:
        """Share of the sum of squares that lies between the groups."""
        total = self.between.ss + self.within.ss
        return self.between.ss / total if total else math.nan


@dataclass(frozen=True, kw_only=True)
class TwoWay:
    """Parts crossed with persons, with repeats."""

    part: AnovaRow
    person: AnovaRow
    interaction: AnovaRow
    repeat: AnovaRow

    @property
    def pooled(self) -> AnovaRow:
        """Interaction and repeats as one."""
        return AnovaRow(
            source="repeatability, interaction pooled",
            ss=self.interaction.ss + self.repeat.ss,
            df=self.interaction.df + self.repeat.df,
        )

    @property
    def total(self) -> AnovaRow:
        """All of it."""
        rows = (self.part, self.person, self.interaction, self.repeat)
        return AnovaRow(source="total", ss=sum(row.ss for row in rows), df=sum(row.df for row in rows))


def one_way(groups: Sequence[NDArray[np.float64]]) -> OneWay:
    """Analysis of variance of groups, each (N_i,) readings; groups may differ in size.

    Raises UsageError for fewer than two groups, an empty one, or no group with two readings.
    """
    count = np.array([len(group) for group in groups])
    if len(groups) < 2 or count.min() < 1 or count.sum() <= len(groups):
        raise UsageError("an analysis of variance needs two groups, and a repeated reading in one of them.")
    centre = float(np.concatenate(groups).mean())
    moved = [np.asarray(group, dtype=np.float64) - centre for group in groups]
    means = np.array([group.mean() for group in moved])
    grand = float((count * means).sum() / count.sum())
    within = float(sum(((group - mean) ** 2).sum() for group, mean in zip(moved, means, strict=True)))
    return OneWay(
        between=AnovaRow(
            source="between", ss=float((count * (means - grand) ** 2).sum()), df=len(groups) - 1
        ),
        within=AnovaRow(source="within", ss=within, df=int(count.sum()) - len(groups)),
    )


def two_way(value: NDArray[np.float64]) -> TwoWay:
    """Analysis of variance of `value` (parts, persons, repeats), at least two of each."""
    p, o, r = value.shape
    moved = value - value.mean()
    cell = moved.mean(axis=2)
    part, person, grand = cell.mean(axis=1), cell.mean(axis=0), cell.mean()
    left = cell - part[:, None] - person[None, :] + grand
    # Rounding of the mean leaves sums where there is nothing: readings all alike have no spread at all.
    floor = moved.size * (_ROUNDING * float(np.abs(value).max(initial=0.0))) ** 2

    def row(source: str, ss: float, df: int) -> AnovaRow:
        return AnovaRow(source=source, ss=float(ss) if ss > floor else 0.0, df=df)

    return TwoWay(
        part=row("part", o * r * ((part - grand) ** 2).sum(), p - 1),
        person=row("person", p * r * ((person - grand) ** 2).sum(), o - 1),
        interaction=row("part × person", r * (left**2).sum(), (p - 1) * (o - 1)),
        repeat=row("repeatability", ((moved - cell[:, :, None]) ** 2).sum(), p * o * (r - 1)),
    )


def f_ratio(above: float, below: float) -> float:
    """F of two mean squares; infinite over nothing, and 0 of nothing over nothing."""
    if below > 0:
        return above / below
    return math.inf if above > 0 else 0.0
