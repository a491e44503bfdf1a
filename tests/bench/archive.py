"""The benchmark's section `archive`: adding, searching, verifying, kills, alterations."""

from __future__ import annotations

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from fitup.evidence.archive.archive import Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.verify import verify
from tests.evidence.archive_builders import small_archive, small_draft
from tests.evidence.archive_servers import postgresql, programs
from tests.evidence.test_archive_tampering import ZOO, reopened

__all__ = ["archive_figures"]

ROOT = Path(__file__).parents[2]
SINGLE_ADDS = 100
# What an inspection's folder holds, roughly, of a small photo.
FILE_BYTES = {"record": 40_000, "photo": 120_000, "overlay": 60_000, "plot": 30_000, "table": 20_000}
# The same of a thumbnail of a photo: so many as a shop makes in years have room on a usual disk.
THUMBNAIL_BYTES = {"record": 8_000, "photo": 20_000, "overlay": 10_000, "plot": 4_000, "table": 3_000}
VERIFIED_ENTRIES = 1000
RUNS = 5
FILED_BLOCK = 200
CHILDREN_AT_ONCE = 4


def archive_figures(entries: int, filed: int, kills: int) -> dict[str, Any]:
    """Figures for bench.json.

    Search among `entries` without files, all of it with `filed` entries with files, `kills` of adding
    programs in each database.
    """
    with tempfile.TemporaryDirectory(prefix="fitup-bench-") as name:
        folder = Path(name)
        return {
            **_adding(folder / "adding"),
            **_searching(folder / "searching", entries),
            **_verifying(folder / "verifying"),
            "filed": _filed(folder / "filed", filed),
            **_altering(folder / "altering"),
            **_killing(str(folder / "killing"), kills),
            "postgresql": _on_postgresql(folder / "server", kills),
        }


def full_draft(seed: int, sizes: Mapping[str, int] = FILE_BYTES) -> Draft:
    """An inspection with files of the usual number, and of sizes as of a small photo."""
    dice = random.Random(seed)
    files = tuple(DraftFile.of(role, role, dice.randbytes(size)) for role, size in sizes.items())
    return Draft(kind="inspection", about=small_draft(seed).about, files=files)


def _adding(folder: Path) -> dict[str, Any]:
    """Least times of a few rounds: what else the machine's disk has to do is not the archive's."""
    archive = open_archive(str(folder), create=True)
    single, batch, keeping = [], [], []
    for run in range(RUNS):
        drafts = [full_draft(seed) for seed in range(2 * SINGLE_ADDS * run, 2 * SINGLE_ADDS * (run + 1))]
        single.append(_seconds(partial(_add_singly, archive, drafts[:SINGLE_ADDS])))
        batch.append(_seconds(partial(archive.add, drafts[SINGLE_ADDS:])))
        keeping.append(_fsync_s(folder / f"kept-{run}"))
    return {
        "adds_per_s": SINGLE_ADDS / min(single),
        "adds_in_one_call_per_s": SINGLE_ADDS / min(batch),
        "add_over_fsync": min(single) / SINGLE_ADDS / min(keeping),
    }


def _add_singly(archive: Archive, drafts: list[Draft]) -> None:
    for draft in drafts:
        archive.add([draft])


def _fsync_s(folder: Path) -> float:
    """How long this disk takes to keep one small file: what adding waits for."""
    folder.mkdir()

    def keep(number: int) -> None:
        with (folder / f"kept-{number}").open("wb") as file:
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())

    return statistics.fmean(_seconds(partial(keep, number)) for number in range(50))


def _searching(folder: Path, entries: int) -> dict[str, Any]:
    """Entries without files: the search looks at none."""
    archive = open_archive(str(folder), create=True)
    block = 2000
    for start in range(0, entries, block):
        archive.add(
            [
                Draft(kind="outcome", about=small_draft(seed, largest=51).about, note=f"weld {seed}")
                for seed in range(start, min(start + block, entries))
            ]
        )
    times = _search_times(archive)
    chain_s = _seconds(lambda: verify(archive))
    return {
        "entries": entries,
        "search_s": max(times.values()),
        "search_s_by_question": times,
        "chain_entries_per_s": entries / chain_s,
    }


def _search_times(archive: Archive) -> dict[str, float]:
    queries = {
        "by joint": Query(joint="J7"),
        "by serial number": Query(serial="S-0042"),
        "by verdict, wire and days": Query(
            verdict="gauge", wire_um=900, from_day="2026-05-01", to_day="2026-05-31"
        ),
        "by a word": Query(words=("weld 77",)),
        "by a word that is nowhere": Query(words=("nowhere",)),
        "newest": Query(),
    }
    return {name: _search_s(archive, query) for name, query in queries.items()}


