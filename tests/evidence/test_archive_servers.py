"""The archive in a real PostgreSQL and in object storage."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive import archive as archive_module
from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.export import export_bag, selected
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.importing import import_bag, read_bag
from fitup.evidence.archive.store import address
from fitup.evidence.archive.verify import verify
from tests.evidence.archive_builders import small_archive, small_draft, sound
from tests.evidence.archive_servers import postgresql, programs
from tests.evidence.test_archive_crash import all_said_is_there, killing


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    if programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt install postgresql)")
    with postgresql() as url:
        yield url


@pytest.fixture
def place(server: str, tmp_path: Path, request: pytest.FixtureRequest) -> str:
    """An archive of its own on the server."""
    import psycopg

    name = f"a{abs(hash(request.node.name))}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"'.encode())
    return server.replace("/postgres?", f"/{name}?") + f"&files={tmp_path / 'files'}"


def test_postgresql_keeps_finds_and_proves(place: str) -> None:
    with pytest.raises(UsageError, match="no archive"):
        open_archive(place)
    archive = open_archive(place, create=True)
    added = archive.add([small_draft(seed) for seed in range(5)])
    archive.add([sound(1, added[0].digest)])
    assert [one.fresh for one in archive.add([small_draft(2)])] == [False]
    again = open_archive(place)
    assert verify(again).sound
    assert [one.entry.number for one in again.search(Query(outcome="sound", words=("straw",)))] == [6]
    assert [one.entry.number for one in again.later(1)] == [6]


def test_a_bag_into_postgresql(place: str, tmp_path: Path) -> None:
    source, _ = small_archive(tmp_path / "source", 3)
    export_bag(source, selected(source, query=Query()), tmp_path / "bag")
    archive = open_archive(place, create=True)
    archive.add([small_draft("at home")])
    for fresh in (True, False):
        done = import_bag(archive, read_bag(tmp_path / "bag"))
        assert [(one.now.entry.number, one.now.fresh) for one in done] == [(n, fresh) for n in range(2, 6)]
    assert verify(open_archive(place)).sound


@pytest.mark.parametrize(
    "change", ["UPDATE entry SET content = '{}'", "DELETE FROM entry", "TRUNCATE entry CASCADE"]
)
def test_postgresql_refuses_changes(change: str, place: str) -> None:
    archive = open_archive(place, create=True)
    archive.add([small_draft(1)])
    with pytest.raises(StorageError, match="never changed"), archive.database.writing() as connection:
        connection.execute(text(change))
    assert verify(archive).sound


def test_stations_on_postgresql_make_one_chain(place: str) -> None:
    result = killing(place, "--kills", "0", "--at-once", "3", "--adds", "8")
    assert sorted(map(int, result["said"])) == list(range(1, 25))
    all_said_is_there(place, result["said"])


def test_what_postgresql_acknowledged_survives_kills(place: str) -> None:
    result = killing(place, "--kills", "20", "--at-once", "2", "--seed", "7")
    assert result["kills"] >= 20
    assert len(result["said"]) >= result["awaited"] > 10
    all_said_is_there(place, result["said"])


def test_a_connection_lost_in_the_middle_leaves_nothing(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = open_archive(place, create=True)
    archive.add([small_draft(1)])
    real = archive_module.finding_of

    def cut(entry: object) -> dict[str, object]:
        with archive.database.reading() as other:
            me = "pid <> pg_backend_pid() AND datname = current_database()"
            other.execute(text(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {me}"))
        return real(entry)  # type: ignore[arg-type]

    monkeypatch.setattr(archive_module, "finding_of", cut)
    with pytest.raises(StorageError, match="connection to the database was refused or lost"):
        archive.add([small_draft(2)])
    monkeypatch.undo()
    verified = verify(archive)
    assert (verified.sound, verified.entries) == (True, 1)
    assert archive.add([small_draft(2)])[0].entry.number == 2


def test_a_server_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="refused or lost") as caught:
        open_archive(f"postgresql://me:secret@/a?host={tmp_path}&files={tmp_path}", create=True)
    assert "secret" not in str(caught.value)


# ------------------------------------------------------------------------------------------ object storage


@pytest.fixture(scope="module")
def bucket() -> Iterator[str]:
    """A server that speaks S3, on this machine."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from moto.server import ThreadedMotoServer

        server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
        server.start()
    host, port = server.get_host_and_port()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", "test")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "test")
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        patch.setenv("AWS_ENDPOINT_URL", f"http://{host}:{port}")
        import fsspec

        system = fsspec.filesystem("s3", use_listings_cache=False)
        system.mkdir("shop")
        yield "s3://shop/fitup"
        system.close_session(system.loop, system.s3)  # the server waits for open connections
    server.stop()


def test_object_storage_keeps_and_proves(bucket: str, tmp_path: Path) -> None:
    import fsspec

    place = f"sqlite:///{tmp_path / 'archive.sqlite'}?files={bucket}"
    archive = open_archive(place, create=True)
    added = archive.add([small_draft(seed) for seed in range(4)])
    photo = small_draft(2).files[1]
    assert archive.store.read(photo.entry.sha256) == photo.content
    assert archive.store.where(photo.entry.sha256) == f"{bucket}/{address(photo.entry.sha256)}"
    verified = verify(open_archive(place))
    assert (verified.sound, verified.files) == (True, 12)
    system = fsspec.filesystem("s3", use_listings_cache=False)
    path = f"shop/fitup/{address(photo.entry.sha256)}"
    system.pipe_file(path, photo.content[:-1])
    (fault,) = verify(open_archive(place)).faults
    assert (fault.word, added[2].entry.number) == ("truncated", 3)
    assert "photo photo-2 of entry 3" in fault.where
    system.rm_file(path)
    (fault,) = verify(open_archive(place)).faults
    assert fault.word == "missing"


def test_bags_go_through_object_storage(bucket: str, tmp_path: Path) -> None:
    """From a folder to object storage, and from there to a folder."""
    source, _ = small_archive(tmp_path / "source", 3)
    there = open_archive(f"sqlite:///{tmp_path / 'bags.sqlite'}?files={bucket}-bags", create=True)
    last = open_archive(str(tmp_path / "last"), create=True)
    for number, (sender, receiver) in enumerate(((source, there), (there, last), (last, source))):
        export_bag(sender, selected(sender, query=Query()), tmp_path / f"bag {number}")
        done = import_bag(receiver, read_bag(tmp_path / f"bag {number}"))
        assert [one.now.fresh for one in done] == [receiver is not source] * 4
        assert verify(receiver).sound


def test_object_storage_that_refuses_adds_nothing(bucket: str, tmp_path: Path) -> None:
    place = f"sqlite:///{tmp_path / 'archive.sqlite'}?files=s3://no-such-bucket/x"
    archive = open_archive(place, create=True)
    with pytest.raises(StorageError, match="cannot be written"):
        archive.add([small_draft(1)])
    source, _ = small_archive(tmp_path / "source", 1)
    export_bag(source, selected(source, query=Query()), tmp_path / "bag")
    with pytest.raises(StorageError, match="cannot be written"):
        import_bag(archive, read_bag(tmp_path / "bag"))
    assert archive.head() is None


def test_unknown_kinds_of_storage_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="name a folder"):
        open_archive(f"sqlite:///{tmp_path / 'archive.sqlite'}?files=nowhere://x", create=True)
