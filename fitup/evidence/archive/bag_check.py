"""A bag (BagIt, RFC 8493) read by somebody who trusts nothing in it: structure, names, manifests, digests.

It is stricter than the RFC where that costs nobody anything: links, files to be fetched, names that differ
only in case or in how letters are composed, and paths with `.` in them are refused.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.bags import PAYLOAD
from fitup.evidence.archive.faults import Fault, FaultWord
from fitup.evidence.archive.local_files import PART_BYTES
from fitup.evidence.writing import printable_name

__all__ = ["Bag", "bag_error", "check_bag"]

_BAGIT_TXT = re.compile(rb"BagIt-Version: (?:0\.97|1\.0)\r?\nTag-File-Character-Encoding: UTF-8(?:\r?\n)?")
_LINE = re.compile(r"([0-9a-fA-F]+)[ \t]+\*?(.+)")
_OXUM = re.compile(r"^payload-oxum[ \t]*:[ \t]*(.*?)[ \t]*$", re.IGNORECASE | re.MULTILINE)
_ENCODED = re.compile(r"%(0[Aa]|0[Dd]|25)")
_ALGORITHMS = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512")
_LARGEST_TAG_FILE = 256_000_000
_DEEPEST = 30
_MOST_NAMED = 3


@dataclass(frozen=True, kw_only=True)
class Bag:
    """A bag that is as it was made: SHA-256 and size of every file of the payload, by its path in the bag.

    There are no SHA-256 where its maker has worked out other digests alone.
    """

    folder: Path
    sha256: Mapping[str, str]
    byte_count: Mapping[str, int]

    @property
    def name(self) -> str:
        """The bag's name for a person."""
        return printable_name(self.folder.name or str(self.folder))


def check_bag(folder: Path, told: Callable[[str, int, int], None] = lambda what, done, of: None) -> Bag:
    """Read a whole bag; `told` hears how many of its files were read.

    Raises
    ------
    UsageError
        When there is no folder with a `bagit.txt`.
    StorageError
        When anything in it is not as the RFC and its own manifests have it, or it cannot be read.
    """
    name = printable_name(folder.name or str(folder))
    try:
        if not (folder.is_dir() and os.path.lexists(folder / "bagit.txt")):
            raise UsageError(f"{name} is no bag: name the folder that has bagit.txt in it.")
        return _Reader(folder, name).read(told)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise StorageError(f"the bag {name} cannot be read: {printable_name(str(reason))[:160]}.") from None


def bag_error(name: str, faults: Sequence[Fault]) -> StorageError:
    """That a bag is not to be trusted, in one sentence of the first few faults."""
    told = "; ".join(f"{fault.where} is {fault.word}: {fault.sentence}" for fault in faults[:_MOST_NAMED])
    more = f"; and {len(faults) - _MOST_NAMED} more" if len(faults) > _MOST_NAMED else ""
    return StorageError(f"the bag {name} cannot be trusted and nothing was imported: {told}{more}.")