def _search_s(archive: Archive, query: Query) -> float:
    return statistics.median(_seconds(lambda: archive.search(query, 50)) for _ in range(RUNS))


def _verifying(folder: Path) -> dict[str, Any]:
    """Against `sha256sum` of the same files, all of them in the system's cache; runs interleaved."""
    return {
        "verify_over_sha256sum": _over_sha256sum(folder / "full", full_draft),
        "verify_of_tiny_files_over_sha256sum": _over_sha256sum(folder / "tiny", small_draft),
    }


def _over_sha256sum(place: Path, make: Callable[[int], Draft]) -> float:
    archive = open_archive(str(place), create=True)
    for start in range(0, VERIFIED_ENTRIES, 100):
        archive.add([make(seed) for seed in range(start, start + 100)])
    own, other = _verify_times(archive, place, RUNS)
    return own / other


def _verify_times(archive: Archive, place: Path, runs: int) -> tuple[float, float]:
    """Least times of verifying and of `sha256sum` of the same files; runs interleaved."""
    names = "\0".join(str(path) for path in (place / "files").rglob("*") if path.is_file())
    own, other = [], []
    for _ in range(runs):
        own.append(_seconds(lambda: _must_be_sound(archive)))
        other.append(_seconds(lambda: _sha256sum(names)))
    return min(own), min(other)


def _filed(place: Path, entries: int) -> dict[str, Any]:
    """A large archive with all its files: added to in blocks, then one by one; searched; verified."""
    archive = open_archive(str(place), create=True)
    adding = 0.0
    for start in range(0, entries, FILED_BLOCK):
        block = [
            full_draft(seed, THUMBNAIL_BYTES) for seed in range(start, min(start + FILED_BLOCK, entries))
        ]
        adding += _seconds(partial(archive.add, block))
    more = [full_draft(seed) for seed in range(entries, entries + SINGLE_ADDS)]
    single = _seconds(partial(_add_singly, archive, more))
    own, other = _verify_times(archive, place, 2)
    return {
        "entries": entries + SINGLE_ADDS,
        "files": (entries + SINGLE_ADDS) * len(FILE_BYTES),
        "adds_in_one_call_per_s": entries / adding,
        "adds_per_s": SINGLE_ADDS / single,
        "search_s": max(_search_times(archive).values()),
        "verify_s": own,
        "verify_over_sha256sum": own / other,
    }


def _must_be_sound(archive: Archive) -> None:
    assert verify(archive).sound


def _sha256sum(names: str) -> None:
    command = ["xargs", "-0", "sha256sum"]
    subprocess.run(command, input=names.encode(), stdout=subprocess.DEVNULL, check=True)


def _altering(folder: Path) -> dict[str, Any]:
    missed = []
    for number, (name, (tamper, words, where)) in enumerate(ZOO.items()):
        place = folder / str(number)
        archive, added = small_archive(place)
        tamper(place, added)
        faults = verify(reopened(archive, place)).faults
        if not any(fault.word in words and where in fault.where for fault in faults):
            missed.append(name)
    return {
        "tampering_kinds": len(ZOO),
        "tampering_found": len(ZOO) - len(missed),
        "tampering_missed": missed,
    }


def _killing(place: str, kills: int) -> dict[str, Any]:
    """Programs killed while several add at once; what they had said must be there, and nothing by halves."""
    arguments = ["--kills", str(kills), "--at-once", str(CHILDREN_AT_ONCE), "--seed", "1"]
    command = [sys.executable, "-m", "tests.evidence.archive_killing", place, *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    result = json.loads(done.stdout)
    archive = open_archive(place)
    verified = verify(archive)
    there = {one.entry.number: one.digest for one in archive.search(Query())}
    lost = [number for number, digest in result["said"].items() if there.get(int(number)) != digest]
    return {
        "kills": result["kills"],
        "kill_seed": result["seed"],
        "acknowledged": len(result["said"]),
        "entries_after_kills": verified.entries,
        "lost": len(lost),
        "half": len(verified.faults),
        "files_left_over": verified.leftovers,
    }


def _on_postgresql(folder: Path, kills: int) -> dict[str, Any] | None:
    if programs() is None:
        return None
    with postgresql() as url:
        place = f"{url}&files={folder / 'files'}"
        killed = _killing(place, kills)
        archive = open_archive(place)
        adding = _seconds(lambda: [archive.add([full_draft(seed)]) for seed in range(SINGLE_ADDS)])
    return {**killed, "adds_per_s": SINGLE_ADDS / adding}


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
