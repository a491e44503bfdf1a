"""Bags out of an archive and into others: everything comes through, nothing forks, nothing is added twice."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import subprocess
import sys
import time
import unicodedata
from pathlib import Path

import bagit
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fitup.errors import StorageError, UsageError
from fitup.evidence import writing
from fitup.evidence.archive import bags
from fitup.evidence.archive.afterwards import corrected, correction_draft
from fitup.evidence.archive.archive import Archive, Stored, open_archive
from fitup.evidence.archive.bag_check import check_bag
from fitup.evidence.archive.bags import name_in_bag
from fitup.evidence.archive.draft import Draft, DraftFile, main_file
from fitup.evidence.archive.entry import About, Entry
from fitup.evidence.archive.export import export_bag, selected
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.importing import Imported, import_bag, read_bag
from fitup.evidence.archive.profile_rows import spreadsheet_text
from fitup.evidence.archive.verify import verify
from tests.evidence.archive_builders import small_archive, small_draft, stored_file

ROOT = Path(__file__).parents[2]


def everything(archive: Archive) -> list[Stored]:
    return selected(archive, query=Query())


def brought(
    source: Archive, target: Archive, bag: Path, entries: list[Stored] | None = None
) -> list[Imported]:
    export_bag(source, everything(source) if entries is None else entries, bag)
    return import_bag(target, read_bag(bag))


def as_told(entry: Entry) -> dict[str, object]:
    """What an entry says, without its place in an archive."""
    told = entry.model_dump(exclude={"format", "archive", "number", "previous", "added_at_utc", "imported"})
    told["files"] = [file for file in told["files"] if file["role"] != "entry"]
    told["refers_to"] = len(entry.refers_to)
    return told


@pytest.fixture
def source(tmp_path: Path) -> Archive:
    """Six inspections, an outcome, and a correction."""
    archive, added = small_archive(tmp_path / "source")
    right = {"joint": "J99"}
    archive.add([correction_draft(added[1], right, void=False, who="QC", day="2026-12-02", why="typed")])
    return archive


def test_an_empty_archive_gets_all_of_it(source: Archive, tmp_path: Path) -> None:
    target = open_archive(str(tmp_path / "target"), create=True)
    done = brought(source, target, tmp_path / "bag")
    assert [one.now.fresh for one in done] == [True] * 8
    for one in done:
        was, now = one.was.entry, one.now.entry
        assert as_told(now) == as_told(was)
        assert now.archive == target.name != was.archive
        assert now.imported is not None
        assert (now.imported.archive, now.imported.number, now.imported.digest) == (
            source.name,
            was.number,
            one.was.digest,
        )
        for file in was.files:
            assert target.store.read(file.sha256) == source.store.read(file.sha256)
        # The former entry is kept to the letter: anybody can work its digest out again.
        former = now.files[-1]
        assert former.role == "entry"
        assert hashlib.sha256(target.store.read(former.sha256)).hexdigest() == one.was.digest
    assert verify(target).sound
    assert [one.entry.number for one in target.later(1)] == [7]
    assert corrected(target.entry(2).entry.about, target.later(2)).joint == "J99"


def test_a_used_archive_keeps_its_chain(source: Archive, tmp_path: Path) -> None:
    target = open_archive(str(tmp_path / "target"), create=True)
    target.add([small_draft("at home 1"), small_draft(3), small_draft("at home 2")])
    before = everything(target)
    done = brought(source, target, tmp_path / "bag")
    assert [one.was.entry.number for one in done if not one.now.fresh] == [4]  # the record of seed 3
    after = everything(target)
    assert after[: len(before)] == before
    assert len(after) == 3 + 7
    # The outcome speaks of what the joint's entry is here.
    outcome = next(one.now.entry for one in done if one.was.entry.kind == "outcome")
    assert [one.number for one in outcome.refers_to] == [done[0].now.entry.number]
    assert outcome.refers_to[0].digest == target.entry(done[0].now.entry.number).digest
    assert verify(target).sound


def test_nothing_is_added_twice_on_any_way_round(source: Archive, tmp_path: Path) -> None:
    """Twice the same bag; home again; over a third archive; and home from there."""
    second = open_archive(str(tmp_path / "second"), create=True)
    third = open_archive(str(tmp_path / "third"), create=True)
    brought(source, second, tmp_path / "1")
    digests = [one.digest for one in everything(second)]
    assert not any(one.now.fresh for one in import_bag(second, read_bag(tmp_path / "1")))
    assert not any(one.now.fresh for one in import_bag(source, read_bag(tmp_path / "1")))
    assert not any(one.now.fresh for one in brought(second, source, tmp_path / "2"))
    there = brought(second, third, tmp_path / "3")
    assert all(one.now.fresh for one in there)
    # The first archive stays named, and every entry on the way is kept.
    for one in there:
        assert one.now.entry.imported == one.was.entry.imported
        assert [file.role for file in one.now.entry.files][-2:] == ["entry", "entry"]
    for number, archive in enumerate((source, second)):
        assert not any(one.now.fresh for one in brought(third, archive, tmp_path / f"home {number}"))
    assert [one.digest for one in everything(second)] == digests
    assert all(verify(archive).sound for archive in (source, second, third))


def test_a_selection_takes_with_it_what_belongs_to_it(source: Archive, tmp_path: Path) -> None:
    assert [one.entry.number for one in selected(source, [2])] == [2, 8]
    assert [one.entry.number for one in selected(source, query=Query(kind="outcome"))] == [1, 7]
    with pytest.raises(UsageError, match="no entry fits"):
        selected(source, query=Query(job="none such"))
    target = open_archive(str(tmp_path / "target"), create=True)
    brought(source, target, tmp_path / "part", selected(source, [2]))
    done = brought(source, target, tmp_path / "all")
    assert [one.was.entry.number for one in done if not one.now.fresh] == [2, 8]
    assert verify(target).sound


def test_the_library_finds_the_bag_valid(source: Archive, tmp_path: Path) -> None:
    """Second opinion: the validator of the library bagit, digests included."""
    exported = export_bag(source, everything(source), tmp_path / "bag")
    assert bagit.Bag(str(tmp_path / "bag")).validate()
    tag_manifest = (tmp_path / "bag" / "tagmanifest-sha256.txt").read_bytes()
    assert exported.digest == hashlib.sha256(tag_manifest).hexdigest()
    # An entry's digest is what the manifest says of its file.
    digests = check_bag(tmp_path / "bag").sha256
    for one in everything(source):
        assert digests[f"data/entries/{one.entry.number:06d}/entry.json"] == one.digest


def test_a_bag_made_anew_by_the_library_is_imported(source: Archive, tmp_path: Path) -> None:
    """Others may pack the payload again, as version 0.97 and with digests of other kinds."""
    export_bag(source, everything(source), tmp_path / "bag")
    payload = (tmp_path / "bag" / "data").rename(tmp_path / "again")
    bagit.make_bag(str(payload), checksums=["sha256", "sha512", "md5"])
    target = open_archive(str(tmp_path / "target"), create=True)
    assert len(import_bag(target, read_bag(payload))) == 8


NAMES = st.text(min_size=1, max_size=40)


@given(names=st.lists(NAMES, min_size=1, max_size=3), joint=NAMES)
@example(names=["Blech №7 – Stoß.jpg", "溶接継手.jpg", "e\u0301tau.jpg"], joint="Łącze")
@example(names=["../../etc/passwd", "~root", "C:\\x.jpg"], joint="..")
@example(names=["a%0Ab.jpg", "CON", "x" * 300 + ".jpg"], joint="a\r\nb")
@example(names=["photo.jpg", "PHOTO.jpg", "ﬁ.jpg"], joint="صورة")
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_names_in_any_language_come_through(
    names: list[str], joint: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("names")
    source = open_archive(str(folder / "source"), create=True)
    files = tuple(DraftFile.of("other", name, name.encode()) for name in dict.fromkeys(names))
    about = About(day="2026-01-01", joint=joint)
    source.add([Draft(kind="inspection", about=about, files=files)])
    target = open_archive(str(folder / "target"), create=True)
    [one] = brought(source, target, folder / "bag")
    assert as_told(one.now.entry) == as_told(one.was.entry)
    assert bagit.Bag(str(folder / "bag")).validate()


@given(name=st.text(max_size=300))
@example(name="photo\u202egpj.exe")
@example(name="e\u0301.jpg")
@settings(max_examples=200, deadline=None)
def test_a_name_in_a_bag_is_one_plain_part_of_a_path(name: str) -> None:
    plain = name_in_bag(name)
    assert plain not in ("", ".", "..")
    assert plain.isprintable()
    assert unicodedata.is_normalized("NFC", plain)
    assert not set(plain) & set('/%\\:*?"<>|')
    assert len(plain.encode()) < 240


def test_a_large_file_is_never_held_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts of a mebibyte at most reach the bag's writer and the store's."""
    source = open_archive(str(tmp_path / "source"), create=True)
    source.add([Draft(kind="inspection", about=About(day="2026-01-01"), files=(
        DraftFile.of("photo", "large.jpg", os.urandom(5_000_000)),
    ))])  # fmt: skip
    target = open_archive(str(tmp_path / "target"), create=True)
    export_bag(source, everything(source), tmp_path / "bag")
    checked = read_bag(tmp_path / "bag")
    whole = Path.read_bytes
    read: list[int] = []

    def told(path: Path) -> bytes:
        read.append(path.stat().st_size)
        return whole(path)

    monkeypatch.setattr(Path, "read_bytes", told)
    monkeypatch.setattr(type(target.store), "read", lambda *_: pytest.fail("read as a whole"))
    assert import_bag(target, checked)[0].now.fresh
    export_bag(source, everything(source), tmp_path / "bag 2")
    assert max(read, default=0) < 100_000


