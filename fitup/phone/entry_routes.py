"""Results of the archive for phones: photo, profile, record, report, bag; to those who may see them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.archive import Stored
from fitup.evidence.archive.entry import MEASURED_KINDS, ArchivedFile
from fitup.phone.headers import REPORT_HEADERS
from fitup.phone.joint_state import JointResult, later_of
from fitup.phone.office_work import make_bag, make_report
from fitup.phone.people import Person, may_see
from fitup.phone.pictures import CACHED
from fitup.phone.profile_data import profile_data
from fitup.phone.rights import role, signed_in
from fitup.phone.shop import Shop, shop_of

__all__ = ["EntryNumber", "any_entry", "entry_routes", "is_current", "result_seen_by"]

EntryNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
SignedIn = Annotated[Person, Depends(signed_in)]
Quality = Annotated[Person, Depends(role("qc"))]

entry_routes = APIRouter(prefix="/api/entries/{entry}", tags=["results"])


def any_entry(shop: Shop, number: int) -> Stored:
    """The entry of this number; HTTP 404 where there is none."""
    try:
        return shop.archive.entry(number)
    except UsageError:
        raise HTTPException(404, f"the archive has no entry {number}: look at the list.") from None


def result_seen_by(shop: Shop, person: Person, number: int) -> JointResult:
    """The measured entry of this number; HTTP 404 where there is none, or none that this person may see."""
    stored = any_entry(shop, number)
    if stored.entry.kind in MEASURED_KINDS:
        result = later_of(shop.archive, stored)
        if may_see(person, taken_by=result.about.who, current=is_current(shop, result)):
            return result
    raise HTTPException(404, f"the archive has no result {number} for you: look at the joint's page.")


def is_current(shop: Shop, result: JointResult) -> bool:
    """Whether it is the result in force of a joint that is served here."""
    try:
        served, joint = shop.settings.find(result.about.job, result.about.joint)
    except UsageError:
        return False
    results = shop.board.results(served, joint)
    return bool(results) and results[0].number == result.number


@entry_routes.get("/profile.json")
def profile(request: Request, person: SignedIn, entry: EntryNumber) -> dict[str, Any]:
    """Gap, uncertainty and state along the joint, and where in the photo that is."""
    shop = shop_of(request)
    result = result_seen_by(shop, person, entry)
    settlements = shop.result(entry, len(result.later))
    return profile_data(settlements.judged.record, settlements.verdict if settlements.records else None)


@entry_routes.get("/picture.jpg", response_class=FileResponse)
def picture(
    request: Request,
    person: SignedIn,
    entry: EntryNumber,
    most: Annotated[int, Query(ge=1, le=10_000)] = 1600,
    box: Annotated[str, Query(max_length=60)] = "",
    photo: Annotated[int, Query(ge=1, le=1000)] = 1,
) -> Response:
    """The upright photo, scaled, or its part left,top,right,bottom [px]; of several this one."""
    shop = shop_of(request)
    result_seen_by(shop, person, entry)
    return _picture(shop, _file(any_entry(shop, entry), "photo", photo), most, box)


@entry_routes.get("/overlay.jpg", response_class=FileResponse)
def overlay(
    request: Request,
    person: SignedIn,
    entry: EntryNumber,
    most: Annotated[int, Query(ge=1, le=10_000)] = 1600,
    photo: Annotated[int, Query(ge=1, le=1000)] = 1,
) -> Response:
    """The photo with the joint drawn in states, as it was saved with the record."""
    shop = shop_of(request)
    result_seen_by(shop, person, entry)
    return _picture(shop, _file(any_entry(shop, entry), "overlay", photo), most, "")


@entry_routes.get("/outcome.jpg", response_class=FileResponse)
def outcome_picture(
    request: Request,
    person: Annotated[Person, Depends(role("welder"))],
    entry: EntryNumber,
    most: Annotated[int, Query(ge=1, le=10_000)] = 1600,
    photo: Annotated[int, Query(ge=1, le=1000)] = 1,
) -> Response:
    """The photo of a weld, of the entry of its outcome."""
    shop = shop_of(request)
    stored = any_entry(shop, entry)
    if stored.entry.kind != "outcome":
        raise HTTPException(404, f"entry {entry} is no outcome: look at the joint's page.")
    return _picture(shop, _file(stored, "photo", photo), most, "")


@entry_routes.get("/record.json")
def record(request: Request, person: SignedIn, entry: EntryNumber) -> Response:
    """The record, byte for byte as it was archived."""
    shop = shop_of(request)
    result = result_seen_by(shop, person, entry)
    return _bytes(shop, entry, _file(result.stored, "record", 1), "application/json")


@entry_routes.get("/files/{number}")
def file(
    request: Request, person: Quality, entry: EntryNumber, number: Annotated[int, Path(ge=1, le=10_000)]
) -> Response:
    """A file of any entry, byte for byte, to be saved and never shown by the browser."""
    shop = shop_of(request)
    files = any_entry(shop, entry).entry.files
    if number > len(files):
        raise HTTPException(404, f"entry {entry} has no file {number}: look at its page.")
    return _bytes(shop, entry, files[number - 1], "application/octet-stream")


@entry_routes.get("/report.pdf", response_class=FileResponse)
def report_pdf(request: Request, person: Quality, entry: EntryNumber) -> Response:
    """The report of a result with its settlements, as an archive PDF."""
    name = f"report-{entry}.pdf"
    return FileResponse(_report(request, person, entry)[0], media_type="application/pdf", filename=name)


@entry_routes.get("/report.html", response_class=FileResponse)
def report_html(request: Request, person: Quality, entry: EntryNumber) -> Response:
    """The same as a page."""
    path = _report(request, person, entry)[0].with_suffix(".html")
    return FileResponse(path, media_type="text/html", headers=REPORT_HEADERS)


@entry_routes.get("/bag.zip", response_class=FileResponse)
def bag(request: Request, person: Quality, entry: EntryNumber) -> Response:
    """The entry with all that belongs to it, as a zipped bag (BagIt, RFC 8493) that an archive can import."""
    shop = shop_of(request)
    stored = any_entry(shop, entry)
    head = shop.archive.head()
    as_of = stored.digest if head is None else head.digest
    path = shop.office.made(f"bags/{entry}-{as_of[:32]}.zip", make_bag, shop.settings.archive, entry)
    return FileResponse(path, media_type="application/zip", filename=f"entry-{entry}.zip")


def _report(request: Request, person: Person, number: int) -> tuple[Any, JointResult]:
    shop = shop_of(request)
    result = result_seen_by(shop, person, number)
    name = f"reports/{number}-{result.stored.digest[:16]}-{len(result.later)}.pdf"
    return shop.office.made(name, make_report, shop.settings.archive, number), result


def _file(stored: Stored, role_name: str, number: int) -> ArchivedFile:
    """The file of a role, counted from 1; HTTP 404 where the entry has none."""
    files = [one for one in stored.entry.files if one.role == role_name]
    if number > len(files):
        raise HTTPException(404, f"entry {stored.entry.number} has no {role_name}: it was added without.")
    return files[number - 1]


def _picture(shop: Shop, archived: ArchivedFile, most: int, box: str) -> Response:
    made = shop.picture(archived.sha256, most, box)
    return FileResponse(made, media_type="image/jpeg", headers=CACHED)


def _bytes(shop: Shop, number: int, archived: ArchivedFile, mime: str) -> Response:
    try:
        content = shop.archive.store.read(archived.sha256)
    except StorageError:
        raise StorageError(
            f"a file of entry {number} is missing or was altered: have quality control verify the archive."
        ) from None
    headers = {**CACHED, "content-disposition": "attachment"}
    return Response(content, media_type=mime, headers=headers)
