"""What a person sees of what came after a record: settlements, and the joint before and after."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fitup.cli.screen import Screen
from fitup.cli.sketch import SketchInput
from fitup.evidence.words import from_to
from fitup.verdict.lands import LandState
from fitup.verdict.settling import CONTRADICTION

if TYPE_CHECKING:
    from fitup.evidence.comparison_building import Compared
    from fitup.evidence.comparison_record import ComparedEntry, FateEntry
    from fitup.evidence.settlement_file import Settlements
    from fitup.evidence.settlement_record import SettlementRecord
    from fitup.verdict.judged import JudgedJoint
    from fitup.verdict.settled import SettledSpot

__all__ = ["LaterScreen"]

_TOUCHING_MM = 1e-6


class LaterScreen(Screen):
    """Shows settlements and comparisons on stdout, in the looks of records."""

    def show_settlements(self, settlements: Settlements, *, added: bool) -> None:
        """The settled verdict, all readings, and what is left open."""
        verdict, judged = settlements.verdict, settlements.judged
        self._verdict(verdict.word, judged.name)
        self._paragraph("verdict", verdict.sentence, style="bold")
        self._paragraph("what to do", verdict.advice)
        self._readings(settlements.records)
        if verdict.spots:
            self._heading("what is left, by the numbers of the record's spots")
        for spot in verdict.spots:
            place = from_to(spot.start_mm, spot.end_mm)
            self._spot(_number(judged.joint, spot), spot.state, place, spot.advice)
        if settlements.records:
            for caution in settlements.records[-1].cautions:
                self._paragraph("care", caution)
        if added:
            self._paragraph("file", str(settlements.path(len(settlements.records))))

    def show_settled_beside(self, settlements: Settlements) -> None:
        """What follows a record on the screen where readings lie beside it."""
        if not settlements.records:
            return
        verdict = settlements.verdict
        self._heading(f"settled with a feeler gauge: {str(verdict.word).upper()}")
        self._paragraph("verdict", verdict.sentence, style="bold")
        self._paragraph("what to do", verdict.advice)
        self._readings(settlements.records)

    def show_comparison(self, compared: Compared, folder: Path | None) -> None:
        """Both verdicts, the gap as it is now, and what became of every spot."""
        record = compared.record
        self._verdict(record.after.word, f"{record.before.record.name} > {record.after.record.name}")
        self._paragraph("before", _compared_in_words(record.before))
        self._paragraph("after", _compared_in_words(record.after))
        self._paragraph("result", record.sentence, style="bold")
        joint = compared.after.judged.joint
        shown = SketchInput(
            station_mm=joint.station_mm + record.shift_mm,
            gap_mm=np.maximum(joint.gap_mm, 0.0),
            states=[str(state) for state in compared.after.verdict.stations.states],
            limit_mm=joint.limit_mm,
        )
        self._bars("  mm  gap along the joint now; the line is the limit", shown)
        if record.spots:
            self._heading("spots before and new ones, by place from the datum mark before")
        for number, spot in enumerate(record.spots, start=1):
            place = f"{from_to(spot.start_mm, spot.end_mm):<17} {spot.fate}"
            self._spot("+" if spot.fate == "new" else str(number), spot.now, place, _fate_in_words(spot))
        for remark in (*record.remarks, record.shared_print):
            self._paragraph("note", remark)
        self._paragraph("care", record.cautions[0])
        if folder is not None:
            self._paragraph("files", str(folder) + os.sep)

    def _readings(self, records: tuple[SettlementRecord, ...]) -> None:
        """Every settlement in a paragraph of its own, with what must be told of it."""
        remarks = records[-1].verdict.remarks if records else ()
        withdrawn = {one.withdraws: one.number for one in records if one.withdraws is not None}
        for one in records:
            words = _in_words(one)
            if one.number in withdrawn:
                words += f"; withdrawn by settlement {withdrawn[one.number]}"
            self._paragraph(f"reading {one.number}", words)
            for remark in remarks:
                if remark.settlement == one.number:
                    loud = remark.text.startswith(CONTRADICTION)
                    self._paragraph("CAREFUL" if loud else "", remark.text, style="bold" if loud else "")


def _compared_in_words(one: ComparedEntry) -> str:
    photos = one.photos[0] if len(one.photos) == 1 else f"{len(one.photos)} photos"
    settled = f", {one.settlements} settled beside it" if one.settlements else ""
    return f"{one.word}, {photos}, {one.filing.filed_at_utc:%Y-%m-%d %H:%M} UTC{settled}"


def _fate_in_words(spot: FateEntry) -> str:
    """What the spot was and is, with the widest gaps where both were seen."""
    was = (
        f"not listed before, {spot.now} now" if spot.fate == "new" else f"{spot.state} before, {spot.now} now"
    )
    if spot.before_mm is None or spot.after_mm is None or spot.change_mm is None or spot.u_change_mm is None:
        return was
    gaps = f"widest gap {max(spot.before_mm, 0.0):.2f} mm before, {max(spot.after_mm, 0.0):.2f} mm now"
    return f"{was}; {gaps}: {spot.change_mm:+.2f} ± {2 * spot.u_change_mm:.2f} mm"


def _number(joint: JudgedJoint, spot: SettledSpot) -> str:
    """Which spot of the record this is, or is a part of; "+" for one that the record does not have."""
    for number, one in enumerate(joint.spots, start=1):
        same_thing = (one.state == LandState.SHORT) == (spot.state == LandState.SHORT)
        if same_thing and min(one.end_mm, spot.end_mm) - max(one.start_mm, spot.start_mm) > _TOUCHING_MM:
            return str(number)
    return "+"


def _in_words(one: SettlementRecord) -> str:
    when = f"{one.who}, {one.filed_at_utc:%Y-%m-%d %H:%M} UTC"
    reading = one.reading
    if reading is None:
        return f"settlement {one.withdraws} withdrawn; {when}"
    what = "goes in" if reading.goes_in else "does not go in"
    flat = ", pushed in flat" if reading.flat else ""
    if reading.read_at_utc != one.filed_at_utc:
        when = f"{one.who}, read {reading.read_at_utc:%Y-%m-%d %H:%M} UTC"
    more = [
        text for text in (f"blades {reading.blade_set}" if reading.blade_set else "", reading.remark) if text
    ]
    blades = f"{sum(reading.blades_mm):.2f} ± {2 * reading.u_blades_mm:.2f} mm of blades {what}{flat}"
    return "; ".join([f"{from_to(reading.start_mm, reading.end_mm)}: {blades}", when, *more])
