"""The archive verified in the background, with its progress for everybody who looks."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from fitup.errors import FitupError
from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.faults import Verified
from fitup.evidence.archive.verify import verify

__all__ = ["Verification"]

_MOST_FAULTS = 200


@dataclass(frozen=True, kw_only=True)
class _State:
    running: bool = False
    what: str = ""
    done: int = 0
    total: int = 0
    when: str | None = None
    verified: Verified | None = None
    fault: str = ""


class Verification:
    """At most one at a time; what the last one found stays to be seen."""

    def __init__(self, archive: Archive) -> None:
        """Nothing is verified yet."""
        self._archive = archive
        self._lock = threading.Lock()
        self._state = _State()

    def start(self) -> bool:
        """Begin; False where it runs already."""
        with self._lock:
            if self._state.running:
                return False
            self._state = _State(running=True)
        threading.Thread(target=self._run, name="fitup-verifying", daemon=True).start()
        return True

    def as_json(self) -> dict[str, Any] | None:
        """Where it stands; None where nothing was verified yet."""
        state, verified = self._state, self._state.verified
        if state == _State():
            return None
        faults = () if verified is None else verified.faults
        return {
            "running": state.running,
            "what": state.what,
            "done": state.done,
            "total": state.total,
            "when": state.when,
            "sound": None if verified is None else verified.sound,
            "entries": 0 if verified is None else verified.entries,
            "files": 0 if verified is None else verified.files,
            "byte_count": 0 if verified is None else verified.byte_count,
            "head": None if verified is None else verified.head,
            "leftovers": 0 if verified is None else verified.leftovers,
            "fault_count": len(faults),
            "faults": [
                {"kind": one.word, "where": one.where, "sentence": one.sentence}
                for one in faults[:_MOST_FAULTS]
            ],
            "error": state.fault,
        }

    def _run(self) -> None:
        try:
            verified = verify(self._archive, told=self._hear)
            ended = _State(verified=verified)
        except FitupError as error:
            ended = _State(fault=str(error))
        self._state = replace(ended, when=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))

    def _hear(self, what: str, done: int, total: int) -> None:
        self._state = replace(self._state, what=what, done=done, total=total)
