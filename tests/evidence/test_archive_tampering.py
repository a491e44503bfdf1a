"""A zoo of alterations: each is found, and the thing is named."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.evidence.archive import signing
from fitup.evidence.archive.archive import Added, Archive, open_archive
from fitup.evidence.archive.entry import digest_of
from fitup.evidence.archive.verify import verify
from tests.evidence.archive_builders import small_archive, small_draft, stored_file, tampering

Tamper = Callable[[Path, list[Added]], None]


def flipped(path: Path, at: int = 7) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 0x10
    path.write_bytes(bytes(content))


def photo_bit(folder: Path, added: list[Added]) -> None:
    flipped(stored_file(folder, added[2], "photo"))


def record_bit(folder: Path, added: list[Added]) -> None:
    flipped(stored_file(folder, added[2], "record"))


def photo_cut(folder: Path, added: list[Added]) -> None:
    path = stored_file(folder, added[2], "photo")
    path.write_bytes(path.read_bytes()[:-3])


def photo_longer(folder: Path, added: list[Added]) -> None:
    path = stored_file(folder, added[2], "photo")
    path.write_bytes(path.read_bytes() + b"\0")


def photo_emptied(folder: Path, added: list[Added]) -> None:
    stored_file(folder, added[2], "photo").write_bytes(b"")


def photo_gone(folder: Path, added: list[Added]) -> None:
    stored_file(folder, added[2], "photo").unlink()


def photos_swapped(folder: Path, added: list[Added]) -> None:
    one, other = stored_file(folder, added[2], "photo"), stored_file(folder, added[4], "photo")
    content = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(content)


def store_gone(folder: Path, added: list[Added]) -> None:
    shutil.rmtree(folder / "files")


def foreign_file(folder: Path, added: list[Added]) -> None:
    (folder / "files" / "ab").mkdir(exist_ok=True)
    (folder / "files" / "ab" / "holiday.jpg").write_bytes(b"sea")


def falsely_named_file(folder: Path, added: list[Added]) -> None:
    (folder / "files" / "ab").mkdir(exist_ok=True)
    (folder / "files" / "ab" / ("ab" * 32)).write_bytes(b"sea")


def changed(number: int, change: Callable[[dict[str, object]], None], *, redo: bool) -> Tamper:
    """Alter an entry's content, and with `redo` its own digest too."""

    def tamper(folder: Path, added: list[Added]) -> None:
        with tampering(folder) as database:
            (content,) = database.execute("SELECT content FROM entry WHERE number = ?", (number,)).fetchone()
            entry = json.loads(content)
            change(entry)
            text = json.dumps(entry, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
            database.execute("UPDATE entry SET content = ? WHERE number = ?", (text, number))
            if redo:
                database.execute("UPDATE entry SET digest = ? WHERE number = ?", (digest_of(text), number))

    return tamper


def whitewash(entry: dict[str, object]) -> None:
    about = entry["about"]
    assert isinstance(about, dict)
    about["verdict"], about["sentence"] = "within", "All is well."


def sql(*statements: str) -> Tamper:
    def tamper(folder: Path, added: list[Added]) -> None:
        with tampering(folder) as database:
            for statement in statements:
                database.execute(statement)

    return tamper


SWAP = (
    "CREATE TEMP TABLE kept AS SELECT * FROM entry WHERE number IN (3, 4)",
    "DELETE FROM entry WHERE number IN (3, 4)",
    "INSERT INTO entry SELECT 7 - number, digest, previous, content FROM kept",
)


def damaged_file(folder: Path, added: list[Added]) -> None:
    path = folder / "archive.sqlite"
    content = bytearray(path.read_bytes())
    for at in range(4096 * 3, len(content), 512):
        content[at : at + 64] = b"\xff" * 64
    path.write_bytes(bytes(content))


def other_archive(folder: Path, added: list[Added]) -> None:
    """An entry of another archive in the place of one of ours."""
    small_archive(folder / "other")
    with tampering(folder) as database:
        database.execute("ATTACH ? AS other", (str(folder / "other" / "archive.sqlite"),))
        database.execute("DELETE FROM entry WHERE number = 3")
        database.execute("INSERT INTO entry SELECT * FROM other.entry WHERE number = 3")
        database.commit()
        database.execute("DETACH other")
    shutil.rmtree(folder / "other")


# name: what is done, the words that must be among those found, and what must be named with the first of them
ZOO: dict[str, tuple[Tamper, set[str], str]] = {
    "bit of a photo": (photo_bit, {"altered"}, "photo photo-2 of entry 3"),
    "bit of a record": (record_bit, {"altered"}, "record record-2 of entry 3"),
    "photo cut": (photo_cut, {"truncated"}, "photo photo-2 of entry 3"),
    "photo emptied": (photo_emptied, {"truncated"}, "photo photo-2 of entry 3"),
    "photo made longer": (photo_longer, {"altered"}, "photo photo-2 of entry 3"),
    "photo gone": (photo_gone, {"missing"}, "photo photo-2 of entry 3"),
    "photos swapped": (photos_swapped, {"swapped"}, "photo photo-2 of entry 3"),
    "all files gone": (store_gone, {"missing"}, "photo photo-2 of entry 3"),
    "foreign file": (foreign_file, {"extra"}, "file ab/holiday.jpg"),
    "file under a false digest": (falsely_named_file, {"extra"}, "file ab/abab"),
    "verdict altered": (changed(3, whitewash, redo=False), {"altered"}, "entry 3"),
    "verdict altered with its digest": (changed(3, whitewash, redo=True), {"rewritten"}, "entry 3"),
    "digest altered": (
        sql(f"UPDATE entry SET digest = '{'ab' * 32}' WHERE number = 3"),
        {"altered"},
        "entry 3",
    ),
    "link to the entry before altered": (
        sql(f"UPDATE entry SET previous = '{'ab' * 32}' WHERE number = 3"),
        {"altered"},
        "entry 3",
    ),
    "entries exchanged": (sql(*SWAP), {"out of order"}, "entry 3"),
    "entry taken out": (
        sql("DELETE FROM entry WHERE number = 3", "DELETE FROM finding WHERE number = 3"),
        {"missing"},
        "entry 3",
    ),
    "first entries taken out": (
        sql(*(f"DELETE FROM {table} WHERE number < 3" for table in ("entry", "finding"))),
        {"missing"},
        "entries 1 to 2",
    ),
    "entry taken out, numbers closed up": (
        sql(
            *(f"DELETE FROM {table} WHERE number = 3" for table in ("entry", "finding")),
            *(f"UPDATE {table} SET number = number - 1 WHERE number > 3" for table in ("entry", "finding")),
        ),
        {"out of order"},
        "entry 3",
    ),
    "entry of another archive": (other_archive, {"foreign"}, "entry 3"),
    "archive renamed": (sql(f"UPDATE archive SET archive = '{'c' * 32}'"), {"foreign"}, "entry 1"),
    "no entry in a row": (sql("UPDATE entry SET content = '' WHERE number = 3"), {"altered"}, "entry 3"),
    "search table altered": (sql("UPDATE finding SET job = 'x' WHERE number = 3"), {"altered"}, "entry 3"),
    "search row gone": (sql("DELETE FROM finding WHERE number = 3"), {"missing"}, "entry 3"),
    "search row invented": (
        sql("UPDATE finding SET number = 70 WHERE number = 3"),
        {"extra", "missing"},
        "entry 70",
    ),
    "outcome moved to another joint": (
        sql("UPDATE link SET to_number = 2 WHERE number = 7"),
        {"altered"},
        "entry 7",
    ),
    "database file damaged": (damaged_file, {"damaged"}, "archive"),
}  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Added]]:
    """An archive that nobody has touched, to be copied."""
    folder = tmp_path_factory.mktemp("made")
    return folder / "a", small_archive(folder / "a")[1]


