"""The page's words, in one place per language: `words/en.toml` and the same keys in every other language.

A text is named by its table and key, `joint.take_photo`, and holds its values by name in braces. What people
write themselves (names, notes) is never a text: it goes in as a value.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

__all__ = ["DEFAULT_LANGUAGE", "LANGUAGES", "Texts", "texts_of"]

DEFAULT_LANGUAGE = "en"
LANGUAGES = {"en": "English", "es": "Español"}
"""Language, as HTML's `lang` names it, to its name in itself."""


@dataclass(frozen=True, kw_only=True)
class Texts:
    """All texts of one language."""

    language: str
    by_key: Mapping[str, str]

    def __call__(self, key: str, **values: object) -> str:
        """The text with its values; KeyError where there is no such key, which is a fault of the program."""
        return self.by_key[key].format_map(values)

    def known(self, key: str, otherwise: str) -> str:
        """The text where there is one for a word that data brings, else the word itself."""
        return self.by_key.get(key, otherwise)

    def has(self, key: str) -> bool:
        """Whether there is such a text."""
        return key in self.by_key

    def table(self, name: str) -> dict[str, str]:
        """All texts of one table by their keys inside it: what the page's scripts are given."""
        head = f"{name}."
        return {key.removeprefix(head): text for key, text in self.by_key.items() if key.startswith(head)}


@cache
def texts_of(language: str) -> Texts:
    """The texts of a language; of the default one where it is not known."""
    chosen = language if language in LANGUAGES else DEFAULT_LANGUAGE
    content = files("fitup.phone").joinpath("words", f"{chosen}.toml").read_text(encoding="utf-8")
    return Texts(language=chosen, by_key=dict(_flat(tomllib.loads(content), "")))


def _flat(table: Mapping[str, object], head: str) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{head}{key}.")
        else:
            yield f"{head}{key}", str(value)
