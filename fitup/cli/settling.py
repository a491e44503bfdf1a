"""`fitup settle`, with its options: a feeler-gauge reading for a place that the photo left open."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.evidence.judged_record import JudgedRecord
    from fitup.evidence.settlement_building import Given
    from fitup.verdict.feeler import FeelerReading

__all__ = ["settle"]

_LONGEST_TEXT = 500


def settle(
    record: Annotated[str, typer.Argument(metavar="RECORD", help="A record.json, or the folder it lies in.")],
    blade: Annotated[
        str | None, typer.Option(help="Blade that was tried, or several on each other: 0.50mm+0.35mm.")
    ] = None,
    goes_in: Annotated[
        bool | None,
        typer.Option(
            "--goes-in/--does-not-go-in",
            help="Goes in at one place of the stretch at least; or nowhere along it.",
        ),
    ] = None,
    spot: Annotated[int | None, typer.Option(help="The stretch as spot of the record: 2.")] = None,
    from_: Annotated[
        str | None, typer.Option("--from", help="Begin of the stretch, from the datum mark.")
    ] = None,
    to: Annotated[str | None, typer.Option("--to", help="End of the stretch, from the datum mark.")] = None,
    flat: Annotated[
        bool, typer.Option("--flat", help="Pushed in with its whole width and not on its corner.")
    ] = False,
    blade_uncertainty: Annotated[
        str | None, typer.Option(help="Standard uncertainty of the blades together.")
    ] = None,
    blade_set: Annotated[str, typer.Option(help="The set of blades, by its number.")] = "",
    who: Annotated[str, typer.Option(help="Who took the reading.")] = "",
    when: Annotated[
        str | None, typer.Option(help="When, if not now: '2026-11-25 14:30', local time if no zone is said.")
    ] = None,
    remark: Annotated[str, typer.Option(help="Remark, for the settlement.")] = "",
    withdraw: Annotated[
        int | None, typer.Option(help="Withdraw the reading of this settlement; it stays on file.")
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only show what is settled.")] = False,
    json: Annotated[bool, typer.Option("--json", help="The last settlement as JSON, for machines.")] = False,
) -> int:
    """Settle a doubtful or unseen place of a record with a feeler gauge, and judge the joint again.

    The reading becomes a file of its own beside the record, settlement-001.json and so on. The record and all
    that was measured stay as they are. Exit code: that of the settled verdict.
    """
    from fitup.cli.inspecting import exit_code_of
    from fitup.cli.later_screen import LaterScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.judged_record import read_judged
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.settlement_file import add_settlement, read_settlements
    from fitup.evidence.subject import Filing

    judged = read_judged(record)
    said = (blade, goes_in, spot, from_, to, blade_uncertainty, when, withdraw)
    if show:
        if any(value is not None for value in said):
            raise UsageError("--show only shows: give it alone, or leave it out to settle.")
        settlements = read_settlements(judged)
    else:
        given = _given(judged, blade, goes_in, (spot, from_, to), flat, blade_uncertainty, withdraw)
        given = _described(given, blade, spot, when, blade_set, remark)
        settlements = add_settlement(judged, given, Filing(who=_text(who, "--who", needed=True)))
    if json:
        if not settlements.records:
            raise UsageError(f"{judged.name} has no settlement yet.")
        print_line(model_to_json(settlements.records[-1]).rstrip("\n"))
    else:
        LaterScreen().show_settlements(settlements, added=not show)
    return exit_code_of(settlements.verdict.word)


def _given(
    judged: JudgedRecord,
    blade: str | None,
    goes_in: bool | None,
    place: tuple[int | None, str | None, str | None],
    flat: bool,
    blade_uncertainty: str | None,
    withdraw: int | None,
) -> Given:
    from fitup.evidence.settlement_building import Given

    if withdraw is not None:
        if blade is not None or goes_in is not None or any(value is not None for value in place):
            raise UsageError("--withdraw takes a reading back: give no new one along with it.")
        return Given(withdraws=withdraw)
    return Given(reading=_reading(judged, blade, goes_in, place, flat, blade_uncertainty))


def _reading(
    judged: JudgedRecord,
    blade: str | None,
    goes_in: bool | None,
    place: tuple[int | None, str | None, str | None],
    flat: bool,
    blade_uncertainty: str | None,
) -> FeelerReading:
    from fitup.verdict.feeler import FeelerReading, parse_blades
    from fitup.verdict.lengths import parse_length_or_zero

    if blade is None:
        raise UsageError("say which blade was tried: --blade 0.85mm.")
    if goes_in is None:
        raise UsageError("say what came of it: --goes-in or --does-not-go-in.")
    start_mm, end_mm = _stretch(judged, *place)
    return FeelerReading(
        blades_mm=parse_blades(blade),
        goes_in=goes_in,
        start_mm=start_mm,
        end_mm=end_mm,
        flat=flat,
        u_blades_mm=None
        if blade_uncertainty is None
        else parse_length_or_zero(blade_uncertainty, "--blade-uncertainty"),
    )


def _stretch(
    judged: JudgedRecord, spot: int | None, from_place: str | None, to_place: str | None
) -> tuple[float, float]:
    from fitup.evidence.settlement_building import spot_stretch
    from fitup.verdict.lengths import parse_place

    if spot is None:
        if from_place is None or to_place is None:
            raise UsageError(
                "say where: --spot with a number of the record's spots, or both --from and --to."
            )
        return parse_place(from_place, "--from"), parse_place(to_place, "--to")
    start_mm, end_mm = spot_stretch(judged.joint, spot)
    # A part of a spot may be meant.
    return (
        start_mm if from_place is None else parse_place(from_place, "--from"),
        end_mm if to_place is None else parse_place(to_place, "--to"),
    )


def _described(
    given: Given, blade: str | None, spot: int | None, when: str | None, blade_set: str, remark: str
) -> Given:
    from dataclasses import replace

    return replace(
        given,
        as_written=_text(blade or "", "--blade"),
        spot=spot,
        read_at=_time(when),
        blade_set=_text(blade_set, "--blade-set"),
        remark=_text(remark, "--remark"),
    )


def _text(text: str, option: str, *, needed: bool = False) -> str:
    if needed and not text.strip():
        raise UsageError(f"say who took the reading: {option} with a name.")
    if len(text) > _LONGEST_TEXT:
        raise UsageError(f"{option} is longer than {_LONGEST_TEXT} letters: shorten it.")
    return text.strip()


def _time(when: str | None) -> datetime | None:
    if when is None:
        return None
    try:
        return datetime.fromisoformat(when.strip()).astimezone()
    except (ValueError, OverflowError, OSError):
        raise UsageError("--when must be a time such as '2026-11-25 14:30'.") from None
