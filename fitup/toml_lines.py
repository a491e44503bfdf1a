"""A TOML file that a person wrote: its values, and the line that each of them stands in.

`tomllib` tells no lines. A file that it accepted is walked once more, only to find where every key and every
item stands, so that whatever is wrong with a value can be said with its line.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeAlias

from fitup.errors import UsageError

__all__ = ["TomlFile", "TomlPlace", "nearest", "read_toml"]

TomlPlace: TypeAlias = tuple[str | int, ...]
"""Keys, and numbers of items from 0, that lead to a value: ("joint", 2, "wire")."""

MOST_BYTES = 1_000_000
MOST_IN_LINE = 4000  # TOML's reader takes time by the square of a key's parts, and a key ends with its line
_AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|[A-Za-z0-9_-]+')
_DOT = re.compile(r"[ \t]*(\.?)[ \t]*")
_TEXT = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")|\'\'\'.*?\'{3,5}(?!\')|"(?:\\.|[^"\\])*"|\'[^\']*\'', re.DOTALL
)
_PLAIN = re.compile(r"[^,\]}#\r\n]*")


@dataclass(frozen=True, kw_only=True, eq=False)
class TomlFile:
    """Values of a TOML file, and where each stands."""

    path: Path
    values: dict[str, Any]
    sha256: str
    """Of the file's bytes."""
    lines: dict[TomlPlace, int]
    """Line, counted from 1, of every key, table and item."""

    def line_of(self, place: TomlPlace) -> int | None:
        """The line of a value, or of the nearest table around it that has one; None where there is none."""
        for length in range(len(place), 0, -1):
            if place[:length] in self.lines:
                return self.lines[place[:length]]
        return None

    def fault(self, place: TomlPlace, what: str) -> UsageError:
        """The error that says file, line and what is wrong; `what` is the rest of the sentence."""
        line = self.line_of(place)
        where = f"{_shown(self.path)}, line {line}" if line else _shown(self.path)
        return UsageError(f"{where}: {what}")


def read_toml(path: str | os.PathLike[str], what: str) -> TomlFile:
    """Read a TOML file; `what` says in errors what was expected, such as "joint list".

    Raises
    ------
    UsageError
        When it cannot be read, is empty, over 1 MB, not UTF-8, has a line over 4000 characters, or is no
        TOML; then with the line where that is known.
    """
    source = Path(path)
    data = _bytes_of(source, what)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UsageError(
            f"{_shown(source)}, line {line}: the {what} is not UTF-8 text: save it as UTF-8."
        ) from None
    for number, line_text in enumerate(text.split("\n"), 1):
        if len(line_text) > MOST_IN_LINE:
            raise UsageError(
                f"{_shown(source)}, line {number}: over {MOST_IN_LINE} characters in one line: break it up."
            )
    try:
        values = tomllib.loads(text)
        lines = _Walk(text.replace("\r\n", "\n")).lines
    except (ValueError, RecursionError) as error:
        raise _no_toml(source, what, error) from None
    if not values:
        raise UsageError(f"{_shown(source)}: the {what} is empty: write its entries into it.")
    return TomlFile(path=source, values=values, sha256=sha256(data).hexdigest(), lines=lines)


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word most like another one, or nothing where none is."""
    return next(iter(difflib.get_close_matches(word, list(known), n=1)), "")


def _shown(path: Path) -> str:
    """The file's name on one line, printable."""
    name = path.name or str(path)  # "." and "/" have no name
    return name if name.isprintable() else ascii(name)


def _bytes_of(source: Path, what: str) -> bytes:
    try:
        with source.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name is no file's name"
        raise UsageError(f"{_shown(source)}: the {what} cannot be read: {why.lower()}.") from None
    if len(data) > MOST_BYTES:
        raise UsageError(f"{_shown(source)}: the {what} is over 1 MB: name the right file.")
    return data


def _no_toml(source: Path, what: str, error: Exception) -> UsageError:
    """What TOML's reader says, with the line put in front."""
    said = str(error)
    at = _AT_LINE.search(said)
    where = f"{_shown(source)}, line {at[1]}" if at and at[1] else _shown(source)
    why = said[: at.start()] if at else ""
    why = (why[:1].lower() + why[1:]).replace("\n", " ") or "it cannot be understood"
    return UsageError(
        f"{where}: the {what} is no sound TOML ({why[:120]}): every entry is written key = value, text in "
        "double quotes."
    )


@dataclass
class _Walk:
    """Walks over sound TOML and notes the line of everything."""

    text: str
    lines: dict[TomlPlace, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._starts = [0, *(match.end() for match in re.finditer("\n", self.text))]
        self._last_item: dict[TomlPlace, int] = {}
        self._at = 0
        table: TomlPlace = ()
        self._skip(_BLANK)
        while self._at < len(self.text):
            if self._here("["):
                table = self._header()
            else:
                self._entry(table)
            self._skip(_BLANK)

    def _header(self) -> TomlPlace:
        """`[a.b]` or `[[a.b]]`."""
        of_items = self._here("[[")
        start, self._at = self._at, self._at + 1 + of_items
        place = self._resolved(self._key(), of_items)
        self._note(place, start)
        self._at += 1 + of_items
        return place

    def _resolved(self, key: list[str], new_item: bool) -> TomlPlace:
        """The place that a header means: where a name stands for many tables, the last one so far."""
        place: TomlPlace = ()
        for depth, name in enumerate(key):
            place += (name,)
            if new_item and depth == len(key) - 1:
                self._last_item[place] = self._last_item.get(place, -1) + 1
            if place in self._last_item:
                place += (self._last_item[place],)
        return place

    def _entry(self, table: TomlPlace) -> None:
        """`a.b = value`."""
        start = self._at
        key = self._key()
        for depth in range(len(key)):
            self._note((*table, *key[: depth + 1]), start)
        self._at += 1
        self._skip(_BLANK)
        self._value((*table, *key))

    def _key(self) -> list[str]:
        """A dotted key; stops before what follows it."""
        names: list[str] = []
        more = "."
        while more:
            self._skip(_BLANK)
            name = self._skip(_KEY)[0]
            names.append(tomllib.loads(f"k={name}")["k"] if name[0] in "\"'" else name)
            more = self._skip(_DOT)[1]
        return names

    def _value(self, place: TomlPlace) -> None:
        if self._here("["):
            self._several("]", place, items=True)
        elif self._here("{"):
            self._several("}", place, items=False)
        elif self._here('"') or self._here("'"):
            self._skip(_TEXT)
        else:
            self._skip(_PLAIN)

    def _several(self, end: str, place: TomlPlace, *, items: bool) -> None:
        """The items of an array or the entries of an inline table."""
        number = 0
        self._at += 1
        self._skip(_BLANK)
        while not self._here(end):
            if items:
                self._note((*place, number), self._at)
                self._value((*place, number))
            else:
                self._entry(place)
            number += 1
            self._skip(_BLANK)
            self._at += self._here(",")
            self._skip(_BLANK)
        self._at += 1

    def _here(self, words: str) -> bool:
        return self.text.startswith(words, self._at)

    def _skip(self, pattern: re.Pattern[str]) -> re.Match[str]:
        match = pattern.match(self.text, self._at)
        assert match is not None
        self._at = match.end()
        return match

    def _note(self, place: TomlPlace, at: int) -> None:
        self.lines.setdefault(place, bisect_right(self._starts, at))
