"""`fitup archive verify`, `head` and `key`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from fitup.cli.archiving import archive_at, checked_text
from fitup.errors import ExitCode, UsageError

__all__ = ["make_signing_key", "show_head", "verify_archive"]


def verify_archive(place: str | None, heads: Sequence[str], public_key: str | None, *, as_json: bool) -> int:
    """Verify and show what was found; 0 when all is sound, else 6."""
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.cli.progress import ProgressBar
    from fitup.cli.screen import print_line
    from fitup.evidence.archive.signing import read_public_key, read_statement
    from fitup.evidence.archive.verify import verify

    if public_key is not None and not heads:
        raise UsageError("--public-key belongs to a statement: give --head too.")
    key = None if public_key is None else read_public_key(Path(public_key))
    statements = [read_statement(Path(name)) for name in heads]
    archive = archive_at(place)
    with ProgressBar(2, "entries") as bar:
        verified = verify(archive, statements, key, bar.show)
    if as_json:
        print_line(json.dumps(asdict(verified) | {"sound": verified.sound}))
    else:
        ArchiveScreen().show_verified(archive.shown, verified, stated=bool(heads))
    return 0 if verified.sound else int(ExitCode.STORAGE)


def show_head(place: str | None, *, out: str | None, key: str | None, who: str) -> int:
    """State the head on stdout, and as files where asked for.

    Raises
    ------
    UsageError, StorageError
        When there is nothing to state, the key cannot be used, or a file is there or cannot be written.
    """
    from fitup.cli.screen import print_line
    from fitup.evidence.archive.signing import read_private_key, sign, state_head, statement_in_words
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.writing import printable_name, write_new_file

    signer = None if key is None else read_private_key(Path(key))
    statement = state_head(archive_at(place), checked_text(who, "--who"))
    if signer is not None:
        statement = sign(statement, signer)
    words = statement_in_words(statement)
    if out is not None:
        path = Path(out)
        if path.suffix != ".json":
            raise UsageError("--out must be a file that ends in .json; the text gets .txt.")
        for target, text in ((path, model_to_json(statement)), (path.with_suffix(".txt"), words)):
            if not write_new_file(target, text.encode("utf-8")):
                raise UsageError(
                    f"{printable_name(target.name)} is there already: statements are never written over."
                )
    print_line(words.rstrip("\n"))
    return 0


def make_signing_key(out: str) -> int:
    """Make a key; UsageError, StorageError when a file is there or cannot be written."""
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.evidence.archive.signing import fingerprint, make_key
    from fitup.evidence.writing import printable_name

    public_path, public = make_key(Path(out))
    screen = ArchiveScreen()
    screen.tell("key", f"{printable_name(out)}: signs heads; keep it away from the archive")
    screen.tell("public key", f"{printable_name(str(public_path))}: give it to whoever verifies")
    screen.tell("its digits", fingerprint(public))
    return 0