@pytest.fixture
def copied(made: tuple[Path, list[Added]], tmp_path: Path) -> tuple[Path, list[Added]]:
    return Path(shutil.copytree(made[0], tmp_path / "a")), made[1]


@pytest.mark.parametrize("name", ZOO)
def test_every_alteration_is_found_and_named(name: str, copied: tuple[Path, list[Added]]) -> None:
    tamper, words, where = ZOO[name]
    folder, added = copied
    archive = open_archive(str(folder))
    assert verify(archive).sound
    tamper(folder, added)
    verified = verify(reopened(archive, folder))
    found = {fault.word for fault in verified.faults}
    assert words <= found, verified.faults
    assert any(where in fault.where for fault in verified.faults if fault.word in words), verified.faults
    for fault in verified.faults:
        assert fault.sentence
        assert not fault.sentence.endswith(".")


def reopened(archive: Archive, folder: Path) -> Archive:
    """The archive as the next program sees it; what cannot be opened any more is looked at as it was."""
    from fitup.errors import FitupError

    try:
        return open_archive(str(folder))
    except FitupError:
        return archive


@pytest.mark.parametrize("name", ["bit of a photo", "photo cut", "photos swapped"])
def test_only_what_was_altered_is_named(name: str, copied: tuple[Path, list[Added]]) -> None:
    folder, added = copied
    archive = open_archive(str(folder))
    ZOO[name][0](folder, added)
    touched = {"entry 3", "entry 5"} if name == "photos swapped" else {"entry 3"}
    named = [fault.where for fault in verify(archive).faults]
    assert len(named) == len(touched)
    assert all(any(entry in where for entry in touched) for where in named)


