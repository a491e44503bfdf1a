"""Photos with known truth, and how a reading along a joint is scored against it.

The same scoring serves the product and the script it is compared with (`scripted.py`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Opening", "Reading", "Score", "Truth", "load_truths", "runs_of", "score"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SUFFIXES = (".jpg", ".jpeg", ".heic", ".png", ".webp", ".tif")
SHORTEST_OPENING_MM = 3.0  # openings over the limit at least this long must be found
SHORTEST_FALSE_SPOT_MM = 2.0
# A station is within if that is at least 95 % probable: one in twenty right at the limit may be wrong.
PROMISED_RISK = 0.05
HAIRLINE_MM = 0.1
FINE_PX_PER_MM = 12.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """One photo's truth: gap (S,) at s (S,) from the foot of the datum mark, `hidden` under a tack."""

    name: str
    photo: Path
    s_mm: Array
    gap_mm: Array
    hidden: Flags
    data: dict[str, Any]

    @property
    def step_mm(self) -> float:
        return float(np.median(np.diff(self.s_mm)))

    def gap_at(self, s_mm: Array) -> Array:
        """True gap at s; NaN beyond the truth's ends."""
        return np.interp(s_mm, self.s_mm, self.gap_mm, left=np.nan, right=np.nan)

    def hidden_at(self, s_mm: Array) -> Flags:
        """Whether either neighbouring place of the truth is hidden (or there is none)."""
        return np.interp(s_mm, self.s_mm, self.hidden.astype(float), left=1, right=1) > 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """What a method says at N stations; `u_mm` and spots over the limit (start, end) where it states them."""

    station_mm: Array
    gap_mm: Array  # NaN where nothing was read
    state: NDArray[np.str_]  # within, over, doubtful, unseen
    px_per_mm: Array
    u_mm: Array | None = None
    over_spots_mm: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A stretch over the limit: how many of its stations were called what."""

    start_mm: float
    end_mm: float
    largest_mm: float
    called: dict[str, int]

    @property
    def missed(self) -> bool:
        """Strict: more of its stations than the promised risk are called within."""
        total = sum(self.called.values())
        return self.called.get("within", 0) > PROMISED_RISK * total

    @property
    def overlooked(self) -> bool:
        """Lenient: not one of its stations is flagged (over, doubtful or unseen)."""
        return self.called.get("within", 0) == sum(self.called.values())


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """Reading less truth at the stations that were read and are not hidden, and what else went wrong."""

    station_mm: Array
    error_mm: Array
    true_mm: Array
    read_mm: Array
    px_per_mm: Array
    covered: Flags  # truth within gap ± 1.96 u, cut at zero; empty where no u is stated
    u_mm: Array
    visible: int  # stations whose truth is not hidden
    false_seen: int  # hidden stations that were read all the same
    false_seen_within: int  # of these, called within
    openings: tuple[Opening, ...]
    false_over_spots: tuple[tuple[float, float], ...]

    @property
    def seen_share(self) -> float:
        return len(self.error_mm) / max(self.visible, 1)

    def only(self, keep: Flags) -> Score:
        """The errors at some of the stations, without what belongs to the whole joint."""
        stated = len(self.u_mm) > 0
        return Score(
            station_mm=self.station_mm[keep],
            error_mm=self.error_mm[keep],
            true_mm=self.true_mm[keep],
            read_mm=self.read_mm[keep],
            px_per_mm=self.px_per_mm[keep],
            covered=self.covered[keep] if stated else self.covered,
            u_mm=self.u_mm[keep] if stated else self.u_mm,
            visible=int(keep.sum()),
            false_seen=0,
            false_seen_within=0,
            openings=(),
            false_over_spots=(),
        )


def load_truths(folder: Path) -> list[Truth]:
    """Every NAME.truth.json in the folder that has its photo beside it."""
    found = []
    for path in sorted(folder.glob("*.truth.json")):
        name = path.name.removesuffix(".truth.json")
        photo = next((p for s in SUFFIXES if (p := folder / f"{name}{s}").exists()), None)
        if photo is None:
            continue
        data = json.loads(path.read_text(encoding="utf-8"))
        if "stations" not in data:  # a photo of a lens board
            continue
        stations = data["stations"]
        found.append(
            Truth(
                name=name,
                photo=photo,
                s_mm=np.array(stations["s_mm"], float),
                gap_mm=np.array(stations["gap_mm"], float),
                hidden=np.array(stations["hidden"], bool),
                data=data,
            )
        )
    return found


def score(truth: Truth, reading: Reading, limit_mm: float) -> Score:
    """Compare a reading with the truth, the truth interpolated at the reading's stations."""
    true, hidden = truth.gap_at(reading.station_mm), truth.hidden_at(reading.station_mm)
    read = np.isfinite(reading.gap_mm)
    count = read & ~hidden
    error = reading.gap_mm[count] - true[count]
    if reading.u_mm is None:
        u, covered = np.empty(0), np.empty(0, bool)
    else:
        u = reading.u_mm[count]
        low = np.maximum(reading.gap_mm[count] - 1.96 * u, 0)
        high = np.maximum(reading.gap_mm[count] + 1.96 * u, 0)
        covered = (low <= true[count]) & (true[count] <= high)
    return Score(
        station_mm=reading.station_mm[count],
        error_mm=error,
        true_mm=true[count],
        read_mm=reading.gap_mm[count],
        px_per_mm=reading.px_per_mm[count],
        covered=covered,
        u_mm=u,
        visible=int((~hidden).sum()),
        false_seen=int((read & hidden).sum()),
        false_seen_within=int((read & hidden & (reading.state == "within")).sum()),
        openings=_openings(truth, reading, limit_mm),
        false_over_spots=_false_spots(truth, reading, limit_mm),
    )


def _openings(truth: Truth, reading: Reading, limit_mm: float) -> tuple[Opening, ...]:
    """Stretches of the truth over the limit, not hidden, within the stations' reach, 3 mm or longer."""
    step = truth.step_mm
    first, last = reading.station_mm[0] - step, reading.station_mm[-1] + step
    shown = (truth.gap_mm > limit_mm) & ~truth.hidden
    over = shown & (truth.s_mm >= first) & (truth.s_mm <= last)
    openings = []
    for begin, end in runs_of(over):
        start_mm, end_mm = float(truth.s_mm[begin]), float(truth.s_mm[end])
        if end_mm - start_mm + step < SHORTEST_OPENING_MM:
            continue
        inside = (reading.station_mm >= start_mm - 1e-6) & (reading.station_mm <= end_mm + 1e-6)
        words, counts = np.unique(reading.state[inside], return_counts=True)
        openings.append(
            Opening(
                start_mm=start_mm,
                end_mm=end_mm,
                largest_mm=float(truth.gap_mm[begin : end + 1].max()),
                called={str(w): int(c) for w, c in zip(words, counts, strict=True)},
            )
        )
    return tuple(openings)


def _false_spots(truth: Truth, reading: Reading, limit_mm: float) -> tuple[tuple[float, float], ...]:
    """Spots over the limit, longer than 2 mm, in which the truth is nowhere over it."""
    return tuple(
        (start, end)
        for start, end in reading.over_spots_mm
        if end - start > SHORTEST_FALSE_SPOT_MM
        and not np.any(truth.gap_at(np.arange(start, end + 0.05, 0.1)) > limit_mm)
    )


def runs_of(mask: Flags) -> list[tuple[int, int]]:
    """First and last index of every unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
