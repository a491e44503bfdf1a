"""Where an archive is: a folder, or a database's URL with the place of the files in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from fitup.errors import UsageError
from fitup.evidence.writing import printable_name

__all__ = ["DATABASE_NAME", "FILES_NAME", "ArchivePlace", "archive_place"]

DATABASE_NAME = "archive.sqlite"
FILES_NAME = "files"


@dataclass(frozen=True, kw_only=True)
class ArchivePlace:
    """An archive's database and its files; `shown` is what a person may see, without a password."""

    database: URL
    files: str
    shown: str
    folder: Path | None
    """Where the SQLite file lies; None for a server."""


def archive_place(text: str) -> ArchivePlace:
    """Understand `--archive`: a folder, `sqlite:///FILE?files=URL` or `postgresql://...?files=URL`.

    Raises
    ------
    UsageError
        When it is neither, or says not where the files are.
    """
    if "\0" in text or not text.strip():
        raise UsageError("say where the archive is: --archive with a folder, or a database's URL.")
    return _by_url(text) if "://" in text else _by_folder(Path(text))


def _by_folder(folder: Path) -> ArchivePlace:
    return ArchivePlace(
        database=URL.create("sqlite", database=str(folder / DATABASE_NAME)),
        files=str(folder / FILES_NAME),
        shown=printable_name(str(folder)),
        folder=folder,
    )


def _by_url(text: str) -> ArchivePlace:
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise UsageError(
            "the archive's URL cannot be read: write postgresql://user@host/name?files=FOLDER."
        ) from None
    files = url.query.get("files", "")
    kind = url.get_backend_name()
    if kind not in ("postgresql", "sqlite") or (kind == "sqlite" and url.database in (None, "", ":memory:")):
        raise UsageError(f"an archive is kept in a folder, in sqlite:/// or postgresql://, not in {kind}.")
    folder = Path(str(url.database)).parent if kind == "sqlite" else None
    if not isinstance(files, str) or not files:
        if folder is None:
            raise UsageError("say where the archive's files are: postgresql://user@host/name?files=FOLDER.")
        files = str(folder / FILES_NAME)
    url = url.difference_update_query(["files"])
    if kind == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    return ArchivePlace(
        database=url,
        files=files,
        shown=printable_name(url.set(drivername=kind).render_as_string()),
        folder=folder,
    )
