"""Writing: all or nothing, whatever fails and wherever; nobody else's files are touched."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup.errors import StorageError
from fitup.evidence import save_inspection
from fitup.evidence.writing import check_folder, printable_name, safe_stem, write_file, write_folder
from tests.evidence.builders import make_filing, make_inspection

OLD = {"a.txt": b"old a", "b.txt": b"old b"}
NEW = {"a.txt": b"new a", "c.txt": b"new c"}


def yes(_: Path) -> bool:
    return True


def no(_: Path) -> bool:
    return False


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class FailingDisk:
    """Makes the n-th call of any file operation fail as a full disk does; counts the calls."""

    STEPS = (
        (Path, "mkdir"),
        (Path, "open"),
        (Path, "chmod"),
        (Path, "rename"),
        (Path, "replace"),
        (os, "fsync"),
        (tempfile, "mkdtemp"),
        (tempfile, "mkstemp"),
    )

    def __init__(self, patch: pytest.MonkeyPatch, fail_at: int, error: BaseException) -> None:
        self.calls = 0
        for owner, name in self.STEPS:
            patch.setattr(owner, name, self._wrapped(getattr(owner, name), fail_at, error))

    def _wrapped(self, real: Callable[..., Any], fail_at: int, error: BaseException) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            self.calls += 1
            if self.calls == fail_at:
                raise error
            return real(*args, **kwargs)

        return call


def steps_of(action: Callable[[], Any]) -> int:
    with pytest.MonkeyPatch.context() as patch:
        disk = FailingDisk(patch, 0, OSError())
        action()
    return disk.calls


@pytest.mark.parametrize("earlier", [True, False], ids=["over earlier results", "into an empty folder"])
@pytest.mark.parametrize(
    "kind", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()], ids=type
)
def test_folder_is_old_or_new_after_a_failure_at_any_step(
    tmp_path: Path, earlier: bool, kind: BaseException
) -> None:
    def fresh(name: str) -> Path:
        parent = tmp_path / name
        parent.mkdir()
        if earlier:
            write_folder(parent, "x", OLD, yes)
        return parent

    before = {f"x/{name}": content for name, content in OLD.items()} if earlier else {}
    after = {f"x/{name}": content for name, content in NEW.items()}
    parent = fresh("count")
    steps = steps_of(lambda: write_folder(parent, "x", NEW, yes))
    assert steps > 5
    failures = 0
    for fail_at in range(1, steps + 1):
        parent = fresh(f"run{fail_at}")
        with pytest.MonkeyPatch.context() as patch:
            FailingDisk(patch, fail_at, kind)
            try:
                write_folder(parent, "x", NEW, yes)
                expected = after
            except (StorageError, KeyboardInterrupt):
                failures += 1
                expected = before
        # Forced folder entries are the last step: the results are in place then, whatever it says.
        if fail_at == steps:
            expected = after
        assert tree(parent) == expected, f"step {fail_at}"
        assert not [p.name for p in parent.iterdir() if p.name.startswith(".")], f"step {fail_at}"
    assert failures >= steps - 2


@pytest.mark.parametrize("earlier", [True, False], ids=["over an earlier file", "as a new file"])
def test_file_is_old_or_new_after_a_failure_at_any_step(tmp_path: Path, earlier: bool) -> None:
    steps = steps_of(lambda: write_file(tmp_path / "count.bin", b"new"))
    for fail_at in range(1, steps + 1):
        path = tmp_path / f"{fail_at}" / "out.bin"
        path.parent.mkdir()
        if earlier:
            path.write_bytes(b"old")
        with pytest.MonkeyPatch.context() as patch:
            FailingDisk(patch, fail_at, OSError(errno.ENOSPC, "No space left on device"))
            try:
                write_file(path, b"new")
                expected = {"out.bin": b"new"}
            except StorageError:
                expected = {"out.bin": b"old"} if earlier else {}
        assert tree(path.parent) == expected


def test_earlier_results_come_back_after_a_kill_between_the_renames(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, "x", OLD, yes)
    folder.rename(tmp_path / ".x.previous")
    seen = []

    def look(target: Path) -> bool:
        seen.append(tree(target))
        return True

    write_folder(tmp_path, "x", NEW, look)
    assert seen == [OLD]
    assert tree(tmp_path / "x") == NEW
    assert [p.name for p in tmp_path.iterdir()] == ["x"]


def test_other_results_are_kept_and_the_new_ones_numbered(tmp_path: Path) -> None:
    write_folder(tmp_path, "x", OLD, no)
    assert write_folder(tmp_path, "x", NEW, no) == tmp_path / "x-2"
    assert write_folder(tmp_path, "x", NEW, no) == tmp_path / "x-3"
    (tmp_path / "y").write_bytes(b"somebody's file")
    assert write_folder(tmp_path, "y", NEW, yes) == tmp_path / "y-2"
    assert tree(tmp_path / "x") == OLD
    assert (tmp_path / "y").read_bytes() == b"somebody's file"


def test_replacing_leaves_no_file_of_the_earlier_results(tmp_path: Path) -> None:
    write_folder(tmp_path, "x", OLD, yes)
    write_folder(tmp_path, "x", NEW, yes)
    assert tree(tmp_path) == {"x/a.txt": b"new a", "x/c.txt": b"new c"}


def test_results_can_be_read_by_others_as_the_umask_allows(tmp_path: Path) -> None:
    earlier = os.umask(0o022)
    try:
        folder = write_folder(tmp_path, "x", NEW, yes)
        write_file(tmp_path / "f", b"")
    finally:
        os.umask(earlier)
    assert folder.stat().st_mode & 0o777 == 0o755
    assert (tmp_path / "f").stat().st_mode & 0o777 == 0o644


def test_folder_under_a_file_is_refused_with_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"x")
    for action in (
        lambda: check_folder(tmp_path / "file"),
        lambda: check_folder(tmp_path / "file" / "below"),
        lambda: write_folder(tmp_path / "file", "x", NEW, yes),
        lambda: write_file(tmp_path / "file" / "x", b""),
        lambda: check_folder(tmp_path / "nul\0name"),
    ):
        with pytest.raises(StorageError, match=r"cannot write to .*--out"):
            action()
    assert tree(tmp_path) == {"file": b"x"}


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("IMG_0001.JPG", "IMG_0001"),
        ("Prüfung 日本.jpg", "Prüfung 日本"),
        ("a/b\\c:d.jpg", "b_c_d"),
        ("..", "photo"),
        (".jpg", "jpg"),
        ("", "photo"),
        ("   .png", "photo"),
        ("con.jpg", "photo_con"),
        ("a\nb\0c.png", "a_b_c"),
        ("x" * 300 + ".jpg", "x" * 100),
        ("é" * 300 + ".jpg", "é" * 50),
        ("bad\udcff.jpg", "bad_"),
    ],
)
def test_safe_stem(name: str, stem: str) -> None:
    assert safe_stem(name) == stem


def test_printable_name_can_be_encoded() -> None:
    assert printable_name("a\udcff\x1b[31m").encode("utf-8")
    assert "\x1b" not in printable_name("a\x1b[31m")


def test_saved_folder_holds_four_sound_files(tmp_path: Path) -> None:
    saved = save_inspection(make_inspection(), tmp_path, filing=make_filing())
    assert saved.folder == tmp_path / "bench_03"
    names = ["overlay.jpg", "profile.csv", "profile.png", "record.json"]
    assert sorted(p.name for p in saved.folder.iterdir()) == names


def test_the_same_photo_replaces_its_results_and_another_does_not(tmp_path: Path) -> None:
    first = save_inspection(make_inspection(), tmp_path, filing=make_filing())
    again = save_inspection(make_inspection(limit="1.2mm"), tmp_path, filing=make_filing())
    assert again.folder == first.folder
    other_photo = make_inspection()
    object.__setattr__(other_photo.photo, "sha256", "0" * 64)
    assert save_inspection(other_photo, tmp_path, filing=make_filing()).folder.name == "bench_03-2"
    assert save_inspection(make_inspection(), tmp_path).folder.name == "bench_03-3", (
        "another joint of the photo"
    )


def test_a_full_disk_leaves_the_earlier_evidence_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_inspection(make_inspection(), tmp_path, filing=make_filing())
    before = tree(tmp_path)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageError, match="no space left"):
        save_inspection(make_inspection(limit="1.2mm"), tmp_path, filing=make_filing())
    assert tree(tmp_path) == before
