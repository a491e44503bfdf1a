"""What a person sees in the terminal. The only file beside `progress.py` that imports rich.

Everything is said by words and signs as well as by colour, fits 80 columns, and falls back to ASCII
where the terminal's encoding has nothing more.
"""

from __future__ import annotations

import math
import os
import re
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TypeAlias

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fitup.cli.boundary import PipeClosedError, one_line
from fitup.cli.list_words import list_sentence, short_name
from fitup.cli.progress import ProgressBar
from fitup.cli.quality_lines import quality_lines, told_by_quality
from fitup.cli.sketch import SketchInput, profile_sketch
from fitup.cli.strip_words import how_well_placed, on_strips
from fitup.evidence.kind_words import kind_in_words, lands_in_words, step_in_words, steps_in_words
from fitup.evidence.palette import SHORT_LAND, SPOT_LOOKS, STATE_LOOKS, VERDICT_LOOKS
from fitup.evidence.words import from_to, millimetres

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.evidence.record import BudgetLine, SpotEntry
    from fitup.evidence.seam_record import SeamRecord
    from fitup.evidence.shape_entry import ShapeEntry
    from fitup.evidence.sides_record import SidesRecord

    Judged: TypeAlias = InspectionRecord | SeamRecord | SidesRecord

__all__ = ["ProgressBar", "Screen", "print_line"]

# For marks on black or white ground alike: black becomes the terminal's own text colour, blue and purple are
# paler than on paper. Words are never written in these, but on a ground of their own or in the text colour.
_STATE_STYLES = {
    "within": "default",
    "doubtful": "bold #3a8fd0",
    "over": f"bold {STATE_LOOKS['over'].colour}",
    "unseen": "dim",
    SHORT_LAND: "bold #b8679a",
    "limit": f"{STATE_LOOKS['over'].colour}",
    "axis": "dim",
    "": "default",
}
_ASCII = str.maketrans(
    {
        "°": " deg",
        "±": "+/-",
        "×": "x",
        "–": "-",
        "−": "-",
        "π": "pi",
        "—": "-",
        "·": "-",
        "²": "2",
        "³": "3",
        "…": "...",
        "µ": "u",
        "→": "->",
    }
)
_UNIT = re.compile(r"(?<=[0-9]) (?=(?:%|mm)(?![a-z]))")
_MOST_COLUMNS = 100
_MOST_SPOTS = 12
_WORST_FIRST = ("over", "doubtful", SHORT_LAND, "unseen")


class _PipeAwareConsole(Console):
    """A console that leaves a closed pipe to the command line's boundary."""

    def on_broken_pipe(self) -> NoReturn:
        raise PipeClosedError


