"""The archive's database: connections, transactions that are on the disk once they end, migrations.

SQLite keeps a rollback journal with `synchronous = EXTRA`: when a transaction has ended, file and folder are
on the disk, and the archive can be read from a read-only copy of one file. The journal's file stays, its head
overwritten with zeros: making and taking it away would cost two more waits for the disk. A writer takes the
lock before it looks at the last entry (`BEGIN IMMEDIATE`; an advisory lock in PostgreSQL), so that two
stations add one after the other.
"""

from __future__ import annotations

import contextlib
import uuid
import weakref
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, NullPool, create_engine, event, insert, inspect, select, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.models import ArchiveRow
from fitup.evidence.archive.place import ArchivePlace
from fitup.evidence.writing import printable_name

__all__ = ["LATEST_MIGRATION", "Database"]

LATEST_MIGRATION = "0001"
"""The newest file in `migrations/versions`; a test proves it."""

_MIGRATIONS = Path(__file__).with_name("migrations")
_PATIENCE_S = 30
_LOCK = 0x666974757000  # any number that only this program uses
_WRITING = "fitup_writing"
_CAREFULLY = text(
    f"SELECT set_config('lock_timeout', '{_PATIENCE_S}s', true), set_config('synchronous_commit', 'on', true)"
)
_JOURNAL_BYTES = 1 << 20  # what a large add's journal is cut to afterwards


class Database:
    """One archive's database."""

    def __init__(self, place: ArchivePlace) -> None:
        """Connect to nothing yet; UsageError where the database's driver is not installed."""
        self.place = place
        try:
            self._engine = _engine(place)
        except ImportError:
            raise UsageError(
                "an archive in PostgreSQL needs the library psycopg: install fitup[postgresql]."
            ) from None
        weakref.finalize(self, self._engine.dispose)  # connections to a server are kept between adds

    def open(self, *, create: bool) -> str:
        """The archive's name; with `create`, tables are made or brought up to date where they are not.

        Raises
        ------
        UsageError
            When there is no archive and none is to be made.
        StorageError
            When it cannot be read or made, or a newer program made it.
        """
        folder = self.place.folder
        if folder is not None and create:
            with self._faults():
                folder.mkdir(parents=True, exist_ok=True)
        elif folder is not None and not Path(str(self._engine.url.database)).is_file():
            raise UsageError(_nothing_there(self.place))
        with self.reading() as connection:
            version = _version(connection)
        if version != LATEST_MIGRATION:
            if not create:
                raise UsageError(_nothing_there(self.place) if version is None else _old(self.place, version))
            self._migrate()
        with self.reading() as connection:
            return str(connection.scalar(select(ArchiveRow.archive)))

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the archive, whatever others add meanwhile."""
        with self._faults(), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that nobody else writes beside; once ended, it is on the disk as a whole."""
        with self._faults(), self._engine.connect() as plain:
            connection = plain.execution_options(**{_WRITING: True})
            with connection.begin():
                if not self.is_sqlite:
                    connection.execute(_CAREFULLY)
                    connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
                yield connection

    @property
    def is_sqlite(self) -> bool:
        """Whether the database is a file."""
        return self._engine.dialect.name == "sqlite"

    def damages(self) -> list[str]:
        """What the database says of itself, where it is a file and not sound."""
        if not self.is_sqlite:
            return []
        with self.reading() as connection:
            found = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(5)"))]
        return [] if found == ["ok"] else [" ".join(line.split()) for line in found]

    def _migrate(self) -> None:
        from alembic import command
        from alembic.config import Config
        from alembic.util.exc import CommandError

        config = Config()
        config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
        with self.writing() as connection:
            version = _version(connection)
            if version == LATEST_MIGRATION:
                return  # somebody else was quicker
            config.attributes["connection"] = connection
            try:
                command.upgrade(config, "head")
            except CommandError:
                raise StorageError(
                    f"the archive at {self.place.shown} was made by a newer version of fitup: use that one."
                ) from None
            if connection.scalar(select(ArchiveRow.archive)) is None:
                begun = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
                row = {"only_row": 1, "archive": uuid.uuid4().hex, "begun_at_utc": begun}
                connection.execute(insert(ArchiveRow), row)

    @contextlib.contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except (SQLAlchemyError, OSError) as error:
            raise StorageError(_sentence(error, self.place)) from None


def _engine(place: ArchivePlace) -> Engine:
    if place.folder is None:
        return create_engine(place.database, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    engine = create_engine(place.database, poolclass=NullPool, connect_args={"timeout": _PATIENCE_S})

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        # Python's driver would begin transactions by itself, too late and without the lock.
        connection.isolation_level = None
        for pragma in (
            "journal_mode = PERSIST",
            f"journal_size_limit = {_JOURNAL_BYTES}",
            "synchronous = EXTRA",
            "foreign_keys = ON",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writing = connection.get_execution_options().get(_WRITING, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return None if found is None else str(found)


def _nothing_there(place: ArchivePlace) -> str:
    return (
        f"there is no archive at {place.shown}: the first `fitup inspect --archive` or `fitup archive add` "
        "makes one."
    )


def _old(place: ArchivePlace, version: str) -> str:
    if version > LATEST_MIGRATION:
        return f"the archive at {place.shown} was made by a newer version of fitup: use that version."
    return f"the archive at {place.shown} is of an older form: the next add brings it up to date."


# What a driver says, in small letters, and what that means for a person.
_MEANINGS = (
    ("locked", "another station is writing and did not end in time; try again"),
    ("lock timeout", "another station is writing and did not end in time; try again"),
    ("disk is full", "the disk is full; make room and add again"),
    ("readonly", "it cannot be written to; ask for write access, or use another archive"),
    ("unable to open", "the file cannot be opened; look at the folder and its rights"),
    ("malformed", "the database file is damaged; take it from a copy"),
    ("not a database", "the database file is damaged; take it from a copy"),
    ("disk i/o error", "the disk failed, or the file was taken away while in use; look at the disk"),
    ("never changed", "entries are never changed; add a correction"),
)


_LOST = (
    "the connection to the database was refused or lost; add again when it is back, since a record that did "
    "get in is not added twice"
)


def _is_lost(error: Exception, said: str) -> bool:
    return isinstance(error, DBAPIError) and (error.connection_invalidated or "connection" in said.lower())


def _sentence(error: Exception, place: ArchivePlace) -> str:
    cause = getattr(error, "orig", None) or error
    said = " ".join(str(getattr(cause, "strerror", None) or cause).split())
    meaning = next((text for sign, text in _MEANINGS if sign in said.lower()), "")
    if not meaning and place.folder is None and _is_lost(error, said):
        meaning = _LOST
    return f"the archive at {place.shown}: {meaning or printable_name(said)[:160].rstrip('.')}."
