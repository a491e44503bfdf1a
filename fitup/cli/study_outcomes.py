"""`fitup study outcomes`, with its options: which gaps weld, learnt from what was found after welding."""

from __future__ import annotations

import json as json_
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.study.outcome import OutcomeStudy
    from fitup.study.outcome_pairs import Weld, Welds

__all__ = ["outcomes"]

_SUMMARY = "outcomes.json"
_FOLDER = "outcomes"
_NO_WIRE = "none"
_MOST_FAULTS = 5


def outcomes(
    wire: Annotated[str | None, typer.Option(help="Only welds with this wire: 0.9mm, 035, none.")] = None,
    joint_kind: Annotated[
        str | None, typer.Option(help="Only joints of this kind: butt, tee, lap, edge, ...")
    ] = None,
    job: Annotated[str | None, typer.Option(help="Only welds of this job.")] = None,
    part: Annotated[str | None, typer.Option(help="Only welds of this part.")] = None,
    joint: Annotated[str | None, typer.Option(help="Only welds of this joint.")] = None,
    from_day: Annotated[str | None, typer.Option(help="First day of outcomes, YYYY-MM-DD.")] = None,
    to_day: Annotated[str | None, typer.Option(help="Last day of outcomes, YYYY-MM-DD.")] = None,
    archive: shared.Archive = None,
    out: shared.Out = "fitup-results",
    no_files: shared.NoFiles = False,
    json: Annotated[bool, typer.Option("--json", help="What was learnt as JSON on stdout.")] = False,
) -> int:
    """Show the chance of a sound weld against the gap, by wire and joint kind, from archived outcomes.

    Says so where there is too little data. Nothing in the archive or in the shop's rules is changed.
    """
    from fitup.cli.archive_adding import checked_choice, checked_day
    from fitup.cli.archiving import archive_at
    from fitup.joint import JointKind
    from fitup.study.outcome import study_outcomes
    from fitup.study.outcome_pairs import welds_with_outcomes

    kinds = [str(kind) for kind in JointKind]
    kind = None if joint_kind is None else checked_choice(joint_kind, "--joint-kind", kinds)
    wanted = {"job": job, "part": part, "joint": joint, "joint_kind": kind}
    days = (checked_day(from_day, "--from-day"), checked_day(to_day, "--to-day"))
    wire_um = _wire(wire)
    opened = archive_at(archive)
    found = welds_with_outcomes(opened)
    chosen = [weld for weld in found.welds if _fits(weld, wanted, days, wire_um)]
    if not chosen:
        there = "fits" if found.welds else "is in the archive"
        raise UsageError(f"no weld with an outcome {there}: `fitup archive outcome` adds outcomes.")
    about = {"archive": opened.name, "wire": wire or "", "from_day": days[0] or "", "to_day": days[1] or ""}
    about |= {name: text or "" for name, text in wanted.items()}
    return _tell(study_outcomes(chosen), found, about, None if no_files else out, as_json=json)


def _wire(text: str | None) -> int | None:
    from fitup.verdict.wires import parse_wire

    if text is None:
        return None
    return 0 if text.strip().casefold() == _NO_WIRE else round(1000 * parse_wire(text).diameter_mm)


def _fits(
    weld: Weld, wanted: dict[str, str | None], days: tuple[str | None, str | None], wire_um: int | None
) -> bool:
    from fitup.evidence.archive.joint_profiles import folded

    first, last = days
    named = all(text is None or folded(getattr(weld, name)) == folded(text) for name, text in wanted.items())
    in_time = (first is None or weld.day >= first) and (last is None or weld.day <= last)
    return named and in_time and (wire_um is None or weld.wire_um == wire_um)


def _tell(
    studies: tuple[OutcomeStudy, ...], found: Welds, about: dict[str, str], out: str | None, *, as_json: bool
) -> int:
    from fitup.cli.screen import Screen, print_line
    from fitup.study.outcome_table import outcome_summary
    from fitup.study.outcome_words import NO_RULE, left_out_words, outcome_sentences, subject_words

    summary = outcome_summary(studies, found, about)
    folder = None if out is None else _written(studies, summary, out)
    if as_json:
        print_line(json_.dumps({**summary, "folder": folder and str(folder)}))
        return 0
    screen = Screen()
    for study in studies:
        screen.tell("of", subject_words(study))
        for word, text in outcome_sentences(study):
            screen.tell(word or "result", text)
    if found.left_out:
        screen.tell("left out", left_out_words(found.left_out))
    for fault in found.faults[:_MOST_FAULTS]:
        screen.tell("not read", fault)
    if len(found.faults) > _MOST_FAULTS:
        screen.tell("not read", f"and {len(found.faults) - _MOST_FAULTS} more")
    screen.tell("care", NO_RULE)
    if folder is not None:
        screen.tell("files", f"{folder}/")
    return 0


def _written(studies: tuple[OutcomeStudy, ...], summary: dict[str, object], out: str) -> Path:
    from fitup.cli.study_recurring import write_results
    from fitup.study.outcome_picture import outcome_png
    from fitup.study.outcome_table import welds_csv

    files = {_picture_name(study): outcome_png(study) for study in studies}
    files["welds.csv"] = welds_csv(studies)
    files[_SUMMARY] = json_.dumps(summary, indent=1, allow_nan=False).encode() + b"\n"
    return write_results(out, _FOLDER, files, _SUMMARY)


def _picture_name(study: OutcomeStudy) -> str:
    """A name that every file system takes, whatever a record calls its kind of joint."""
    from fitup.evidence.writing import safe_stem

    wire = "no-wire" if study.wire_um == 0 else f"{study.wire_um / 1000:g}mm"
    return safe_stem(f"outcomes-{wire}-{study.joint_kind}.x") + ".png"
