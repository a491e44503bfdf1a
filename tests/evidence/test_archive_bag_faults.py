"""Bags that were altered, are wrong, or are meant to do harm: each is found, named, and nothing is taken.

The kinds follow RFC 8493 and the cases of the conformance suite that goes with it (valid, invalid, on some
systems invalid; the cases here are made anew). Where a case is a warning there, it is refused here.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bagit
import pytest

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.bag_check import check_bag
from fitup.evidence.archive.bags import BAGIT_TXT
from fitup.evidence.archive.canonical import canonical_json
from fitup.evidence.archive.export import export_bag, selected
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.importing import read_bag
from tests.evidence.archive_builders import small_archive

PHOTO = "data/entries/000002/2-photo-1"
ENTRY = "data/entries/000002/entry.json"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    archive, _ = small_archive(folder / "archive")
    export_bag(archive, selected(archive, query=Query()), folder / "bag")
    return folder / "bag"


@pytest.fixture
def bag(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "bag"))


def sealed(bag: Path) -> None:
    """Manifests and size made anew, as whoever alters a bag with care would do."""
    files = sorted(path for path in (bag / "data").rglob("*") if path.is_file())
    octets = sum(path.stat().st_size for path in files)
    (bag / "bag-info.txt").write_text(f"Payload-Oxum: {octets}.{len(files)}\n")
    _manifest(bag, "manifest-sha256.txt", files)
    tags = [bag / name for name in ("bag-info.txt", "bagit.txt", "manifest-sha256.txt")]
    _manifest(bag, "tagmanifest-sha256.txt", tags)


def _manifest(bag: Path, name: str, files: list[Path]) -> None:
    digest = hashlib.sha256
    lines = [f"{digest(path.read_bytes()).hexdigest()}  {path.relative_to(bag)}\n" for path in files]
    (bag / name).write_text("".join(lines))


def written(place: str, content: bytes) -> Callable[[Path], None]:
    def write(bag: Path) -> None:
        (bag / place).parent.mkdir(parents=True, exist_ok=True)
        (bag / place).write_bytes(content)

    return write


def listed(line: str, name: str = "manifest-sha256.txt") -> Callable[[Path], None]:
    """One more line in a manifest; the tag manifest goes, since a bag need not have one."""

    def write(bag: Path) -> None:
        with (bag / name).open("a") as file:
            file.write(line + "\n")
        (bag / "tagmanifest-sha256.txt").unlink()

    return write


def flipped(place: str) -> Callable[[Path], None]:
    def flip(bag: Path) -> None:
        content = bytearray((bag / place).read_bytes())
        content[len(content) // 2] ^= 1
        (bag / place).write_bytes(bytes(content))

    return flip


def swapped(bag: Path) -> None:
    one, other = bag / PHOTO, bag / "data/entries/000003/2-photo-2"
    first = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(first)


def cut(bag: Path) -> None:
    (bag / PHOTO).write_bytes((bag / PHOTO).read_bytes()[:20])


def linked(bag: Path) -> None:
    target = bag.parent / "elsewhere"
    target.write_bytes((bag / PHOTO).read_bytes())
    (bag / PHOTO).unlink()
    (bag / PHOTO).symlink_to(target)


def linked_folder(bag: Path) -> None:
    (bag / "data" / "entries").rename(bag.parent / "entries")
    (bag / "data" / "entries").symlink_to(bag.parent / "entries")


def nested(folder: Path, depth: int) -> None:
    """A folder in a folder in a folder ..."""
    for _ in range(depth):
        folder /= "d"
        folder.mkdir()


def second_manifest(bag: Path) -> None:
    digest = hashlib.md5((bag / PHOTO).read_bytes()).hexdigest()
    (bag / "manifest-md5.txt").write_text(f"{digest}  {PHOTO}\n")


DIGEST = "0" * 64
SAME = "é.jpg"

# kind: what is done to the bag, and what is said of it
BAGIT_KINDS: dict[str, tuple[Callable[[Path], None], str]] = {
    "bit of a photo": (flipped(PHOTO), f"{PHOTO} is altered"),
    "bit of an entry": (flipped(ENTRY), f"{ENTRY} is altered"),
    "bit of a table": (flipped("data/profiles.csv"), "profiles.csv is altered"),
    "bit of bag-info": (flipped("bag-info.txt"), "bag-info.txt is altered"),
    "photos swapped": (swapped, f"{PHOTO} is altered"),
    "photo truncated": (cut, f"{PHOTO} is altered"),
    "size of the payload": (written("bag-info.txt", b"Payload-Oxum: 1.1\n"), "payload is altered"),
    "photo missing": (lambda bag: (bag / PHOTO).unlink(), f"{PHOTO} is missing"),
    "file more": (written("data/entries/more.jpg", b"x"), "more.jpg is extra: manifest-sha256.txt does not"),
    "bit of the manifest": (flipped("manifest-sha256.txt"), "altered|damaged|missing"),
    "no manifest": (lambda bag: (bag / "manifest-sha256.txt").unlink(), "manifest-sha256.txt is missing"),
    "second manifest not complete": (second_manifest, "manifest-md5.txt does not list it"),
    "unknown digests": (written("manifest-crc32.txt", b""), "manifest-crc32.txt is extra"),
    "listed twice": (listed(f"{DIGEST}  {PHOTO}"), "listed twice"),
    "out by dots": (listed(f"{DIGEST}  data/../../../etc/passwd"), "not a plain one"),
    "single dot": (listed(f"{DIGEST}  data/./x"), "not a plain one"),
    "out of data": (listed(f"{DIGEST}  bag-info.txt"), "does not belong in this manifest"),
    "absolute": (listed(f"{DIGEST}  /etc/passwd"), "leads out of the bag"),
    "home": (listed(f"{DIGEST}  ~/.profile"), "leads out of the bag"),
    "home of another": (listed(f"{DIGEST}  ~root/.profile"), "leads out of the bag"),
    "drive": (listed(f"{DIGEST}  C:/x"), "leads out of the bag"),
    "backslash": (listed(f"{DIGEST}  data\\..\\..\\x"), "leads out of the bag"),
    "network share": (listed(f"{DIGEST}  \\\\server\\x"), "leads out of the bag"),
    "encoded line end": (listed(f"{DIGEST}  data/x%0Ay"), "control characters"),
    "line feed in a name": (written("data/a\nb", b"x"), "control characters"),
    "no digest": (listed("what is this"), "no digest and path"),
    "short digest": (listed("abc  data/x"), "no digest and path"),
    "link": (linked, "links are not followed"),
    "link to a folder": (linked_folder, "links are not followed"),
    "pipe": (lambda bag: os.mkfifo(bag / "data" / "pipe"), "no plain file"),
    "folders without end": (lambda bag: nested(bag / "data", 40), "go too deep"),
    "to be fetched": (written("fetch.txt", b"https://example.org/x 1 data/x\n"), "not accepted"),
    "byte order mark": (written("bagit.txt", b"\xef\xbb\xbf" + BAGIT_TXT), "not the two lines"),
    "white space": (written("bagit.txt", BAGIT_TXT.replace(b": 1", b" : 1")), "not the two lines"),
    "no encoding": (written("bagit.txt", b"BagIt-Version: 1.0\n"), "not the two lines"),
    "version": (written("bagit.txt", BAGIT_TXT.replace(b"1.0", b"2.0")), "not the two lines"),
    "other encoding": (written("bagit.txt", BAGIT_TXT.replace(b"UTF-8", b"UTF-16")), "not the two lines"),
    "not text": (written("manifest-sha256.txt", b"\xff\xfe\x00"), "not text in UTF-8"),
    "same name in another case": (written(PHOTO.replace("photo", "PHOTO"), b"x"), "the same name as"),
}


@pytest.mark.parametrize("kind", BAGIT_KINDS)
def test_an_altered_bag_is_found_and_the_thing_is_named(kind: str, bag: Path) -> None:
    alter, said = BAGIT_KINDS[kind]
    alter(bag)
    with pytest.raises(StorageError, match="cannot be trusted and nothing was imported: ") as caught:
        read_bag(bag)
    assert any(part in str(caught.value) for part in said.split("|"))
    assert "\n" not in str(caught.value)


def test_names_that_differ_in_how_letters_are_composed(bag: Path) -> None:
    for form in ("NFC", "NFD"):
        (bag / "data" / unicodedata.normalize(form, SAME)).write_bytes(b"x")
    sealed(bag)
    with pytest.raises(StorageError, match="the same name as"):
        check_bag(bag)


def test_what_the_library_lets_pass_is_refused(bag: Path) -> None:
    """White space before the colon of bagit.txt: invalid in version 1.0, accepted by the library 1.9."""
    (bag / "bagit.txt").write_bytes(b"BagIt-Version : 1.0\nTag-File-Character-Encoding : UTF-8\n")
    (bag / "tagmanifest-sha256.txt").unlink()
    assert bagit.Bag(str(bag)).is_valid()
    with pytest.raises(StorageError, match="not the two lines"):
        check_bag(bag)


def test_a_bag_with_other_digests_holds_and_is_no_archive_of_ours(bag: Path) -> None:
    """RFC 8493 leaves the digest to the maker; entries are found by their SHA-256."""
    for path in bag.glob("*manifest-*.txt"):
        path.unlink()
    files = sorted(path for path in (bag / "data").rglob("*") if path.is_file())
    lines = [f"{hashlib.sha512(path.read_bytes()).hexdigest()}  {path.relative_to(bag)}\n" for path in files]
    (bag / "manifest-sha512.txt").write_text("".join(lines))
    assert bagit.Bag(str(bag)).validate()
    assert len(check_bag(bag).byte_count) == len(files)
    with pytest.raises(StorageError, match="the payload's SHA-256 are needed"):
        read_bag(bag)
    flipped(PHOTO)(bag)
    with pytest.raises(StorageError, match=f"{PHOTO} is altered"):
        check_bag(bag)


def test_what_is_no_bag(tmp_path: Path, bag: Path) -> None:
    (tmp_path / "file").write_text("x")
    for name in ("nowhere", "file", "."):
        with pytest.raises(UsageError, match="is no bag"):
            read_bag(tmp_path / name)
    (bag / "data" / "archive.json").unlink()
    sealed(bag)
    assert bagit.Bag(str(bag)).validate()
    with pytest.raises(StorageError, match="no archive of fitup"):
        read_bag(bag)


def entry_of(bag: Path, number: int) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((bag / f"data/entries/{number:06d}/entry.json").read_bytes())
    return data


def rewritten(which: int, index: bool, **update: Any) -> Callable[[Path], None]:
    """An entry with other content; with `index` its digest is put right in archive.json too."""

    def write(bag: Path) -> None:
        data = entry_of(bag, which)
        content = canonical_json({**data, **update})
        (bag / f"data/entries/{which:06d}/entry.json").write_bytes(content)
        if index:
            marked(which, hashlib.sha256(content).hexdigest())(bag)

    return write


def marked(number: int, digest: str) -> Callable[[Path], None]:
    def write(bag: Path) -> None:
        place = bag / "data" / "archive.json"
        data = json.loads(place.read_bytes())
        next(one for one in data["entries"] if one["number"] == number)["digest"] = digest
        place.write_text(json.dumps(data))

    return write


def indexed(change: Callable[[dict[str, Any]], object]) -> Callable[[Path], None]:
    def write(bag: Path) -> None:
        place = bag / "data" / "archive.json"
        data = json.loads(place.read_bytes())
        change(data)
        place.write_text(json.dumps(data))

    return write


def without_entry(number: int) -> Callable[[Path], None]:
    def write(bag: Path) -> None:
        shutil.rmtree(bag / f"data/entries/{number:06d}")
        indexed(lambda data: data.update(entries=[o for o in data["entries"] if o["number"] != number]))(bag)

    return write


# What is altered with care: every manifest was made anew.
CHAIN_KINDS: dict[str, tuple[Callable[[Path], None], str]] = {
    "entry's content": (rewritten(2, False, note="other"), "entry 2 is altered: its content and its digest"),
    "entry and index": (rewritten(2, True, note="other"), "entry 3 is rewritten: it was not added behind"),
    "digest in the index": (marked(2, DIGEST), "entry 2 is altered"),
    "number": (rewritten(3, True, number=9), "entry 3 is out of order"),
    "archive": (rewritten(6, True, archive="f" * 32), "entry 6 is foreign"),
    "first entry": (rewritten(1, True, previous="1" * 64), "entry 1 is rewritten"),
    "no entry": (rewritten(2, True, kind="weld"), "entry 2 is altered: its content is not that of an entry"),
    "entry taken out that another refers to": (without_entry(1), "entry 7 is missing: entry 1, which it"),
    "order": (indexed(lambda data: data["entries"].reverse()), "archive.json is out of order"),
    "entry twice": (
        indexed(lambda data: data["entries"].append(data["entries"][-1])),
        "archive.json is out of order",
    ),
    "no entries": (indexed(lambda data: data.update(entries=[])), "archive.json is out of order"),
    "head": (indexed(lambda data: data["head"].update(digest=DIGEST)), "its head is not that"),
    "head before its entries": (indexed(lambda data: data["head"].update(number=2)), "its head is not that"),
    "index of another form": (
        indexed(lambda data: data.update(format=7)),
        "no index that this fitup can read",
    ),
    "photo exchanged": (written(PHOTO, b"another photo"), "photo photo-1 of entry 2"),
    "file that no entry names": (written("data/entries/000002/more.jpg", b"x"), "no entry names it"),
    "another's imported entry without the first": (
        rewritten(6, True, format=2, imported={"archive": "f" * 32, "number": 1, "digest": DIGEST}),
        "the entry that it was first is not there",
    ),
}


@pytest.mark.parametrize("kind", CHAIN_KINDS)
def test_an_alteration_sealed_anew_is_found_by_the_entries_themselves(kind: str, bag: Path) -> None:
    alter, said = CHAIN_KINDS[kind]
    alter(bag)
    sealed(bag)
    assert bagit.Bag(str(bag)).validate()
    with pytest.raises(StorageError) as caught:
        read_bag(bag)
    assert said in str(caught.value)


def test_the_last_entry_rewritten_with_all_that_tells_of_it_shows_against_the_head_alone(bag: Path) -> None:
    """What no bag can show by itself: the sender's head, kept elsewhere, tells the difference."""
    head = json.loads((bag / "data" / "archive.json").read_bytes())["head"]["digest"]
    rewritten(7, True, note="never said")(bag)
    content = (bag / "data/entries/000007/entry.json").read_bytes()
    indexed(lambda data: data["head"].update(digest=hashlib.sha256(content).hexdigest()))(bag)
    sealed(bag)
    assert read_bag(bag).index.head.digest != head


def test_many_faults_are_counted_in_one_sentence(bag: Path) -> None:
    for path in (bag / "data" / "entries").rglob("*-*"):
        path.unlink()
    with pytest.raises(StorageError, match=r"; and \d+ more\.$") as caught:
        read_bag(bag)
    assert len(str(caught.value)) < 600


def test_nothing_of_a_bad_bag_reaches_the_archive(bag: Path, tmp_path: Path) -> None:
    target = open_archive(str(tmp_path / "target"), create=True)
    flipped(PHOTO)(bag)
    with pytest.raises(StorageError):
        read_bag(bag)
    assert target.head() is None
    assert target.store.places() == set()
