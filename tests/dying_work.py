"""Work that kills its own process, as the system does when memory runs out."""

from __future__ import annotations

import os
import signal
from pathlib import Path

ALWAYS, ONCE = "dies each time", "dies once"


def dying(task: tuple[str, str]) -> str:
    """Give the task's word; die each time or the first time by it; the folder keeps that it was so."""
    folder, word = task
    marker = Path(folder) / "died"
    if word == ALWAYS or (word == ONCE and not marker.exists()):
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "fails":
        raise ValueError(word)
    return word
