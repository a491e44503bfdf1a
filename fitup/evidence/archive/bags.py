"""A bag (BagIt 1.0, RFC 8493) being filled: payload with its SHA-256, written once and forced to the disk.

The library `bagit` still writes version 0.97 and moves files about; its reader is the second opinion when a
bag is imported.
"""

from __future__ import annotations

import hashlib
import os
import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path

from fitup.errors import StorageError
from fitup.evidence.archive.local_files import flush_folder
from fitup.evidence.writing import safe_stem

__all__ = ["BAGIT_TXT", "PAYLOAD", "BagWriter", "name_in_bag"]

BAGIT_TXT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
PAYLOAD = "data/"


def name_in_bag(name: str) -> str:
    """A file's name that every usual file system takes and that no manifest needs to encode."""
    stem, ending = safe_stem(f"{Path(name).stem}.x"), Path(safe_stem(f"{name}.x")).suffix
    # Signs that turn the direction of writing, or that no version of Unicode has settled yet, go too.
    plain = "".join(sign if sign.isprintable() and sign != "%" else "_" for sign in stem + ending)
    return unicodedata.normalize("NFC", plain)


class BagWriter:
    """Fills an empty folder; `finish` writes what makes a bag of it."""

    def __init__(self, folder: Path) -> None:
        """Take a folder that nobody else writes to."""
        self._folder = folder
        self._digests: dict[str, str] = {}
        self._octets = 0
        (folder / PAYLOAD).mkdir()

    def add(self, place: str, parts: Iterable[bytes], sha256: str | None = None) -> None:
        """Write a file of the payload, `place` below `data/`; OSErrors pass through.

        Raises
        ------
        StorageError
            When its bytes are not those of the digest that is given.
        """
        digest = hashlib.sha256()
        path = self._folder / PAYLOAD / place
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            for part in parts:
                digest.update(part)
                self._octets += file.write(part)
            file.flush()
            os.fsync(file.fileno())
        found = digest.hexdigest()
        if sha256 not in (None, found):
            raise StorageError(
                f"the file {str(sha256)[:12]} of the archive was altered: `fitup archive verify` tells more."
            )
        self._digests[PAYLOAD + place] = found

    def finish(self, info: Mapping[str, str]) -> str:
        """Write the manifests and `info`; give the SHA-256 of the tag manifest, which stands for the bag."""
        told = {**info, "Payload-Oxum": f"{self._octets}.{len(self._digests)}"}
        tags = {
            "bagit.txt": BAGIT_TXT,
            "bag-info.txt": "".join(f"{name}: {_one_line(text)}\n" for name, text in told.items()).encode(),
            "manifest-sha256.txt": _manifest(self._digests),
        }
        tag_digests = {name: hashlib.sha256(content).hexdigest() for name, content in tags.items()}
        tags["tagmanifest-sha256.txt"] = _manifest(tag_digests)
        for name, content in tags.items():
            with (self._folder / name).open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        for folder, _, _ in os.walk(self._folder, topdown=False):
            flush_folder(Path(folder))
        return hashlib.sha256(tags["tagmanifest-sha256.txt"]).hexdigest()


def _manifest(digests: Mapping[str, str]) -> bytes:
    return "".join(f"{digest}  {place}\n" for place, digest in sorted(digests.items())).encode()


def _one_line(text: str) -> str:
    return " ".join(text.split())
