"""What a person sees of an archive: lists, entries, what verifying found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.cli.boundary import one_line
from fitup.cli.screen import Screen, print_line

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Stored
    from fitup.evidence.archive.entry import About, Entry
    from fitup.evidence.archive.faults import Verified

__all__ = ["ArchiveScreen"]

_COLUMNS = (("entry", 6), ("day", 10), ("job", 9), ("joint", 8), ("what", 10), ("result", 15))
_MOST_FAULTS = 40


class ArchiveScreen(Screen):
    """Shows what is in an archive on stdout, in the looks of records."""

    def show_list(self, found: Sequence[Stored], marks: Mapping[int, str], *, more: bool) -> None:
        """Entries in a table, a line each."""
        if not found:
            self._line("no entry fits")
            return
        self._line(_row([name for name, _ in _COLUMNS], "since then"))
        for one in found:
            about = one.entry.about
            cells = [str(one.entry.number), about.day, about.job, about.joint, one.entry.kind]
            self._line(_row([*cells, _result(one.entry)], marks.get(one.entry.number, "")))
        if more:
            self._line("and more: --most shows them, `fitup archive search` finds some of them")

    def show_entry(
        self, stored: Stored, places: Sequence[str], later: Sequence[Stored], written: Path | None
    ) -> None:
        """All that the archive itself says of an entry."""
        entry, about = stored.entry, stored.entry.about
        self._heading(f"entry {entry.number} of the archive")
        self.tell("what", f"{entry.kind}, {_named(about)}")
        for reference in entry.refers_to:
            self.tell("of", f"entry {reference.number}")
        if entry.imported is not None:
            first = entry.imported
            self.tell("imported", f"was entry {first.number} of archive {first.archive}, {first.digest}")
        if about.sentence and entry.file("record") is None:
            self.tell(about.verdict, about.sentence)
        if entry.outcome is not None or entry.correction is not None:
            self.tell(entry.kind, _in_words(entry))
        elif entry.note:
            self.tell("note", entry.note)
        self.tell("added", f"{entry.added_at_utc} by {entry.program}")
        self.tell("digest", stored.digest)
        for file, place in zip(entry.files, places, strict=True):
            self.tell(file.role, file.name)
            self._line(f"              {place}")
        if written is not None:
            self.tell("written to", str(written))
        if later:
            self._heading("added to it since")
        for one in later:
            self.tell(f"entry {one.entry.number}", _in_words(one.entry))

    def show_verified(self, shown: str, verified: Verified, *, stated: bool) -> None:
        """What is wrong, each thing by name; or that everything is as it was added."""
        self.tell("archive", shown)
        read = f"{verified.entries} entries, {verified.files} files, {verified.byte_count / 1e6:.1f} MB read"
        self.tell("read", read)
        for fault in verified.faults[:_MOST_FAULTS]:
            self.tell(fault.word, f"{fault.where}: {fault.sentence}")
        if len(verified.faults) > _MOST_FAULTS:
            self.tell("", f"and {len(verified.faults) - _MOST_FAULTS} more; --json gives all")
        if verified.leftovers:
            self.tell("left over", _leftover_sentence(verified.leftovers))
        for sentence in verified.stated:
            self.tell("head", sentence)
        if verified.sound and not stated:
            self.tell("head", _UNSTATED)
        words = Counter(fault.word for fault in verified.faults)
        counted = ", ".join(f"{count} {word}" for word, count in words.items())
        sound = "everything is as it was added" if verified.entries else "there is no entry"
        result = sound if verified.sound else f"NOT as it was added: {counted}"
        self._paragraph("result", result, style="bold")

    def _line(self, text: str) -> None:
        print_line(self._plain(one_line_kept(text)))


_UNSTATED = (
    "not compared: that entries were taken from the end, or all was written anew, shows only against a "
    "statement kept elsewhere (`fitup archive head`, then --head)"
)


def one_line_kept(text: str) -> str:
    """Text without control characters, its spaces kept."""
    return "".join(c if c.isprintable() else " " for c in text)


def _leftover_sentence(count: int) -> str:
    files = "1 file is" if count == 1 else f"{count} files are"
    return (
        f"{files} in no entry: from adds that were cut off, or from entries that were taken away; a "
        "statement of the head tells which"
    )


def _row(cells: Sequence[str], last: str) -> str:
    shown = [_cut(one_line(cell), width) for cell, (_, width) in zip(cells, _COLUMNS, strict=True)]
    return " ".join([" " + shown[0].strip().rjust(5), *shown[1:], last]).rstrip()


def _cut(text: str, width: int) -> str:
    return (text if len(text) <= width else text[: width - 1] + "…").ljust(width)


def _result(entry: Entry) -> str:
    if entry.outcome is not None:
        return entry.outcome.word
    if entry.correction is not None:
        return "void" if entry.correction.void else "corrects"
    gap = entry.about.largest_gap_um
    return entry.about.verdict + ("" if gap is None else f" {gap / 1000:.2f}")


def _named(about: About) -> str:
    named = (("job", about.job), ("part", about.part), ("joint", about.joint), ("serial", about.serial))
    who = [f"by {about.who}"] if about.who else []
    return ", ".join([*(f"{word} {text}" for word, text in named if text), about.day, *who])


def _in_words(entry: Entry) -> str:
    about, outcome, correction = entry.about, entry.outcome, entry.correction
    if outcome is not None:
        colour = f"bead {outcome.bead_colour}" if outcome.bead_colour else ""
        inside = f"penetration seen from inside: {outcome.penetration}" if outcome.penetration else ""
        count = sum(file.role == "photo" for file in entry.files)
        photos = f"{count} photo{'s' if count > 1 else ''}" if count else ""
        parts = [f"{outcome.word} after welding", colour, inside, entry.note, photos, about.day, about.who]
        return "; ".join(part for part in parts if part)
    if correction is not None:
        right = [f"{name} is {getattr(about, name) or 'none'}" for name in correction.changed]
        void = ["not to be relied on"] if correction.void else []
        return "; ".join([*void, *right, entry.note, f"{about.day}, {correction.by}"])
    return f"{entry.kind}: {about.verdict}; {about.sentence} {about.day} {about.who}".rstrip()
