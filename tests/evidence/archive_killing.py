"""Programs that add to an archive and are killed while they do: `python -m tests.evidence.archive_killing`.

This process loads everything once and makes child processes by forking; each child opens the archive as a new
program does, adds entry after entry and says of each that it is in. It is killed (SIGKILL) after a random
number of entries and a random time. What was said is printed as JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import signal
import sys
import tempfile
import time
from typing import Any

from fitup.evidence.archive.archive import open_archive
from tests.evidence.archive_builders import small_draft

MOST_AWAITED = 3
PATIENCE_S = 30.0


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("place")
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--at-once", type=int, default=1, help="children that add at the same time")
    parser.add_argument("--adds", type=int, default=0, help="let every child add as many, and kill none")
    parser.add_argument("--longest", type=float, default=0.1, help="seconds until the kill, at most")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    load(options.place)
    print(json.dumps(run(**vars(options))))
    return 0


def load(place: str) -> None:
    """Load all libraries before the first fork, so that children add and do not load."""
    with tempfile.TemporaryDirectory() as folder:
        open_archive(folder, create=True).add([small_draft("loading")])
    if place.startswith("postgresql"):
        import psycopg  # noqa: F401
        import sqlalchemy.dialects.postgresql.psycopg  # noqa: F401


def run(place: str, kills: int, at_once: int, adds: int, longest: float, seed: int) -> dict[str, Any]:
    """Every entry that was said to be in: number to digest; how often a child was killed.

    Children are killed a random time after a random number of entries; `awaited` are these together.
    """
    dice = random.Random(seed)
    said: dict[int, str] = {}
    killed = awaited = rounds = 0
    while killed < kills or (adds and rounds == 0):
        children = [start(place, f"{seed}/{rounds}/{index}", adds) for index in range(at_once)]
        text = dict.fromkeys((reader for _, reader in children), b"")
        if not adds:
            wanted = dice.randrange(0, MOST_AWAITED * at_once + 1)
            awaited += wanted
            listen(text, wanted)
            time.sleep(dice.uniform(0.0, longest))
            for pid, _ in children:
                os.kill(pid, signal.SIGKILL)
        for pid, reader in children:
            with os.fdopen(reader, "rb") as rest:
                text[reader] += rest.read()
            killed += os.WIFSIGNALED(os.waitpid(pid, 0)[1])
            for line in text[reader].splitlines(keepends=True):
                if line.endswith(b"\n"):  # what was not said to the end was not said
                    number, digest = line.decode().split()
                    assert said.setdefault(int(number), digest) == digest
        rounds += 1
    return {"kills": killed, "awaited": awaited, "said": said, "seed": seed}


def listen(text: dict[int, bytes], wanted: int) -> None:
    """Wait until so many entries were said to be in by all children together."""
    end = time.monotonic() + PATIENCE_S
    while sum(said.count(b"\n") for said in text.values()) < wanted and time.monotonic() < end:
        for reader in select.select(list(text), [], [], 1.0)[0]:
            text[reader] += os.read(reader, 65536)


def start(place: str, seed: str, adds: int) -> tuple[int, int]:
    """A child that adds until it is killed; its process number, and where it says what is in."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid:
        os.close(writer)
        return pid, reader
    try:
        os.close(reader)
        archive = open_archive(place, create=True)
        number = 0
        while not adds or number < adds:
            (added,) = archive.add([small_draft(f"{seed}/{number}")])
            os.write(writer, f"{added.entry.number} {added.digest}\n".encode())
            number += 1
    except BaseException as error:
        print(error, file=sys.stderr)
        os._exit(1)
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main())
