"""`fitup archive remeasure`, with its options."""

from __future__ import annotations

import json
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitup.evidence.archive.archive import Archive, Stored
    from fitup.evidence.archive.finding import Query
    from fitup.remeasuring import Each, Remeasured

__all__ = ["remeasure"]

_FOLDER = "remeasured"


def remeasure(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="WORD", help="Words that all occur in the entry.")
    ] = None,
    kind: Annotated[str | None, typer.Option(help="inspection, seam or sides.")] = None,
    job: Annotated[str | None, typer.Option(help="Job, as filed.")] = None,
    part: Annotated[str | None, typer.Option(help="Part, as filed.")] = None,
    joint: Annotated[str | None, typer.Option(help="Joint, as filed.")] = None,
    serial: Annotated[str | None, typer.Option(help="Serial number, as filed.")] = None,
    verdict: Annotated[
        str | None, typer.Option(help="Verdict then: within, re-fixture, gauge, retake.")
    ] = None,
    who: Annotated[str | None, typer.Option(help="Who inspected.")] = None,
    wire: Annotated[str | None, typer.Option(help="Wire: 0.9mm, 035, none.")] = None,
    from_day: Annotated[str | None, typer.Option(help="First day, YYYY-MM-DD.")] = None,
    to_day: Annotated[str | None, typer.Option(help="Last day, YYYY-MM-DD.")] = None,
    most: Annotated[int | None, typer.Option(min=1, help="How many, the newest; all if not said.")] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="Processes; one a core if not said.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(help="Dask cluster: tcp://HOST:PORT of its scheduler, or local.")
    ] = None,
    out: Annotated[
        str | None, typer.Option(help="Folder for entries.jsonl and summary.json, in a folder of their own.")
    ] = None,
    archive: shared.Archive = None,
    json: Annotated[bool, typer.Option("--json", help="JSON on stdout, one line per entry.")] = False,
) -> int:
    """Measure archived photos by the present program, and tell what would change; the archive stays as it is.

    Exit code 0 when nothing would change, 6 when something would or cannot be measured any more.
    """
    from fitup.cli.archive_finding import query_of
    from fitup.cli.archiving import archive_at
    from fitup.evidence.writing import check_folder

    query = query_of(
        words=words or [],
        wire=wire,
        from_day=from_day,
        to_day=to_day,
        names={"job": job, "part": part, "joint": joint, "serial": serial, "who": who},
        choices={"--kind": kind, "--verdict": verdict},
    )
    opened = archive_at(archive)
    entries = _measured_entries(opened, query, most)
    if out is not None:
        check_folder(Path(out))
    start = time.monotonic()
    measured = _with_progress(opened, entries, _doing(cluster, workers, len(entries)))
    return _tell(opened, measured, time.monotonic() - start, out, as_json=json)


def _measured_entries(archive: Archive, query: Query, most: int | None) -> list[Stored]:
    from fitup.evidence.archive.entry import MEASURED_KINDS

    if query.kind is not None and query.kind not in MEASURED_KINDS:
        raise UsageError(f"--kind {query.kind} is not measured in photos: give inspection, seam or sides.")
    return [one for one in archive.search(query) if one.entry.kind in MEASURED_KINDS][:most]


def _doing(cluster: str | None, workers: int | None, count: int) -> Each:
    """Where the work is done."""
    from fitup.cluster import LOCAL_CLUSTER, each_on_cluster
    from fitup.parallel import usable_cores
    from fitup.worker_processes import each_in_processes

    if workers is not None and cluster not in (None, LOCAL_CLUSTER):
        raise UsageError("a cluster has its own workers: leave --workers or --cluster out.")
    processes = max(1, min(workers or usable_cores(), count))
    if cluster is None:
        return partial(each_in_processes, workers=processes)
    return partial(each_on_cluster, address=cluster, workers=processes)


def _with_progress(archive: Archive, entries: Sequence[Stored], each: Each) -> list[Remeasured]:
    from fitup.cli.progress import ProgressBar
    from fitup.remeasuring import remeasure as remeasure_all

    if not entries:
        return []
    with ProgressBar(len(entries), "entries") as bar:
        return remeasure_all(archive, entries, each, lambda done: bar.show("entries", done, len(entries)))


def _tell(
    archive: Archive, measured: Sequence[Remeasured], seconds: float, out: str | None, *, as_json: bool
) -> int:
    from fitup.cli.remeasured_screen import RemeasuredScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.writing import write_folder
    from fitup.remeasured import row_of, summary_of, would_change

    rows = "".join(json.dumps(row_of(one)) + "\n" for one in measured)
    summary = summary_of(measured, archive.name, seconds)
    files = {"entries.jsonl": rows, "summary.json": json.dumps(summary, indent=1) + "\n"}
    written = None
    if out is not None:
        contents = {name: text.encode("utf-8") for name, text in files.items()}
        written = write_folder(Path(out), _FOLDER, contents, lambda _: False)
    if not as_json:
        RemeasuredScreen().show_remeasured(measured, summary, written)
    elif rows:
        print_line(rows.rstrip("\n"))
    return int(ExitCode.STORAGE if would_change(measured) else ExitCode.WITHIN)
