"""The phones that were paired with this server: a file in its state folder, which survives a restart."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import threading
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from fitup.errors import StorageError
from fitup.evidence.writing import write_file
from fitup.phone.people import ROLES, Person, person_name

__all__ = ["PairedPhone", "PhoneBook", "signing_key"]

_KEY_BYTES = 32


@dataclass(frozen=True, kw_only=True)
class PairedPhone:
    """One paired phone; `paired_at` in ISO 8601, UTC."""

    phone_id: str
    name: str
    role: str
    paired_at: str

    @property
    def person(self) -> Person:
        """For whom it was paired."""
        return Person(name=self.name, role=self.role, phone_id=self.phone_id)


class PhoneBook:
    """The paired phones. Every change is on the disk before it is in force.

    Raises StorageError where the file cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._phones = _read(path)

    def find(self, phone_id: str) -> PairedPhone | None:
        """The paired phone of that id, None where there is none or it was taken out."""
        return self._phones.get(phone_id)

    def all(self) -> tuple[PairedPhone, ...]:
        """All paired phones in the order of pairing."""
        return tuple(self._phones.values())

    def add(self, name: str, role: str) -> PairedPhone:
        """Pair one more phone for a person; UsageError for a name that is none."""
        phone = PairedPhone(
            phone_id=secrets.token_hex(16),
            name=person_name(name),
            role=role,
            paired_at=datetime.now(UTC).isoformat(timespec="seconds"),
        )
        with self._lock:
            self._replace({**self._phones, phone.phone_id: phone})
        return phone

    def remove(self, phone_id: str) -> bool:
        """Take a phone out: from now on it is a stranger. False where it was none of ours."""
        with self._lock:
            kept = {k: v for k, v in self._phones.items() if k != phone_id}
            found = len(kept) < len(self._phones)
            if found:
                self._replace(kept)
        return found

    def _replace(self, phones: dict[str, PairedPhone]) -> None:
        text = json.dumps({"phones": [asdict(p) for p in phones.values()]}, ensure_ascii=False, indent=1)
        write_file(self._path, text.encode())
        self._phones = phones


def _read(path: Path) -> dict[str, PairedPhone]:
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise StorageError(
            f"{path} cannot be read: mend it or move it away and pair the phones anew."
        ) from error
    try:
        phones = [PairedPhone(**entry) for entry in json.loads(text)["phones"]]
        if not all(p.role in ROLES and isinstance(p.name, str) for p in phones):
            raise ValueError(path)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise StorageError(f"{path} is damaged: move it away and pair the phones anew.") from error
    return {p.phone_id: p for p in phones}


def signing_key(path: Path) -> bytes:
    """The key with which this server signs what it gives to phones; made at the first start, for us alone.

    Raises StorageError where it cannot be read or written. Whoever removes the file sends all phones back to
    pairing.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            _write_key(path)
        key = bytes.fromhex(path.read_text("ascii"))
    except (OSError, ValueError) as error:
        raise StorageError(f"{path} cannot be used: make its folder writable, or move it away.") from error
    if len(key) != _KEY_BYTES:
        raise StorageError(f"{path} is damaged: move it away and pair the phones anew.")
    return key


def _write_key(path: Path) -> None:
    """Write a new key whole or not at all: it is linked into place once it is on the disk."""
    if path.exists():
        return
    fresh = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w") as file:
            file.write(secrets.token_bytes(_KEY_BYTES).hex())
            file.flush()
            os.fsync(file.fileno())
        path.hardlink_to(fresh)
    finally:
        fresh.unlink(missing_ok=True)
