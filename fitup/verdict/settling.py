"""Settling: what feeler-gauge readings make of stations that the photo left doubtful or did not see.

1. A reading never takes a station out of `over` that the photo found over, and changes nothing measured.
2. A blade that does not go in settles a doubtful or unseen station `within` where the blade itself is inside
   the limit (`proof_of`) and the station's whole cell was tried. Where the photo contradicts it anywhere
   along its stretch, it settles nothing: a burr or a chip stops a blade before a wide gap.
3. A blade over the limit that goes in is at one place of the stretch at least, nobody knows which: every
   station of the stretch that is not known to be inside becomes `over`. Where one is over by the photo, that
   is the place. Where all are known to be inside, blades that stayed out give way first, then the photo: one
   of them is wrong, and `over` is the side on which no part is burnt.
4. A blade that goes in where the photo saw a narrower gap at every station, but proves nothing about the
   limit, makes the stations within there doubtful: the photo is then wrong by nobody knows how much.
5. A blade and the photo contradict where they lie further apart than three standard uncertainties of their
   difference; with two, one honest reading in twenty would be called a contradiction. It is always told.

So the order of readings does not matter, and one more never turns a re-fixture into anything better.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fitup.verdict.advice import place_in_words
from fitup.verdict.decision import StationState
from fitup.verdict.feeler import FeelerReading, proof_of, settling_blades_mm
from fitup.verdict.judged import JudgedJoint

__all__ = ["CONTRADICTION", "SettledStations", "settle_stations"]

Mask = NDArray[np.bool_]

CONTRADICTION = "contradiction"
"""How a remark begins that tells of one."""
_APART = 3.0


@dataclass(frozen=True, kw_only=True)
class SettledStations:
    """States of the N stations after the readings, by which readings, and what must be told."""

    states: tuple[StationState, ...]
    by: tuple[tuple[int, ...], ...]
    """(N,) indices of the readings that made the station what it is; empty where the photo alone did."""
    remarks: tuple[tuple[str, ...], ...]
    """What must be told of every reading, in their order: what it cannot prove, what it contradicts."""
    near_limit: tuple[bool, ...]
    """(N,) True where a blade too near the limit to prove anything went in: no blade will settle it."""


@dataclass(kw_only=True)
class _Work:
    """Masks while readings are worked through."""

    joint: JudgedJoint
    within: Mask
    doubtful: Mask
    over: Mask
    near_limit: Mask
    by: list[set[int]]
    remarks: list[list[str]] = field(default_factory=list)

    def settle(self, mask: Mask, stations: Mask, index: int) -> None:
        mask |= stations
        for station in np.flatnonzero(stations):
            self.by[station].add(index)


def settle_stations(joint: JudgedJoint, readings: Sequence[FeelerReading]) -> SettledStations:
    """Work the readings through; their order does not matter."""
    count = len(joint.states)
    nothing = [np.zeros(count, dtype=bool) for _ in range(4)]
    work = _Work(
        joint=joint,
        within=nothing[0],
        doubtful=nothing[1],
        over=nothing[2],
        near_limit=nothing[3],
        by=[set() for _ in range(count)],
        remarks=[[] for _ in readings],
    )
    # Blades that stayed out come first: they say at which places the others cannot have gone in.
    for index, reading in enumerate(readings):
        if not reading.goes_in:
            _stayed_out(work, index, reading)
    for index, reading in enumerate(readings):
        if reading.goes_in:
            _went_in(work, index, reading)
    return SettledStations(
        states=_states(work),
        by=_reasons(work, readings),
        remarks=tuple(tuple(said) for said in work.remarks),
        near_limit=tuple(bool(near) for near in work.near_limit),
    )


def _stayed_out(work: _Work, index: int, reading: FeelerReading) -> None:
    joint, say = work.joint, work.remarks[index].append
    tried = joint.inside(reading.start_mm, reading.end_mm)
    wider = tried & _apart(joint, reading, +1)
    if wider.any():
        say(
            f"{CONTRADICTION} at {_place(joint, wider)}: the photo shows a gap wider than the "
            f"{reading.blade_mm:.2f} mm of blades that does not go in, so that settles nothing; look for a "
            "burr, a chip or a bent blade, or photograph again"
        )
    elif not tried.any():
        say("settles nothing: no station lies in the stretch with its whole cell")
    elif reading.flat:
        say(
            "settles nothing: pushed in flat, a blade feels no opening shorter than its width; use its corner"
        )
    elif proof_of(reading.blade_mm, reading.u_mm, joint.limit_mm, joint.decision) != StationState.WITHIN:
        say(f"settles nothing: {_which_would(joint, StationState.WITHIN)}")
    else:
        asked = joint.are(StationState.DOUBTFUL, StationState.UNSEEN)
        work.settle(work.within, tried & asked, index)


def _went_in(work: _Work, index: int, reading: FeelerReading) -> None:
    joint, say = work.joint, work.remarks[index].append
    tried = joint.touched(reading.start_mm, reading.end_mm)
    # At one place it went in: the photo contradicts only where it shows every place narrower.
    contradicted = bool(tried.any() and _apart(joint, reading, -1)[tried].all())
    if contradicted:
        say(
            f"{CONTRADICTION} at {_place(joint, tried)}: {reading.blade_mm:.2f} mm of blades goes in, and "
            "the photo shows a narrower gap all along; photograph again, or make sure of the place"
        )
    if not tried.any():
        say("settles nothing: no station lies in the stretch")
    elif proof_of(reading.blade_mm, reading.u_mm, joint.limit_mm, joint.decision) == StationState.OVER:
        _went_in_over(work, index, tried)
    else:
        open_still = joint.are(StationState.DOUBTFUL, StationState.UNSEEN)
        inside_mm, _ = settling_blades_mm(joint.limit_mm, joint.decision)
        if inside_mm is not None and reading.blade_mm >= inside_mm:
            work.near_limit |= tried & open_still
        if contradicted:
            work.settle(work.doubtful, tried & joint.are(StationState.WITHIN), index)
        else:
            say(f"settles nothing: {_which_would(joint, StationState.OVER)}")


def _went_in_over(work: _Work, index: int, tried: Mask) -> None:
    """Which stations are over for it; see rule 3 of this file."""
    joint, say = work.joint, work.remarks[index].append
    if (tried & joint.are(StationState.OVER)).any():
        say("settles nothing more: the photo shows a place over the limit in this stretch")
        return
    open_still = tried & joint.are(StationState.DOUBTFUL, StationState.UNSEEN)
    left = open_still & ~work.within
    if left.any():
        work.settle(work.over, left, index)
    elif open_still.any():
        say(f"{CONTRADICTION} at {_place(joint, tried)}: thinner blades did not go in; try them all again")
        work.settle(work.over, open_still, index)
    else:
        if not work.remarks[index]:
            say(f"{CONTRADICTION} at {_place(joint, tried)}: the photo says within, the blade is over")
        work.settle(work.over, tried, index)


def _apart(joint: JudgedJoint, reading: FeelerReading, sign: int) -> Mask:
    """(N,) where the photo's gap is surely wider (+1) or narrower (-1) than the blade; False where unseen."""
    u_mm = np.hypot(joint.u_gap_mm, reading.u_mm)
    return sign * (joint.gap_mm - reading.blade_mm) > _APART * u_mm  # NaN compares as False


