"""The gap profile as a table for spreadsheets (RFC 4180)."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from fitup.evidence.subject import Profiled

if TYPE_CHECKING:
    from fitup.evidence.record import StationEntry

__all__ = ["PROFILE_COLUMNS", "profile_csv", "station_rows", "stations_csv"]

PROFILE_COLUMNS = (
    "station_mm",
    "gap_mm",
    "u_gap_mm",
    "near_mm",
    "far_mm",
    "near_u_px",
    "near_v_px",
    "far_u_px",
    "far_v_px",
    "limit_mm",
    "state",
    "unseen_reason",
)
"""Header of the table; `u_gap_mm` is a standard uncertainty (k = 1), `near_u_px` an image coordinate."""


def profile_csv(subject: Profiled, more: Mapping[str, Sequence[str]] | None = None) -> bytes:
    """One row per station, a header with units, an empty field where nothing was seen.

    Parameters
    ----------
    more : further columns by their header, one text per station

    Returns
    -------
    bytes
        UTF-8, rows ended by CR LF (RFC 4180, section 2). Lengths to 0.0001 mm and 0.001 px: finer
        digits are not measured; the record keeps every number in full.
    """
    more = more or {}
    rows = zip(_rows(subject), _further(subject, more), strict=True)
    return _csv((*PROFILE_COLUMNS, *more), ([*row, *rest] for row, rest in rows))


def stations_csv(stations: Sequence[StationEntry], limit_mm: float) -> bytes:
    """The same table made from a record's stations: the columns that every record has, to the letter."""
    return _csv(PROFILE_COLUMNS, station_rows(stations, limit_mm))


def station_rows(stations: Sequence[StationEntry], limit_mm: float) -> Iterator[list[str]]:
    """The same table's rows, without the header."""
    return (_stored(station, limit_mm) for station in stations)


def _csv(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def _further(subject: Profiled, more: Mapping[str, Sequence[str]]) -> Iterator[tuple[str, ...]]:
    return zip(*more.values(), strict=True) if more else iter([()] * len(subject.profile.station_mm))


def _stored(station: StationEntry, limit_mm: float) -> list[str]:
    numbers = (station.station_mm, station.gap_mm, station.u_gap_mm, station.near_mm, station.far_mm)
    pixels = (*(station.near_px or (None, None)), *(station.far_px or (None, None)))
    return [
        *(_stored_field(value, 4) for value in numbers),
        *(_stored_field(value, 3) for value in pixels),
        _field(limit_mm, 4),
        station.state,
        station.unseen_reason,
    ]


def _stored_field(value: float | None, digits: int) -> str:
    return "" if value is None else _field(value, digits)


def _rows(subject: Profiled) -> Iterator[list[str]]:
    profile, verdict = subject.profile, subject.verdict
    for index, state in enumerate(verdict.states):
        millimetres = (
            profile.station_mm[index],
            profile.gap_mm[index],
            profile.u_gap_mm[index],
            profile.near_mm[index],
            profile.far_mm[index],
        )
        pixels = (*profile.near_px[index], *profile.far_px[index])
        yield [
            *(_field(value, 4) for value in millimetres),
            *(_field(value, 3) for value in pixels),
            _field(verdict.limit.limit_mm, 4),
            str(state),
            profile.unseen_reason[index],
        ]


def _field(value: float, digits: int) -> str:
    """A number as text, empty for NaN; minus zero is written as zero."""
    return f"{round(float(value), digits) + 0.0:.{digits}f}" if math.isfinite(value) else ""
