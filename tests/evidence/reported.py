"""Folders of results for the tests of reports: made up, altered at will."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from fitup.evidence.report.model import Badge, Facts, Lines, Report, Table, Verdict
from fitup.evidence.saving import save_inspection
from tests.evidence.builders import NOON, make_filing, make_inspection

__all__ = ["altered", "made_up", "texts"]


def made_up(out: Path, *, name: str = "bench_03.png", minutes: int = 0, **filed: str) -> Path:
    """A folder of results with every state and kind of spot, filed some minutes after noon."""
    later = NOON + timedelta(minutes=minutes)
    filing = replace(make_filing(), clock=lambda: later, **filed)
    return save_inspection(make_inspection(name=name), out, filing=filing).folder


def altered(folder: Path, to: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    """A copy of a folder whose record was changed."""
    shutil.copytree(folder, to)
    record = json.loads((to / "record.json").read_text(encoding="utf-8"))
    change(record)
    (to / "record.json").write_text(json.dumps(record, ensure_ascii=False), encoding="utf-8")
    return to


def texts(report: Report) -> Iterator[str]:
    """All that a report says in words."""
    for sheet in report.sheets:
        yield from (sheet.title, sheet.beside)
        for section in sheet.sections:
            yield section.title
            for block in section.blocks:
                if isinstance(block, Verdict):
                    yield from (block.word, block.sentence, block.advice, *block.careful, block.care)
                    yield from (text for pair in block.figures for text in pair)
                elif isinstance(block, Facts):
                    yield from (text for pair in block.rows for text in pair)
                elif isinstance(block, Table):
                    yield from block.heads
                    for row in block.rows:
                        yield from (cell.word if isinstance(cell, Badge) else cell for cell in row)
                elif isinstance(block, Lines):
                    yield from block.texts
