"""What people add to a result: feeler readings, outcomes, corrections. Nothing is ever changed."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated, Any

from anyio.to_thread import run_sync
from fastapi import APIRouter, Depends, File, Form, Path, Request, UploadFile
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat

from fitup.errors import UsageError
from fitup.evidence.archive.afterwards import correction_draft, outcome_draft
from fitup.evidence.archive.draft import DraftFile
from fitup.evidence.archive.entry import Outcome, OutcomeWord, PenetrationWord
from fitup.evidence.archive.laying_out import settle_entry
from fitup.evidence.settlement_building import Given, spot_stretch
from fitup.evidence.settlement_file import Settlements
from fitup.evidence.subject import Filing
from fitup.evidence.writing import printable_name
from fitup.job import joint_key
from fitup.phone.entry_routes import EntryNumber, any_entry, result_seen_by
from fitup.phone.intake import Arrived, photo_name, receive
from fitup.phone.office_work import check_photo
from fitup.phone.people import Person
from fitup.phone.rights import role
from fitup.phone.shop import Shop, shop_of
from fitup.verdict.feeler import FeelerReading, parse_blades
from fitup.verdict.lengths import parse_place

__all__ = ["afterwards_routes"]

_PART_BYTES = 1 << 20
afterwards_routes = APIRouter(prefix="/api", tags=["afterwards"])
Welder = Annotated[Person, Depends(role("welder"))]
Quality = Annotated[Person, Depends(role("qc"))]
ShortText = Annotated[str, Field(max_length=500)]
Place = Annotated[FiniteFloat, Field(ge=-1e6, le=1e6)] | Annotated[str, Field(max_length=40)]
"""A place along the joint from the datum mark: mm as a number, or as written with its unit."""


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Reading(_Sent):
    """A trial with a feeler gauge, as `fitup settle` takes it; or the number of a settlement to withdraw.

    The stretch is a spot of the record by its number, or reaches from one place to another.
    """

    entry: Annotated[int, Field(ge=1, le=2**31 - 1)]
    job: ShortText = ""
    blades: ShortText = ""
    goes_in: bool | None = None
    spot: Annotated[int, Field(ge=1, le=9999)] | None = None
    from_mm: Place | None = None
    to_mm: Place | None = None
    flat: bool = False
    blade_set: ShortText = ""
    remark: ShortText = ""
    withdraw: Annotated[int, Field(ge=1, le=9999)] | None = None


class Right(_Sent):
    """What is to be read instead in an entry, and why; with `void` it is not to be relied on at all."""

    job: ShortText | None = None
    part: ShortText | None = None
    joint: ShortText | None = None
    serial: ShortText | None = None
    who: ShortText | None = None
    void: bool = False
    why: Annotated[str, Field(min_length=1, max_length=2000)]


@afterwards_routes.post("/joints/{joint:path}/settlements", status_code=201)
def settle(
    request: Request, person: Welder, joint: Annotated[str, Path(max_length=500)], reading: Reading
) -> dict[str, Any]:
    """Settle a doubtful or unseen place of a result with a feeler reading, and judge the joint again."""
    shop = shop_of(request)
    result = result_seen_by(shop, person, reading.entry)
    if joint_key(result.about.joint) != joint_key(joint):
        raise UsageError(f"result {reading.entry} is not of this joint: load the joint's page again.")
    before = shop.result(reading.entry, len(result.later))
    with shop.settling:
        settlements, added = settle_entry(
            shop.archive, reading.entry, _given(before, reading), Filing(who=person.name)
        )
    verdict = settlements.verdict
    return {
        "entry": added.entry.number,
        "number": settlements.records[-1].number,
        "verdict": verdict.word.value,
        "sentence": verdict.sentence,
        "advice": verdict.advice,
        "url": f"/r/{reading.entry}",
    }


@afterwards_routes.post("/entries/{entry}/outcome", status_code=201)
async def outcome(
    request: Request,
    person: Welder,
    entry: EntryNumber,
    word: Annotated[OutcomeWord, Form()],
    bead_colour: Annotated[str, Form(max_length=500)] = "",
    penetration: Annotated[PenetrationWord, Form()] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
    photo: Annotated[UploadFile | None, File()] = None,
) -> dict[str, Any]:
    """Note what became of the weld, with a photo of it where there is one."""
    shop = shop_of(request)
    await run_sync(result_seen_by, shop, person, entry)
    found = Outcome(word=word, bead_colour=_line(bead_colour), penetration=penetration)
    arrived = None
    if photo is not None and (photo.size or photo.filename):
        arrived = await receive(
            _parts(photo), shop.store.new_file(), most_bytes=shop.settings.photo_bytes_max
        )
    name = photo_name((photo.filename if photo else None) or "weld.jpg")
    try:
        return await run_sync(_add_outcome, shop, person, entry, found, _line(note), arrived, name)
    finally:
        if arrived is not None:
            arrived.discard()


@afterwards_routes.post("/entries/{entry}/corrections", status_code=201)
def correct(request: Request, person: Quality, entry: EntryNumber, right: Right) -> dict[str, Any]:
    """Say what is to be read instead in an entry; it stays in the archive as it is."""
    shop = shop_of(request)
    fields = right.model_dump(exclude={"void", "why"}, exclude_none=True)
    draft = correction_draft(
        any_entry(shop, entry),
        {name: _line(text) for name, text in fields.items()},
        void=right.void,
        who=person.name,
        day=_today(),
        why=_line(right.why),
        later=shop.archive.later(entry),
    )
    return {"entry": shop.archive.add([draft])[0].entry.number}


def _given(before: Settlements, reading: Reading) -> Given:
    """The reading as `fitup settle` has it; UsageError for what does not go together."""
    if reading.withdraw is not None:
        return Given(withdraws=reading.withdraw)
    if reading.goes_in is None or not reading.blades.strip():
        raise UsageError("say which blade was tried, such as 0.85mm, and whether it goes in.")
    start_mm, end_mm = _stretch(before, reading)
    return Given(
        reading=FeelerReading(
            blades_mm=parse_blades(reading.blades),
            goes_in=reading.goes_in,
            start_mm=start_mm,
            end_mm=end_mm,
            flat=reading.flat,
        ),
        as_written=_line(reading.blades),
        spot=reading.spot,
        blade_set=_line(reading.blade_set),
        remark=_line(reading.remark),
    )


def _stretch(before: Settlements, reading: Reading) -> tuple[float, float]:
    places = [_place(one) for one in (reading.from_mm, reading.to_mm)]
    if reading.spot is not None:
        ends = spot_stretch(before.judged.joint, reading.spot)
        places = [end if place is None else place for place, end in zip(places, ends, strict=True)]
    start_mm, end_mm = places
    if start_mm is None or end_mm is None:
        raise UsageError("say where: one of the spots, or from which place to which.")
    return start_mm, end_mm


def _place(given: float | str | None) -> float | None:
    return parse_place(given, "the place") if isinstance(given, str) else given


async def _parts(photo: UploadFile) -> AsyncIterator[bytes]:
    while part := await photo.read(_PART_BYTES):
        yield part


def _add_outcome(
    shop: Shop, person: Person, number: int, found: Outcome, note: str, arrived: Arrived | None, name: str
) -> dict[str, Any]:
    photos = []
    if arrived is not None:
        shop.office.check(check_photo, arrived.path, name)
        photos = [DraftFile.of("photo", name, arrived.path.read_bytes())]
    draft = outcome_draft(
        any_entry(shop, number),
        found,
        who=person.name,
        day=_today(),
        later=shop.archive.later(number),
        note=note,
        photos=photos,
    )
    return {"entry": shop.archive.add([draft])[0].entry.number, "word": found.word}


def _line(text: str) -> str:
    """What a person wrote, as one line that can be shown."""
    return " ".join(printable_name(text.replace("\n", " ").replace("\t", " ")).split())


def _today() -> str:
    return f"{datetime.now().astimezone():%Y-%m-%d}"
