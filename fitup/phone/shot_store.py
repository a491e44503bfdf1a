"""Shots on the disk: photos by their digest, the queue in a small database; a kill loses none.

A photo is whole on the disk, and its shot is in the database, before anybody is told that it arrived. What
was being measured when the program ended is measured again when it runs again.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
import threading
import uuid
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.store import address, flush_folder
from fitup.phone.shot import OPEN_STATES, Shot

__all__ = ["ShotStore"]

_TABLE = """
CREATE TABLE IF NOT EXISTS shot (
    number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT UNIQUE NOT NULL, digest TEXT NOT NULL,
    state TEXT NOT NULL, phone_id TEXT NOT NULL, told TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS sender (
    phone_id TEXT NOT NULL, number INTEGER NOT NULL, PRIMARY KEY (phone_id, number)) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS shot_by_state ON shot (state, number);
CREATE INDEX IF NOT EXISTS shot_by_digest ON shot (digest);
"""
_AFRESH: dict[str, Any] = {"state": "queued", "stage": "received", "error": "", "code": 0, "attempts": 0}
_COLUMNS = "number, id, digest, state, phone_id, told"


class ShotStore:
    """The queue and its photos below a folder that no other program uses."""

    def __init__(self, folder: Path) -> None:
        """Open it, and make it where there is none; StorageError when that fails."""
        self.photos, self.incoming = folder / "photos", folder / "incoming"
        self.work = folder / "work"
        self._lock = threading.Lock()
        with _faults(folder):
            for one in (self.photos, self.incoming, self.work):
                one.mkdir(parents=True, exist_ok=True)
            shutil.rmtree(self.incoming)  # cut off while it arrived: nobody was told that it did
            self.incoming.mkdir()
            self._db = sqlite3.connect(
                folder / "shots.sqlite", check_same_thread=False, isolation_level=None, timeout=1
            )
            self._db.execute("PRAGMA locking_mode = EXCLUSIVE")  # until this program ends, however it does
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.executescript(_TABLE)
            for shot in self._select("state = 'measuring'"):
                self._write(replace(shot, state="queued", stage="waiting"))

    def close(self) -> None:
        """Let the database go."""
        with self._lock:
            self._db.close()

    def new_file(self) -> Path:
        """A name for a photo that is arriving."""
        return self.incoming / uuid.uuid4().hex

    def photo(self, digest: str) -> Path:
        """Where a photo lies."""
        return self.photos / address(digest)

    def add(self, shot: Shot, arrived: Path | None = None) -> tuple[Shot, bool]:
        """Put a shot into the queue; gives it and whether it is new. One that had failed is queued again.

        `arrived` is its photo, forced to the disk by whoever wrote it; None where it lies in its place.
        """
        with self._lock, self._writing():
            there = self._one(shot.id)
            fresh = there is None or there.may_be_tried_again
            if fresh and arrived is not None:
                self._keep(arrived, shot.digest)
            if there is None:
                columns = (shot.id, shot.digest, shot.state, shot.phone_id, _told(shot))
                self._db.execute(
                    "INSERT INTO shot (id, digest, state, phone_id, told) VALUES (?, ?, ?, ?, ?)", columns
                )
                there = self._known(shot.id)
            elif fresh:
                there = replace(there, **_AFRESH, version=there.version + 1)
                self._write(there)
            self._db.execute("INSERT OR IGNORE INTO sender VALUES (?, ?)", (shot.phone_id, there.number))
            return there, fresh

    def was_sent_by(self, shot: Shot, phone_id: str) -> bool:
        """Whether this phone has sent it, first or once more."""
        with self._lock, _faults(self.photos):
            found = "SELECT 1 FROM sender WHERE phone_id = ? AND number = ?"
            return self._db.execute(found, (phone_id, shot.number)).fetchone() is not None

    def again(self, shot_id: str) -> Shot:
        """Queue a failed shot once more, where that may help and its photo is still here; else leave it."""
        with self._lock, self._writing():
            shot = self._known(shot_id)
            if shot.may_be_tried_again and self.photo(shot.digest).is_file():
                shot = replace(shot, **_AFRESH, version=shot.version + 1)
                self._write(shot)
            return shot

    def take_next(self) -> Shot | None:
        """The first of the queue, from now on being measured; None where none waits."""
        with self._lock, self._writing():
            waiting = self._select("state = 'queued'", most=1)
            if not waiting:
                return None
            first = waiting[0]
            taken = replace(
                first,
                state="measuring",
                stage="opening",
                attempts=first.attempts + 1,
                version=first.version + 1,
            )
            self._write(taken)
            return taken

    def change(self, shot_id: str, **changes: Any) -> Shot:
        """Note what became of a shot."""
        with self._lock, self._writing():
            shot = self._known(shot_id)
            changed = replace(shot, version=shot.version + 1, **changes)
            self._write(changed)
            return changed

    def get(self, shot_id: str) -> Shot | None:
        """The shot of this id."""
        with self._lock, _faults(self.photos):
            return self._one(shot_id)

    def position(self, shot: Shot) -> int:
        """Which in the queue it is, 1 for the next; 0 for one that does not wait."""
        if shot.state != "queued":
            return 0
        with self._lock, _faults(self.photos):
            before = "SELECT count(*) FROM shot WHERE state = 'queued' AND number <= ?"
            return int(self._db.execute(before, (shot.number,)).fetchone()[0])

    def of_phone(self, phone_id: str, most: int = 50) -> list[Shot]:
        """Shots that a phone has sent, the newest first."""
        with self._lock, _faults(self.photos):
            sent = "number IN (SELECT number FROM sender WHERE phone_id = ?)"
            return self._select(sent, (phone_id,), most, newest=True)

    def latest_of(self, job: str, joint: str) -> Shot | None:
        """The newest shot of a joint, whoever sent it; None where there is none."""
        with self._lock, _faults(self.photos):
            named = "json_extract(told, '$.job') = ? AND json_extract(told, '$.joint') = ?"
            found = self._select(named, (job, joint), 1, newest=True)
            return found[0] if found else None

    def of_entry(self, number: int) -> Shot | None:
        """The shot that gave this entry of the archive; None where it came another way."""
        with self._lock, _faults(self.photos):
            found = self._select("state = 'done' AND json_extract(told, '$.entry') = ?", (number,), 1)
            return found[0] if found else None

    def open_shots(self) -> list[Shot]:
        """What is still to be measured, in its order."""
        with self._lock, _faults(self.photos):
            return self._select(f"state IN {OPEN_STATES}")

    def drop_photo(self, digest: str) -> None:
        """Remove a photo that the archive has, unless another shot of it is still to be measured."""
        with self._lock, _faults(self.photos):
            if not self._select(f"digest = ? AND state IN {OPEN_STATES}", (digest,), 1):
                self.photo(digest).unlink(missing_ok=True)

    def _keep(self, arrived: Path, digest: str) -> None:
        target = self.photo(digest)
        target.parent.mkdir(parents=True, exist_ok=True)
        arrived.replace(target)
        flush_folder(target.parent)
        flush_folder(self.photos)

    def _one(self, shot_id: str) -> Shot | None:
        found = self._select("id = ?", (shot_id,), 1)
        return found[0] if found else None

    def _known(self, shot_id: str) -> Shot:
        shot = self._one(shot_id)
        if shot is None:
            raise StorageError("a photo's place in the queue is gone: send the photo again.")
        return shot

    def _select(
        self, where: str, values: tuple[object, ...] = (), most: int = -1, *, newest: bool = False
    ) -> list[Shot]:
        order = "DESC" if newest else "ASC"
        rows = self._db.execute(
            f"SELECT {_COLUMNS} FROM shot WHERE {where} ORDER BY number {order} LIMIT ?", (*values, most)
        )
        return [_shot(row) for row in rows]

    def _write(self, shot: Shot) -> None:
        self._db.execute(
            "UPDATE shot SET state = ?, told = ? WHERE id = ?", (shot.state, _told(shot), shot.id)
        )

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction; forced to the disk when it ends."""
        with _faults(self.photos):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")


def _told(shot: Shot) -> str:
    return json.dumps(shot.as_json())


def _shot(row: tuple[Any, ...]) -> Shot:
    number, own_id, digest, state, phone_id, text = row
    told = json.loads(text)
    told["points"] = tuple((float(u), float(v)) for u, v in told["points"])
    told["photo_px"] = None if told["photo_px"] is None else tuple(told["photo_px"])
    return Shot(number=number, id=own_id, digest=digest, state=state, phone_id=phone_id, **told)


@contextlib.contextmanager
def _faults(place: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        if "locked" in str(error):
            raise UsageError(
                "another fitup serve works in this folder: end it, or name another --out."
            ) from None
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise StorageError(
            f"the shop computer cannot keep the photo: {reason}; make room, then go on."
        ) from None
