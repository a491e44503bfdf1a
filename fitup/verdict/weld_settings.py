"""What the welder sets, as far as it bounds the gap: feed, travel, oscillation, spot, power.

Nothing here is judged. The rules use what is given, and say what they lack.
"""

from __future__ import annotations

from dataclasses import dataclass

from fitup.errors import UsageError

__all__ = ["WeldSettings"]

# Name, unit, smallest and largest value; far apart, to keep out slips of the unit only.
_RANGES = {
    "feed_mm_s": ("the wire feed", "mm/s", 0.1, 1000.0),
    "travel_mm_s": ("the travel speed", "mm/s", 0.1, 1000.0),
    "oscillation_mm": ("the oscillation's width", "mm", 0.0, 20.0),
    "oscillation_hz": ("the oscillation's frequency", "Hz", 0.1, 10_000.0),
    "spot_mm": ("the spot size", "mm", 0.01, 10.0),
    "power_w": ("the power", "W", 1.0, 100_000.0),
}


@dataclass(frozen=True, kw_only=True)
class WeldSettings:
    """Settings of the welding machine; None where nothing was said.

    Raises
    ------
    UsageError
        When a value is no number of its range.
    """

    feed_mm_s: float | None = None
    """Speed of the wire [mm/s]."""
    travel_mm_s: float | None = None
    """Speed along the joint [mm/s]."""
    oscillation_mm: float | None = None
    """Width of the beam's oscillation across the joint, from turning point to turning point [mm]."""
    oscillation_hz: float | None = None
    """Its frequency [Hz]."""
    spot_mm: float | None = None
    """Diameter of the focused spot [mm]."""
    power_w: float | None = None
    """Power of the beam [W]."""

    def __post_init__(self) -> None:
        for name, (what, unit, low, high) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:  # also false for NaN
                raise UsageError(f"{what} must be from {low:g} to {high:g} {unit}, not {value:g} {unit}.")
