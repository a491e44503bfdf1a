"""What was read: readings by part, person and repeat; laid out as a full cross, or refused."""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.study.table_file import TableFile, read_table

__all__ = ["PART_HEADS", "PERSON_HEADS", "REPEAT_HEADS", "VALUE_HEADS", "Cross", "Readings", "read_readings"]

PART_HEADS = ("part", "joint", "gap", "part_number", "sample", "operand")
PERSON_HEADS = ("person", "phone", "appraiser", "operator", "instrument", "who")
REPEAT_HEADS = ("repeat", "trial", "replicate", "round")
VALUE_HEADS = ("gap_mm", "value", "value_mm", "reading", "reading_mm", "measurement")

_MOST_LEVELS = 500
_MOST_NAMED = 3
_NEEDED = (
    "a gauge study needs two parts, two persons or phones and two repeats at least, and is worth it from "
    "ten, two and three"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """One reading a row; parts and persons by name, in any order.

    Raises
    ------
    UsageError
        When the columns differ in length, a value is no finite number, or a name is empty.
    """

    value_mm: NDArray[np.float64]
    """(N,) readings [mm]."""
    part: tuple[str, ...]
    """(N,) what was measured: a part, a joint, one gap."""
    person: tuple[str, ...]
    """(N,) who or what measured it: a person, a phone."""
    repeat: tuple[str, ...]
    """(N,) which of the repeated readings it is."""
    source: str = "the readings"
    """Where they come from, for messages."""
    days: tuple[str, ...] = ()
    """First and last day, where known."""
    content: bytes = field(default=b"", repr=False)
    """The file's bytes, where there is one."""

    def __post_init__(self) -> None:
        count = len(self.value_mm)
        for name in ("part", "person", "repeat"):
            column = getattr(self, name)
            if len(column) != count:
                raise UsageError(f"{self.source}: {len(column)} entries of {name} for {count} readings.")
            if not all(isinstance(text, str) and text.strip() for text in column):
                raise UsageError(f"{self.source} has a reading without {name}: fill it in.")
        if not np.all(np.isfinite(self.value_mm)):
            raise UsageError(f"{self.source} has a reading that is no finite number: correct it.")

    def crossed(self) -> Cross:
        """The full cross: every person read every part equally often.

        Raises
        ------
        UsageError
            Where it is none: fewer than two parts, persons or repeats, a reading twice, or some missing.
        """
        parts, part_of = _levels(self.part)
        persons, person_of = _levels(self.person)
        self._check_levels(parts, "part")
        self._check_levels(persons, "person or phone")
        self._check_once(parts, persons, part_of, person_of)
        count = np.zeros((len(parts), len(persons)), dtype=np.int64)
        np.add.at(count, (part_of, person_of), 1)
        self._check_full(parts, persons, count)
        order = np.lexsort((self.value_mm, np.array(person_of), np.array(part_of)))
        shape = (len(parts), len(persons), int(count[0, 0]))
        return Cross(value_mm=self.value_mm[order].reshape(shape), parts=parts, persons=persons)

    def _check_levels(self, names: Sequence[str], what: str) -> None:
        if len(names) < 2:
            raise UsageError(f"{self.source} has {len(names)} {what} only: {_NEEDED}.")
        if len(names) > _MOST_LEVELS:
            raise UsageError(
                f"{self.source} has {len(names)} different entries of {what}: is it the right column?"
            )

    def _check_once(
        self, parts: Sequence[str], persons: Sequence[str], part_of: list[int], person_of: list[int]
    ) -> None:
        cells = Counter(zip(part_of, person_of, map(_key, self.repeat), strict=True))
        cell, most = cells.most_common(1)[0]
        if most > 1:
            raise UsageError(
                f"{self.source}: part {parts[cell[0]]}, person {persons[cell[1]]}, repeat {cell[2]} stands "
                f"there {most} times: leave out what is there twice, or number the repeats."
            )

    def _check_full(self, parts: Sequence[str], persons: Sequence[str], count: NDArray[np.int64]) -> None:
        most = int(count.max())
        short = np.argwhere(count < most)
        if len(short):
            named = "; ".join(
                f"part {parts[i]} by {persons[j]}: {count[i, j]} of {most}" for i, j in short[:_MOST_NAMED]
            )
            more = f"; and {len(short) - _MOST_NAMED} more" if len(short) > _MOST_NAMED else ""
            raise UsageError(
                f"{self.source} is no full cross, readings are missing ({named}{more}): take them, or "
                "leave out the part, person or repeat that they belong to."
            )
        if most < 2:
            raise UsageError(f"{self.source} has every part once by every person: {_NEEDED}.")


@dataclass(frozen=True, kw_only=True, eq=False)
class Cross:
    """Readings of a full cross."""

    value_mm: NDArray[np.float64]
    """(parts, persons, repeats) readings [mm]."""
    parts: tuple[str, ...]
    persons: tuple[str, ...]


def read_readings(path: str | os.PathLike[str]) -> Readings:
    """Read a CSV with a part, a person, a repeat and a reading in mm on every line.

    Columns are known by their heads, in any order: see `PART_HEADS` and its neighbours; others are let be.

    Raises
    ------
    UsageError
        With file and line for what cannot be used.
    """
    table = read_table(path)
    return Readings(
        value_mm=np.array(table.numbers(VALUE_HEADS)),
        part=_filled(table, PART_HEADS),
        person=_filled(table, PERSON_HEADS),
        repeat=_filled(table, REPEAT_HEADS),
        source=table.name,
        days=_days(table),
        content=table.content,
    )


def _filled(table: TableFile, heads: Sequence[str]) -> tuple[str, ...]:
    column = table.column(heads)
    for text, line in zip(column, table.lines, strict=True):
        if not text:
            raise UsageError(f"{table.name}, line {line}: the {heads[0]} is empty: fill it in.")
    return column


def _days(table: TableFile) -> tuple[str, ...]:
    dates = table.find(("date", "day", "taken", "taken_at")) or ()
    days = sorted({text[:10].replace(":", "-") for text in dates if text})
    return (days[0], days[-1]) if days else ()


def _levels(names: Iterable[str]) -> tuple[tuple[str, ...], list[int]]:
    """Different names in natural order, and the number of each; case and blanks tell none apart."""
    names = list(names)
    shown: dict[str, str] = {}
    for name in names:
        shown.setdefault(_key(name), show_name(name))
    keys = sorted(shown, key=_natural)
    place = {key: index for index, key in enumerate(keys)}
    return tuple(shown[key] for key in keys), [place[_key(name)] for name in names]


def show_name(name: str) -> str:
    """A name as it is printed: short, without control characters."""
    clean = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    return clean if len(clean) <= 40 else clean[:39] + "…"


def _key(name: str) -> str:
    text = " ".join(name.split()).casefold()
    return re.sub(r"^0+(?=[0-9])|(?<=[0-9])\.0+$", "", text) if re.fullmatch(r"[0-9.]+", text) else text


def _natural(key: str) -> list[tuple[int, float, str]]:
    return [
        (0, float(piece), "") if re.fullmatch(r"[0-9]{1,15}", piece) else (1, 0.0, piece)
        for piece in re.split(r"([0-9]+)", key)
        if piece
    ]