def test_a_bag_is_there_as_a_whole_or_not_at_all(
    source: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "out" / "bag"
    flush, left = os.fsync, 10

    def full(handle: int) -> None:
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError(28, "No space left on device")
        flush(handle)

    monkeypatch.setattr(bags.os, "fsync", full)
    with pytest.raises(StorageError, match="no space left"):
        export_bag(source, everything(source), place)
    assert list(place.parent.iterdir()) == []
    left = 10_000
    export_bag(source, everything(source), place)
    with pytest.raises(UsageError, match="is there already"):
        export_bag(source, everything(source), place)
    assert [path.name for path in place.parent.iterdir()] == ["bag"]


def test_somebody_elses_folder_is_not_replaced_at_the_last_moment(source: Archive, tmp_path: Path) -> None:
    place = tmp_path / "bag"
    with pytest.raises(UsageError, match="is there already"), writing.filling_new_folder(place):
        place.mkdir()
    assert list(place.iterdir()) == []
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_what_a_killed_export_left_is_cleared_by_the_next(source: Archive, tmp_path: Path) -> None:
    program = (
        "import sys, time; from pathlib import Path; from fitup.evidence.writing import filling_new_folder\n"
        "with filling_new_folder(Path(sys.argv[1])) as folder:\n"
        "    (folder / 'data').write_bytes(b'half')\n"
        "    print(folder.name, flush=True); time.sleep(60)"
    )
    command = [sys.executable, "-c", program, str(tmp_path / "other")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as filling:
        assert filling.stdout is not None
        left = tmp_path / filling.stdout.readline().strip()
        hour_ago = time.time() - 3600
        os.utime(left, (hour_ago, hour_ago))
        export_bag(source, everything(source), tmp_path / "one")
        assert left.is_dir()  # somebody is at it
        filling.kill()
    export_bag(source, everything(source), tmp_path / "two")
    assert not left.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "source", "two"]


def test_an_altered_archive_is_not_exported(source: Archive, tmp_path: Path) -> None:
    photo = stored_file(tmp_path / "source", everything(source)[2], "photo")  # type: ignore[arg-type]
    photo.write_bytes(photo.read_bytes()[:-1] + b"?")
    with pytest.raises(StorageError, match="was altered"):
        export_bag(source, everything(source), tmp_path / "bag")
    assert not (tmp_path / "bag").exists()


def test_a_bag_changed_after_it_was_verified_adds_nothing(source: Archive, tmp_path: Path) -> None:
    export_bag(source, everything(source), tmp_path / "bag")
    target = open_archive(str(tmp_path / "target"), create=True)
    checked = read_bag(tmp_path / "bag")
    photo = next((tmp_path / "bag" / "data" / "entries" / "000003").glob("*photo*"))
    photo.write_bytes(b"another")
    with pytest.raises(StorageError, match="changed while it was read"):
        import_bag(target, checked)
    assert target.head() is None
    assert verify(target).sound


FORMULAS = ("=1+1", "+49 30", "-2", "@SUM(A1)", "\t=1", "  =1", "|cmd", "＝1")


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_begins_like_a_formula(text: str) -> None:
    assert spreadsheet_text(text) == "'" + text
    [row] = csv.reader(io.StringIO(spreadsheet_text(text)))
    assert row[0].startswith("'")


@pytest.mark.parametrize("text", ["", "RT-40", "K. M.", "'quoted", "Ø=1", "王"])
def test_plain_cells_stay_as_they_are(text: str) -> None:
    assert spreadsheet_text(text) == text


def test_entries_of_form_1_are_written_as_before(source: Archive) -> None:
    """What came from nowhere else has no trace of importing: programs of the first form read it."""
    data = json.loads((source.entry(1).entry).model_dump_json(exclude={"imported"}))
    assert data["format"] == 1
    assert main_file(source.entry(7).entry) is None
