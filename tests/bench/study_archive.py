"""The benchmark's section `learning`: what both studies of an archive cost, and how often they are wrong.

The archive of many entries is real; the files of their records are not, since a hundred thousand of them fill
a disk: the store gives one of a few hundred records made beforehand, after as much hashing as a file takes.
Reading, laying out and keeping are done as ever. Reading the files themselves from a disk comes on top.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from fitup.evidence.archive.archive import Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About, ArchivedFile
from fitup.evidence.archive.profile_cache import profiles_of_joint
from fitup.evidence.archive.store import sha256_of
from fitup.study.outcome_model import fit_outcomes, gap_interval
from fitup.study.recurring import study_recurring
from fitup.study.recurring_picture import recurring_png
from tests.study.invented_archive import JOINT, PART, Seen, record_bytes
from tests.study.invented_parts import LIMIT_MM, PLANTED, day_of_change, invented_gaps, profiles_of
from tests.study.simulated_outcomes import Truth, simulated

__all__ = ["coverage", "false_rates", "learning_figures", "speed"]

_KINDS = 200
_BATCH = 5000
_SEEDS = 500
_REPEATS = 1000
_TRUTHS = {
    "300 welds": Truth(),
    "120 welds": Truth(welds=120),
    "200 welds, steep": Truth(welds=200, slope_per_mm=-30.0),
    "300 welds, gentle": Truth(slope_per_mm=-4.5),
}


def learning_figures(records: int) -> dict[str, Any]:
    """Figures for bench.json: a joint of so many records, false rates, coverage; seeds from 0."""
    return {
        "recurring_speed": speed(records),
        "recurring_false_rates": false_rates(_SEEDS),
        "outcome_coverage": {name: coverage(_REPEATS, truth) for name, truth in _TRUTHS.items()},
    }


def speed(records: int) -> dict[str, float]:
    """Seconds for a joint of so many records: read for the first time, again, and after one more.

    `..._s` is by the clock, which other work on the machine lengthens, `..._processor_s` this process's own.
    """
    with tempfile.TemporaryDirectory(prefix="fitup-bench-") as name:
        folder = Path(name)
        contents = {
            sha256_of(one): one
            for one in (record_bytes(Seen(gap, serial="")) for gap in invented_gaps(1, _KINDS)[0])
        }
        archive = open_archive(str(folder / "archive"), create=True)
        real = _filled(archive, list(contents), records)

        def read_back(digest: str) -> bytes:
            content = contents[real[digest]]
            assert sha256_of(content) == real[digest]
            return content

        archive.store.read = read_back  # type: ignore[method-assign]
        figures: dict[str, float] = {"records": float(records)}
        for word in ("cold", "warm", "warm_again"):
            watch = _Watch()
            read = profiles_of_joint(archive, PART, JOINT, folder=folder / "kept")
            figures |= watch.figures(f"{word}_reading")
            study = study_recurring(read.profiles, changed="2022-06-01")
            figures |= watch.figures(f"{word}_map")
            recurring_png(study, "")
            figures |= watch.figures(f"{word}_with_picture")
            assert len(study.parts) == records
        archive.add([_draft(next(iter(contents)), "f" * 64, records + 1, real)])
        watch = _Watch()
        read = profiles_of_joint(archive, PART, JOINT, folder=folder / "kept")
        study_recurring(read.profiles)
        figures |= watch.figures("one_more_map")
    return figures


class _Watch:
    """Time since it was started, by the clock and of this process."""

    def __init__(self) -> None:
        self._started = time.perf_counter(), time.process_time()

    def figures(self, word: str) -> dict[str, float]:
        clock, processor = self._started
        return {
            f"{word}_s": time.perf_counter() - clock,
            f"{word}_processor_s": time.process_time() - processor,
        }


def _filled(archive: Archive, digests: list[str], records: int) -> dict[str, str]:
    """Entries of records that differ in nothing but a digest, which is unique in an archive."""
    real: dict[str, str] = {}
    for start in range(0, records, _BATCH):
        numbers = range(start, min(start + _BATCH, records))
        archive.add(
            [_draft(digests[number % len(digests)], f"{number:064x}", number, real) for number in numbers]
        )
    return real


def _draft(content: str, digest: str, number: int, real: dict[str, str]) -> Draft:
    real[digest] = content
    file = ArchivedFile(role="record", name="record.json", sha256=digest, byte_count=1)
    about = About(
        job="RT-40",
        part=PART,
        joint=JOINT,
        serial=f"S-{number:06d}",
        day=str(np.datetime64("2020-01-01") + number // 50),
        verdict="within",
        wire_um=900,
        limit_um=round(1000 * LIMIT_MM),
        largest_gap_um=500,
    )
    return Draft(kind="inspection", about=about, files=(DraftFile(entry=file, content=None),))


def false_rates(seeds: int) -> dict[str, float]:
    """Over so many invented archives of 200 parts: what was planted and found, and what was invented."""
    found = invented = helped = wrong_change = cut = wrong_cut = 0
    for seed in range(seeds):
        profiles = profiles_of(*invented_gaps(seed))
        study, after = study_recurring(profiles), study_recurring(profiles, changed=day_of_change())
        found += sum(
            any(spot.start_mm <= one.at_mm <= spot.end_mm for spot in study.spots) for one in PLANTED
        )
        invented += any(all(abs(spot.at_mm - one.at_mm) > 10 for one in PLANTED) for spot in study.spots)
        places = () if after.change is None else after.change.places
        helped += any(place.better and abs(place.at_mm - 120) < 6 for place in places)
        wrong_change += any(abs(place.at_mm - 120) > 10 for place in places)
        cut += any(one.where.startswith("11") for one in study.found)
        wrong_cut += any(one.where and not one.where.startswith("11") for one in study.found)
    nothing = {"nothing_spots": 0, "nothing_changes": 0, "nothing_cuts": 0, "nothing_at_limit_spots": 0}
    for seed in range(seeds):
        profiles = profiles_of(*invented_gaps(100_000 + seed, planted=(), scattered=2.0))
        study, after = study_recurring(profiles), study_recurring(profiles, changed=day_of_change())
        nothing["nothing_spots"] += bool(study.spots)
        nothing["nothing_changes"] += after.change is not None and after.change.word != "not shown"
        nothing["nothing_cuts"] += bool(study.found)
        rng = np.random.default_rng(200_000 + seed)
        level = LIMIT_MM + rng.normal(0.0, 0.03, (200, 421))
        at_limit = profiles_of(level, np.full(level.shape, 0.03))
        nothing["nothing_at_limit_spots"] += bool(study_recurring(at_limit).spots)
    counts = {
        "planted_found": found / len(PLANTED),
        "archives_with_invented_spot": invented,
        "improvement_found": helped,
        "other_changes": wrong_change,
        "day_of_change_found": cut,
        "other_days": wrong_cut,
        **nothing,
    }
    return {"seeds": float(seeds), **{name: count / seeds for name, count in counts.items()}}


def coverage(repeats: int, truth: Truth, first_seed: int = 0) -> dict[str, float]:
    """How often the 95 % interval of the gap at 95 % holds the true one."""
    held = below = 0
    for seed in range(first_seed, first_seed + repeats):
        interval = gap_interval(fit_outcomes(*simulated(seed, truth)), 0.95)
        held += interval.low_mm <= truth.gap_95_mm <= interval.high_mm
        below += truth.gap_95_mm < interval.low_mm
    return {"repeats": float(repeats), "coverage": held / repeats, "true_gap_below": below / repeats}