class _Reader:
    """One reading of one bag; every step stops where going on would mean trusting what is wrong."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder = folder
        self._name = name
        self._faults: list[Fault] = []

    def read(self, told: Callable[[str, int, int], None]) -> Bag:
        files = dict(self._walk(self._folder, ""))
        self._same_name(files)
        if "fetch.txt" in files:
            self._fault("extra", "fetch.txt", "files to be fetched from elsewhere are not accepted")
        if not _BAGIT_TXT.fullmatch(self._tag_file("bagit.txt", files)):
            self._fault("damaged", "bagit.txt", "it is not the two lines of BagIt 0.97 or 1.0 in UTF-8")
        self._stop()
        payload = {place for place in files if place.startswith(PAYLOAD)}
        manifests = self._manifests("manifest-", files)
        if not manifests:
            self._fault("missing", "manifest-sha256.txt", "no manifest lists the payload")
        for algorithm, listed in manifests.items():
            self._complete(f"manifest-{algorithm}.txt", listed, payload)
        tags = self._manifests("tagmanifest-", files)
        for listed in tags.values():
            self._present(listed, {place for place in files if place not in payload})
        self._stop()
        self._oxum(files, {place: files[place] for place in payload})
        wanted = _by_file(manifests), _by_file(tags)
        self._digests({**wanted[1], **wanted[0]}, told)
        self._stop()
        return Bag(
            folder=self._folder,
            sha256=dict(manifests.get("sha256", {})),
            byte_count={place: files[place] for place in payload},
        )

    def _walk(self, folder: Path, place: str) -> Iterator[tuple[str, int]]:
        """Size of every file by its place; what is neither file nor folder is a fault and never opened."""
        for entry in sorted(os.scandir(folder), key=lambda one: one.name):
            where, about = place + entry.name, entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(about.st_mode) and where.count("/") >= _DEEPEST:
                self._fault("extra", where, "folders in folders go too deep")
            elif stat.S_ISDIR(about.st_mode):
                yield from self._walk(Path(entry.path), where + "/")
            elif stat.S_ISREG(about.st_mode):
                if reason := _unsafe(where):
                    self._fault("extra", where, reason)
                yield where, about.st_size
            else:
                self._fault("extra", where, "it is no plain file, and links are not followed")

    def _same_name(self, files: Mapping[str, int]) -> None:
        seen: dict[str, str] = {}
        for place in files:
            other = seen.setdefault(_folded(place), place)
            if other != place:
                self._fault("extra", place, f"on some systems it has the same name as {_shown(other)}")

    def _tag_file(self, name: str, files: Mapping[str, int]) -> bytes:
        if name not in files:
            return b""
        if files[name] > _LARGEST_TAG_FILE:
            self._fault("damaged", name, "it is too large")
            return b""
        return (self._folder / name).read_bytes()

    def _text(self, name: str, files: Mapping[str, int]) -> str:
        try:
            return self._tag_file(name, files).decode("utf-8")
        except UnicodeDecodeError:
            self._fault("damaged", name, "it is not text in UTF-8")
            return ""

    def _manifests(self, prefix: str, files: Mapping[str, int]) -> dict[str, dict[str, str]]:
        """Digest by path, for every algorithm that there is a manifest of."""
        manifests = {}
        for name in files:
            if name.startswith(prefix) and name.endswith(".txt"):
                algorithm = name[len(prefix) : -len(".txt")]
                if algorithm in _ALGORITHMS:
                    manifests[algorithm] = self._manifest(name, self._text(name, files), algorithm)
                else:
                    self._fault("extra", name, "its kind of digest is not known")
        return manifests

    def _manifest(self, name: str, text: str, algorithm: str) -> dict[str, str]:
        listed: dict[str, str] = {}
        digits = 2 * hashlib.new(algorithm, usedforsecurity=False).digest_size
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1):
            if not line:
                continue
            match = _LINE.fullmatch(line)
            if match is None or len(match[1]) != digits:
                self._fault("damaged", f"line {number} of {name}", "it is no digest and path")
                continue
            place = _ENCODED.sub(lambda sign: chr(int(sign[1], 16)), match[2])
            reason = _unsafe(place)
            if not reason and place.startswith(PAYLOAD) == name.startswith("tag"):
                reason = "it does not belong in this manifest"
            if reason:
                self._fault("extra", f"{place} in {name}", reason)
            elif place in listed:
                self._fault("extra", f"{place} in {name}", "it is listed twice")
            else:
                listed[place] = match[1].lower()
        return listed

    def _complete(self, name: str, listed: Mapping[str, str], payload: set[str]) -> None:
        for place in sorted(payload - set(listed)):
            self._fault("extra", place, f"{name} does not list it")
        self._present(listed, payload)

    def _present(self, listed: Mapping[str, str], there: set[str]) -> None:
        for place in sorted(set(listed) - there):
            self._fault("missing", place, "a manifest lists it")

    def _oxum(self, files: Mapping[str, int], payload: Mapping[str, int]) -> None:
        for stated in _OXUM.findall(self._text("bag-info.txt", files)):
            if stated != f"{sum(payload.values())}.{len(payload)}":
                self._fault("altered", "payload", f"it is not the {stated} octets and files of bag-info.txt")

    def _digests(
        self, wanted: Mapping[str, Mapping[str, str]], told: Callable[[str, int, int], None]
    ) -> None:
        for done, (place, digests) in enumerate(wanted.items(), start=1):
            found = _hashed(self._folder / place, list(digests))
            if found != dict(digests):
                self._fault("altered", place, "its bytes are not those of the manifest")
            told("files of the bag", done, len(wanted))

    def _fault(self, word: FaultWord, where: str, sentence: str) -> None:
        self._faults.append(Fault(word=word, where=_shown(where), sentence=sentence))

    def _stop(self) -> None:
        if self._faults:
            raise bag_error(self._name, list(dict.fromkeys(self._faults)))


def _unsafe(place: str) -> str:
    """Why a path is refused; empty where it is not."""
    parts = place.split("/")
    if any(unicodedata.category(sign) in {"Cc", "Cs"} for sign in place):
        return "its name has control characters or broken letters"
    if "\\" in place or place.startswith(("/", "~")) or re.match("[A-Za-z]:", place):
        return "its path leads out of the bag on some systems"
    if any(part in ("", ".", "..") for part in parts):
        return "its path is not a plain one"
    return ""


def _by_file(manifests: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    wanted: dict[str, dict[str, str]] = {}
    for algorithm, listed in manifests.items():
        for place, digest in listed.items():
            wanted.setdefault(place, {})[algorithm] = digest
    return wanted


def _hashed(path: Path, algorithms: list[str]) -> dict[str, str]:
    digests = {name: hashlib.new(name, usedforsecurity=False) for name in algorithms}
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:
        while part := file.read(PART_BYTES):
            for digest in digests.values():
                digest.update(part)
    return {name: digest.hexdigest() for name, digest in digests.items()}


def _folded(place: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", place).casefold())


def _shown(place: str) -> str:
    return " ".join(printable_name(place).split())[:120]