class Screen:
    """Shows records on stdout."""

    def __init__(self, columns: int | None = None) -> None:
        probe = _PipeAwareConsole()
        width = columns or min(probe.width, _MOST_COLUMNS)
        self._console = _PipeAwareConsole(width=width, highlight=False, emoji=False, markup=False)
        self._ascii = not self._console.encoding.lower().startswith("utf")

    def show(self, record: InspectionRecord, folder: Path | None = None, *, full: bool = False) -> None:
        """One inspection; `full` tells all that was measured of the photo's quality."""
        self._verdict(record.verdict.word, record.photo.name)
        lens = record.scale.lens
        lens_sentence = "" if lens is None else f" {lens.sentence}"
        self._facts(record, record.scale.print_check_sentence + lens_sentence)
        self._shape(record.shape)
        self._sketch(record)
        self._spots(record)
        self._uncertainty(record)
        asked = record.request.seen_rule.least_seen_share
        seen_enough = record.verdict.word != "retake" and record.verdict.seen_share >= asked
        for word, text in quality_lines(record.quality, seen_enough=seen_enough, full=full):
            self._paragraph(word, text)
        shape_notes = () if record.shape is None else record.shape.notes
        for note_text in (*record.photo.notes, *record.profile.notes, *shape_notes):
            if not told_by_quality(note_text, record.quality):
                self._paragraph("note", note_text)
        self._end(record, folder)

    def show_seam(self, record: SeamRecord, folder: Path | None = None) -> None:
        """One joint of several photos in full."""
        photos = record.photos
        self._verdict(
            record.verdict.word, f"{len(photos)} photos" if len(photos) > 1 else photos[0].photo.name
        )
        self._facts(record, record.print_check_sentence)
        self._sketch(record)
        self._spots(record, [on_strips(record, spot) for spot in record.verdict.spots])
        self._photos(record)
        self._uncertainty(record)
        for note_text in (*record.notes, *record.profile.notes):
            self._paragraph("note", note_text)
        self._end(record, folder)

    def show_sides(self, record: SidesRecord, folder: Path | None = None) -> None:
        """One joint in two photos, one from either side, in full."""
        self._verdict(record.verdict.word, " and ".join(one.photo.name for one in record.photos))
        self._facts(record, record.print_check_sentence)
        for one in record.photos:
            side = f"from {one.camera_side}, {abs(one.view_deg):.0f}° aside"
            self._paragraph("photo", f"{one.photo.name}: {side}")
        stations = record.profile.stations
        step = steps_in_words([at.step_mm for at in stations], [at.u_step_mm for at in stations])
        if step:
            self._paragraph("plates", f"{step}; + where the plate beyond the joint is the higher")
        self._sketch(record)
        self._spots(record)
        self._uncertainty(record)
        for note_text in (*record.notes, *record.profile.notes):
            self._paragraph("note", note_text)
        self._end(record, folder)

    def _end(self, record: Judged, folder: Path | None) -> None:
        told = record.verdict.information
        for words in () if told is None else told.sentences:
            self._paragraph("information", words)
        self._paragraph("care", record.cautions[0])
        if folder is not None:
            self._paragraph("files", str(folder) + os.sep)

    def show_any(self, record: Judged) -> None:
        """A record of one photo or of several."""
        from fitup.evidence.seam_record import SeamRecord
        from fitup.evidence.sides_record import SidesRecord

        if isinstance(record, SeamRecord):
            self.show_seam(record)
        elif isinstance(record, SidesRecord):
            self.show_sides(record)
        else:
            self.show(record, full=True)

    def show_short(self, record: InspectionRecord) -> None:
        """One inspection of many: a line for the verdict, and one for what to do."""
        verdict = record.verdict
        line = Text.assemble(self._badge(record), " ", self._plain(short_name(record)))
        self._print(line)
        self._print(Padding(Text(self._plain(f"largest gap {_gap(record)}; {verdict.advice}")), (0, 0, 0, 4)))

    def tell(self, word: str, text: str) -> None:
        """One paragraph under a word."""
        self._paragraph(word, text)

    def summary(self, counts: Sequence[tuple[str, int]], folder: str | None = None) -> None:
        """How many photos ended how, and where their results lie."""
        said = ", ".join(f"{count} {word}" for word, count in counts if count)
        self._print(Text(f"\n{sum(count for _, count in counts)} photos: {said}", style="bold"))
        if folder is not None:
            self._paragraph("files", folder)

    def _verdict(self, verdict: str, name: str) -> None:
        """The verdict as a bar over the whole width."""
        look = VERDICT_LOOKS[verdict]
        word = f"  {look.symbol}{look.symbol}  {look.word}"
        width = self._console.width
        name = self._plain(name)
        room = width - len(word) - 6
        name = name if len(name) <= room else "..." + name[-(room - 3) :]
        text = f"{word}{name:>{max(0, width - len(word) - 2)}}  "[:width]
        rule = ("=" if self._ascii else "━") * width
        plain_style = f"bold {look.colour}" if verdict != "within" else "bold"
        self._print(Text(rule, style=plain_style))
        self._print(Text(text, style=_on_colour(verdict)))
        self._print(Text(rule, style=plain_style))

    def _badge(self, record: InspectionRecord) -> Text:
        look = VERDICT_LOOKS[record.verdict.word]
        return Text(f" {look.symbol} {look.word:<10} ", style=_on_colour(record.verdict.word))

    def _facts(self, record: Judged, print_check_sentence: str) -> None:
        verdict, limit = record.verdict, record.limit
        self._paragraph("largest gap", _gap(record), style="bold")
        self._paragraph("limit", f"{limit.limit_mm:.2f} mm by {limit.sentence}")
        self._paragraph("what to do", verdict.advice)
        seen = f"{int(100 * verdict.seen_share + 1e-6)} % of {_length(record):.0f} mm"
        self._paragraph("seen", f"{seen}. {print_check_sentence}")
        if record.filing.joint_list is not None:
            self._paragraph("joint list", list_sentence(record.filing))

    def _shape(self, shape: ShapeEntry | None) -> None:
        """What kind of joint it is, and how its plates lie to each other."""
        if shape is None:
            return
        self._paragraph("joint", kind_in_words(shape))
        beside = "; ".join(words for words in (step_in_words(shape), lands_in_words(shape)) if words)
        if beside:
            self._paragraph("plates", beside)

    def _sketch(self, record: Judged) -> None:
        stations = record.profile.stations
        shown = SketchInput(
            station_mm=np.array([station.station_mm for station in stations]),
            gap_mm=np.array([np.nan if s.gap_mm is None else max(s.gap_mm, 0.0) for s in stations]),
            states=[station.state for station in stations],
            limit_mm=record.limit.limit_mm,
            short_land_mm=[
                (spot.start_mm, spot.end_mm) for spot in record.verdict.spots if spot.state == SHORT_LAND
            ],
        )
        self._bars("  mm  gap along the joint; the line is the limit", shown)

    def _bars(self, title: str, shown: SketchInput) -> None:
        self._heading(title)
        for cells in profile_sketch(shown, columns=self._console.width, ascii_only=self._ascii):
            line = Text()
            for cell in cells:
                line.append(cell.text, style=_STATE_STYLES[cell.style])
            self._print(line)
        looks = SPOT_LOOKS if shown.short_land_mm else STATE_LOOKS
        legend = "   ".join(f"{look.symbol} {look.word}" for look in looks.values())
        self._print(Text(f"       {legend}", style="dim"))

    def _spots(self, record: Judged, where: Sequence[str] = ()) -> None:
        spots = record.verdict.spots
        if spots:
            self._heading("spots, by place from the datum mark")
        # Of too many the worst are shown, in their order along the joint.
        worst = sorted(range(len(spots)), key=lambda index: _WORST_FIRST.index(spots[index].state))
        for index in sorted(worst[:_MOST_SPOTS]):
            spot = spots[index]
            words = f"{from_to(spot.start_mm, spot.end_mm):<17} {_reading(spot)}"
            self._spot(str(index + 1), spot.state, words, spot.advice)
            if where:
                self._print(Padding(Text(self._plain(where[index]), style="dim"), (0, 0, 0, 5)))
        if len(spots) > _MOST_SPOTS:
            self._print(Text(f"   and {len(spots) - _MOST_SPOTS} more in the record"))

    def _spot(self, number: str, state: str, words: str, advice: str) -> None:
        look = SPOT_LOOKS[state]
        line = Text(f"{number:>3} ")
        line.append(f" {look.symbol} {look.word} ".ljust(14), style=_on_ground(state))
        line.append(self._plain(f" {words}"), style="bold")
        self._print(line)
        self._print(Padding(Text(self._plain(advice)), (0, 0, 0, 5)))

    def _heading(self, text: str) -> None:
        self._print(Text(f"\n {self._plain(text)}", style="dim"))

    def _photos(self, record: SeamRecord) -> None:
        """Photos along the joint, then those that gave nothing, then what no photo shows."""
        self._heading("photos, along the joint")
        for number, one in enumerate(record.photos, start=1):
            strips = ("strip " if len(one.strips) == 1 else "strips ") + ", ".join(map(str, one.strips))
            words = f" {number:>3} {from_to(one.start_mm, one.end_mm):<15} {one.photo.name}"
            self._print(Text(self._plain(f"{words} ({strips})")))
        self._paragraph("places", how_well_placed(record))
        for fault in record.faults:
            self._paragraph("not used", f"{fault.name}: {fault.error}")
        for hole in record.holes:
            meant = f" (perhaps meant to show it: {'; '.join(hole.meant)})" if hole.meant else ""
            self._paragraph("no photo", f"{hole.advice}{meant}")

    def _uncertainty(self, record: Judged) -> None:
        """The three largest influences by their share of the variance, and what would help most."""
        lines = [line for line in record.profile.budget if line.u_mean_mm]
        total = sum((line.u_mean_mm or 0.0) ** 2 for line in lines)
        if not lines or total <= 0:
            return
        shares = ", ".join(
            f"{line.name} {100 * (line.u_mean_mm or 0.0) ** 2 / total:.0f} %" for line in lines[:3]
        )
        self._print(Text(""))
        # Of a photo whose quality is known, what would help is told with it.
        remedy = "" if getattr(record, "quality", None) else _best_remedy(lines)
        self._paragraph("uncertainty", f"comes from {shares}{remedy}")

    def _paragraph(self, word: str, text: str, style: str = "") -> None:
        table = Table.grid(padding=(0, 2, 0, 0))
        table.add_column(width=12, no_wrap=True)
        table.add_column(overflow="fold")
        table.add_row(Text(f" {word}", style="dim"), Text(self._wrapped(text), style=style))
        self._print(table)

    def _wrapped(self, text: str) -> str:
        """Broken between words, but not where a number and its unit are kept together."""
        kept = _UNIT.sub("\N{NO-BREAK SPACE}", one_line(self._plain(text)))
        room = max(20, self._console.width - 14)
        lines = textwrap.wrap(kept, room, break_on_hyphens=False, break_long_words=False)
        return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ")

    def _plain(self, text: str) -> str:
        return text.translate(_ASCII) if self._ascii else text

    def _print(self, thing: Text | Table | Padding) -> None:
        self._console.print(thing)


