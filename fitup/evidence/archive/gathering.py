"""A folder of results, with its photos, to what the archive keeps of it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About, EntryKind
from fitup.evidence.comparison_saving import COMPARISON_NAME, COMPARISON_PICTURE_NAME, read_comparison
from fitup.evidence.judged_record import AnyRecord, JudgedRecord, photos_of, read_judged
from fitup.evidence.record import PhotoEntry
from fitup.evidence.record_file import read_text
from fitup.evidence.saving import PLOT_NAME, RECORD_NAME, TABLE_NAME
from fitup.evidence.settlement_file import Settlements, read_settlements
from fitup.evidence.writing import printable_name

__all__ = ["PhotoBox", "drafts_of", "found_in"]

_KINDS: dict[str, EntryKind] = {"photo": "inspection", "seam": "seam", "sides": "sides"}


class PhotoBox:
    """Photos at hand, to be found by what is in them and not by their names."""

    def __init__(self, paths: Iterable[Path]) -> None:
        self._paths = list(paths)
        self._digests: dict[Path, str] = {}

    def content(self, photo: PhotoEntry) -> bytes:
        """The bytes of the photo that a record tells of; UsageError when none of the files is it."""
        for path in self._paths:
            try:
                if path.stat().st_size != photo.byte_count:
                    continue
                content = path.read_bytes()
            except (OSError, ValueError):
                continue
            if hashlib.sha256(content).hexdigest() == photo.sha256:
                return content
        raise UsageError(
            f"the photo {photo.name} of the record is not among the files given: name it with --photo, "
            "unchanged, or add the record --without-photo."
        )


def drafts_of(
    place: Path,
    photos: PhotoBox | None,
    *,
    serial: str = "",
    note: str = "",
    filed: Callable[[str], About | None] = lambda _: None,
) -> list[Draft]:
    """What a folder of results gives: the record and its settlements, or a comparison, in their order.

    `photos` is None when the record is to be kept without its photo. `filed` says what a record, by digest,
    is in the archive already: it is left out then, and what was added to it since is filed alike.

    Raises
    ------
    UsageError
        When it is no folder of results, or a photo is missing.
    StorageError
        When it cannot be read, or was altered.
    """
    folder = place if place.is_dir() else place.parent
    if not (folder / RECORD_NAME).is_file() and (folder / COMPARISON_NAME).is_file():
        return _comparison(folder, serial, note, filed)
    settlements = read_settlements(read_judged(str(place)))
    judged = settlements.judged
    about = filed(judged.sha256)
    if about is not None:
        return _settled(settlements, about)
    about = _about(judged.record, serial)
    return [_measured(judged, about, photos, note), *_settled(settlements, about)]


def found_in(record: AnyRecord) -> dict[str, Any]:
    """What a record found, as its entry's `about` tells it."""
    verdict, wire = record.verdict, record.request.wire
    return {
        "verdict": verdict.word,
        "wire_um": 0 if wire is None else _micrometres(wire.diameter_mm),
        "limit_um": _micrometres(record.limit.limit_mm),
        "largest_gap_um": _micrometres(verdict.largest_gap_mm),
        "sentence": verdict.sentence,
    }


def _measured(judged: JudgedRecord, about: About, photos: PhotoBox | None, note: str) -> Draft:
    files = [_file("record", judged.path)]
    if files[0].entry.sha256 != judged.sha256:
        raise StorageError(f"{judged.name} was changed while it was read: add it again.")
    shown = {"overlay": sorted(judged.folder.glob("overlay*.jpg"))}
    shown |= {"plot": [judged.folder / PLOT_NAME], "table": [judged.folder / TABLE_NAME]}
    for role, paths in shown.items():
        files += [_file(role, path) for path in paths if path.is_file()]
    if photos is not None:
        files += [DraftFile.of("photo", one.name, photos.content(one)) for one in photos_of(judged.record)]
    return Draft(kind=_KINDS[judged.kind], about=about, files=tuple(files), note=note)


def _settled(settlements: Settlements, about: About) -> list[Draft]:
    return [
        Draft(
            kind="settlement",
            about=about.model_copy(
                update={
                    "who": one.who,
                    "day": f"{one.filed_at_utc:%Y-%m-%d}",
                    "verdict": one.verdict.word,
                    "sentence": one.verdict.sentence,
                }
            ),
            files=(_file("settlement", settlements.path(one.number)),),
            refers_to_files=(settlements.judged.sha256,),
        )
        for one in settlements.records
    ]


def _comparison(folder: Path, serial: str, note: str, filed: Callable[[str], About | None]) -> list[Draft]:
    record = read_comparison(folder / COMPARISON_NAME)
    after = filed(record.after.record.sha256)
    filing = record.after.filing if after is None else after
    about = About(
        job=filing.job,
        part=filing.part,
        joint=filing.joint,
        serial=serial or (after.serial if after is not None else ""),
        who=record.who,
        day=f"{record.compared_at_utc:%Y-%m-%d}",
        verdict=record.after.word,
        limit_um=_micrometres(record.after.limit_mm),
        sentence=record.sentence,
    )
    picture = folder / COMPARISON_PICTURE_NAME
    files = [_file("comparison", folder / COMPARISON_NAME)]
    files += [_file("plot", picture)] if picture.is_file() else []
    refers = tuple(dict.fromkeys((record.before.record.sha256, record.after.record.sha256)))
    return [Draft(kind="comparison", about=about, files=tuple(files), refers_to_files=refers, note=note)]


def _about(record: AnyRecord, serial: str) -> About:
    filing = record.filing
    return About(
        job=filing.job,
        part=filing.part,
        joint=filing.joint,
        serial=serial,
        who=filing.who,
        day=f"{filing.filed_at_utc:%Y-%m-%d}",
        **found_in(record),
    )


def _micrometres(length_mm: float | None) -> int | None:
    return None if length_mm is None else max(0, round(1000 * length_mm))


def _file(role: str, path: Path) -> DraftFile:
    return DraftFile.of(role, printable_name(path.name), read_text(path))


def paths_of(names: Sequence[str]) -> list[Path]:
    """Files that are named or lie directly in folders that are named."""
    paths: list[Path] = []
    for name in names:
        path = Path(name)
        try:
            inside = sorted(path.iterdir()) if path.is_dir() else [path]
        except (OSError, ValueError) as error:
            raise UsageError(f"{printable_name(name)} cannot be read: {error}.") from None
        paths += [one for one in inside if one.is_file()]
    return paths
