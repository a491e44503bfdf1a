"""An archive verified: everything read again, and everything named that is not as it was added.

An archive shows by itself what was altered, exchanged or taken out of its middle. That its end was cut off,
or that all of it was written anew, shows against statements of its head that were kept elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fitup.errors import StorageError
from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.chain_check import ChainCheck
from fitup.evidence.archive.faults import Fault, Verified
from fitup.evidence.archive.file_check import check_files
from fitup.evidence.archive.signing import HeadStatement, fingerprint, is_signed_truly

__all__ = ["verify"]


def verify(
    archive: Archive,
    statements: Sequence[HeadStatement] = (),
    public_key: str | None = None,
    told: Callable[[str, int, int], None] = lambda what, done, of: None,
) -> Verified:
    """Read the whole archive again and compare it with itself and with statements of its head.

    With `public_key` every statement must be signed with that key. `told` hears what is being read, how much
    of it was, and how much there is.
    """
    faults: list[Fault] = []
    chain = ChainCheck(archive)
    try:
        faults += [_damage(said) for said in archive.database.damages()]
        chain.run(_counted("entries", chain.count(), told))
    except StorageError as error:
        faults.append(_damage(str(error)))
    faults += chain.faults
    try:
        found, byte_count, leftovers = check_files(
            archive.store, chain.files, _counted("files", len(chain.files), told)
        )
    except StorageError as error:
        found, byte_count, leftovers = [_damage(str(error))], 0, 0
    faults += found
    stated = []
    for statement in statements:
        wrong = _against(statement, archive, chain.digests, public_key)
        faults += wrong
        stated += [] if wrong else [_holds(statement)]
    last = max(chain.digests, default=0)
    return Verified(
        entries=len(chain.digests),
        files=len(chain.files),
        byte_count=byte_count,
        head=chain.digests.get(last),
        faults=tuple(dict.fromkeys(faults)),
        leftovers=leftovers,
        stated=tuple(stated),
    )


def _damage(said: str) -> Fault:
    return Fault(word="damaged", where="archive", sentence=said.rstrip("."))


def _counted(what: str, of: int, told: Callable[[str, int, int], None]) -> Callable[[int], None]:
    done = 0

    def count(more: int) -> None:
        nonlocal done
        done += more
        told(what, done, of)

    return count


def _against(
    statement: HeadStatement, archive: Archive, digests: dict[int, str], public_key: str | None
) -> list[Fault]:
    """What speaks against a statement, or what it shows of the archive."""
    where = f"statement of {statement.stated_at_utc}"
    signature = statement.signature
    if signature is not None and not is_signed_truly(statement):
        return [
            Fault(word="altered", where=where, sentence="its signature does not belong to what it states")
        ]
    if public_key is not None and (signature is None or signature.public_key != public_key):
        return [Fault(word="not signed", where=where, sentence="it is not signed with the key given")]
    if statement.archive != archive.name:
        return [Fault(word="foreign", where=where, sentence="it speaks of another archive")]
    last = max(digests, default=0)
    if statement.number > last:
        gone = f"entries {last + 1} to {statement.number}"
        sentence = f"the {where} tells of them, and the archive ends with entry {last}"
        return [Fault(word="removed", where=gone, sentence=sentence)]
    if digests.get(statement.number) != statement.digest:
        sentence = f"entry {statement.number} is not the one that the {where} tells of"
        return [Fault(word="rewritten", where=f"entries up to {statement.number}", sentence=sentence)]
    return []


def _holds(statement: HeadStatement) -> str:
    signature = statement.signature
    signed = "not signed" if signature is None else f"signed with key {fingerprint(signature.public_key)}"
    return f"entry {statement.number} and all before are as stated at {statement.stated_at_utc} ({signed})"
