"""Capability of a measuring system and of a measuring process after ISO 22514-7:2012.

Uncertainties are combined by their squares; of repeatability on references, repeatability on parts and
resolution the largest counts (from memory). The published example (A.3 to A.5) is in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitup.errors import UsageError

__all__ = ["Capability", "capability"]


@dataclass(frozen=True, kw_only=True)
class Capability:
    """u, Q (2 U by the tolerance, U = 2 u) and C of the measuring system (MS) and the process (MP)."""

    u_ms: float
    u_mp: float
    tolerance: float

    @property
    def q_ms(self) -> float:
        """Share of the tolerance that the measuring system takes; up to 15 % is wanted (from memory)."""
        return 4.0 * self.u_ms / self.tolerance

    @property
    def q_mp(self) -> float:
        """Share of the tolerance that the measuring process takes; up to 30 % is wanted (from memory)."""
        return 4.0 * self.u_mp / self.tolerance

    @property
    def c_ms(self) -> float:
        """Capability index of the system; from 1.33 (from memory)."""
        return 0.3 * self.tolerance / (6.0 * self.u_ms)

    @property
    def c_mp(self) -> float:
        """Capability index of the process; from 1.33 (from memory)."""
        return 0.3 * self.tolerance / (3.0 * self.u_mp)


def capability(
    *,
    tolerance: float,
    u_cal: float = 0.0,
    u_lin: float = 0.0,
    u_evr: float = 0.0,
    u_bias: float = 0.0,
    u_resolution: float = 0.0,
    u_evo: float = 0.0,
    u_av: float = 0.0,
    u_ia: float = 0.0,
) -> Capability:
    """Combine standard uncertainties of one unit.

    Parameters
    ----------
    u_cal, u_bias, u_lin, u_evr : of the references, the bias, linearity, repeatability on references
    u_resolution : of the resolution
    u_evo, u_av, u_ia : of repeatability on parts, persons, part × person: from a gauge study
    """
    values = (u_cal, u_lin, u_evr, u_bias, u_resolution, u_evo, u_av, u_ia)
    if not all(math.isfinite(one) and one >= 0 for one in values):
        raise UsageError("standard uncertainties are finite and not negative.")
    if not (math.isfinite(tolerance) and tolerance > 0):
        raise UsageError("the tolerance must be a positive length: give the limit (--limit 0.9mm).")
    fixed = math.hypot(u_cal, u_lin, u_bias)
    return Capability(
        u_ms=math.hypot(fixed, max(u_evr, u_resolution)),
        u_mp=math.hypot(fixed, max(u_evr, u_evo, u_resolution), u_av, u_ia),
        tolerance=tolerance,
    )