def test_a_link_out_of_the_store_is_no_file_of_it(tmp_path: Path) -> None:
    archive, added = small_archive(tmp_path / "a")
    path = stored_file(tmp_path / "a", added[2], "photo")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_bytes(b"another photo")
    path.unlink()
    path.symlink_to(elsewhere)
    (fault,) = verify(archive).faults
    assert "photo photo-2 of entry 3" in fault.where


# ---------------------------------------------------------------------- what only a head kept elsewhere shows


def last_entries_taken(folder: Path) -> None:
    """The last two entries with all that belongs to them, so that nothing speaks of them any more."""
    with tampering(folder) as database:
        for table in ("link", "finding", "entry"):
            database.execute(f"DELETE FROM {table} WHERE number > 5")


def written_anew(folder: Path) -> None:
    """An archive of the same name, made anew with another first entry."""
    with sqlite3.connect(folder / "archive.sqlite") as database:
        (name,) = database.execute("SELECT archive FROM archive").fetchone()
    database.close()
    shutil.rmtree(folder)
    archive = open_archive(str(folder), create=True)
    with tampering(folder) as database:
        database.execute("UPDATE archive SET archive = ?", (name,))
    archive = open_archive(str(folder))
    archive.add([small_draft(f"nicer {seed}") for seed in range(9)])


@pytest.mark.parametrize(
    ("tamper", "word", "where"),
    [
        (last_entries_taken, "removed", "entries 6 to 7"),
        (written_anew, "rewritten", "entries up to 7"),
    ],
)
@pytest.mark.parametrize("signed", [False, True])
def test_a_kept_head_shows_what_the_archive_alone_cannot(
    tamper: Callable[[Path], None], word: str, where: str, signed: bool, tmp_path: Path
) -> None:
    archive, _ = small_archive(tmp_path / "a")
    statement = signing.state_head(archive)
    key = None
    if signed:
        _, key = signing.make_key(tmp_path / "k")
        statement = signing.sign(statement, signing.read_private_key(tmp_path / "k"))
    archive.add([small_draft("later")])
    assert verify(archive, [statement], key).sound
    tamper(tmp_path / "a")
    altered = open_archive(str(tmp_path / "a"))
    assert verify(altered).sound  # the archive alone has nothing to say
    (fault,) = verify(altered, [statement], key).faults
    assert (fault.word, fault.where) == (word, where)


def test_a_false_statement_is_told(tmp_path: Path) -> None:
    archive, added = small_archive(tmp_path / "a")
    _, key = signing.make_key(tmp_path / "k")
    statement = signing.state_head(archive)
    signed = signing.sign(statement, signing.read_private_key(tmp_path / "k"))
    _, other = signing.make_key(tmp_path / "other")

    def found(one: signing.HeadStatement, public_key: str | None) -> list[str]:
        return [fault.word for fault in verify(archive, [one], public_key).faults]

    assert found(signed, key) == []
    assert found(signed, other) == ["not signed"]
    assert found(statement, key) == ["not signed"]
    assert found(signed.model_copy(update={"number": 3, "digest": added[2].digest}), None) == ["altered"]
    assert found(statement.model_copy(update={"archive": "0" * 32}), None) == ["foreign"]
