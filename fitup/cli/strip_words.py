"""Where things lie on the strips of a long joint, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence.seam_record import SeamRecord, SeamSpotEntry

__all__ = ["how_well_placed", "on_strips"]


def on_strips(record: SeamRecord, spot: SeamSpotEntry) -> str:
    """Where a spot lies on the strips, and which photos show it."""
    start = _on_strip(spot.start_strip, spot.start_on_strip_mm)
    end = _on_strip(spot.end_strip, spot.end_on_strip_mm)
    names = [record.photos[index].photo.name for index in spot.photos]
    return f"from {start} to {end}" + (f"; in {' and '.join(names)}" if names else "")


def how_well_placed(record: SeamRecord) -> str:
    """How sure places along the whole joint are, and what would help."""
    u_mm = max(station.u_station_mm for station in record.profile.stations)
    remedy = "" if record.print_check else "; a print check would help (fitup target check)"
    return f"known to ± {2 * u_mm:.1f} mm (k = 2) at the joint's far end{remedy}"


def _on_strip(number: int, place_mm: float) -> str:
    where = f"{place_mm:.0f} mm on" if place_mm > -0.5 else f"{-place_mm:.0f} mm before the 0 of"
    return f"{where} strip {number}"