def print_line(text: str) -> None:
    """One line on stdout, for machines."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        raise PipeClosedError from None


def _on_ground(state: str) -> str:
    """Style of a spot's word: readable on black and white terminals alike, since its ground comes along."""
    look = SPOT_LOOKS[state]
    return f"bold {look.text_colour} on {look.colour}"


def _reading(spot: SpotEntry) -> str:
    """The gap of a spot, or how long the land is where that is what matters."""
    if spot.land_mm is not None:
        return f"{max(spot.land_mm, 0.0):.1f} mm {spot.side}"
    gap_mm = math.nan if spot.largest_gap_mm is None else spot.largest_gap_mm
    return millimetres(gap_mm, math.nan if spot.u_largest_gap_mm is None else spot.u_largest_gap_mm)


def _on_colour(word: str) -> str:
    """Style of the verdict's bar; within is the terminal's own text colour, turned round."""
    if word == "within":
        return "bold reverse"
    look = VERDICT_LOOKS[word]
    return f"bold {look.text_colour} on {look.colour}"


def _gap(record: Judged) -> str:
    verdict = record.verdict
    if verdict.largest_gap_mm is None or verdict.largest_gap_at_mm is None:
        return "no gap was seen"
    gap = millimetres(verdict.largest_gap_mm, verdict.u_largest_gap_mm or 0.0)
    return f"{gap} (k = 2) at {verdict.largest_gap_at_mm:.0f} mm from the datum mark"


def _best_remedy(lines: Sequence[BudgetLine]) -> str:
    """What would help most; influences that nobody can change are passed over."""
    remedies = (line.remedy for line in lines if line.remedy and not line.remedy.startswith("nothing"))
    remedy = next(remedies, "")
    return f"; would help most: {remedy}" if remedy else ""


def _length(record: Judged) -> float:
    stations = record.profile.stations
    return stations[-1].station_mm - stations[0].station_mm + record.profile.step_mm
