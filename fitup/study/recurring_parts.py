"""Which of a joint's records count: one a part, as it first came, in the order of time.

The rule: void records do not count. Of several records of one serial number (of one job) the first counts,
since later ones show what re-fixturing made of it; the first that did not ask for another photo, where there
is one. A record without serial number counts as a part of its own.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.archive.joint_profiles import JointProfiles, folded
from fitup.evidence.archive.profile_reading import POSITION_STEP_MM

__all__ = ["Parts", "counted_parts"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """Parts in the order of time: one profile a part."""

    number: NDArray[np.int64]
    """(N,) number of the archive's entry."""
    day: NDArray[np.datetime64]
    serial: tuple[str, ...]
    limit_um: NDArray[np.int64]
    position_mm: NDArray[np.float64]
    """(P,) place along the joint from the datum mark."""
    gap_um: NDArray[np.uint16]
    u_um: NDArray[np.uint16]
    """(N, P) gap and its standard uncertainty, `UNSEEN_UM` where unseen."""
    left_out: dict[str, int]
    """How many records do not count, by reason."""
    without_serial: int

    def __len__(self) -> int:
        return len(self.number)


def counted_parts(
    profiles: JointProfiles, *, job: str | None = None, from_day: str | None = None, to_day: str | None = None
) -> Parts:
    """The parts of a joint that count; days are those of the record that counts, both included."""
    valid = ~profiles.void
    if job is not None:
        valid &= np.array([folded(one) == folded(job) for one in profiles.job], dtype=bool)
    void = int(np.sum(profiles.void))
    day = profiles.day.astype("datetime64[D]")
    order = np.lexsort((profiles.number, profiles.day))
    order = order[valid[order]]
    rows = _first_of_each(profiles, order)
    later = len(order) - len(rows)
    inside = np.ones(len(rows), dtype=bool)
    if from_day is not None:
        inside &= day[rows] >= np.datetime64(from_day)
    if to_day is not None:
        inside &= day[rows] <= np.datetime64(to_day)
    rows = rows[inside]
    positions = profiles.first + np.arange(profiles.gap_um.shape[1])
    left_out = {"void": void, "later of the same part": later}
    whole = len(rows) == len(profiles) and bool(np.all(np.diff(rows) == 1))  # a copy of all takes time
    return Parts(
        number=profiles.number[rows],
        day=day[rows],
        serial=tuple(profiles.serial[row] for row in rows),
        limit_um=profiles.limit_um[rows],
        position_mm=np.asarray(positions * POSITION_STEP_MM, dtype=np.float64),
        gap_um=profiles.gap_um if whole else profiles.gap_um[rows],
        u_um=profiles.u_um if whole else profiles.u_um[rows],
        left_out={reason: count for reason, count in left_out.items() if count},
        without_serial=sum(not profiles.serial[row].strip() for row in rows),
    )


def _first_of_each(profiles: JointProfiles, order: NDArray[np.intp]) -> NDArray[np.intp]:
    """Of rows in the order of time the first of every part."""
    names = {name: folded(name) for name in {*profiles.job, *profiles.serial}}
    keys = [
        (names[job], names[serial]) if names[serial] else ("", row)
        for row, (job, serial) in enumerate(zip(profiles.job, profiles.serial, strict=True))
    ]
    if len(set(keys)) == len(keys):
        return order
    of_part: dict[tuple[str, str | int], list[int]] = defaultdict(list)
    retake = profiles.retake.tolist()
    for row in order.tolist():
        of_part[keys[row]].append(row)
    first = {next((row for row in rows if not retake[row]), rows[0]) for rows in of_part.values()}
    return np.array([row for row in order.tolist() if row in first], dtype=np.intp)
