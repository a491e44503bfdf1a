"""One table of a TOML file that a person wrote: values of the kind wanted, or an error with its line."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from fitup.errors import UsageError
from fitup.toml_lines import TomlFile, TomlPlace, nearest
from fitup.verdict.lengths import show_text

__all__ = ["RulesTable"]

T = TypeVar("T")
_LONGEST_TEXT = 200
_HUGE = 1e300


@dataclass(frozen=True, kw_only=True, eq=False)
class RulesTable:
    """A table at a place of the file; a table that is not there has no values.

    Raises UsageError for a key that is not among the `known` ones.
    """

    file: TomlFile
    place: TomlPlace
    values: dict[str, Any]
    known: tuple[str, ...]

    def __post_init__(self) -> None:
        for key in self.values:
            if key not in self.known:
                raise self.fault(key, f"{self._named(key)} is not known: {_instead(key, self.known)}.")

    def inner(self, key: str, known: Sequence[str]) -> RulesTable:
        """The table under a key."""
        values = self.values.get(key, {})
        if not isinstance(values, dict):
            raise self.fault(
                key, f"{self._named(key)} must be a table: write [{self._path(key)}] above its entries."
            )
        return RulesTable(file=self.file, place=(*self.place, key), values=values, known=tuple(known))

    def several(self, key: str, known: Sequence[str]) -> tuple[RulesTable, ...]:
        """The tables under a key that may stand there any number of times."""
        found = self.values.get(key, [])
        if not (isinstance(found, list) and all(isinstance(each, dict) for each in found)):
            raise self.fault(key, f"write [[{key}]] above each of them, with two brackets.")
        return tuple(
            RulesTable(file=self.file, place=(*self.place, key, number), values=each, known=tuple(known))
            for number, each in enumerate(found)
        )

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self.values.get(key, default)
        if not isinstance(value, bool):
            raise self.fault(key, f"{self._named(key)} must be true or false.")
        return value

    def number(self, key: str, default: float, check: Callable[[float], object] | None = None) -> float:
        """A number; `check` raises UsageError for one out of its range."""
        value = self.values.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:  # NaN
            raise self.fault(key, f"{self._named(key)} must be a number such as {default:g}, without quotes.")
        number = float(min(max(value, -_HUGE), _HUGE))  # whole numbers may be larger than any float
        if check is not None:
            self.read(key, lambda: check(number))
        return number

    def text(self, key: str, default: str) -> str:
        """Words on one line."""
        value = self.values.get(key, default)
        if not isinstance(value, str) or not value.strip():
            raise self.fault(key, f"{self._named(key)} must be text in double quotes.")
        if len(value) > _LONGEST_TEXT or not value.isprintable():
            raise self.fault(
                key, f"{self._named(key)} must be one line of at most {_LONGEST_TEXT} characters."
            )
        return value.strip()

    def parsed(self, key: str, parse: Callable[[str], T], example: str) -> T | None:
        """Text read by `parse`; None where there is none."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.fault(
                key, f'{self._named(key)} must be written in double quotes with its unit: "{example}".'
            )
        return self.read(key, lambda: parse(value))

    def each(self, key: str, parse: Callable[[str], T], example: str) -> tuple[T, ...]:
        """A list of texts, each read by `parse`."""
        values = self.values.get(key, [])
        if not isinstance(values, list):
            raise self.fault(key, f'{self._named(key)} must be a list: ["{example}"].')
        return tuple(self._item(key, number, value, parse, example) for number, value in enumerate(values))

    def read(self, key: str, make: Callable[[], T]) -> T:
        """What `make` gives; its UsageError with the file and the line of `key`."""
        try:
            return make()
        except UsageError as error:
            raise self.fault(key, str(error)) from None

    def fault(self, key: str | int, what: str) -> UsageError:
        """The error with file and line."""
        return self.file.fault((*self.place, key), what)

    def _item(self, key: str, number: int, value: Any, parse: Callable[[str], T], example: str) -> T:
        if not isinstance(value, str):
            raise self.file.fault(
                (*self.place, key, number),
                f'items of {self._named(key)} must be in double quotes, such as "{example}".',
            )
        try:
            return parse(value)
        except UsageError as error:
            raise self.file.fault((*self.place, key, number), str(error)) from None

    def _named(self, key: str) -> str:
        shown = key if key.isprintable() and len(key) <= 40 else show_text(key)
        return f"{shown} in [{self._path()}]" if self.place else shown

    def _path(self, *key: str) -> str:
        """Names of the tables that lead here, as TOML writes them."""
        return ".".join([part for part in self.place if isinstance(part, str)] + list(key))


def _instead(key: str, known: Iterable[str]) -> str:
    like = nearest(key, known)
    return f"did you mean {like}" if like else f"known are {', '.join(known)}"
