"""Letters that cannot be shown: told by a box in the text and by their code points in a note, never left out.

What a record holds stays as it was written; only the report's own text is changed.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Set
from dataclasses import replace
from itertools import groupby

from fitup.evidence.report.model import (
    Badge,
    Block,
    Facts,
    Lines,
    Picture,
    Report,
    Section,
    Table,
    Verdict,
    Words,
)

__all__ = ["BOX", "Letters", "shown_report"]

BOX = "□"
"""What stands for a letter that cannot be shown."""

_MOST_LETTERS = 500
_MOST_NAMED = 60
_MOST_NOTES = 200
_JOINERS = "\u200c\u200d"  # Persian and Indic scripts spell with them
# What changes the order or the look of its neighbours, what is private, unassigned, or no text at all.
_HIDDEN = frozenset({"Cf", "Cc", "Cs", "Co", "Cn", "Zl", "Zp"})


class Letters:
    """Turns texts into what can be shown, and keeps a note of all letters that were replaced.

    `known` are the code points that the fonts hold; without it everything that is a letter can be shown, as
    in a browser, which finds fonts by itself.
    """

    def __init__(self, known: Set[int] | None = None) -> None:
        self._known = known
        self._runs: dict[str, int] = {}

    def shown(self, text: str) -> str:
        """The text on one line, composed (NFC), of bearable length, letters that cannot be shown as boxes.

        A row of boxes is followed by the number of its note, the same wherever the same letters are missing.
        """
        line = unicodedata.normalize("NFC", " ".join(text.split()))
        if len(line) > _MOST_LETTERS:
            line = f"{line[:_MOST_LETTERS]}… ({len(line)} characters, whole in the record)"
        parts = []
        for can_show, letters in groupby(line, self._can_show):
            part = "".join(letters)
            parts.append(part if can_show else f"{BOX * len(part)}[{self._number(part)}]")
        return "".join(parts)

    @property
    def notes(self) -> tuple[str, ...]:
        """One line for every row of letters that was replaced, with their code points in order."""
        notes = [f"[{number}] {_points(run)}" for run, number in self._runs.items()]
        more = len(notes) - _MOST_NOTES
        return (*notes[:_MOST_NOTES], f"and {more} more") if more > 0 else tuple(notes)

    def _number(self, run: str) -> int:
        return self._runs.setdefault(run, len(self._runs) + 1)

    def _can_show(self, letter: str) -> bool:
        if unicodedata.category(letter) in _HIDDEN and letter not in _JOINERS:
            return False
        return self._known is None or ord(letter) in self._known


def _points(run: str) -> str:
    named = " ".join(f"U+{ord(letter):04X}" for letter in run[:_MOST_NAMED])
    more = len(run) - _MOST_NAMED
    return f"{named} and {more} more" if more > 0 else named


def shown_report(report: Report, letters: Letters, intro: str) -> Report:
    """The report with every text as it can be shown, and with a section that names what could not be.

    `intro` says why letters are missing. Without missing letters there is no such section.
    """
    sheets = [
        replace(
            sheet,
            title=letters.shown(sheet.title),
            beside=letters.shown(sheet.beside),
            sections=tuple(_section(section, letters.shown) for section in sheet.sections),
        )
        for sheet in report.sheets
    ]
    notes = letters.notes
    if notes:
        last = sheets[-1]
        told = Section(title="Letters shown as □", blocks=(Lines(texts=(intro, *notes)),))
        sheets[-1] = replace(last, sections=(*last.sections, told))
    return replace(report, title=letters.shown(report.title), sheets=tuple(sheets))


def _section(section: Section, shown: Callable[[str], str]) -> Section:
    return Section(title=shown(section.title), blocks=tuple(_block(block, shown) for block in section.blocks))


def _block(block: Block, shown: Callable[[str], str]) -> Block:
    if isinstance(block, Verdict):
        return replace(
            block,
            sentence=shown(block.sentence),
            advice=shown(block.advice),
            figures=_pairs(block.figures, shown),
            careful=tuple(map(shown, block.careful)),
            care=shown(block.care),
        )
    if isinstance(block, Facts):
        return replace(block, rows=_pairs(block.rows, shown))
    if isinstance(block, Table):
        rows = tuple(
            tuple(cell if isinstance(cell, Badge) else shown(cell) for cell in row) for row in block.rows
        )
        return replace(block, heads=tuple(map(shown, block.heads)), rows=rows)
    if isinstance(block, Lines):
        return replace(block, texts=tuple(map(shown, block.texts)))
    if isinstance(block, Picture):
        return replace(block, caption=shown(block.caption))
    marks = tuple(
        replace(mark, text=shown(mark.text)) if isinstance(mark, Words) else mark for mark in block.marks
    )
    return replace(block, marks=marks, caption=shown(block.caption))


def _pairs(rows: tuple[tuple[str, str], ...], shown: Callable[[str], str]) -> tuple[tuple[str, str], ...]:
    return tuple((shown(label), shown(text)) for label, text in rows)
