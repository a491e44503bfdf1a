"""A hidden folder that is filled for a while; one whose program was killed meanwhile is cleared by the next.

Who fills a folder holds a lock on it, which the system takes back when a program ends in whatever way. So a
folder that nobody holds is nobody's any more. Where the system knows no such locks, nothing is cleared.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

__all__ = ["folder_to_fill"]

_PREFIX = ".fitup-filling-"
_YOUNG_S = 60  # between making a folder and holding it another program may look


@contextlib.contextmanager
def folder_to_fill(parent: Path) -> Iterator[Path]:
    """A fresh folder in `parent`, held until the block ends; it is for the block to move or remove it.

    What killed programs left in `parent` is cleared first. OSErrors pass through.
    """
    for folder in parent.glob(f"{_PREFIX}*"):
        _clear(folder)
    fresh = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=parent))
    with _held(fresh):
        yield fresh


def _clear(folder: Path) -> None:
    """Remove a folder that nobody holds; what cannot be removed stays for another day."""
    with contextlib.suppress(OSError):
        if folder.is_symlink() or time.time() - folder.stat().st_mtime < _YOUNG_S:
            return
        with _held(folder) as held:
            if held:
                shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def _held(folder: Path) -> Iterator[bool]:
    """Hold a folder; tell whether that was possible: somebody else may hold it, or there are no locks."""
    if sys.platform == "win32":
        yield False
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        held = True
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            held = False
        yield held
    finally:
        os.close(handle)
