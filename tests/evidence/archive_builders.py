"""Small archives for tests: entries with random content, the same for the same seed."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from fitup.evidence.archive.archive import Added, Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About, Outcome, Reference
from fitup.evidence.archive.store import address

ROLES = ("record", "photo", "overlay")
VERDICTS = ("within", "re-fixture", "gauge", "retake")


def small_draft(seed: int | str, *, largest: int = 3000) -> Draft:
    """An inspection of an invented joint; no record is in it, only bytes."""
    dice = random.Random(f"entry {seed}")
    return Draft(
        kind="inspection",
        about=About(
            job=f"RT-{dice.randrange(40, 45)}",
            part="rinse tank",
            joint=f"J{dice.randrange(1, 30)}",
            serial=f"S-{dice.randrange(10_000):04d}",
            who=dice.choice(("K. M.", "Ø. Ł.", "王")),
            day=f"2026-{dice.randrange(1, 13):02d}-{dice.randrange(1, 29):02d}",
            verdict=dice.choice(VERDICTS),  # type: ignore[arg-type]
            wire_um=dice.choice((0, 800, 900, 1200)),
            limit_um=900,
            largest_gap_um=dice.randrange(0, 2000),
            sentence=f"Reading {seed}.",
        ),
        files=tuple(
            DraftFile.of(role, f"{role}-{seed}", dice.randbytes(dice.randrange(50, largest)))
            for role in ROLES
        ),
    )


def sound(number: int, digest: str) -> Draft:
    return Draft(
        kind="outcome",
        about=About(day="2026-12-01", who="QC"),
        refers_to=(Reference(number=number, digest=digest),),
        outcome=Outcome(word="sound", bead_colour="straw", penetration="full"),
    )


def small_archive(folder: Path, count: int = 6) -> tuple[Archive, list[Added]]:
    """Inspections, and behind them the outcome of the first."""
    archive = open_archive(str(folder), create=True)
    added = archive.add([small_draft(seed) for seed in range(count)])
    added += archive.add([sound(1, added[0].digest)])
    return archive, added


@contextmanager
def tampering(folder: Path) -> Iterator[sqlite3.Connection]:
    """The database as somebody opens it who means to alter it."""
    with closing(sqlite3.connect(folder / "archive.sqlite")) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f"DROP TRIGGER {name}")
        yield database
        database.commit()


def stored_file(folder: Path, added: Added, role: str) -> Path:
    """Where a file of an entry lies, made writable."""
    file = added.entry.file(role)
    assert file is not None
    path = folder / "files" / address(file.sha256)
    path.chmod(0o644)
    return path