def _states(work: _Work) -> tuple[StationState, ...]:
    states = np.array(work.joint.states, dtype=object)
    states[work.within] = StationState.WITHIN
    states[work.doubtful] = StationState.DOUBTFUL
    states[work.over] = StationState.OVER
    return tuple(states)


def _reasons(work: _Work, readings: Sequence[FeelerReading]) -> tuple[tuple[int, ...], ...]:
    """Readings by station, only those on the side that won."""

    def kept(station: int, indices: Iterable[int]) -> tuple[int, ...]:
        pushed = bool(work.over[station] or work.doubtful[station])
        return tuple(sorted(index for index in indices if readings[index].goes_in == pushed))

    return tuple(kept(station, indices) for station, indices in enumerate(work.by))


def _which_would(joint: JudgedJoint, wanted: StationState) -> str:
    inside_mm, over_mm = settling_blades_mm(joint.limit_mm, joint.decision)
    limit = f"at the limit of {joint.limit_mm:.2f} mm"
    if wanted == StationState.OVER:
        return f"{limit} a blade proves something by going in from {over_mm:.2f} mm"
    if inside_mm is None:
        return f"{limit} no blade is thin enough to prove anything by staying out"
    return f"{limit} a blade proves something by staying out up to {inside_mm:.2f} mm"


def _place(joint: JudgedJoint, stations: Mask) -> str:
    found = np.flatnonzero(stations)
    return place_in_words(float(joint.cell_start_mm[found[0]]), float(joint.cell_end_mm[found[-1]]))
