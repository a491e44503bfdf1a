"""Writing the evidence of one photo as one folder: all of it or nothing.

The files are written to a hidden folder beside the target, forced to the disk, and renamed into place.
An earlier folder of the same photo and joint is replaced as a whole, unless a person settled something in
it; anybody else's folder is never touched: the new one then gets a number at its end.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from fitup.errors import StorageError, UsageError
from fitup.evidence.filling import folder_to_fill

__all__ = [
    "check_folder",
    "filling_new_file",
    "filling_new_folder",
    "printable_name",
    "safe_stem",
    "write_file",
    "write_folder",
    "write_new_file",
]

# Names up to this many bytes leave room for suffixes under the usual limit of 255.
_STEM_BYTES = 100
_FORBIDDEN = frozenset('<>:"/\\|?*')
# Device names that some systems keep for themselves, whatever their ending.
_RESERVED = frozenset(
    {"CON", "PRN", "AUX", "NUL", *(f"{p}{n}" for p in ("COM", "LPT") for n in range(1, 10))}
)
_MOST_NUMBERS = 9999
_ADDED_BY_A_PERSON = "settlement-*.json"


def printable_name(name: str) -> str:
    """The name as text that can be stored and shown: no lone surrogates, no control characters."""
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return "".join("\ufffd" if unicodedata.category(c) in {"Cc", "Cs"} else c for c in text)


def safe_stem(name: str) -> str:
    """A folder name for the photo `name` that every usual file system takes; never empty or hidden."""
    stem = Path(printable_name(name)).stem
    stem = "".join("_" if c in _FORBIDDEN or c == "\ufffd" else c for c in unicodedata.normalize("NFC", stem))
    stem = stem.encode("utf-8")[:_STEM_BYTES].decode("utf-8", "ignore").strip(" .")
    if not stem or stem.split(".")[0].upper() in _RESERVED:
        return f"photo_{stem}".rstrip("_")
    return stem


def check_folder(parent: Path) -> None:
    """Make sure, before long work, that `parent` exists and takes files; StorageError if not."""
    with _as_storage_error(parent):
        parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(prefix=".fitup-", dir=parent):
            pass


def write_folder(
    parent: Path, stem: str, files: Mapping[str, bytes], may_replace: Callable[[Path], bool]
) -> Path:
    """Write `files` (name to content) as the folder `parent/stem` and return its path.

    `may_replace(folder)` says whether an existing folder holds earlier results of the same thing. Where
    it does not, the name gets a number: `stem-2`, `stem-3`, ...

    Raises
    ------
    StorageError
        When it cannot be written. Nothing new is left behind then, and the earlier results stay.
    """
    with _as_storage_error(parent):
        parent.mkdir(parents=True, exist_ok=True)
        target = _free_name(parent, stem, may_replace)
        fresh = Path(tempfile.mkdtemp(prefix=".fitup-", dir=parent))
        try:
            for name, content in files.items():
                _write_through(fresh / name, content)
            fresh.chmod(0o777 & ~_umask())  # mkdtemp makes it for its owner alone
            _put_in_place(fresh, target)
        except BaseException:
            shutil.rmtree(fresh, ignore_errors=True)
            raise
        _flush_folder(parent)
    return target


def write_file(path: Path, content: bytes) -> None:
    """Write one file: beside the target first, then renamed over it.

    Raises
    ------
    StorageError
        When it cannot be written; an earlier file stays as it was.
    """
    with _as_storage_error(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".fitup-", dir=path.parent)
        os.close(handle)
        fresh = Path(name)
        try:
            _write_through(fresh, content)
            fresh.chmod(0o666 & ~_umask())
            fresh.replace(path)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
        _flush_folder(path.parent)


def write_new_file(path: Path, content: bytes) -> bool:
    """Write one file whole, or not at all where `path` exists; True when it was written.

    Of several that do so at the same time one wins.

    Raises
    ------
    StorageError
        When it cannot be written; nothing is left behind then.
    """
    with _as_storage_error(path, "make its folder writable, or work on a copy of the folder"):
        handle, name = tempfile.mkstemp(prefix=".fitup-", dir=path.parent)
        os.close(handle)
        fresh = Path(name)
        try:
            _write_through(fresh, content)
            fresh.chmod(0o666 & ~_umask())
            written = _put_if_new(fresh, path)
        finally:
            fresh.unlink(missing_ok=True)
        _flush_folder(path.parent)
    return written


@contextlib.contextmanager
def filling_new_folder(target: Path) -> Iterator[Path]:
    """A hidden folder beside `target`, which becomes `target` when the block has filled it; else it goes.

    What is written in it must be forced to the disk by who writes it. What a killed program left of such a
    folder is cleared by the next.

    Raises
    ------
    UsageError
        When `target` is there already.
    StorageError
        When it cannot be written; nothing is left behind then.
    """
    with _as_storage_error(target):
        if os.path.lexists(target):
            raise UsageError(_there_already(target))
        target.parent.mkdir(parents=True, exist_ok=True)
        with folder_to_fill(target.parent) as fresh:
            try:
                yield fresh
                fresh.chmod(0o777 & ~_umask())
                if os.path.lexists(target):
                    raise UsageError(_there_already(target))
                fresh.rename(target)
            except BaseException:
                shutil.rmtree(fresh, ignore_errors=True)
                raise
        _flush_folder(target.parent)


@contextlib.contextmanager
def filling_new_file(target: Path) -> Iterator[BinaryIO]:
    """The same with a file, for contents too large to be held in memory."""
    with _as_storage_error(target):
        if os.path.lexists(target):
            raise UsageError(_there_already(target))
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".fitup-", dir=target.parent)
        fresh = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            fresh.chmod(0o666 & ~_umask())
            if not _put_if_new(fresh, target):
                raise UsageError(_there_already(target))
        finally:
            fresh.unlink(missing_ok=True)
        _flush_folder(target.parent)


def _there_already(target: Path) -> str:
    return f"{printable_name(str(target))} is there already: name a new one, nothing is written over."


def _put_if_new(fresh: Path, path: Path) -> bool:
    """A second name for a file is given in one step, and refused where the name is taken."""
    try:
        path.hardlink_to(fresh)
    except FileExistsError:
        return False
    except OSError:  # a file system without second names: the name is taken first, then filled
        try:
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        except FileExistsError:
            return False
        fresh.replace(path)
    return True


@contextlib.contextmanager
def _as_storage_error(path: Path, remedy: str = "choose another folder with --out") -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise StorageError(f"cannot write to {printable_name(str(path))}: {reason}; {remedy}.") from None


def _free_name(parent: Path, stem: str, may_replace: Callable[[Path], bool]) -> Path:
    for number in range(1, _MOST_NUMBERS + 1):
        target = parent / (stem if number == 1 else f"{stem}-{number}")
        _recover(target)
        if not os.path.lexists(target) or (target.is_dir() and _free_to_replace(target, may_replace)):
            return target
    raise StorageError(f"{printable_name(str(parent / stem))} exists too often; clear the output folder.")


def _free_to_replace(folder: Path, may_replace: Callable[[Path], bool]) -> bool:
    """Earlier results of the same thing, to which nobody has added what no photo gives back."""
    return next(folder.glob(_ADDED_BY_A_PERSON), None) is None and may_replace(folder)


def _previous(target: Path) -> Path:
    return target.with_name(f".{target.name}.previous")


def _recover(target: Path) -> None:
    """After a kill between the two renames of `_put_in_place`, the earlier results come back."""
    previous = _previous(target)
    if not previous.is_dir():
        return
    if target.exists():
        shutil.rmtree(previous)
    else:
        previous.rename(target)


def _put_in_place(fresh: Path, target: Path) -> None:
    if not os.path.lexists(target):
        fresh.rename(target)
        return
    previous = _previous(target)
    target.rename(previous)
    try:
        fresh.rename(target)
    except BaseException:
        previous.rename(target)
        raise
    # The new results are in place: a leftover is no fault of theirs, and the next run clears it.
    shutil.rmtree(previous, ignore_errors=True)


def _write_through(path: Path, content: bytes) -> None:
    """Written and forced to the disk, so that a full disk shows here and not after the rename."""
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Force the rename itself to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
