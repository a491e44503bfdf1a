"""Photos of the queue to workers, one worker a core: what one photo does to its worker, no other feels."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Any

from fitup.errors import FitupError, RetakeError, StorageError
from fitup.phone.measuring_work import Measured, MeasuringTask, Stage, VerdictSaid, measure, warm_up
from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.shot import Shot
from fitup.phone.shot_store import ShotStore
from fitup.phone.worker import Worker

__all__ = ["MeasuringPool"]

# A photo that was begun so often, and never ended, has ended the whole program each time.
_MOST_ATTEMPTS = 3
_PAUSE_S = 2.0


class MeasuringPool:
    """Takes shots from the store and notes what comes of them; `told` hears of every change, by its id."""

    def __init__(
        self,
        settings: PhoneSettings,
        store: ShotStore,
        told: Callable[[str], None],
        work: Callable[..., Measured] = measure,
        warm: Callable[[], None] | None = warm_up,
    ) -> None:
        """Nothing runs yet; `work` and `warm` are called in the workers."""
        self._settings, self._store, self._told, self._work = settings, store, told, work
        self._workers = [Worker(settings.worker_bytes_max, warm) for _ in range(settings.workers)]
        self._news = threading.Condition()
        self._stopped = threading.Event()
        self._threads = [
            threading.Thread(target=self._run, args=(one,), name=f"fitup-measuring-{number}", daemon=True)
            for number, one in enumerate(self._workers)
        ]

    def start(self) -> None:
        """Start the workers, and go on with what waits."""
        for one in self._threads:
            one.start()

    def stop(self) -> None:
        """End the workers; what is being measured is measured again the next time."""
        with self._news:
            self._stopped.set()
            self._news.notify_all()
        for worker in self._workers:
            worker.end()
        for thread in self._threads:
            thread.join()

    def wake(self) -> None:
        """Something is in the queue."""
        with self._news:
            self._news.notify()

    @property
    def pids(self) -> list[int]:
        """The workers' processes."""
        return [pid for pid in (one.pid for one in self._workers) if pid is not None]

    def _run(self, worker: Worker) -> None:
        with contextlib.suppress(StorageError):
            worker.start()  # warm before the first photo comes
        while not self._stopped.is_set():
            try:
                shot = self._store.take_next()
            except StorageError:
                shot = None
            if shot is None:
                with self._news:
                    if not self._stopped.is_set():
                        self._news.wait(timeout=1.0)
                continue
            self._told(shot.id)
            with contextlib.suppress(StorageError):  # the disk is full: begun once more after a start
                self._one(worker, shot)
        worker.stop()

    def _one(self, worker: Worker, shot: Shot) -> None:
        """Measure one shot, and note what came of it."""
        try:
            if shot.attempts > _MOST_ATTEMPTS:
                raise StorageError("the program ended each time it measured this photo: take it again.")
            task = self._task(shot)
            measured: Measured = worker.call(
                self._work,
                task,
                limit_s=self._settings.measure_s_max,
                told=lambda news: self._hear(shot, news),
            )
        except FitupError as error:
            if not self._stopped.is_set():  # an ended worker is no fault of the photo's
                self._fail(shot, error)
            return
        self._change(shot, state="done", stage="done", entry=measured.entry)
        self._store.drop_photo(shot.digest)  # the archive has it

    def _fail(self, shot: Shot, error: FitupError) -> None:
        """Note the fault; where only the archive failed, which may pass, the photo is tried again."""
        known = self._store.get(shot.id)
        archiving = known is not None and known.stage == "archiving"
        if archiving and isinstance(error, StorageError) and shot.attempts < _MOST_ATTEMPTS:
            self._stopped.wait(_PAUSE_S)
            self._change(shot, state="queued", stage="waiting")
            return
        self._change(shot, **_failed(error))

    def _task(self, shot: Shot) -> MeasuringTask:
        served, joint = self._settings.find(shot.job, shot.joint)
        received = datetime.fromisoformat(shot.received_at_utc)
        return MeasuringTask(
            photo=self._store.photo(shot.digest),
            name=shot.name,
            joint=joint,
            points=shot.points,
            filing=served.filing(joint, shot.who, received),
            folder=self._store.work / shot.id[:32],
            view=self._settings.view(shot.digest),
            archive=self._settings.archive,
            serial=self._settings.serial,
        )

    def _hear(self, shot: Shot, news: Any) -> None:
        if isinstance(news, Stage):
            self._change(shot, stage=news.word)
        elif isinstance(news, VerdictSaid):
            self._change(shot, verdict=news.word, sentence=news.sentence, photo_px=news.photo_px)

    def _change(self, shot: Shot, **changes: Any) -> None:
        self._store.change(shot.id, **changes)
        self._told(shot.id)


def _failed(error: FitupError) -> dict[str, Any]:
    """What is noted of a photo that gave no result: the sentence, and of a retake why and what to do."""
    noted: dict[str, Any] = {
        "state": "failed",
        "stage": "failed",
        "error": str(error),
        "code": int(error.exit_code),
    }
    if isinstance(error, RetakeError):
        noted |= {"reason": error.reason, "sentence": error.message, "remedy": error.remedy}
    return noted
