"""What a worker makes of archived results when somebody asks: pictures, reports, bags."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Archive
    from fitup.job import Job
    from fitup.phone.worker import Told

__all__ = ["check_photo", "make_bag", "make_labels", "make_picture", "make_report", "warm_up"]

Box = tuple[int, int, int, int]


def warm_up() -> None:
    """Load what a picture needs, so that the first does not wait for it."""
    import fitup.phone.photo_view  # noqa: F401


def make_picture(
    told: Told, photo: Path | str, digest: str, most_px: int, box: Box | None, out: Path
) -> None:
    """Write a photo, or its part in `box` [px of the upright photo], upright as a JPEG to `out`.

    `photo` is its file, or the archive that has it, and `digest` says which. Raises StorageError where it
    cannot be shown.
    """
    from fitup.evidence.writing import write_file
    from fitup.phone.photo_view import part_jpeg

    content = photo.read_bytes() if isinstance(photo, Path) else _archive(photo).store.read(digest)
    write_file(out, part_jpeg(content, most_px, box))


def make_report(told: Told, archive: str, number: int, out: Path) -> None:
    """Write the report of an archived result with its settlements to `out`, a .pdf, and as .html beside it.

    Raises as `build_report` and `save_report`.
    """
    from fitup.evidence.archive.laying_out import laid_out
    from fitup.evidence.report import build_report, save_report

    with laid_out(_archive(archive), number) as (_, folder):
        save_report(build_report([str(folder)]), str(out), html=True)


def make_bag(told: Told, archive: str, number: int, out: Path) -> None:
    """Write an entry, with all that belongs to it, as a zipped bag to `out`; raises as `export_bag`."""
    from fitup.evidence.archive.export import export_bag, selected

    opened = _archive(archive)
    with tempfile.TemporaryDirectory(prefix="fitup-bag-", dir=out.parent) as name:
        bag = Path(name) / f"entry-{number}"
        export_bag(opened, selected(opened, [number]), bag)
        packed = shutil.make_archive(str(Path(name) / "packed"), "zip", root_dir=name, base_dir=bag.name)
        Path(packed).replace(out)


def check_photo(told: Told, photo: Path, name: str) -> None:
    """Open a photo by the guarded door; PhotoError, with its name, where it is none."""
    from fitup.phone.measuring_work import second_name
    from fitup.photo import open_photo

    folder = photo.with_name(f"{photo.name}.opened")
    folder.mkdir()
    try:
        second_name(photo, folder / name)
        open_photo(folder / name)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def make_labels(told: Told, job: Job, address: str, paper: str, out: Path) -> None:
    """Write QR labels of a job's joints, for the page at an address, to `out`, a .pdf."""
    from fitup.evidence.writing import write_file
    from fitup.phone.labels import job_labels, labels_pdf

    write_file(out, labels_pdf(job_labels(job, address), paper))


def _archive(place: str) -> Archive:
    from fitup.evidence.archive.archive import open_archive

    return open_archive(place)
