"""What a report is made of, however it is written: sheets of sections of blocks, and files to go with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

__all__ = [
    "Area",
    "Attachment",
    "Badge",
    "Block",
    "Cell",
    "Chart",
    "Facts",
    "Lines",
    "Picture",
    "Report",
    "Section",
    "Sheet",
    "Stroke",
    "Table",
    "Verdict",
    "Words",
]

Places: TypeAlias = tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Badge:
    """A state, or a verdict, told by its word, its symbol, its line pattern and its colour."""

    kind: Literal["state", "verdict"]
    word: str


Cell: TypeAlias = str | Badge


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """The verdict, what to do, and the few numbers that it rests on; `careful` is told at once below."""

    word: str
    sentence: str
    advice: str
    figures: tuple[tuple[str, str], ...]
    careful: tuple[str, ...] = ()
    care: str = ""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Rows of a label and what belongs to it."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows under heads; `widths` are shares of the page's width, columns in `right` are numbers."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    widths: tuple[float, ...]
    right: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Sentences, one below the other."""

    texts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """A JPEG in grey or sRGB, and what it shows."""

    content: bytes
    width_px: int
    height_px: int
    caption: str


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A line through places; `dash` in mm, empty for an unbroken one."""

    places: Places
    width_mm: float
    colour: str
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Area:
    """A filled outline."""

    places: Places
    colour: str


@dataclass(frozen=True, kw_only=True)
class Words:
    """A few words; `x` is where `anchor` says, `y` the foot of the letters."""

    x: float
    y: float
    text: str
    size_mm: float
    colour: str
    anchor: Literal["left", "centre", "right"] = "left"
    bold: bool = False


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A drawing, in mm from its upper left corner, y down; painted in the order of `marks`."""

    width_mm: float
    height_mm: float
    marks: tuple[Stroke | Area | Words, ...]
    caption: str
    legend: tuple[tuple[str, str], ...] = ()
    """Pattern and word of what occurs: `band`, `limit`, `earlier`, or a state."""


Block: TypeAlias = Verdict | Facts | Table | Lines | Picture | Chart


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """A few blocks under a title; without a title they belong to the head of the sheet."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """One joint, or the part as a whole; begins on a page of its own."""

    title: str
    beside: str
    """What stands small at the head of every page of it."""
    sections: tuple[Section, ...]


@dataclass(frozen=True, kw_only=True)
class Attachment:
    """A file inside the report; `relation` as ISO 19005-3 names it (AFRelationship)."""

    name: str
    content: bytes
    mime: Literal["application/json", "text/csv"]
    relation: Literal["Source", "Data"]
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Report:
    """All of a report; `filed_at` is when the youngest thing in it was filed."""

    title: str
    filed_at: datetime
    sheets: tuple[Sheet, ...]
    attachments: Sequence[Attachment]
