"""What a person sees of an archive measured again: what would change, and how much is the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitup.cli.screen import Screen

if TYPE_CHECKING:
    from fitup.changes import Change
    from fitup.remeasuring import Remeasured

__all__ = ["RemeasuredScreen"]

_MOST = 40
_MEANINGS = {
    "same": "every number is the same, to the last bit",
    "close": "the same verdict, limit and spots; no gap moved by more than its uncertainty (k = 2)",
    "changed": "verdict, limit, spots or gaps would change",
    "retake": "cannot be measured any more; was measured then",
    "error": "could not be measured again",
    "no photo": "archived without photo",
}


class RemeasuredScreen(Screen):
    """Shows on stdout what measuring again would change."""

    def show_remeasured(
        self, measured: Sequence[Remeasured], summary: Mapping[str, Any], written: Path | None
    ) -> None:
        """What would change, then all together."""
        from fitup.remeasured import ALARMING

        if not measured:
            self.tell("result", "no entry that was measured fits")
        shown = [one for one in measured if one.again.result in ALARMING]
        for one in shown[:_MOST]:
            self.tell(f"entry {one.stored.entry.number}", _in_words(one))
        if len(shown) > _MOST:
            self.tell("", f"and {len(shown) - _MOST} more; --json and --out give all")
        for word, count in summary["results"].items():
            self.tell(word, f"{count}: {_MEANINGS[word]}")
        if len(summary["programs"]) > 1:
            self.tell("workers", "they run different versions of libraries; --json tells which measured what")
        if written is not None:
            self.tell("written to", str(written))
        if measured:
            self._paragraph("result", _result(len(shown), summary["entries"]), style="bold")


def _result(alarming: int, entries: int) -> str:
    if not alarming:
        return f"nothing would change in {entries} {'entry' if entries == 1 else 'entries'}"
    return f"{alarming} of {entries} would change or cannot be measured; the archive was not touched"


def _in_words(one: Remeasured) -> str:
    about, again = one.stored.entry.about, one.again
    named = [text for text in (about.job, about.joint, about.serial) if text]
    said = again.sentence if again.change is None else _change_in_words(again.change)
    return f"{' '.join(named)} {again.result}: {said}".strip()


def _change_in_words(change: Change) -> str:
    parts = []
    if change.verdict_then != change.verdict_now:
        parts.append(f"verdict {change.verdict_then}, now {change.verdict_now}")
    if change.limit_then_mm != change.limit_now_mm:
        parts.append(f"limit {change.limit_then_mm:.2f} mm, now {change.limit_now_mm:.2f} mm")
    for word, spots in (("gone", change.spots_gone), ("new", change.spots_new)):
        if spots:
            parts.append(f"{word}: {', '.join(spots)}")
    if change.beyond:
        parts.append(
            f"{change.beyond} of {change.compared} gaps moved by more than their uncertainty (k = 2)"
        )
    if change.largest_change_mm:
        parts.append(f"most {change.largest_change_mm:.2g} mm at {change.largest_at_mm:.0f} mm")
    return "; ".join(parts)
