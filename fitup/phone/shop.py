"""All that the server's routes work with, made when the application starts and ended with it."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any, cast

from starlette.requests import Request

from fitup.errors import StorageError
from fitup.evidence.archive.archive import Archive, open_archive
from fitup.evidence.archive.laying_out import settlements_of
from fitup.evidence.settlement_file import Settlements
from fitup.evidence.writing import check_folder
from fitup.phone.board import Board
from fitup.phone.housekeeping import drop_old, tidy
from fitup.phone.kept import Kept
from fitup.phone.measuring import MeasuringPool
from fitup.phone.office import Office
from fitup.phone.office_work import make_picture
from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.pictures import VIEW_PX, box_of, picture_name, stepped
from fitup.phone.progress import Progress
from fitup.phone.shot_store import ShotStore
from fitup.phone.verifying import Verification

__all__ = ["Shop", "shop_of"]

_KEPT = 64
_KEPT_DAYS = 30.0
"""How long photos stay here that gave no result: until then, tapped ends measure them again."""
_MOST_VIEW_BYTES = 2_000_000_000


class Shop:
    """The archive, the queue, the workers; one of each."""

    def __init__(self, settings: PhoneSettings) -> None:
        """Open archive and queue, and make them where there are none.

        Raises
        ------
        UsageError, StorageError
            When the archive or the folder cannot be used.
        """
        check_folder(settings.state_folder)
        self.settings = settings
        self.archive: Archive = open_archive(settings.archive, create=True)
        self.store = ShotStore(settings.state_folder)
        self.board = Board(settings, self.archive, self.store)
        self.office = Office(settings)
        self.verification = Verification(self.archive)
        self.settling = threading.Lock()
        self.progress = Progress()
        self.pool = MeasuringPool(settings, self.store, self.progress.tell)
        self._results: Kept[Settlements] = Kept(_KEPT)
        self.comparisons: Kept[dict[str, Any] | None] = Kept(_KEPT)

    def start(self) -> None:
        """Begin to measure, with what waits; make room where much was kept."""
        waiting = frozenset(one.digest for one in self.store.open_shots())
        drop_old(self.store.photos, _KEPT_DAYS, waiting)
        tidy(self.settings.views, _MOST_VIEW_BYTES)
        self.office.start()
        self.pool.start()

    def stop(self) -> None:
        """End all workers; what waits stays in the queue."""
        self.pool.stop()
        self.office.stop()
        self.store.close()

    def result(self, number: int, later_count: int) -> Settlements:
        """The record of an entry with its settlements, read once while nothing is added to it.

        Raises
        ------
        StorageError
            When it is missing or was altered.
        """
        return self._results.get((number, later_count), lambda: self._read(number))

    def picture(self, digest: str, most: int, box: str, photo: Path | None = None) -> Path:
        """A photo upright as a JPEG of about `most` px, or its part `box` (left,top,right,bottom).

        `photo` is where it lies while the archive may not have it. Raises UsageError for another box,
        StorageError where it is missing or damaged.
        """
        part, most_px = box_of(box), stepped(most)
        view = self.settings.view(digest)
        small = part is None and most_px <= VIEW_PX and view.is_file()
        if small and most_px == VIEW_PX:
            return view
        here = photo if photo is not None and photo.is_file() else None
        source = view if small else here or self.settings.archive
        name = picture_name(digest, most_px, part)
        return self.office.made(name, make_picture, source, digest, most_px, part)

    def _read(self, number: int) -> Settlements:
        try:
            return settlements_of(self.archive, number)
        except StorageError:
            raise StorageError(
                f"the record of entry {number}, or what was settled of it, is missing or was altered: have "
                "quality control verify the archive."
            ) from None


def shop_of(request: Request) -> Shop:
    """The shop that the request came to."""
    return cast("Shop", request.app.state.shop)
