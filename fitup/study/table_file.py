"""A table that a person typed or exported: header and rows of a CSV, whatever the spreadsheet made of it.

Separator comma, semicolon or tab; numbers with decimal point or comma, one way in a file. What can be read
in two ways is refused: a study would take it for a reading.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fitup.errors import UsageError
from fitup.verdict.lengths import show_text

__all__ = ["TableFile", "read_table"]

_LARGEST_BYTES = 20_000_000
_MOST_ROWS = 200_000
_LARGEST_NUMBER = 1e6
_SEPARATORS = (";", "\t", ",")
_NUMBER = re.compile(r"[+\-−]?([0-9]{1,12}([.,][0-9]{0,20})?|[.,][0-9]{1,20})([eE][+\-]?[0-9]{1,2})?")


@dataclass(frozen=True, kw_only=True, eq=False)
class TableFile:
    """Rows of text under heads; `lines` are the lines of the file, for messages."""

    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    content: bytes

    def column(self, wanted: Sequence[str]) -> tuple[str, ...]:
        """A column under one of several names; UsageError naming them where there is none, or two."""
        found = self.find(wanted)
        if found is None:
            raise UsageError(
                f"{self.name} has no column {wanted[0]!r}: name one of its columns so (it has "
                f"{', '.join(show_text(head) for head in self.heads[:12])})."
            )
        return found

    def find(self, wanted: Sequence[str]) -> tuple[str, ...] | None:
        """The same, None where there is none."""
        places = [index for index, head in enumerate(self.heads) if head in wanted]
        if len(places) > 1:
            names = " and ".join(repr(self.heads[index]) for index in places[:2])
            raise UsageError(f"{self.name} has columns {names}, which mean the same: leave one out.")
        return tuple(row[places[0]] for row in self.rows) if places else None

    def numbers(self, wanted: Sequence[str]) -> tuple[float, ...]:
        """A column of finite numbers; UsageError with the line of the first that is none."""
        texts = self.column(wanted)
        if any("," in text for text in texts) and any("." in text for text in texts):
            raise UsageError(
                f"{self.name} writes some numbers of {wanted[0]!r} with a decimal comma and some with a "
                "point: write all of them one way."
            )
        return tuple(self._number(text, line) for text, line in zip(texts, self.lines, strict=True))

    def _number(self, text: str, line: int) -> float:
        value = math.nan
        if _NUMBER.fullmatch(text.strip()):
            value = float(text.strip().replace(",", ".").replace("−", "-"))
        if not abs(value) <= _LARGEST_NUMBER:
            what = show_text(text) if text.strip() else "empty"
            raise UsageError(
                f"{self.name}, line {line}: the reading is {what}: write a plain number such as "
                "0.45, and leave out lines without a reading."
            )
        return value


def read_table(path: str | os.PathLike[str], *, least_rows: int = 1) -> TableFile:
    """Read a CSV with a header; heads are lower case without blanks at their ends.

    Lines that are empty or begin with # are left out.

    Raises
    ------
    UsageError
        For a file that cannot be read, is too large, is no text, or whose rows do not fit the header.
    """
    source = Path(path)
    name = show_text(source.name or str(source))
    content = _content(source, name)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UsageError(f"{name} is no UTF-8 text: save it as CSV in UTF-8.") from None
    if "\0" in text:
        raise UsageError(f"{name} is no UTF-8 text: save it as CSV in UTF-8.")
    numbered = _rows(name, text)
    if not numbered:
        raise UsageError(f"{name} is empty: it needs a header and one reading a line.")
    heads = tuple(head.strip().lower().replace(" ", "_") for head in numbered[0][1])
    body = numbered[1:]
    if len(body) < least_rows:
        raise UsageError(f"{name} has {len(body)} readings, and {least_rows} are needed at least.")
    for line, row in body:
        if len(row) != len(heads):
            raise UsageError(
                f"{name}, line {line}: {len(row)} fields under {len(heads)} heads; where numbers have a "
                "decimal comma, part the fields with semicolons."
            )
    return TableFile(
        name=name,
        heads=heads,
        rows=tuple(tuple(field.strip() for field in row) for _, row in body),
        lines=tuple(line for line, _ in body),
        content=content,
    )


def _content(source: Path, name: str) -> bytes:
    try:
        with source.open("rb") as file:
            content = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise UsageError(f"{name} cannot be read: {reason}; name the right file.") from None
    if len(content) > _LARGEST_BYTES:
        raise UsageError(
            f"{name} is over {_LARGEST_BYTES // 1_000_000} MB: a study has some hundred "
            "readings; name the right file."
        )
    return content


def _rows(name: str, text: str) -> list[tuple[int, list[str]]]:
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(lines) > _MOST_ROWS:
        raise UsageError(f"{name} has over {_MOST_ROWS} lines: a study has some hundred; name the right one.")
    if not lines:
        return []
    head = lines[0][1]
    separator = max(_SEPARATORS, key=head.count)
    reader = csv.reader(io.StringIO("\n".join(line for _, line in lines)), delimiter=separator, strict=True)
    try:
        rows = list(reader)
    except csv.Error as error:
        raise UsageError(f"{name} is no CSV ({error}): save the table as CSV.") from None
    if len(rows) != len(lines):
        raise UsageError(f"{name} has a field with a line break in it: write every reading on one line.")
    return [(number, row) for (number, _), row in zip(lines, rows, strict=True)]
