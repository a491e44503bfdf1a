"""Feeler-gauge readings: a blade, or several laid on each other, that goes into the gap or does not.

A blade that does not go in anywhere along a stretch was stopped by a gap narrower than itself; one that goes
in found a gap at least as wide, at one place of the stretch or more. So the blade stands for the gap at its
worst. Where it is sure by the record's own rule (JCGM 106) that a blade is inside the limit, a gap that does
not let it in is inside too; where it is sure that the blade is over the limit, a gap that lets it in is over.

How true a blade is: worn workshop blades are taken as true within 0.01 mm each, the film between two of them
included, and 1 % of their thickness. The error has any value inside these limits alike (rectangular,
JCGM 100, 4.3.7), and blades of one set may all be off the same way. Common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitup.errors import UsageError
from fitup.verdict.decision import DecisionRule, StationState, decide
from fitup.verdict.lengths import format_mm, parse_length

__all__ = [
    "LARGEST_BLADE_MM",
    "FeelerReading",
    "blade_uncertainty_mm",
    "parse_blades",
    "proof_of",
    "settling_blades_mm",
]

LARGEST_BLADE_MM = 10.0
"""Thicker ones are a slip of the unit: no limit is wider (`LARGEST_LIMIT_MM`)."""
_SMALLEST_BLADE_MM = 0.005
_MOST_BLADES = 10
_LARGEST_U_MM = 0.5
_EACH_MM = 0.01
_SHARE = 0.01
# What a set of blades can be stacked to, and the thinnest usual blade (common practice, no source).
_PER_MM = 100
_THINNEST = 3
# Most limits are no single blade of a set.
_USUAL_STACK = 2


@dataclass(frozen=True, kw_only=True)
class FeelerReading:
    """One trial: where, with which blades, and what came of it.

    Raises
    ------
    UsageError
        When a blade, the stretch or the uncertainty is not possible.
    """

    blades_mm: tuple[float, ...]
    """Thickness of every blade that was laid on the others [mm]."""
    goes_in: bool
    """True: goes in at one place of the stretch or more. False: does not go in anywhere along it."""
    start_mm: float
    """Begin of the stretch along which it was tried everywhere, from the foot of the datum mark [mm]."""
    end_mm: float
    """Its end [mm]."""
    flat: bool = False
    """Pushed in with its whole width, not on its corner: no opening shorter than the width is felt."""
    u_blades_mm: float | None = None
    """Standard uncertainty (k = 1) of all blades together [mm]; None for the usual one."""

    def __post_init__(self) -> None:
        _check_blades(self.blades_mm)
        if not (math.isfinite(self.start_mm) and math.isfinite(self.end_mm)):
            raise UsageError("the stretch that was gauged must begin and end at a number.")
        if self.start_mm > self.end_mm:
            raise UsageError(
                f"the stretch that was gauged begins at {format_mm(self.start_mm)} and ends before that, "
                f"at {format_mm(self.end_mm)}: turn them round."
            )
        given = self.u_blades_mm
        if given is not None and not 0 <= given <= _LARGEST_U_MM:
            raise UsageError(
                f"the blades' uncertainty must be from 0 to {format_mm(_LARGEST_U_MM)}, "
                f"not {format_mm(given)}."
            )

    @property
    def blade_mm(self) -> float:
        """All blades together [mm]."""
        return math.fsum(self.blades_mm)

    @property
    def u_mm(self) -> float:
        """Standard uncertainty (k = 1) of all blades together [mm]."""
        return blade_uncertainty_mm(self.blades_mm) if self.u_blades_mm is None else self.u_blades_mm

    @property
    def in_words(self) -> str:
        """Such as "0.90 mm of blades goes in"."""
        return f"{self.blade_mm:.2f} mm of blades {'goes in' if self.goes_in else 'does not go in'}"


def blade_uncertainty_mm(blades_mm: tuple[float, ...]) -> float:
    """Standard uncertainty (k = 1) [mm] of blades laid on each other, where nobody says a better one."""
    return (_EACH_MM * len(blades_mm) + _SHARE * math.fsum(blades_mm)) / math.sqrt(3.0)


def parse_blades(text: str) -> tuple[float, ...]:
    """Read blades as the shop writes them, `0.90mm`, `0.035in` or `0.50mm + 0.40mm`, each in mm.

    Raises
    ------
    UsageError
        When one of them is no positive length, or no blade.
    """
    blades_mm = tuple(parse_length(part, "the blade") for part in text.split("+"))
    _check_blades(blades_mm)
    return blades_mm


def proof_of(blade_mm: float, u_mm: float, limit_mm: float, rule: DecisionRule) -> StationState:
    """What the blade itself is against the limit, by the same rule as any reading of a gap.

    `within`: a gap that does not let it in is inside. `over`: a gap that lets it in is over. `doubtful`: this
    blade cannot settle anything at this limit.
    """
    return decide(np.array([blade_mm]), np.array([u_mm]), limit_mm, rule)[0]


def settling_blades_mm(limit_mm: float, rule: DecisionRule) -> tuple[float | None, float]:
    """The thickest blades that prove inside by staying out, the thinnest that prove over by going in [mm].

    Two blades with the usual uncertainty, in steps of 0.01 mm. The first is None where it would be thinner
    than any blade.
    """

    def proof(hundredths: int) -> StationState:
        blade_mm = hundredths / _PER_MM
        u_mm = blade_uncertainty_mm((blade_mm / _USUAL_STACK,) * _USUAL_STACK)
        return proof_of(blade_mm, u_mm, limit_mm, rule)

    inside = math.floor(limit_mm * _PER_MM + 1e-6)
    while inside >= _THINNEST and proof(inside) != StationState.WITHIN:
        inside -= 1
    over = max(_THINNEST, math.floor(limit_mm * _PER_MM))
    while proof(over) != StationState.OVER:
        over += 1
    return inside / _PER_MM if inside >= _THINNEST else None, over / _PER_MM


def _check_blades(blades_mm: tuple[float, ...]) -> None:
    if not 1 <= len(blades_mm) <= _MOST_BLADES:
        raise UsageError(f"from 1 to {_MOST_BLADES} blades can be laid on each other, not {len(blades_mm)}.")
    for blade_mm in blades_mm:
        if not blade_mm >= _SMALLEST_BLADE_MM:  # also for NaN
            raise UsageError(
                f"a blade must be at least {_SMALLEST_BLADE_MM:g} mm thick, not {blade_mm:g} mm: "
                "check the unit."
            )
    if not math.fsum(blades_mm) <= LARGEST_BLADE_MM:
        raise UsageError(
            f"blades of {math.fsum(blades_mm):g} mm are thicker than {LARGEST_BLADE_MM:g} mm: check the unit."
        )
