"""The cases of RFC 8493's conformance suite, by their names, made anew: the suite itself is on no registry.

Names and verdicts are those of LibraryOfCongress/bagit-conformance-suite (public domain), read from
../shared/data where that is present; `test_bagit_suite.py` runs the suite itself where it was cloned to. What
it calls invalid is refused. What it calls valid, or valid with a warning, must hold or be refused for one
of the reasons that we state to be stricter for. The library bagit is asked too, as a second opinion.
"""

from __future__ import annotations

import csv
import hashlib
import unicodedata
from collections.abc import Callable, Mapping
from pathlib import Path

import bagit
import pytest

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.bag_check import check_bag
from tests.outside.test_bagit_suite import STRICTER, refusal

TABLE = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "bagit_conformance_cases.csv"
HELLO = b"Hello\n"
SIGNED = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
INFO = "Source-Organization: Brackwater Tanks (invented)\n"
Files = dict[str, bytes]


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def manifest(files: Mapping[str, bytes]) -> bytes:
    return "".join(f"{digest(content)}  {name}\n" for name, content in files.items()).encode()


def a_bag(payload: Mapping[str, bytes] | None = None, *, info: str = INFO, lines: str = "") -> Files:
    """Files of a sound bag of version 1.0; `lines` are added to its manifest."""
    data = {f"data/{name}": content for name, content in (payload or {"hello.txt": HELLO}).items()}
    files = {"bagit.txt": SIGNED, "bag-info.txt": info.encode(), **data}
    files["manifest-sha256.txt"] = manifest(data) + lines.encode()
    return files


def sealed(files: Files) -> Files:
    """The same with a manifest of its tag files."""
    tags = {name: content for name, content in files.items() if not name.startswith("data/")}
    return {**files, "tagmanifest-sha256.txt": manifest(tags)}


def changed(files: Files, **contents: bytes) -> Files:
    names = {name.replace(".", "_").replace("-", "_").replace("/", "_"): name for name in files}
    return {**files, **{names[key]: content for key, content in contents.items()}}


def without(files: Files, name: str) -> Files:
    return {key: content for key, content in files.items() if key != name}


def listing(path: str) -> Files:
    return a_bag(lines=f"{digest(HELLO)}  {path}\n")


def fetching(path: str) -> Files:
    return {**listing(path), "fetch.txt": f"https://example.org/x 6 {path}\n".encode()}


def inner() -> Files:
    return {f"inner/{name}": content for name, content in sealed(a_bag()).items()}


def composed() -> Files:
    name = unicodedata.normalize("NFC", "né.txt")
    return a_bag({name: HELLO, unicodedata.normalize("NFD", name): HELLO})


def renamed(given: str, listed: str) -> Files:
    """A payload file `given` that the manifest calls `listed`."""
    files = a_bag({given: HELLO})
    files["manifest-sha256.txt"] = f"{digest(HELLO)}  {listed}\n".encode()
    return files


def encoded(encoding: str) -> Files:
    said = SIGNED.replace(b"UTF-8", encoding.encode())
    files = {**a_bag(), "bagit.txt": said, "bag-info.txt": INFO.encode(encoding)}
    return {**files, "manifest-sha256.txt": files["manifest-sha256.txt"].decode().encode(encoding)}


