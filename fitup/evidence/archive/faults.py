"""What verifying an archive finds, in words that name the thing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Fault", "FaultWord", "Verified"]

FaultWord = Literal[
    "altered", "missing", "swapped", "truncated", "extra", "out of order", "foreign", "removed", "rewritten",
    "damaged", "not signed",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that is not as it was added: what, and where."""

    word: FaultWord
    where: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Verified:
    """An archive, read as a whole."""

    entries: int
    files: int
    byte_count: int
    head: str | None
    faults: tuple[Fault, ...]
    leftovers: int
    """Files of adds that were cut off: whole or unfinished, and in no entry."""
    stated: tuple[str, ...] = ()
    """What every statement that holds says, in a sentence."""

    @property
    def sound(self) -> bool:
        """Whether everything is as it was added."""
        return not self.faults
