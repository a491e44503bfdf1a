"""What was read of a joint's records, kept beside the user's other caches and never trusted over the archive.

The file names the archive and the last entry that it has seen, with that entry's digest, which covers all
entries before: where the archive holds another entry under that number, the file counts for nothing. What it
holds is checked against a digest of its own, and at every use some of its rows, drawn anew, against their
records in the archive. Whoever doubts it takes it away, and everything is read again.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fitup.errors import FitupError, StorageError
from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.joint_profiles import (
    NUMBER_COLUMNS,
    TEXT_COLUMNS,
    JointProfiles,
    ProfileRow,
    folded,
    read_rows,
    table_of,
    touched_since,
)
from fitup.evidence.writing import write_file

__all__ = ["ReadProfiles", "cache_folder", "profiles_of_joint"]

_FORM = "fitup profiles 1"
_KINDS = dict(zip(NUMBER_COLUMNS, ("<i8", "<i8", "<i8", "|b1", "|b1", "<u2", "<u2"), strict=True))
_CHECKED_AT_EVERY_USE = 8
# Of few fresh rows it is quicker to read them again than to write all others anew.
_WORTH_KEEPING = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadProfiles:
    """The profiles of a joint, how many records were read for it, and what could not be read."""

    profiles: JointProfiles
    records_read: int
    faults: tuple[str, ...]
    notes: tuple[str, ...]


def cache_folder() -> Path:
    """Where they are kept: the user's folder for caches (XDG base directories; LOCALAPPDATA on Windows)."""
    named = os.environ.get("XDG_CACHE_HOME") or (
        os.environ.get("LOCALAPPDATA") if sys.platform == "win32" else None
    )
    base = Path(named) if named and Path(named).is_absolute() else Path("~/.cache").expanduser()
    return base / "fitup" / "profiles"


def profiles_of_joint(
    archive: Archive,
    part: str,
    joint: str,
    *,
    folder: Path | None = None,
    read_anew: bool = False,
    told: Callable[[int, int], None] = lambda done, of: None,
) -> ReadProfiles:
    """The profiles of all records of a joint, corrections counted; void ones are among them, marked.

    Parameters
    ----------
    folder : where what was read is kept; None: nothing is kept, and nothing kept is used
    read_anew : every record is read again, whatever was kept
    told : is told how many records are read, of how many

    Raises
    ------
    StorageError
        When the archive cannot be read, or an entry was altered.
    UsageError
        When the records reach too far for one table.
    """
    head = archive.head()
    number = 0 if head is None else head.entry.number
    path = None if folder is None else folder / _name(archive, part, joint)
    kept, notes = (None, []) if read_anew else _kept(archive, path)
    known, seen = (None, 0) if kept is None else kept
    numbers, corrections = touched_since(
        archive, part, joint, seen, [] if known is None else known.number.tolist()
    )
    rows: list[ProfileRow] = []
    faults: list[str] = []
    for one in read_rows(archive, numbers, corrections, told):
        if isinstance(one, str):
            faults.append(one)
        else:
            rows.append(one)
    table = known if known is not None and not rows else table_of(rows, known)
    if path is not None and head is not None and not faults and len(rows) > _WORTH_KEEPING * len(table):
        notes += _keep(path, archive.name, number, head.digest, table)
    return ReadProfiles(
        profiles=_filed_here(table, part, joint),
        records_read=len(numbers),
        faults=tuple(faults),
        notes=tuple(notes),
    )


def _filed_here(table: JointProfiles, part: str, joint: str) -> JointProfiles:
    here = (folded(part), folded(joint))
    pairs = {one: tuple(map(folded, one)) == here for one in set(zip(table.part, table.joint, strict=True))}
    return table.only(np.array([pairs[one] for one in zip(table.part, table.joint, strict=True)], dtype=bool))


def _name(archive: Archive, part: str, joint: str) -> str:
    named = json.dumps((archive.name, folded(part), folded(joint)))
    return f"{hashlib.sha256(named.encode()).hexdigest()[:32]}.profiles"


