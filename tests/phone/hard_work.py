"""Work for the server's workers that goes wrong in every way, by the photo's name."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np

from fitup.errors import RetakeError, StorageError, UsageError
from fitup.phone.measuring_work import Measured, MeasuringTask, Stage
from fitup.phone.worker import Told


def work(told: Told, task: MeasuringTask) -> Measured:
    told(Stage(word="measuring"))
    word = task.name.partition(".")[0]
    if word == "dies":
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "hangs":
        time.sleep(600)
    if word == "eats":
        np.ones(3_000_000_000)  # 24 GB
    if word == "crashes":
        raise ValueError("a bug")
    if word == "retake":
        raise RetakeError("no target", "No strip is seen.", "Lay it down.")
    if word == "wrong":
        raise UsageError("it is no photo: send one.")
    if word in ("unarchived", "unarchived once"):
        told(Stage(word="archiving"))
        marker = Path(task.archive + word)
        if word == "unarchived" or not marker.exists():
            marker.touch()
            raise StorageError("the archive is locked.")
    return Measured(entry=7)


def own_limits(told: Told) -> tuple[int, int, str]:
    import resource

    import cv2

    return resource.getrlimit(resource.RLIMIT_AS)[0], cv2.getNumThreads(), os.environ["OPENBLAS_NUM_THREADS"]


def stay_until_told(told: Told, seconds: float) -> None:
    told(os.getpid())
    time.sleep(seconds)
