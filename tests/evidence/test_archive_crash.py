"""Killed, full, read-only, taken away: the whole entry or none, and what was acknowledged stays."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fitup.errors import StorageError
from fitup.evidence.archive import local_files
from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.verify import verify
from tests.evidence.archive_builders import small_archive, small_draft, stored_file

ROOT = Path(__file__).parents[2]


def killing(place: str, *options: str) -> dict[str, Any]:
    """What `archive_killing` says, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.evidence.archive_killing", place, *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    assert done.stderr == ""
    result: dict[str, Any] = json.loads(done.stdout)
    return result


def all_said_is_there(place: str, said: dict[str, str]) -> None:
    archive = open_archive(place)
    for number, digest in said.items():
        assert archive.entry(int(number)).digest == digest
    verified = verify(archive)
    assert verified.faults == ()
    assert verified.entries >= len(said)


def test_what_was_acknowledged_survives_kills_at_random_times(tmp_path: Path) -> None:
    result = killing(str(tmp_path / "a"), "--kills", "24", "--seed", "5")
    assert result["kills"] >= 24
    assert len(result["said"]) >= result["awaited"] > 12
    all_said_is_there(str(tmp_path / "a"), result["said"])


def test_two_stations_are_killed_while_both_add(tmp_path: Path) -> None:
    result = killing(str(tmp_path / "a"), "--kills", "10", "--at-once", "2", "--seed", "6")
    assert result["kills"] >= 10
    all_said_is_there(str(tmp_path / "a"), result["said"])


def test_stations_that_add_at_once_make_one_chain(tmp_path: Path) -> None:
    """Three that also make the archive at once."""
    result = killing(str(tmp_path / "a"), "--kills", "0", "--at-once", "3", "--adds", "8")
    assert sorted(map(int, result["said"])) == list(range(1, 25))
    all_said_is_there(str(tmp_path / "a"), result["said"])


def full(*_: object) -> int:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("writes_before", range(5))  # three files, then their folders
def test_a_disk_that_fills_up_while_files_are_written(
    writes_before: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive, added = small_archive(tmp_path)
    left = [writes_before]
    real = os.fsync

    def fsync(handle: int) -> None:
        left[0] -= 1
        if left[0] < 0:
            full()
        real(handle)

    monkeypatch.setattr(local_files.os, "fsync", fsync)
    with pytest.raises(StorageError, match=r"[Nn]o space left"):
        archive.add([small_draft("more")])
    monkeypatch.undo()
    verified = verify(archive)
    assert verified.sound
    assert verified.entries == len(added)
    assert not list((tmp_path / "files").rglob(".incoming-*"))
    assert archive.add([small_draft("more")])[0].entry.number == len(added) + 1


def test_a_database_that_has_no_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite itself says that it is full."""
    from sqlalchemy import event

    archive, added = small_archive(tmp_path)

    @event.listens_for(archive.database._engine, "connect")
    def bound(connection: Any, _: object) -> None:
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")

    with pytest.raises(StorageError, match="the disk is full"):
        archive.add([small_draft(f"more {number}") for number in range(200)])
    verified = verify(open_archive(str(tmp_path)))
    assert verified.sound
    assert verified.entries == len(added)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real disk of 300 kB, where this user may mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.getuid() != 0 or mounted("-t", "tmpfs", "-o", "size=300k", "tmpfs", str(disk)) != 0:
        pytest.skip("no disk can be mounted here")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def mounted(*arguments: str) -> int:
    try:
        return subprocess.run(["mount", *arguments], capture_output=True, check=False).returncode
    except FileNotFoundError:
        return 1


def test_a_small_disk_fills_up(small_disk: Path) -> None:
    place = str(small_disk / "a")
    archive = open_archive(place, create=True)
    said: dict[str, str] = {}

    def add_many() -> None:
        for seed in range(100):
            (added,) = archive.add([small_draft(seed, largest=9000)])
            said[str(added.entry.number)] = added.digest

    with pytest.raises(StorageError, match=r"full|[Nn]o space"):
        add_many()
    assert len(said) > 3
    all_said_is_there(place, said)


def test_a_read_only_disk_can_be_read_and_says_so_when_written(small_disk: Path) -> None:
    place = str(small_disk / "a")
    _, added = small_archive(Path(place))
    assert mounted("-o", "remount,ro", str(small_disk)) == 0
    all_said_is_there(place, {str(one.entry.number): one.digest for one in added})
    with pytest.raises(StorageError, match=r"cannot be written|[Rr]ead-only"):
        open_archive(place).add([small_draft("more")])
    assert mounted("-o", "remount,rw", str(small_disk)) == 0


@pytest.mark.skipif(os.getuid() == 0, reason="nothing is read-only for root")
def test_a_read_only_folder(tmp_path: Path) -> None:
    _, added = small_archive(tmp_path / "a")
    for path in (tmp_path / "a", *(tmp_path / "a").rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    all_said_is_there(str(tmp_path / "a"), {str(one.entry.number): one.digest for one in added})
    with pytest.raises(StorageError):
        open_archive(str(tmp_path / "a")).add([small_draft("more")])


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"")
    with pytest.raises(StorageError):
        open_archive(str(tmp_path / "a"), create=True)


def test_an_altered_file_is_never_built_upon(tmp_path: Path) -> None:
    """A photo that is archived once more is compared with what lies there."""
    archive, added = small_archive(tmp_path)
    path = stored_file(tmp_path, added[0], "photo")
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    draft = small_draft(0)
    another = draft.__class__(kind="outcome", about=draft.about, files=draft.files[1:2])
    with pytest.raises(StorageError, match="was altered"):
        archive.add([another])
    assert archive.head() is not None
    with pytest.raises(StorageError, match="was altered"):
        archive.store.read(draft.files[1].entry.sha256)
