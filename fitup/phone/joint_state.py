"""What the archive knows of one joint of a job: the result in force, and what was said of it since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fitup.evidence.archive.afterwards import corrected
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.entry import MEASURED_KINDS, About
from fitup.evidence.archive.finding import Query
from fitup.job import joint_key

__all__ = ["JointResult", "is_void", "joint_results", "later_of"]

_MOST = 60


@dataclass(frozen=True, kw_only=True, eq=False)
class JointResult:
    """A measured entry, what it is about as corrected, and the entries added to it since."""

    stored: Stored
    about: About
    later: Sequence[Stored]

    @property
    def number(self) -> int:
        """The entry's number."""
        return self.stored.entry.number

    @property
    def verdict(self) -> str:
        """The verdict's word: that after the last settlement, else the photo's."""
        settled = [one.entry.about.verdict for one in self.later if one.entry.kind == "settlement"]
        return settled[-1] if settled else self.stored.entry.about.verdict

    @property
    def outcome(self) -> str:
        """The last word on the weld made since, "" where there is none."""
        words = [one.entry.outcome.word for one in self.later if one.entry.outcome is not None]
        return words[-1] if words else ""

    def summary(self) -> dict[str, Any]:
        """The result in few words, for a list."""
        entry = self.stored.entry
        gap = entry.about.largest_gap_um
        return {
            "entry": entry.number,
            "kind": entry.kind,
            "verdict": self.verdict,
            "when": entry.added_at_utc,
            "who": self.about.who,
            "sentence": entry.about.sentence,
            "outcome": self.outcome or None,
            "largest_gap_mm": None if gap is None else gap / 1000,
        }


def joint_results(archive: Archive, job: str, joint: str, most: int = _MOST) -> list[JointResult]:
    """Results filed for a joint, the newest first; void ones, and those of another joint, left out.

    A result that was filed wrongly at first is found by its correction.
    """
    found: dict[int, JointResult] = {}
    for one in archive.search(Query(job=job, joint=joint), most):
        entry = one.entry
        if entry.kind == "correction":
            one = archive.entry(entry.refers_to[0].number)
        if one.entry.kind not in MEASURED_KINDS or one.entry.number in found:
            continue
        result = later_of(archive, one)
        if not is_void(result.later) and _is_of(result.about, job, joint):
            found[one.entry.number] = result
    return [found[number] for number in sorted(found, reverse=True)]


def later_of(archive: Archive, stored: Stored) -> JointResult:
    """A measured entry with what was added to it since."""
    later = archive.later(stored.entry.number)
    return JointResult(stored=stored, about=corrected(stored.entry.about, later), later=later)


def is_void(later: Sequence[Stored]) -> bool:
    """Whether a correction says that the entry is not to be relied on at all."""
    return any(one.entry.correction is not None and one.entry.correction.void for one in later)


def _is_of(about: About, job: str, joint: str) -> bool:
    return joint_key(about.job) == joint_key(job) and joint_key(about.joint) == joint_key(joint)