def _kept(archive: Archive, path: Path | None) -> tuple[tuple[JointProfiles, int] | None, list[str]]:
    """The table that was kept and the entry up to which it goes, where it holds for this archive."""
    if path is None or not path.is_file():
        return None, []
    try:
        about, table = _unpacked(path.read_bytes())
        number, digest = int(about["head"]), str(about["digest"])
        fits = about["archive"] == archive.name and archive.entry(number).digest == digest
    except (OSError, ValueError, KeyError, TypeError, FitupError):
        fits = False
    if not fits:
        return None, ["what was kept of these records did not fit the archive: all were read anew."]
    if not _rows_are_true(archive, table):
        return None, ["what was kept of these records was not what they say: all were read anew."]
    return (table, number), []


def _rows_are_true(archive: Archive, table: JointProfiles) -> bool:
    """Whether some rows, drawn anew at every use, are what their records say."""
    drawn = sorted(random.sample(range(len(table)), min(len(table), _CHECKED_AT_EVERY_USE)))
    numbers = table.number[drawn].tolist()
    mask = np.zeros(len(table), dtype=bool)
    mask[drawn] = True
    rows = list(read_rows(archive, numbers, set(numbers)))
    if not all(isinstance(row, ProfileRow) for row in rows):
        raise StorageError(
            "a record that was read before cannot be read any more: `fitup archive verify` tells of all."
        )
    return _same(table.only(mask), table_of([row for row in rows if isinstance(row, ProfileRow)]))


def _same(kept: JointProfiles, read: JointProfiles) -> bool:
    """Whether two tables say the same of the same records; corrections newer than the table do not count."""
    if kept.number.tolist() != read.number.tolist() or kept.record_sha256 != read.record_sha256:
        return False
    start = read.first - kept.first
    end = start + read.gap_um.shape[1]
    if start < 0 or end > kept.gap_um.shape[1]:
        return False
    outside = np.ones(kept.gap_um.shape[1], dtype=bool)
    outside[start:end] = False
    return (
        bool(np.all(kept.gap_um[:, outside] == np.iinfo(np.uint16).max))
        and np.array_equal(kept.gap_um[:, start:end], read.gap_um)
        and np.array_equal(kept.u_um[:, start:end], read.u_um)
        and np.array_equal(kept.day, read.day)
        and np.array_equal(kept.limit_um, read.limit_um)
    )


def _keep(path: Path, archive: str, head: int, digest: str, table: JointProfiles) -> list[str]:
    try:
        write_file(path, _packed(table, {"archive": archive, "head": head, "digest": digest}))
    except StorageError:
        return ["what was read could not be kept: the next time takes as long."]
    return []


def _packed(table: JointProfiles, about: dict[str, Any]) -> bytes:
    texts = [json.dumps(getattr(table, name)).encode() for name in TEXT_COLUMNS]
    columns = [
        np.ascontiguousarray(getattr(table, name), dtype=kind).tobytes() for name, kind in _KINDS.items()
    ]
    body = b"".join([*columns, *texts])
    head = {
        "form": _FORM,
        **about,
        "shape": list(table.gap_um.shape),
        "first": table.first,
        "texts": [len(text) for text in texts],
        "sha256": hashlib.sha256(body).hexdigest(),
    }
    return json.dumps(head).encode() + b"\n" + body


def _unpacked(content: bytes) -> tuple[dict[str, Any], JointProfiles]:
    """What `_packed` packed; ValueError, KeyError or TypeError where it is anything else."""
    end = content.index(b"\n")
    head = json.loads(content[:end])
    body = memoryview(content)[end + 1 :]
    if head["form"] != _FORM or hashlib.sha256(body).hexdigest() != head["sha256"]:
        raise ValueError("not what was kept")
    rows, positions = (int(count) for count in head["shape"])
    fields: dict[str, Any] = {}
    at = 0
    for name, kind in _KINDS.items():
        shape = (rows, positions) if name in ("gap_um", "u_um") else (rows,)
        count = int(np.prod(shape))
        fields[name] = np.frombuffer(body, dtype=kind, count=count, offset=at).reshape(shape)
        at += count * np.dtype(kind).itemsize
    for name, length in zip(TEXT_COLUMNS, head["texts"], strict=True):
        fields[name] = tuple(map(str, json.loads(bytes(body[at : at + length]))))
        if len(fields[name]) != rows:
            raise ValueError("not what was kept")
        at += length
    return head, JointProfiles(first=int(head["first"]), **fields)
