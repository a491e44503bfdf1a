"""The plan of a gauge study: which photos to take, in random order; a sheet to print, a CSV to fill in.

The study goes in rounds, one a repeat. In every round every person takes all parts, in an order of their own;
so nobody takes a part twice in a row, and nobody waits for another between two photos.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

import numpy as np

from fitup.errors import UsageError
from fitup.evidence.report.model import Attachment, Block, Facts, Lines, Report, Section, Sheet, Table

__all__ = ["PLAN_HEADS", "PlannedReading", "StudyPlan", "make_plan", "plan_csv", "plan_sheet"]

PLAN_HEADS = ("order", "part", "person", "repeat", "photo", "gap_mm")
_MOST_PARTS, _MOST_PERSONS, _MOST_REPEATS, _MOST_READINGS = 200, 50, 20, 2000
_GOOD = (10, 3, 2)  # parts, persons, repeats: AIAG MSA manual, common practice
_HOW = (
    "Choose parts that differ as they do in the shop, from tight to wide open, some near the limit; mark the "
    "place of the gap on each, so that everybody measures the same one.",
    "Lay the strip anew, step back and raise the phone anew for every photo: what stays is not tried.",
    "Nobody looks at readings before the study is over. Write down the photo's number or name at once.",
    "Photos with the laser switched off and locked.",
)


@dataclass(frozen=True, kw_only=True)
class PlannedReading:
    """One photo to take."""

    order: int
    part: str
    person: str
    repeat: int


@dataclass(frozen=True, kw_only=True)
class StudyPlan:
    """All photos of a study in their order; the same names, repeats and seed give the same order."""

    parts: tuple[str, ...]
    persons: tuple[str, ...]
    repeats: int
    seed: int
    readings: tuple[PlannedReading, ...]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the study is too small for."""
        if len(self.persons) == 1:
            return ("One person or phone: enough for a bias study, none for a gauge study.",)
        have = (len(self.parts), len(self.persons), self.repeats)
        words = ("parts", "persons or phones", "repeats")
        short = [
            f"{count} {word} where {good} are usual"
            for count, good, word in zip(have, _GOOD, words, strict=True)
            if count < good
        ]
        return (f"This is a small study ({', '.join(short)}): its intervals will be wide.",) if short else ()


def make_plan(parts: Sequence[str], persons: Sequence[str], repeats: int, seed: int) -> StudyPlan:
    """Draw the order.

    Raises
    ------
    UsageError
        For fewer than two parts or repeats, nobody, too many of them, or a name that stands there twice.
    """
    _check_names(parts, "part", 2, _MOST_PARTS)
    _check_names(persons, "person", 1, _MOST_PERSONS)
    if not 2 <= repeats <= _MOST_REPEATS:
        raise UsageError(f"a study needs 2 to {_MOST_REPEATS} repeats, not {repeats}.")
    if len(parts) * len(persons) * repeats > _MOST_READINGS:
        raise UsageError(
            f"{len(parts)} parts × {len(persons)} persons × {repeats} repeats are over {_MOST_READINGS} "
            "photos: plan a smaller study."
        )
    if not 0 <= seed < 2**63:
        raise UsageError("the seed must be a whole number from 0 up: give --seed 7.")
    random = np.random.default_rng(seed)
    order: list[PlannedReading] = []
    for repeat in range(1, repeats + 1):
        for j in random.permutation(len(persons)):
            for i in random.permutation(len(parts)):
                order.append(
                    PlannedReading(order=len(order) + 1, part=parts[i], person=persons[j], repeat=repeat)
                )
    return StudyPlan(
        parts=tuple(parts), persons=tuple(persons), repeats=repeats, seed=seed, readings=tuple(order)
    )


def plan_csv(plan: StudyPlan) -> bytes:
    """The plan as a CSV (RFC 4180): the photo's file name, or the gap, is filled in by hand."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(PLAN_HEADS)
    writer.writerows((one.order, one.part, one.person, one.repeat, "", "") for one in plan.readings)
    return text.getvalue().encode("utf-8")


def plan_sheet(plan: StudyPlan, *, title: str, made_at: datetime, csv_name: str) -> Report:
    """The plan as a sheet to print, with boxes to fill in."""
    title = title or "Plan of a study"
    facts = Facts(
        rows=(
            ("design", f"{len(plan.parts)} parts × {len(plan.persons)} persons or phones × {plan.repeats} "
             f"repeats = {len(plan.readings)} photos"),
            ("order", f"at random, seed {plan.seed}; in rounds, one a repeat"),
            ("persons", ", ".join(plan.persons)),
            ("planned", f"{made_at:%Y-%m-%d}; the same as data: {csv_name}"),
        )
    )  # fmt: skip
    blocks: list[Block] = [facts, Lines(texts=(*plan.remarks, *_HOW))]
    sections = [Section(title="", blocks=tuple(blocks))]
    for (repeat, person), rows in groupby(plan.readings, key=lambda one: (one.repeat, one.person)):
        table = Table(
            heads=("no.", "part", "photo (number or name)", "time", "remark"),
            rows=tuple((f"{one.order}", one.part, "", "", "") for one in rows),
            widths=(0.08, 0.27, 0.30, 0.12, 0.23),
            right=frozenset(),
        )
        sections.append(Section(title=f"Round {repeat}: {person}", blocks=(table,)))
    return Report(
        title=title,
        filed_at=made_at,
        sheets=(Sheet(title=title, beside=f"seed {plan.seed}", sections=tuple(sections)),),
        attachments=(
            Attachment(
                name="plan.csv",
                content=plan_csv(plan),
                mime="text/csv",
                relation="Data",
                words="the plan, to be filled in",
            ),
        ),
    )


def _check_names(names: Sequence[str], what: str, least: int, most: int) -> None:
    if not least <= len(names) <= most:
        raise UsageError(
            f"a study needs {least} to {most} {what}s, not {len(names)}: give --{what} for each."
        )
    seen: set[str] = set()
    for name in names:
        key = " ".join(name.split()).casefold()
        if not key or not name.isprintable():
            raise UsageError(f"every {what} needs a name of letters that can be printed.")
        if key in seen:
            raise UsageError(f"{what} {name} is there twice: give each a name of its own.")
        seen.add(key)
