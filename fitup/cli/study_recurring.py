"""`fitup study recurring`, with its options: where a joint opens again and again."""

from __future__ import annotations

import json as json_
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitup.cli import shared_options as shared
from fitup.errors import StorageError, UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Archive
    from fitup.evidence.archive.profile_cache import ReadProfiles
    from fitup.study.recurring import Recurring

__all__ = ["recurring", "write_results"]

_SUMMARY = "recurring.json"
_MOST_FAULTS = 5


def recurring(
    part: Annotated[str, typer.Option(help="The part, as filed; must be given.")] = "",
    joint: Annotated[str, typer.Option(help="The joint, as filed; must be given.")] = "",
    changed: Annotated[
        str | None, typer.Option(help="Day since when something is otherwise, YYYY-MM-DD: fixture shimmed.")
    ] = None,
    limit: Annotated[
        str | None, typer.Option(help="Limit that all parts are judged by; the newest record's if not said.")
    ] = None,
    job: Annotated[str | None, typer.Option(help="Only parts of this job.")] = None,
    from_day: Annotated[str | None, typer.Option(help="First day, YYYY-MM-DD.")] = None,
    to_day: Annotated[str | None, typer.Option(help="Last day, YYYY-MM-DD.")] = None,
    archive: shared.Archive = None,
    out: shared.Out = "fitup-results",
    no_files: shared.NoFiles = False,
    read_anew: Annotated[
        bool, typer.Option("--read-anew", help="Read every record again; use nothing that was kept.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="What was found as JSON on stdout.")] = False,
) -> int:
    """Show where a joint opens again and again, whether a change helped, and which parts stand out.

    Of every part the first record counts, as it came from the fixture. Nothing in the archive is changed.
    """
    from fitup.cli.archive_adding import checked_day
    from fitup.cli.archiving import archive_at
    from fitup.study.recurring import study_recurring
    from fitup.verdict.lengths import parse_length

    if not part.strip() or not joint.strip():
        raise UsageError("say which joint of which part: --part and --joint, as they are filed.")
    days = {"changed": changed, "from_day": from_day, "to_day": to_day}
    checked = {name: checked_day(day, f"--{name.replace('_', '-')}") for name, day in days.items()}
    limit_mm = None if limit is None else parse_length(limit, "the limit")
    opened = archive_at(archive)
    read = _profiles(opened, part, joint, read_anew=read_anew)
    if not len(read.profiles):
        raise UsageError(
            f"the archive has no record of part {part.strip()[:60]!r}, joint {joint.strip()[:60]!r}"
            f"{_fault_words(read)}: `fitup archive list` shows how joints are filed."
        )
    study = study_recurring(read.profiles, limit_mm=limit_mm, job=job, **checked)
    about = {"archive": opened.name, "part": part.strip(), "joint": joint.strip(), "job": job or ""}
    return _tell(study, read, about, None if no_files else out, as_json=json)


def write_results(out: str, stem: str, files: dict[str, bytes], summary: str) -> Path:
    """Write a study's files to a folder of their own; an earlier study of the same things makes room."""
    from fitup.evidence.writing import write_folder

    about = json_.loads(files[summary])["about"]

    def same(folder: Path) -> bool:
        try:
            return bool(json_.loads((folder / summary).read_bytes())["about"] == about)
        except (OSError, ValueError, KeyError, TypeError):
            return False

    return write_folder(Path(out), stem, files, same)


def _profiles(archive: Archive, part: str, joint: str, *, read_anew: bool) -> ReadProfiles:
    from fitup.cli.progress import ProgressBar
    from fitup.evidence.archive.profile_cache import cache_folder, profiles_of_joint

    folder = cache_folder()
    with ProgressBar(2, "records") as bar:
        told = _Telling(bar)
        return profiles_of_joint(archive, part, joint, folder=folder, read_anew=read_anew, told=told)


class _Telling:
    """Shows how many records are read, now and then."""

    def __init__(self, bar: Any) -> None:
        self._bar = bar

    def __call__(self, done: int, of: int) -> None:
        if done % 20 == 0 or done == of:
            self._bar.show("records", done, of)


def _fault_words(read: ReadProfiles) -> str:
    return f" that can be read ({read.faults[0]})" if read.faults else ""


def _tell(
    study: Recurring, read: ReadProfiles, about: dict[str, str], out: str | None, *, as_json: bool
) -> int:
    from fitup.cli.screen import Screen, print_line
    from fitup.evidence.writing import safe_stem
    from fitup.study.recurring_summary import recurring_summary
    from fitup.study.recurring_words import recurring_sentences, title_of

    summary = recurring_summary(study, about)
    folder = None
    if out is not None:
        stem = f"recurring-{safe_stem(about['part'] + '.x')}-{safe_stem(about['joint'] + '.x')}"
        folder = write_results(out, stem, _files(study, about, summary), _SUMMARY)
    if as_json:
        print_line(json_.dumps({**summary, "faults": list(read.faults), "folder": folder and str(folder)}))
        return 0
    screen = Screen()
    screen.tell("result", title_of(study))
    for word, text in recurring_sentences(study):
        screen.tell(word, text)
    for fault in read.faults[:_MOST_FAULTS]:
        screen.tell("not read", fault)
    if len(read.faults) > _MOST_FAULTS:
        screen.tell("not read", f"and {len(read.faults) - _MOST_FAULTS} more")
    for note in read.notes:
        screen.tell("note", note)
    if folder is not None:
        screen.tell("files", f"{folder}/")
    return 0


def _files(study: Recurring, about: dict[str, str], summary: dict[str, Any]) -> dict[str, bytes]:
    from fitup.study.recurring_picture import recurring_png
    from fitup.study.recurring_table import parts_csv, positions_csv

    named = [f"{word} {about[word]}" for word in ("job", "part", "joint") if about[word]]
    days = f"{summary['first_day']} to {summary['last_day']}"
    caption = f"{', '.join(named)}; {summary['parts']} parts, {days}"
    try:
        text = json_.dumps(summary, ensure_ascii=False, indent=1, allow_nan=False).encode("utf-8")
    except UnicodeEncodeError:
        raise StorageError("a name holds half a letter: correct it (`fitup archive correct`).") from None
    return {
        "recurring.png": recurring_png(study, caption),
        "positions.csv": positions_csv(study),
        "parts.csv": parts_csv(study),
        _SUMMARY: text + b"\n",
    }
