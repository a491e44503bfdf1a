"""The statement of an archive's head: a few lines that QC prints, mails or signs, and keeps elsewhere.

An archive proves by itself that nobody changed a part of it. Who rewrites all of it from some entry on, or
takes the last entries away, leaves an archive that is sound in itself; only a head that was kept elsewhere
tells. The signature is Ed25519 (RFC 8032) over the canonical JSON of the statement without it.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fitup import __version__
from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.canonical import canonical_json
from fitup.evidence.record_file import read_text
from fitup.evidence.writing import printable_name, write_new_file

__all__ = [
    "HeadStatement",
    "Signature",
    "fingerprint",
    "is_signed_truly",
    "make_key",
    "read_private_key",
    "read_public_key",
    "read_statement",
    "sign",
    "state_head",
    "statement_in_words",
]

_DIGITS = 8
_PUBLIC_SUFFIX = ".pub"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Signature(_Part):
    """A signature and the key that it can be checked with, both in hexadecimal digits."""

    algorithm: Literal["Ed25519"]
    public_key: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    value: Annotated[str, Field(pattern="^[0-9a-f]{128}$")]


class HeadStatement(_Part):
    """That an archive ended with this entry at this time."""

    format: Literal[1]
    kind: Literal["archive head"]
    archive: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    number: Annotated[int, Field(ge=1, le=2**53 - 1)]
    digest: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    stated_at_utc: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")]
    program: str
    who: str
    signature: Signature | None = None

    @property
    def signed_bytes(self) -> bytes:
        """What a signature is of."""
        return canonical_json(self.model_dump(mode="json", exclude={"signature"}))


def state_head(archive: Archive, who: str = "") -> HeadStatement:
    """State the last entry of an archive as it is now; UsageError when it has none."""
    head = archive.head()
    if head is None:
        raise UsageError(f"the archive at {archive.shown} has no entry yet: there is nothing to state.")
    return HeadStatement(
        format=1,
        kind="archive head",
        archive=archive.name,
        number=head.entry.number,
        digest=head.digest,
        stated_at_utc=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        program=f"fitup {__version__}",
        who=who,
    )


def sign(statement: HeadStatement, key: Ed25519PrivateKey) -> HeadStatement:
    """The statement with a signature."""
    unsigned = statement.model_copy(update={"signature": None})
    value = key.sign(unsigned.signed_bytes)
    public = key.public_key().public_bytes_raw()
    signature = Signature(algorithm="Ed25519", public_key=public.hex(), value=value.hex())
    return statement.model_copy(update={"signature": signature})


def is_signed_truly(statement: HeadStatement) -> bool:
    """Whether the signature belongs to the statement and the key in it; False where there is none."""
    signature = statement.signature
    if signature is None:
        return False
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(signature.public_key))
        key.verify(bytes.fromhex(signature.value), statement.signed_bytes)
    except (InvalidSignature, ValueError):
        return False
    return True


def read_statement(path: Path) -> HeadStatement:
    """Read a statement; StorageError when it is none or damaged."""
    name = printable_name(path.name)
    try:
        return HeadStatement.model_validate_json(read_text(path), strict=True)
    except ValidationError:
        raise StorageError(
            f"{name} is no statement of an archive's head, or was altered: take it from a copy."
        ) from None


def statement_in_words(statement: HeadStatement) -> str:
    """The statement to be printed and kept: everything that checking by eye needs."""
    groups = [statement.digest[at : at + _DIGITS] for at in range(0, len(statement.digest), _DIGITS)]
    signature = statement.signature
    lines = [
        "HEAD OF A FITUP ARCHIVE",
        "",
        f"archive    {statement.archive}",
        f"entries    {statement.number}",
        f"digest     {' '.join(groups[:4])}",
        f"           {' '.join(groups[4:])}",
        f"stated at  {statement.stated_at_utc}",
        *([f"by         {statement.who}"] if statement.who else []),
        *([] if signature is None else [f"signed     Ed25519, key {fingerprint(signature.public_key)}"]),
        "",
        "The digest covers every entry up to this one, and all their files. Keep this",
        "away from the archive. `fitup archive verify --head FILE.json` compares the",
        "archive with the same statement as a file (--out); `fitup archive show` gives",
        "an entry's digest, to be compared by eye.",
    ]
    return "\n".join(lines) + "\n"


def fingerprint(public_key: str) -> str:
    """A public key in sixteen digits that can be read out: the first of its SHA-256."""
    digits = hashlib.sha256(bytes.fromhex(public_key)).hexdigest()
    return " ".join(digits[at : at + 4] for at in range(0, 16, 4))


def make_key(path: Path) -> tuple[Path, str]:
    """Make a key to sign with at `path`, and its public part beside it; give the latter and its digits.

    Raises
    ------
    UsageError
        When a file of either name is there.
    StorageError
        When they cannot be written.
    """
    public_path = path.with_name(path.name + _PUBLIC_SUFFIX)
    key = Ed25519PrivateKey.generate()
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    public = key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    if public_path.exists() or not write_new_file(path, private):
        raise UsageError(f"{printable_name(path.name)} is there already: keys are never written over.")
    try:
        path.chmod(0o600)
    except OSError:
        raise StorageError(
            f"{printable_name(path.name)} cannot be made readable for you alone: keep it elsewhere."
        ) from None
    write_new_file(public_path, public)
    return public_path, key.public_key().public_bytes_raw().hex()


def read_private_key(path: Path) -> Ed25519PrivateKey:
    """Read a key to sign with, PEM; UsageError when it is none."""
    try:
        key = serialization.load_pem_private_key(read_text(path), password=None)
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise UsageError(
            f"{printable_name(path.name)} is no Ed25519 key to sign with: make one by `fitup archive key`."
        )
    return key


def read_public_key(path: Path) -> str:
    """Read the public part of such a key, PEM, as hexadecimal digits; UsageError when it is none."""
    try:
        key = serialization.load_pem_public_key(read_text(path))
    except ValueError:
        key = None
    if not isinstance(key, Ed25519PublicKey):
        raise UsageError(
            f"{printable_name(path.name)} is no public Ed25519 key: give the file that ends in "
            f"{_PUBLIC_SUFFIX}."
        )
    return key.public_bytes_raw().hex()