INVALID: dict[str, Callable[[], Files]] = {
    "baginfo-missing-encoding": lambda: changed(a_bag(), bagit_txt=b"BagIt-Version: 1.0\n"),
    "bagit-with-invalid-whitespace": lambda: changed(a_bag(), bagit_txt=SIGNED.replace(b":", b" :")),
    "bom-in-bagit.txt": lambda: changed(a_bag(), bagit_txt=b"\xef\xbb\xbf" + SIGNED),
    "corrupt-data-file": lambda: changed(a_bag(), data_hello_txt=b"Hallo\n"),
    "corrupt-tag-file": lambda: changed(sealed(a_bag()), bag_info_txt=b"Source-Organization: other\n"),
    "extra-file-in-bag": lambda: {**a_bag(), "data/more.txt": b"x"},
    "invalid-version-number": lambda: changed(a_bag(), bagit_txt=SIGNED.replace(b"1.0", b".97")),
    "missing-baginfo": lambda: without(sealed(a_bag()), "bag-info.txt"),
    "missing-bagit.txt": lambda: without(a_bag(), "bagit.txt"),
    "notAllManifestsListAllFiles": lambda: {
        **a_bag({"a.txt": HELLO, "b.txt": HELLO}),
        "manifest-md5.txt": f"{hashlib.md5(HELLO).hexdigest()}  data/a.txt\n".encode(),
    },
    "out-of-scope-file-paths-using-dot-notation": lambda: listing("../../secret"),
    "out-of-scope-file-paths-using-dot-notation-for-fetch": lambda: fetching("../../secret"),
    "same-filename-listed-twice-with-different-hashes": lambda: a_bag(
        lines=f"{digest(b'other')}  data/hello.txt\n"
    ),
    "same-filename-listed-twice-with-the-same-hash": lambda: listing("data/hello.txt"),
    "out-of-scope-file-paths-using-absolute-path": lambda: listing("/secret"),
    "out-of-scope-file-paths-using-absolute-path-for-fetch": lambda: fetching("/secret"),
    "out-of-scope-file-paths-using-shortcut": lambda: listing("~/secret"),
    "out-of-scope-file-paths-using-shortcut-for-fetch": lambda: fetching("~/secret"),
    "out-of-scope-file-paths-using-shortcut-username": lambda: listing("~root/secret"),
    "out-of-scope-file-paths-using-shortcut-username-for-fetch": lambda: fetching("~root/secret"),
    "out-of-scope-file-paths-using-unc": lambda: listing("\\\\server\\secret"),
    "out-of-scope-file-paths-using-unc-for-fetch": lambda: fetching("\\\\server\\secret"),
}
VALID: dict[str, Callable[[], Files]] = {
    "basic-bag": lambda: sealed(a_bag()),
    "basicBag": lambda: a_bag(),
    "minimal-bag": lambda: without(a_bag(), "bag-info.txt"),
    "bag-in-a-bag": lambda: a_bag(inner()),
    "bag-with-space": lambda: a_bag({"two words.txt": HELLO}),
    "bag-with-encoded-names": lambda: renamed("two\nlines.txt", "data/two%0Alines.txt"),
    "bag-with-escapable-characters": lambda: a_bag({"a'b&c(d)[e]{f}$g;h.txt": HELLO}),
    "bag-with-leading-dot-slash-in-manifest": lambda: renamed("hello.txt", "./data/hello.txt"),
    "duplicate-metadata-entries": lambda: a_bag(info=INFO + "Contact-Name: A\nContact-Name: B\n"),
    "holey-bag": lambda: {**a_bag(), "fetch.txt": b"https://example.org/hello.txt 6 data/hello.txt\n"},
    "uncommon-metadata-separators": lambda: a_bag(info="Source-Organization\t:\tX\nContact-Name:Y\n"),
    "ISO-8859-1-encoded-tag-files": lambda: encoded("ISO-8859-1"),
    "UTF-16-encoded-tag-files": lambda: encoded("UTF-16"),
    "duplicate-file-with-different-case": lambda: a_bag({"hello.txt": HELLO, "HELLO.txt": HELLO}),
    "made-with-md5sum-tools": lambda: changed(
        a_bag(), manifest_sha256_txt=f"{digest(HELLO)} *data/hello.txt\n".encode()
    ),
    "relative-path": lambda: renamed("hello.txt", "data/./hello.txt"),
    "same-filename-listed-twice-with-different-normalization": composed,
    "special-system-files": lambda: a_bag({"hello.txt": HELLO, ".DS_Store": b"x", "Thumbs.db": b"x"}),
}
MUST_HOLD = {
    "basic-bag",
    "basicBag",
    "minimal-bag",
    "bag-in-a-bag",
    "bag-with-space",
    "bag-with-escapable-characters",
    "duplicate-metadata-entries",
    "uncommon-metadata-separators",
    "made-with-md5sum-tools",
    "special-system-files",
}


def laid(files: Files, folder: Path) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


@pytest.mark.parametrize("case", sorted(INVALID))
def test_what_the_suite_calls_invalid_is_refused(case: str, tmp_path: Path) -> None:
    with pytest.raises((StorageError, UsageError)):
        check_bag(laid(INVALID[case](), tmp_path / "bag"))


@pytest.mark.parametrize("case", sorted(VALID))
def test_what_the_suite_calls_valid_holds_or_we_say_why_we_are_stricter(case: str, tmp_path: Path) -> None:
    said = refusal(laid(VALID[case](), tmp_path / "bag"))
    assert said is None or (case not in MUST_HOLD and any(reason in said for reason in STRICTER)), said


@pytest.mark.parametrize("case", sorted(MUST_HOLD))
def test_the_library_holds_the_same_bags_to_be_sound(case: str, tmp_path: Path) -> None:
    assert bagit.Bag(str(laid(VALID[case](), tmp_path / "bag"))).is_valid()


def test_the_library_lets_one_pass_that_is_invalid(tmp_path: Path) -> None:
    """As the table says of version 1.9.0; ours refuses it."""
    assert bagit.Bag(str(laid(INVALID["bagit-with-invalid-whitespace"](), tmp_path / "bag"))).is_valid()


def test_no_case_of_the_suite_is_left_out() -> None:
    if not TABLE.is_file():
        pytest.skip("../shared/data is not here")
    lines = [line for line in TABLE.read_text("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert len(rows) >= 40
    for row in rows:
        # What is invalid on one system only, or from one version on, is refused by us everywhere.
        here = INVALID if "invalid" in row["expected"] else {**VALID, **INVALID}
        assert row["case"] in here, row
