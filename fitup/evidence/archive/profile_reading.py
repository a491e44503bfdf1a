"""The gap profile of an archived record, read quickly and laid on a grid that all records share.

Of a record's bytes, whose digest the store has checked, only what is needed here is looked at: stations,
limit and verdict. `reading.py` reads whole records; this is for looking over many thousands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict  # pydantic brings it along

from fitup.errors import StorageError
from fitup.evidence.record import SCHEMA_VERSION, Positive, StateWord, VerdictWordText
from fitup.evidence.seam_record import SEAM_SCHEMA_VERSION
from fitup.evidence.sides_record import SIDES_SCHEMA_VERSION

__all__ = ["POSITION_STEP_MM", "UNSEEN_UM", "GridProfile", "PlainRecord", "grid_profile", "plain_profile"]

POSITION_STEP_MM = 0.5
"""Distance of positions; that of the stations of a record, if not said otherwise."""
UNSEEN_UM = 65535
"""What stands for a gap that was not seen; it sorts behind every gap."""

_LARGEST_UM = UNSEEN_UM - 1
_FURTHEST_MM = 20_000.0
_ROUNDING_MM = 1e-6
_KNOWN = {"inspection": SCHEMA_VERSION, "seam": SEAM_SCHEMA_VERSION, "sides": SIDES_SCHEMA_VERSION}
_PLACE = Annotated[float, Field(ge=-_FURTHEST_MM, le=_FURTHEST_MM)]
_LOOSE = ConfigDict(extra="ignore", strict=True, allow_inf_nan=False)


class _Station(TypedDict):
    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    station_mm: _PLACE
    gap_mm: float | None
    u_gap_mm: float | None
    state: StateWord


class _Profile(TypedDict):
    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    step_mm: Positive
    stations: Annotated[list[_Station], Field(min_length=1)]


class _Limit(TypedDict):
    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    limit_mm: Positive


class _Request(TypedDict):
    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    joint_kind: str


class _Verdict(TypedDict):
    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    word: VerdictWordText
    largest_gap_mm: float | None
    seen_share: float


class PlainRecord(TypedDict):
    """What is read of a record of any kind."""

    __pydantic_config__ = _LOOSE  # type: ignore[misc]

    schema_version: int
    request: _Request
    limit: _Limit
    profile: _Profile
    verdict: _Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class GridProfile:
    """A profile on positions `first`, `first + 1`, ... times `POSITION_STEP_MM`; `UNSEEN_UM` where unseen."""

    first: int
    gap_um: NDArray[np.uint16]
    """(N,) gap [micrometres], the largest of the stations that fall on a position."""
    u_um: NDArray[np.uint16]
    """(N,) its standard uncertainty [micrometres]."""
    limit_um: int
    verdict: VerdictWordText


def plain_profile(content: bytes, kind: str, name: str) -> PlainRecord:
    """What is needed of a record of a kind of entry (inspection, seam, sides).

    Raises
    ------
    StorageError
        When the bytes are no such record, or one of a newer version.
    """
    try:
        record = _reader().validate_json(content)
    except (ValidationError, ValueError, RecursionError):
        raise StorageError(f"{name} is damaged: `fitup archive verify` tells of all.") from None
    if not 1 <= record["schema_version"] <= _KNOWN[kind]:
        raise StorageError(
            f"{name} is of version {record['schema_version']}, which this program does not know: use the "
            "version of the program that wrote it."
        )
    return record


def grid_profile(record: PlainRecord) -> GridProfile:
    """A record's profile on the grid.

    A position where one of several stations is unseen is unseen; where stations are further apart than the
    grid's positions, every one stands for half the way to its neighbours.
    """
    stations, step_mm = record["profile"]["stations"], record["profile"]["step_mm"]
    place_mm = np.array([one["station_mm"] for one in stations])
    gap_um = _micrometres(
        [None if one["state"] == "unseen" or one["u_gap_mm"] is None else one["gap_mm"] for one in stations]
    )
    u_um = np.where(gap_um == UNSEEN_UM, UNSEEN_UM, _micrometres([one["u_gap_mm"] for one in stations]))
    if step_mm > 1.001 * POSITION_STEP_MM:
        place_mm, gap_um, u_um = _between(place_mm, gap_um, u_um, step_mm)
    position = np.round(place_mm / POSITION_STEP_MM).astype(np.int64)
    first = int(position.min())
    length = int(position.max()) - first + 1
    gap, u = _laid(position - first, gap_um, u_um, length)
    return GridProfile(
        first=first,
        gap_um=gap,
        u_um=u,
        limit_um=min(round(1000 * record["limit"]["limit_mm"]), _LARGEST_UM),
        verdict=record["verdict"]["word"],
    )


@lru_cache(maxsize=1)
def _reader() -> TypeAdapter[PlainRecord]:
    return TypeAdapter(PlainRecord)


def _micrometres(values_mm: list[float | None]) -> NDArray[np.uint16]:
    um = 1000.0 * np.array([np.nan if value is None else value for value in values_mm], dtype=float)
    return np.where(np.isnan(um), UNSEEN_UM, np.clip(np.round(um), 0, _LARGEST_UM)).astype(np.uint16)


def _between(place_mm: Any, gap_um: Any, u_um: Any, step_mm: float) -> tuple[Any, Any, Any]:
    """Stations far apart to one on every position between them: the nearest, of two as near the wider gap."""
    order = np.argsort(place_mm, kind="stable")
    place_mm, gap_um, u_um = place_mm[order], gap_um[order], u_um[order]
    ends = np.round(place_mm[[0, -1]] / POSITION_STEP_MM).astype(int)
    at_mm = np.arange(ends[0], ends[1] + 1) * POSITION_STEP_MM
    after = np.clip(np.searchsorted(place_mm, at_mm), 0, len(place_mm) - 1)
    both = np.stack([np.maximum(after - 1, 0), after])
    far = np.abs(place_mm[both] - at_mm)
    # The ends are positions rounded; no other position is further from a station than half a step.
    far = np.where(far <= max(step_mm, POSITION_STEP_MM) / 2 + _ROUNDING_MM, far, np.inf)
    near = far <= far.min(axis=0) + _ROUNDING_MM
    wider = np.argmax(np.where(near, gap_um[both].astype(int), -1), axis=0)
    chosen = both[wider, np.arange(len(at_mm))]
    hole = np.isinf(far.min(axis=0))
    return at_mm, np.where(hole, UNSEEN_UM, gap_um[chosen]), np.where(hole, UNSEEN_UM, u_um[chosen])


def _laid(position: NDArray[np.int64], gap_um: Any, u_um: Any, length: int) -> tuple[Any, Any]:
    """Gap and its uncertainty by position; of several on one the largest gap, which `UNSEEN_UM` always is."""
    order = np.argsort(gap_um, kind="stable")  # of several assignments to one place the last one stays
    gap = np.full(length, UNSEEN_UM, dtype=np.uint16)
    u = np.full(length, UNSEEN_UM, dtype=np.uint16)
    gap[position[order]] = gap_um[order]
    u[position[order]] = u_um[order]
    return gap, u
